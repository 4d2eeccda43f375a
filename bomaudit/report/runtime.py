"""The chart runtime that the page carries inside itself, made ready on another processor while other work goes on."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path

from bomaudit.resources import cache_folder, keep

_BUNDLE = (
    "import sys, vl_convert; "
    "sys.stdout.buffer.write(vl_convert.javascript_bundle('window.vegaEmbed = vegaEmbed;').encode('utf-8'))"
)


@dataclass(frozen=True)
class Runtime:
    """The runtime, kept from an earlier run or under way."""

    kept: Path
    process: subprocess.Popen[bytes] | None

    def result(self) -> str:
        """Wait for the runtime.

        Returns
        -------
        str
            JavaScript that defines ``vegaEmbed``, safe inside a ``<script>`` element, the same text every time.

        Raises
        ------
        RuntimeError
            If it cannot be made: the installation is incomplete.
        """
        return _read(self).decode("utf-8").replace("</script", "<\\/script").replace("<!--", "<\\!--")


@cache
def start() -> Runtime:
    """Begin to bundle the runtime in a process of its own, unless an earlier run kept it.

    Notes
    -----
    Bundling takes about two seconds of one processor. In a thread it would hold up the audit as long: loading the
    library keeps the interpreter's lock.
    """
    kept = cache_folder() / f"chart-runtime-{version('vl-convert-python')}.js"
    if kept.is_file():
        return Runtime(kept, None)
    command = [sys.executable, "-P", "-c", _BUNDLE]  # -P: nothing from the working folder
    return Runtime(kept, subprocess.Popen(command, stdout=subprocess.PIPE))  # noqa: S603  (our own interpreter, code)


@cache
def _read(runtime: Runtime) -> bytes:
    if runtime.process is None:
        return runtime.kept.read_bytes()
    made, _ = runtime.process.communicate()
    if runtime.process.returncode:
        raise RuntimeError("vl-convert-python cannot bundle the chart runtime; install bomaudit again")
    keep(made, runtime.kept)
    return made
