"""The chart runtime that the page carries inside itself, made ready on another processor while other work goes on."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass, field
from functools import cache

_BUNDLE = (
    "import sys, vl_convert; "
    "sys.stdout.buffer.write(vl_convert.javascript_bundle('window.vegaEmbed = vegaEmbed;').encode('utf-8'))"
)


@dataclass(frozen=True)
class Runtime:
    """The runtime, under way or made."""

    _process: subprocess.Popen[bytes] = field(repr=False)

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
        return _read(self._process)


@cache
def start() -> Runtime:
    """Begin to bundle the runtime in a process of its own; a second call returns the same.

    Notes
    -----
    Bundling takes about two seconds of one processor. In a thread it would hold up the audit as long: loading the
    library keeps the interpreter's lock.
    """
    command = [sys.executable, "-P", "-c", _BUNDLE]  # -P: nothing from the working folder
    return Runtime(subprocess.Popen(command, stdout=subprocess.PIPE))  # noqa: S603  (our own interpreter and code)


@cache
def _read(process: subprocess.Popen[bytes]) -> str:
    made, _ = process.communicate()
    if process.returncode:
        raise RuntimeError("vl-convert-python cannot bundle the chart runtime; install bomaudit again")
    return made.decode("utf-8").replace("</script", "<\\/script").replace("<!--", "<\\!--")
