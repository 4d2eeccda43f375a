"""The chart runtime that the page carries inside itself, made ready while other work goes on."""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from functools import cache


@cache
def start() -> Future[str]:
    """Begin to bundle the runtime in another thread; a second call returns the same future.

    Returns
    -------
    Future of str
        JavaScript that defines ``vegaEmbed``, safe inside a ``<script>`` element, the same text every time.

    Notes
    -----
    Bundling takes about two seconds of one core and lets go of the interpreter lock: it costs next to nothing when
    it is started before the audit and asked for after it.
    """
    pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="chart-runtime")
    made = pool.submit(_bundle)
    pool.shutdown(wait=False)
    return made


def _bundle() -> str:
    import vl_convert  # noqa: PLC0415  (only where a page is written)

    code: str = vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;")
    return code.replace("</script", "<\\/script").replace("<!--", "<\\!--")
