"""Raw cells → numbers, dates, codes and flags, column by column, with what could not be read and what was assumed.

Every distinct text is read once. Nothing is filled in: what cannot be read is missing, with a word why.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bomaudit.tables.distinct import all_texts, distinct, each
from bomaudit.tables.money import MARK, code_of
from bomaudit.tables.sheets import Cells

Floats = NDArray[np.float64]

_NUMBER = (
    r"\d+(?:[.,]\d+)?[eE][-+]?\d{1,3}(?!\w)|"
    r"\d{1,3}(?:[ '’]\d{3})+(?:[.,]\d+)?(?!\d)|"
    r"\d{1,3}(?:,\d{2,3})+(?:\.\d+)?(?!\d)|"
    r"\d{1,3}(?:\.\d{3})+(?:,\d+)?(?!\d)|"
    r"\d+(?:[.,]\d+)?|"
    r"[.,]\d+"
)
"""A number in any writing: with exponent; with spaces, commas or points between thousands; plain; from its mark on."""
_ONE = re.compile(_NUMBER)
_PLAIN = {".": re.compile(r"-?\d+(?:\.\d+)?"), ",": re.compile(r"-?\d+(?:,\d+)?")}
"""Numbers that need no closer look once the decimal mark is known."""
_ENOUGH = 20_000
"""Distinct numbers of a column that are asked for its decimal mark."""
_RANGE = re.compile(
    rf"^(?P<a>{_NUMBER})\s*(?:-|–|—|~|\.\.+|\bto\b|\bbis\b|\bà\b|\ba\b|\bдо\b|～|〜)\s*(?P<b>{_NUMBER})(?P<rest>.*)$"
)
_SINGLE = re.compile(rf"^(?P<sign>[-+])?\s*(?P<a>{_NUMBER})(?P<rest>.*)$", re.DOTALL)
_WHOLE = re.compile(r"(?<=\d)(?P<mark>[.,])\s*[-–—]{1,2}$")
"""What stands for no cents: 12.- and 12,-- are twelve."""
_APPROX = re.compile(
    r"^(?:~|≈|±|<|>|≤|≥|ca\.?|approx\.?|about|circa|etwa|rund|env\.?|environ|ok\.|около|约|約)\s*(?=[\d.,$€£¥-])",
    re.IGNORECASE,
)
_PER_WORDS = r"(?:/|\bper\b|\bpro\b|\bje\b|\bpar\b|\bpor\b|\bza\b|\bna\b|\bза\b)"
_PER = re.compile(
    _PER_WORDS + r"\s*"
    r"(?P<n>\d[\d.,' ]*)?\s*(?P<unit>[^\W\d_%]*\.?)\s*$",
    re.IGNORECASE,
)
_PER_FIRST = re.compile("^(?:" + _PER_WORDS + r"|\bpe\b)?\s*(?:\w+\s+(?:of|à|zu|de|a)\s+)?(?=\d)", re.IGNORECASE)
DASHES = frozenset({"-", "–", "—", "--", "---", "----", "−", "=", "~", ".", "_", "/", "\\", "*", "?", "??", "x", "X"})
MISSING_WORDS = frozenset([
    "na", "n/a", "n.a.", "n.a", "nan", "none", "null", "nil", "tbd", "tba", "tbc", "tbq", "unknown", "unbekannt",
    "k.a.", "k.a", "keine", "inconnu", "nd", "n.d.", "s/d", "brak", "b/d", "нет", "н/д", "无", "無", "なし", "없음",
    "#n/a", "#ref!", "#value!", "#name?", "#div/0!", "#null!", "#num!",
])  # fmt: skip
ERROR_WORDS = frozenset(["#ref!", "#value!", "#name?", "#div/0!", "#null!", "#num!", "#n/a"])


@dataclass(frozen=True)
class Amounts:
    """Numbers read from a column.

    Attributes
    ----------
    value, low, high : float arrays
        The number; low and high only where the cell states a range (then value is the middle).
    currency, mark : object arrays of str
        ISO code of the currency mark in the cell and the mark itself, "" where there is none.
    per : float array
        "per 100" in the cell → 100; NaN where not said.
    unit : object array of str
        Unit or other words after the number.
    per_unit : object array of str
        "per kg" in the cell → kg; "" where not said.
    state : object array of str
        "" read · blank · dash · words · range · approx · extra (words after the number were passed over) · date ·
        scaled (stated in cents or thousands of a currency, and brought to it) · error.
    """

    value: Floats
    low: Floats
    high: Floats
    currency: NDArray[np.object_]
    mark: NDArray[np.object_]
    per: Floats
    unit: NDArray[np.object_]
    per_unit: NDArray[np.object_]
    state: NDArray[np.object_]

    def times(self, scale: float) -> Amounts:
        """The same numbers, each so many times as large; those that say themselves what they are multiples of stay."""
        if scale == 1:
            return self
        each_by = np.where(self.state == "scaled", 1.0, scale)
        return replace(self, value=self.value * each_by, low=self.low * each_by, high=self.high * each_by)


@dataclass(frozen=True)
class _Read:
    value: float = np.nan
    low: float = np.nan
    high: float = np.nan
    currency: str = ""
    mark: str = ""
    per: float = np.nan
    unit: str = ""
    per_unit: str = ""
    state: str = ""


def plain(text: str) -> str:
    """One form of a text: compatibility characters folded, spaces single, minus signs and nbsp made plain."""
    folded = unicodedata.normalize("NFKC", text).replace("−", "-")
    return re.sub(r"\s+", " ", folded).strip()


def decimal_mark(texts: Iterable[str]) -> tuple[str, bool]:
    """Decimal mark that the texts of a column prove, and whether some cells stay open ("1,234" reads both ways).

    Returns
    -------
    mark : str
        "." or "," where the evidence points one way; "" where there is none or it is even.
    open : bool
        True if a cell reads both ways.
    """
    marked = "\n".join(t for t in islice(dict.fromkeys(texts), _ENOUGH) if "." in t or "," in t)
    verdicts = [_mark_of(t) for t in dict.fromkeys(_ONE.findall(marked))]
    point, comma, ambiguous = verdicts.count("."), verdicts.count(","), "?" in verdicts
    if point == comma:
        return "", ambiguous
    return ("." if point > comma else ","), ambiguous


def texts_in(cells: Cells) -> list[str]:
    """Return the texts of a column, of a long one the distinct ones."""
    if all_texts(cells):
        return list(distinct(cells)[1])
    return [c for c in cells if c.__class__ is str]


def _mark_of(token: str) -> str:
    """Decimal mark a number proves: "." or ",", "?" where it reads both ways, "" where it has none."""
    token = re.sub(r"[eE].*$", "", token)
    points, commas = token.count("."), token.count(",")
    if points and commas:
        return "." if token.rfind(".") > token.rfind(",") else ","
    if points + commas == 0:
        return ""
    mark = "." if points else ","
    if points + commas > 1:
        return "," if mark == "." else "."
    head, _, tail = token.partition(mark)
    if len(tail) != 3 or not head or len(head) > 3 or head.startswith("0"):  # noqa: PLR2004  (groups are of three)
        return mark
    return "?"


def to_number(token: str, decimal: str) -> float:
    """Read one number token; ``decimal`` settles what reads both ways ("" counts as ".")."""
    verdict = _mark_of(token)
    mark = (decimal or ".") if verdict in ("?", "") else verdict
    other = "," if mark == "." else "."
    cleaned = re.sub(r"[ '’]", "", token).replace(other, "")
    return float(cleaned.replace(mark, "."))


_LARGEST = 1e30
"""No quantity, price or volume of the trade is larger, nor smaller than one over it; beyond, products overflow."""
_LONGEST = 300
"""A longer text is a note, not an amount. [characters]"""


def read_amount(text: str, decimal: str = "", *, money: bool = True) -> _Read:
    """Read the text of a money or quantity cell; currency marks are looked for in money only ("12 ft" is a length)."""
    if len(text) > _LONGEST:
        return _Read(state="words", unit=text[:_LONGEST])
    raw = plain(text)
    if not raw:
        return _Read(state="blank")
    lower = raw.lower()
    if raw in DASHES:
        return _Read(state="dash")
    if lower in MISSING_WORDS:
        return _Read(state="error" if lower in ERROR_WORDS else "words", unit=raw)
    currency, mark, body = (
        _take_currency(raw) if money else ("", "", re.sub(r"^[x×]\s*(?=\d)", "", raw, flags=re.IGNORECASE))
    )
    per, per_unit, body = _take_per(body)
    if not money and np.isfinite(per):
        return _Read(state="words", unit=raw)  # 1/2 is neither one nor two
    body = _WHOLE.sub(r"\g<mark>00", body)
    negative = bool(re.fullmatch(r"\(\s*[\d.,' ]+\)", body)) or body.endswith("-")
    body = body.strip("() ").rstrip("-").strip() if negative else body
    body, approx = _take_approx(body)
    got = _numbers_in(raw, body, decimal, currency=(currency, mark), per=per, negative=negative, approx=approx)
    got = _to_currency(got, marked=bool(mark)) if money else got
    return replace(got, per_unit=per_unit) if per_unit else got


_SCALES = {"ct": 0.01, "cts": 0.01, "cent": 0.01, "cents": 0.01, "¢": 0.01, "k": 1000.0, "teur": 1000.0, "keur": 1000.0}


def _to_currency(got: _Read, *, marked: bool) -> _Read:
    """Bring an amount in cents or thousands to its currency: 12 ct, 3k, 0.35 T€."""
    word = got.unit.lower().rstrip(".")
    scale = 1000.0 if marked and got.unit == "T" else _SCALES.get(word, 1.0)
    if scale == 1 or not np.isfinite(got.value):
        return got
    return replace(got, value=got.value * scale, low=got.low * scale, high=got.high * scale, unit="", state="scaled",
                   currency="EUR" if word.endswith("eur") else got.currency)  # fmt: skip


def _take_currency(raw: str) -> tuple[str, str, str]:
    marks = list(MARK.finditer(raw))
    if not marks:
        return "", "", raw
    body = MARK.sub(" ", raw)
    body = re.sub(r"\s+", " ", body).strip()
    body = re.sub(r"^([-+~])\s+", r"\1", body)
    return code_of(marks[0]), marks[0].group(0), body.removesuffix(".") if body.endswith(" .") else body


def _take_per(body: str) -> tuple[float, str, str]:
    match = _PER.search(body)
    if match is None or match.start() == 0:
        return np.nan, "", body
    if not match["n"] and not match["unit"]:
        return np.nan, "", body
    digits = re.sub(r"[ .,']", "", match["n"] or "")
    return (float(digits) if digits else np.nan), match["unit"], body[: match.start()].strip()


def _take_approx(body: str) -> tuple[str, bool]:
    stripped = _APPROX.sub("", body)
    return stripped.strip(), stripped != body


def _numbers_in(
    raw: str, body: str, decimal: str, *, currency: tuple[str, str], per: float, negative: bool, approx: bool
) -> _Read:
    spread = _RANGE.match(re.sub(r"(?<=[-–—~])\s*~", "", body))
    if spread is not None and not negative:
        low, high = to_number(spread["a"], decimal), to_number(spread["b"], decimal)
        if low <= high:
            return _Read((low + high) / 2, low, high, *currency, per=per, unit=spread["rest"].strip(), state="range")
    single = _SINGLE.match(body)
    if single is None:
        return _Read(state="words", unit=raw)
    value = to_number(single["a"], decimal) * (-1 if negative or single["sign"] == "-" else 1)
    rest = single["rest"].strip()
    if rest.startswith("%"):
        value, rest = value / 100, rest[1:].strip()
    if re.search(r"\d", re.sub(r"\(.*?\)", "", rest)):
        return _Read(state="words", unit=raw)
    state = "approx" if approx else ("extra" if rest else "")
    return _Read(value, np.nan, np.nan, *currency, per=per, unit=rest, state=state)


def amounts(cells: Cells, decimal: str = "", *, money: bool = True) -> Amounts:
    """Read a column of money or quantities.

    Parameters
    ----------
    cells : object array, shape (rows,)
    decimal : str
        Decimal mark for texts that read both ways; "" reads them with a point.
    money : bool
        Look for currency marks.
    """
    n = len(cells)
    value, low, high, per = (np.full(n, np.nan) for _ in range(4))
    currency, mark, unit, per_unit, state = (np.full(n, "", dtype=object) for _ in range(5))
    if all_texts(cells):
        types = np.zeros(n, dtype=np.int8)
    else:
        types = np.array([_TYPE_CODES.get(type(c), 5) for c in cells], dtype=np.int8)
    numbers = types == 1
    value[numbers] = cells[numbers].astype(float)
    state[types == 2] = "date"  # noqa: PLR2004
    texts = np.flatnonzero((types == 0) | (types == 5))  # noqa: PLR2004
    if len(texts):
        _fill_texts(cells, texts, decimal, money, (value, low, high, currency, mark, per, unit, per_unit, state))
    odd = numbers & ~np.isfinite(value)
    value[odd], state[odd] = np.nan, "error"
    endless = np.isinf(value) | np.isinf(low) | np.isinf(high) | np.isinf(per)
    state[endless] = "words"  # more digits than any amount has
    with np.errstate(invalid="ignore"):
        absurd = (np.abs(value) > _LARGEST) | ((np.abs(value) < 1 / _LARGEST) & (value != 0))
    state[absurd] = "absurd"
    for array in (value, low, high, per):
        array[endless | absurd] = np.nan
    return Amounts(value, low, high, currency, mark, per, unit, per_unit, state)


_TYPE_CODES: dict[type, int] = {
    str: 0, float: 1, int: 1, dt.datetime: 2, dt.date: 2, dt.time: 2, dt.timedelta: 2, bool: 5,
}  # fmt: skip


def _fill_texts(cells: Cells, where: NDArray[np.intp], decimal: str, money: bool, into: tuple[Any, ...]) -> None:
    import pandas as pd  # noqa: PLC0415

    value, low, high, currency, mark, per, unit, per_unit, state = into
    own = cells if len(where) == len(cells) else cells[where]
    codes, values = distinct(own) if all_texts(own) else pd.factorize(_as_texts(own))
    is_plain = _PLAIN[decimal or "."].fullmatch
    plain_at = np.array([is_plain(t) is not None for t in values], dtype=bool)
    numbers = np.full(len(values), np.nan)
    numbers[plain_at] = [float(t.replace(",", ".")) for t in values[plain_at]]
    value[where] = numbers[codes]
    where, codes = where[~plain_at[codes]], codes[~plain_at[codes]]
    if not len(where):
        return
    codes, left = pd.factorize(codes)
    reads = [read_amount(values[i], decimal, money=money) for i in left]
    for array, name in ((value, "value"), (low, "low"), (high, "high"), (per, "per")):
        array[where] = np.array([getattr(r, name) for r in reads], dtype=float)[codes]
    words = ((currency, "currency"), (mark, "mark"), (unit, "unit"), (per_unit, "per_unit"), (state, "state"))
    for array, name in words:
        array[where] = np.array([getattr(r, name) for r in reads], dtype=object)[codes]


def pieces(cells: Cells) -> Cells:
    """Cells of a column that says how many pieces a price is for, as numbers: "per reel of 3000" → "3000", C → "100".

    M is a thousand only where another cell of the column is E or C: alone it may be metres.
    """
    codes = {c.strip() for c in cells if isinstance(c, str)} & {"E", "C"}
    counted = _PIECES if codes else {}
    return each(cells, lambda c: counted.get(c.strip(), _PER_FIRST.sub("", c.strip())) if isinstance(c, str) else c)


_PIECES = {"E": "1", "C": "100", "M": "1000"}
"""Letters of price lists: a price each, per hundred, per thousand. [pieces]"""


def _as_texts(cells: Cells) -> Cells:
    words = np.empty(len(cells), dtype=object)
    words[:] = [str(c) for c in cells]
    return words


def texts(cells: Cells) -> NDArray[np.object_]:
    """Read a column of words: spaces trimmed, numbers as written without a needless ".0"."""
    if all_texts(cells):
        return np.fromiter(map(str.strip, cells), dtype=object, count=len(cells))
    return each(cells, _text)


def _text(cell: Any) -> str:
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)  # noqa: PLR2004
    if isinstance(cell, dt.datetime) and cell.time() == dt.time():
        return cell.date().isoformat()
    return "" if cell is None else str(cell)


_YES = frozenset([
    "y", "yes", "true", "1", "x", "✓", "✔", "ja", "j", "oui", "o", "si", "sí", "s", "sim", "tak", "t", "да", "是",
    "はい", "예", "wahr", "vrai",
])  # fmt: skip
_NO = frozenset([
    "n", "no", "false", "0", "nein", "non", "não", "nie", "нет", "否", "いいえ", "아니오", "falsch", "faux",
])  # fmt: skip


def flags(cells: Cells) -> tuple[NDArray[np.object_], NDArray[np.bool_]]:
    """Read a column of yes and no; returns True, False or None, and where a text is neither."""
    words = each(cells, lambda c: _text(c).lower())
    values = each(words, lambda w: True if w in _YES else (False if w in _NO else None))
    unread = each(words, lambda w: bool(w) and w not in _YES and w not in _NO and w not in DASHES, bool)
    return values, unread
