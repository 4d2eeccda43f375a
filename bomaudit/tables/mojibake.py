"""Text that was written in one encoding and read in another, repaired where the way back is certain."""

from __future__ import annotations

import re

_SUSPECT = re.compile(
    "[\u00c2-\u00f4\u0410-\u042f\u0420\u0421][\u0080-\u00bf\u0402-\u040f\u0452-\u045f\u2010-\u203a\u20ac\u2116\u2122°-ї]"
)

_ENCODINGS = ("cp1251", "cp1252", "latin-1")


def repair(text: str) -> str:
    """Return the text as it was meant, or unchanged.

    Notes
    -----
    UTF-8 read as a one-byte encoding gives pairs of odd letters. The way back is taken only if every letter goes it:
    the bytes of any other text hardly ever form valid UTF-8.
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
