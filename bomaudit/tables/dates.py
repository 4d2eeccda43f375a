"""Cells → dates and periods: serial numbers, ISO, day and month in either order, quarters, months, years."""

from __future__ import annotations

import calendar
import datetime as dt
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bomaudit.tables.cells import plain
from bomaudit.tables.distinct import all_texts, distinct
from bomaudit.tables.sheets import Cells

_MONTHS = (
    "jan januar january janvier janv ene enero gennaio gen janeiro januari sty styczen stycznia янв январь января",
    "feb februar february fevrier fevr febrero febbraio fev fevereiro februari lut luty lutego фев февраль февраля",
    "mar marz maerz mrz march mars marzo março marco maart mrt marzec marca мар март марта",
    "apr april avril avr abr abril aprile kwi kwiecien kwietnia апр апрель апреля",
    "may mai mayo maggio mag maio mei maj maja май мая",
    "jun juni june juin junio giugno giu junho cze czerwiec czerwca июн июнь июня",
    "jul juli july juillet juil julio luglio lug julho lip lipiec lipca июл июль июля",
    "aug august aout ago agosto augustus sie sierpien sierpnia авг август августа",
    "sep sept september septembre septiembre set settembre setembro wrz wrzesien wrzesnia сен сент сентябрь сентября",
    "oct okt october oktober octobre octubre ott ottobre out outubro paz pazdziernik окт октябрь октября",
    "nov november novembre noviembre novembro lis listopad ноя ноябрь ноября",
    "dec dez december dezember decembre dic diciembre dicembre dezembro gru grudzien дек декабрь декабря",
)
MONTHS = {word: i + 1 for i, words in enumerate(_MONTHS) for word in words.split()}
_EXCEL_EPOCH = dt.datetime(1899, 12, 30)  # noqa: DTZ001  (spreadsheet dates have no zone)
_SERIALS = (20_000, 80_000)
"""Serial numbers taken as dates: 1954 to 2119."""
_YEARS = (1900, 2150)


@dataclass(frozen=True)
class Dates:
    """Dates read from a column.

    Attributes
    ----------
    value : datetime64[us] array
        The day; for a week (ISO 8601), month, quarter or year its last day. NaT where missing.
    precision : object array of str
        day, week, month, quarter, year; "" where missing.
    unread : bool array
        A cell that holds something that is no date.
    either : bool array
        A cell that reads day first or month first, and nothing in the column says which.
    day_first : bool
        How such cells were read.
    """

    value: NDArray[np.datetime64]
    precision: NDArray[np.object_]
    unread: NDArray[np.bool_]
    either: NDArray[np.bool_]
    day_first: bool


_YMD = re.compile(r"^(\d{4})[-./年](\d{1,2})[-./月](\d{1,2})日?(?:[T ].*)?$")
_COMPACT = re.compile(r"^(19|20)(\d{2})(\d{2})(\d{2})$")
_TWO_FIRST = re.compile(r"^(\d{1,2})([-./ ])(\d{1,2})\2(\d{4}|\d{2})(?: .*)?$")
_YEAR_MONTH = re.compile(r"^(\d{4})[-./年M](\d{1,2})月?$|^(\d{1,2})[-./](\d{4})$")
_QUARTER = re.compile(
    r"^(?:q|t|kw?a?r?t?a?l?\.?)\s*([1-4])[\s/.-]*(\d{4})$|^(\d{4})[\s/.-]*(?:q|t)\s*([1-4])$|^([1-4])\.?\s*(?:q|quartal|quarter|trimestre)\s*(\d{4})$",
    re.IGNORECASE,
)
_WEEK = re.compile(
    r"^(?:kw|cw|w|wk|week|semaine|sem|tydz|nedelya)\.?\s*(\d{1,2})[\s/.-]+(\d{4}|\d{2})$|^(\d{4})[\s/.-]*(?:kw|cw|w)\s*(\d{1,2})$",
    re.IGNORECASE,
)
_YEAR = re.compile(r"^(?:fy|cy)?\s*(\d{4})(?:年|\.0)?$", re.IGNORECASE)
_NAMED = re.compile(
    r"^(?:(\d{1,2})(?:st|nd|rd|th|\.)?[\s/-]*(?:de\s+)?)?([^\W\d_]{3,})\.?,?[\s/-]*(?:de\s+)?(\d{4}|\d{2})$"
)
_NAMED_US = re.compile(r"^([^\W\d_]{3,})\.?\s+(\d{1,2})(?:st|nd|rd|th)?,?\s+(\d{4})$")


def dates(cells: Cells, *, day_first: bool | None = None) -> Dates:
    """Read a column of dates or periods.

    Parameters
    ----------
    cells : object array, shape (rows,)
    day_first : bool or None
        Settles cells that read both ways; None: day first, reported in ``either``.

    Notes
    -----
    A component above 12 in either place proves the order for the whole column; dots always mean day first.
    """
    if all_texts(cells):
        at, values = distinct(cells)
        seen = [v.strip() for v in values]
    else:
        places: dict[Any, int] = {}
        keys = (c.strip() if isinstance(c, str) else c for c in cells)
        at = np.array([places.setdefault(k, len(places)) for k in keys], dtype=np.intp)
        seen = list(places)
    first, both_ways = _order([k for k in seen if isinstance(k, str)])
    open_order = (first is None or both_ways) and day_first is None
    by_column = first is not None and not (both_ways and day_first is not None)
    order = bool(first) if by_column else (True if day_first is None else day_first)
    spans = _spanning_years([k for k in seen if isinstance(k, str)])
    reads = [(None, "", False) if k is None or k == "" or k in spans else _read(k, order) for k in seen]
    blank = np.array([k is None or k == "" for k in seen], dtype=bool)
    value = np.array(
        [np.datetime64("NaT", "us") if day is None else np.datetime64(day) for day, _, _ in reads],
        dtype="datetime64[us]",
    )
    precision = np.array([p for _, p, _ in reads], dtype=object)
    unread = np.array([day is None for day, _, _ in reads], dtype=bool) & ~blank
    either = np.array([both and open_order for _, _, both in reads], dtype=bool)
    return Dates(value[at], precision[at], unread[at], either[at], order)


_LENGTHS = (12, 6, 3)  # months: years, half years and quarters begin with a month that these divide


def period_ends(first_days: NDArray[np.datetime64], names: NDArray[Any]) -> NDArray[np.datetime64]:
    """Last days of periods that are stated by their first ones, as databases and year formats of spreadsheets do.

    Parameters
    ----------
    first_days : datetime64 array, shape (rows,)
        First days of months; NaT where missing.
    names : array, shape (rows,)
        Which series each row is of: it says by its steps how long its periods are; one row alone, by those of all.

    Returns
    -------
    datetime64 array, shape (rows,)
    """
    month = first_days.astype("datetime64[M]")
    number = month.astype(np.int64)
    length = np.ones(len(number), dtype=np.int64)
    for name in set(names[~np.isnat(month)].tolist()):
        rows = (names == name) & ~np.isnat(month)
        stated = np.unique(number[rows])
        stated = stated if len(stated) > 1 else np.unique(number[~np.isnat(month)])
        step = np.diff(stated).min(initial=max(_LENGTHS))
        length[rows] = next((n for n in _LENGTHS if n <= step and not (stated % n).any()), 1)
    return ((month + length).astype("datetime64[D]") - 1).astype(first_days.dtype)


_TWO_YEARS = re.compile(r"^(\d{4})[-/](\d{2})$")


def _spanning_years(texts: list[str]) -> set[str]:
    """Cells such as 2011/12 where the column shows that they are years from one to the next, not months.

    They are if each names the year after its own, and one of them can be no month or there are three: months that are
    13 apart are none. When such a year ends differs by country, so they are left unread.
    """
    found = {text: match for text in texts if (match := _TWO_YEARS.match(plain(text)))}
    next_year = all((int(m[1]) + 1) % 100 == int(m[2]) for m in found.values())
    proven = len(found) > 2 or any(not 1 <= int(m[2]) <= 12 for m in found.values())  # noqa: PLR2004
    return set(found) if next_year and proven else set()


def _order(texts: list[str]) -> tuple[bool | None, bool]:
    """Day first (True), month first (False), or not proven (None); and whether cells prove both."""
    day = month = 0
    for text in set(texts):
        match = _TWO_FIRST.match(plain(text))
        if match:
            a, b = int(match[1]), int(match[3])
            day += a > 12 >= b or match[2] == "."  # noqa: PLR2004
            month += b > 12 >= a  # noqa: PLR2004
    return (None if day == month else day > month), min(day, month) > 0


def _read(key: Any, day_first: bool) -> tuple[dt.date | None, str, bool]:
    """Read one cell: the day or None, its precision, whether its order is open."""
    if isinstance(key, dt.datetime):
        return key.date(), "day", False
    if isinstance(key, dt.date):
        return key, "day", False
    if isinstance(key, (int, float)) and not isinstance(key, bool):
        return (*_from_number(float(key)), False)
    text = plain(str(key))
    match = _TWO_FIRST.match(text)
    if match:
        a, b = int(match[1]), int(match[3])
        day, month = (a, b) if ((day_first or match[2] == ".") and b <= 12) or a > 12 else (b, a)  # noqa: PLR2004
        both = a <= 12 and b <= 12 and a != b and match[2] != "."  # noqa: PLR2004
        found = _day(_full_year(match[4]), month, day)
        return found, "day" if found else "", both
    found, precision = _from_text(text)
    return found, precision, False


def _from_number(number: float) -> tuple[dt.date | None, str]:
    if number.is_integer() and _YEARS[0] <= number <= _YEARS[1]:
        return dt.date(int(number), 12, 31), "year"
    if _SERIALS[0] <= number <= _SERIALS[1]:
        return (_EXCEL_EPOCH + dt.timedelta(days=int(number))).date(), "day"
    return _from_text(str(int(number))) if number.is_integer() else (None, "")


def _from_text(text: str) -> tuple[dt.date | None, str]:
    for pattern, reader in _READERS:
        match = pattern.match(text)
        if match:
            found, precision = reader(match)
            if found is not None:
                return found, precision
    return None, ""


def _named(match: re.Match[str]) -> tuple[dt.date | None, str]:
    month = _month(match[2])
    if month is None:
        return None, ""
    year = _full_year(match[3])
    if match[1] is None:
        return _month_end(year, month), "month"
    return _day(year, month, int(match[1])), "day"


def _named_us(match: re.Match[str]) -> tuple[dt.date | None, str]:
    month = _month(match[1])
    return (None, "") if month is None else (_day(int(match[3]), month, int(match[2])), "day")


def _quarter(match: re.Match[str]) -> tuple[dt.date | None, str]:
    groups = match.groups()
    quarter = int(groups[0] or groups[3] or groups[4])
    year = int(groups[1] or groups[2] or groups[5])
    return _month_end(year, quarter * 3), "quarter"


def _week(match: re.Match[str]) -> tuple[dt.date | None, str]:
    year, week = _full_year(match[2] or match[3]), int(match[1] or match[4])
    try:
        return dt.date.fromisocalendar(year, week, 7), "week"
    except ValueError:
        return None, ""


def _year_month(match: re.Match[str]) -> tuple[dt.date | None, str]:
    year, month = int(match[1] or match[4]), int(match[2] or match[3])
    return (_month_end(year, month), "month") if 1 <= month <= 12 else (None, "")  # noqa: PLR2004


_READERS: tuple[tuple[re.Pattern[str], Any], ...] = (
    (_YMD, lambda m: (_day(int(m[1]), int(m[2]), int(m[3])), "day")),
    (_COMPACT, lambda m: (_day(int(m[1] + m[2]), int(m[3]), int(m[4])), "day")),
    (_YEAR_MONTH, _year_month),
    (_QUARTER, _quarter),
    (_WEEK, _week),
    (_YEAR, lambda m: (dt.date(int(m[1]), 12, 31) if _YEARS[0] <= int(m[1]) <= _YEARS[1] else None, "year")),
    (_NAMED, _named),
    (_NAMED_US, _named_us),
)


def _month(word: str) -> int | None:
    import unicodedata  # noqa: PLC0415

    folded = "".join(c for c in unicodedata.normalize("NFKD", word.lower()) if not unicodedata.combining(c))
    return MONTHS.get(folded, MONTHS.get(word.lower()))


def _full_year(digits: str) -> int:
    """Two digits mean 2000-2069 or 1970-1999 (the POSIX rule moved by a year)."""
    year = int(digits)
    if len(digits) == 4:  # noqa: PLR2004
        return year
    return 2000 + year if year < 70 else 1900 + year  # noqa: PLR2004


def _day(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day) if _YEARS[0] <= year <= _YEARS[1] else None
    except ValueError:
        return None


def _month_end(year: int, month: int) -> dt.date | None:
    return _day(year, month, calendar.monthrange(year, month)[1]) if _YEARS[0] <= year <= _YEARS[1] else None
