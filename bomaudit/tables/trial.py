"""A workbook read on trial, in a process of its own: one made to exhaust the memory ends that process and not ours.

The reader of workbooks reserves the whole used area of a sheet at once, wherever its cells claim to be; one that claims
to lie a million columns out ends the process, and no exception tells of it. Workbooks as spreadsheets write
them are told by their look and need no trial; what is odd, or in a binary format, has one.
"""

from __future__ import annotations

import re
import subprocess
import sys
from itertools import pairwise

MEMORY = 4 << 30
"""What a trial may take. [bytes]"""
TIME = 300
"""How long it may take. [seconds]"""

_TRIAL = f"""
import io, sys
try:
    import resource
    resource.setrlimit(resource.RLIMIT_AS, ({MEMORY}, {MEMORY}))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
except (ImportError, ValueError, OSError):
    pass
import python_calamine as calamine
data = sys.stdin.buffer.read()
try:
    book = calamine.load_workbook(io.BytesIO(data))
    for sheet in book.sheets_metadata:
        if str(sheet.typ).endswith("WorkSheet"):
            book.get_sheet_by_name(sheet.name).to_python(skip_empty_area=False)
except MemoryError:
    sys.exit(1)
except BaseException:
    pass
"""
"""What raises here raises again where it can be told; only what ends the process is found out."""

_ODD_CELL = re.compile(rb' r="(?![A-Z]{1,3}[1-9][0-9]{0,6}"|[1-9][0-9]{0,6}")')
_ODD_SPACING = re.compile(rb"""[\n\r\t]r\s*=|\sr\s+=|\sr=\s|\sr='""")
_ROWS = re.compile(rb'row r="(\d+)"')
"""Begins with plain letters, which are found ten times as fast; a text that reads so only means a trial too many."""
_ODD_REPEAT = re.compile(rb'-repeated(?!="[0-9]{1,9}")')


def survives(data: bytes) -> bool:
    """Whether a workbook can be read within :data:`MEMORY` and :data:`TIME`, by reading it elsewhere."""
    command = [sys.executable, "-P", "-c", _TRIAL]  # -P: nothing from the working folder
    try:
        done = subprocess.run(command, input=data, capture_output=True, timeout=TIME, check=False)  # noqa: S603  (our own interpreter, code)
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


def odd_sheet(xml: bytes) -> bool:
    """Whether the places that a sheet's XML gives its cells are written or ordered as no spreadsheet does it."""
    if b"\x00" in xml[:64] or _ODD_CELL.search(xml) or _oddly_spaced(xml):
        return True
    rows = [int(n) for n in _ROWS.findall(xml)]
    return any(a >= b for a, b in pairwise(rows))


def _oddly_spaced(xml: bytes) -> bool:
    """Whether an attribute that says a place is spaced or quoted oddly; soon known where no line ends or tabs are."""
    body = xml.find(b"?>") + 4  # the line end behind the declaration is usual
    if any(xml.find(blank, body) >= 0 for blank in (b"\n", b"\r", b"\t")):
        return bool(_ODD_SPACING.search(xml))
    return bool(re.search(rb" r(?: |= |=')", xml))


def odd_content(xml: bytes) -> bool:
    """Whether the content of an ods file states repeats as no spreadsheet writes them."""
    return b"\x00" in xml[:64] or bool(_ODD_REPEAT.search(xml))
