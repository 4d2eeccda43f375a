"""What a column holds, looked at before its header is believed: numbers, money, dates, links, codes, words."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bomaudit.tables.cells import Amounts, amounts, decimal_mark
from bomaudit.tables.indents import are_numbered, as_text
from bomaudit.tables.sheets import Cells

SAMPLE_ROWS = 2000
SAMPLE_OF_LONG = 500
"""Tables up to the first length are looked at whole to tell what a column holds, of longer ones so many first rows."""
_LINK = re.compile(r"^(?:https?://|www\.)|\.(?:com|org|net|de|fr|cn|co\.uk|pl|jp|it|es|ru|eu)(?:/|$)", re.IGNORECASE)
_ONE_PLACE = r"(?P<p{0}>[A-Z]{{1,3}})\d{{1,3}}[A-Z]?(?:\s*[-–]\s*(?:(?P=p{0})\d{{1,3}}|\d{{1,2}}))?"
_DESIGNATOR = re.compile(rf"^{_ONE_PLACE.format(1)}(?:[\s,;]+{_ONE_PLACE.format(2)})*$")
"""Reference designators of a circuit: R1, C16-C20, D3 D4."""
_CODE = re.compile(r"^(?=[^\s]*\d)[^\s]{4,30}$")
LONG_NUMBER = 10_000
"""Whole numbers from here on are no quantities; where they differ from line to line they number something."""
_LED = re.compile(r"^[.\-–_+>]+\s*\d{1,2}$")
_DOTTED = re.compile(r"^\d{1,3}(?:\.\d{1,3})+\.?$")


@dataclass(frozen=True)
class Profile:
    """Content of a column over the sampled rows; all shares are of the filled cells.

    Attributes
    ----------
    filled : int
        Cells that are not blank.
    leading : float
        Share that is a depth with points or dashes before it: ..2.
    numbered : bool
        Positions that name their parents: 1, 2, 2.1, 2.2, 3, typed as text or as numbers.
    numeric, money, links, dates, designators, codes, dotted, long_numbers, words : float
        Share that reads as a number, carries a currency mark, is a web address, a date value, a list of reference
        designators, one word with a digit in it, a dotted number, a large whole number, text of more than one letter.
    counting : bool
        Numbers that count up by one from row to row.
    distinct : float
        Share of distinct values.
    length : float
        Median length of the texts.
    read : Amounts
        The column read as numbers.
    """

    filled: int
    leading: float
    numbered: bool
    numeric: float
    money: float
    links: float
    dates: float
    designators: float
    codes: float
    dotted: float
    long_numbers: float
    words: float
    counting: bool
    distinct: float
    length: float
    read: Amounts


def profile(cells: Cells, decimal: str = "") -> Profile:
    """Look at the cells of a column.

    Parameters
    ----------
    cells : object array
        Cells below the header, or a sample of them.
    decimal : str
        Decimal mark where known.
    """
    texts = [c.strip() for c in cells if isinstance(c, str) and c.strip()]
    mark = decimal or decimal_mark(texts)[0]
    read = amounts(cells, mark)
    filled = int(sum(c is not None and c != "" and not (isinstance(c, str) and not c.strip()) for c in cells))
    n = max(filled, 1)
    numbers = ~np.isnan(read.value)
    lengths = [len(t) for t in texts]
    return Profile(
        filled=filled,
        leading=sum(bool(_LED.match(t)) for t in texts) / n,
        numbered=are_numbered(map(as_text, cells)),
        numeric=float(numbers.sum()) / n,
        money=float((read.currency[numbers] != "").sum()) / n,
        links=sum(bool(_LINK.search(t)) for t in texts) / n,
        dates=sum(isinstance(c, (dt.date, dt.datetime)) for c in cells) / n,
        designators=sum(bool(_DESIGNATOR.match(t)) for t in texts) / n,
        codes=sum(bool(_CODE.match(t)) for t in texts) / n,
        dotted=sum(bool(_DOTTED.match(t)) for t in texts) / n,
        long_numbers=sum(isinstance(c, float) and c.is_integer() and c >= LONG_NUMBER for c in cells) / n,
        words=sum(any(ch.isalpha() for ch in t) and len(t) > 1 for t in texts) / n,
        counting=_counts_up(read.value),
        distinct=len({str(c) for c in cells if c not in ("", None)}) / n,
        length=float(np.median(lengths)) if lengths else 0.0,
        read=read,
    )


def _counts_up(values: NDArray[np.float64]) -> bool:
    numbers = values[~np.isnan(values)]
    if len(numbers) < 3 or numbers[0] not in (0, 1):  # noqa: PLR2004  (two numbers count up by chance)
        return False
    return bool(np.mean(np.diff(numbers) == 1) > 0.8)  # noqa: PLR2004  (a few lines may be numbered twice)
