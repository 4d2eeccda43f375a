"""Text that was written in one encoding and read in another, repaired where the way back is certain."""

from __future__ import annotations

import re

from bomaudit.tables.files import Sheet

_SUSPECT = re.compile("[\u00c2-\u00f4\u0410-\u042f\u0420\u0421][\u0080-\u00bf\u0402-\u040f\u0452-\u045f\u2010-\u203a\u20ac\u2116\u2122°-ї]")
_LOOKED_AT = 500
"""First rows of a sheet that are looked at for such text: its header and titles have it if the file has."""
_ENCODINGS = ("cp1251", "cp1252", "latin-1")


def repair(text: str) -> str:
    """Return the text as it was meant, or unchanged.

    Notes
    -----
    UTF-8 read as a one-byte encoding gives pairs of odd letters. The way back is taken only if every letter goes it: the
    bytes of any other text hardly ever form valid UTF-8.
    """
    if text.isascii() or not _SUSPECT.search(text):
        return text
    for encoding in _ENCODINGS:
        try:
            back = text.encode(encoding).decode("utf-8")
        except (UnicodeEncodeError, UnicodeDecodeError):
            continue
        if len(back) < len(text):
            return back
    return text


def repair_sheet(sheet: Sheet) -> int:
    """Repair the texts of a sheet in place; returns how many cells. A sheet whose first rows show no such text has none."""
    head = (c for column in sheet.columns for c in column[:_LOOKED_AT] if isinstance(c, str) and not c.isascii())
    if not any(repair(c) != c for c in head):
        return 0
    repaired = 0
    for column in sheet.columns:
        for i, cell in enumerate(column):
            if isinstance(cell, str) and not cell.isascii():
                fixed = repair(cell)
                if fixed != cell:
                    column[i] = fixed
                    repaired += 1
    return repaired
