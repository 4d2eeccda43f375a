"""Text from strangers, made harmless where it goes out: formulas, control codes on terminals, file names."""

from __future__ import annotations

import re

import pandas as pd

_LIVE = r"=+\-@\t\r＝＋－＠"
_SPLITS = r";|\t\r\n"
_WITHIN = rf"(?:[{_LIVE}]|[ \u00a0]*[=@＝＠])"
_GUARD = re.compile(rf"(?:\A(?=['\s]*[{_LIVE}])|(?<=[{_SPLITS}])(?='*{_WITHIN}))")
_UNGUARD = re.compile(rf"(?:\A'(?=['\s]*[{_LIVE}])|(?<=[{_SPLITS}])'(?='*{_WITHIN}))")
_BLANKS = " \t-\r\x1c-\x1f\x85\xa0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000"
_MAY_LIVE = rf"(?:^|[{_SPLITS}])['{_BLANKS}]*[{_LIVE}]"
r"""Blanks by name: the engine that searches whole columns has another idea of ``\s``."""

_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
"""Control characters but line feed and tab, and those that turn the direction of the text around them."""
_STEERS = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")
_UNPRINTED = re.compile("[\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
_RESERVED = re.compile(r"(?i)(?:con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(?:\..*)?")
_NOT_IN_NAMES = re.compile(r'[<>:"/\\|?*\x00-\x1f]')


def guard(text: str) -> str:
    """Put an apostrophe before what a spreadsheet would take for a formula when it opens a csv file.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        The same text where nothing in it may become a formula; :func:`unguard` gives back the original in any case.

    Notes
    -----
    Live is a cell that starts, after blanks, with ``=``, ``+``, ``-``, ``@`` (also their wide forms), tab or carriage
    return. A spreadsheet set to another separator splits cells at ``;``, ``|``, tabs and line ends that stand inside
    them, so what comes right after one of these is guarded too; "; -20 °C", with a blank before a sign, is left alone.
    Apostrophes that stand in such a place get one more, which makes the way back exact.
    """
    return _GUARD.sub("'", text)


def unguard(text: str) -> str:
    """Take away what :func:`guard` put in."""
    return _UNGUARD.sub("", text)


def guard_column(values: pd.Series) -> pd.Series:
    """Guard every text of a column; other values stay."""
    if isinstance(values.dtype, pd.StringDtype):
        risky = values.str.contains(_MAY_LIVE, regex=True, na=False)
        return values.where(~risky, values[risky].map(guard)) if risky.any() else values
    return values.map(lambda cell: guard(cell) if isinstance(cell, str) else cell)


def printable(text: str) -> str:
    """Replace what would steer a terminal (escapes, bells, turned direction of writing) by a mark, one for one."""
    return _CONTROL.sub("\ufffd", text)


def steers(text: str) -> bool:
    """Whether a text holds control characters that no cell needs: all but line ends and tabs."""
    return bool(_STEERS.search(text))


def without_controls(text: str) -> str:
    """Drop the control characters that no cell needs."""
    return _STEERS.sub("", text)


def escaped_json(text: str) -> str:
    """Escape the control characters that JSON lets stand: the same content, safe to print."""
    return _UNPRINTED.sub(lambda m: f"\\u{ord(m[0]):04x}", text)


def file_name_trouble(name: str) -> str:
    """Say why a file of this name cannot be kept on every system; "" where it can.

    Notes
    -----
    The names that Windows reserves and the characters it forbids in names, as its documentation lists them.
    """
    if not name or name in (".", "..") or _NOT_IN_NAMES.search(name):
        return 'it is empty or has one of < > : " / \\ | ? * or a control character'
    if _RESERVED.fullmatch(name):
        return "Windows reserves it for a device"
    return "it ends in a blank or a point" if name[-1] in " ." else ""
