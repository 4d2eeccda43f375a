"""One column of raw cells → the kind the glossary asks for, with a finding for what could not be read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.findings import Finding, Severity, note, warning
from bomaudit.glossary import Column
from bomaudit.safe_text import steers, without_controls
from bomaudit.settings import ReadSection
from bomaudit.tables import codes
from bomaudit.tables.cells import Amounts, amounts, decimal_mark, flags, texts, texts_in
from bomaudit.tables.dates import dates
from bomaudit.tables.distinct import each
from bomaudit.tables.evidence import agrees
from bomaudit.tables.sheets import Cells, Sheet, letter

SHOWN = 5
"""Cells with the same trouble that get a finding each; the rest is counted in one more."""


@dataclass(frozen=True)
class Place:
    """Where a column stands: for findings."""

    sheet: Sheet
    column: int
    name: str
    rows: NDArray[np.intp]
    """1-based row of each cell."""

    def at(self, i: int) -> dict[str, Any]:
        """File, sheet, row and column of cell ``i``."""
        return {
            "file": self.sheet.file,
            "sheet": self.sheet.name,
            "row": int(self.rows[i]),
            "column": letter(self.column),
        }

    def whole(self) -> dict[str, Any]:
        """File, sheet and column."""
        return {"file": self.sheet.file, "sheet": self.sheet.name, "column": letter(self.column)}


def cell_findings(place: Place, where: Sequence[int], cells: Cells, template: Finding) -> list[Finding]:
    """One finding a cell up to :data:`SHOWN`, then one that counts the rest."""
    made = [replace(template, **place.at(i), found=repr(_shown(cells[i]))) for i in where[:SHOWN]]
    if len(where) > SHOWN:
        rest = [int(place.rows[i]) for i in where[SHOWN:]]
        found = f"{len(rest)} more such cells, rows {rest[0]} to {rest[-1]}"
        made.append(replace(template, **place.whole(), found=found))
    return made


def _shown(cell: Any) -> Any:
    return cell[:60] if isinstance(cell, str) else cell


def column_decimal(cells: Cells, read: ReadSection, pooled: str) -> tuple[str, bool]:
    """Decimal mark for a column, and whether it was assumed: its own evidence, the file's, the setting, a point."""
    own, open_cells = decimal_mark(texts_in(cells))
    if own or not open_cells:
        return own or pooled or read.decimal, False
    return (pooled or read.decimal, False) if pooled or read.decimal else (".", True)


def read_amounts(
    cells: Cells, place: Place, read: ReadSection, pooled: str, *, money: bool = True
) -> tuple[Amounts, list[Finding]]:
    """Read money or quantities and say which cells could not be read, or read only by an assumption."""
    mark, assumed = column_decimal(cells, read, pooled)
    got = amounts(cells, mark, money=money)
    return got, amount_findings(got, cells, place, assumed=assumed)


def amount_findings(got: Amounts, cells: Cells, place: Place, *, assumed: bool) -> list[Finding]:
    """Say which cells of a column of numbers could not be read, or read only by an assumption.

    Parameters
    ----------
    got : Amounts
    cells : object array
    place : Place
    assumed : bool
        Whether the decimal mark is assumed: then cells that read both ways are told.
    """
    findings = []
    if assumed:
        where = [i for i, c in enumerate(cells) if isinstance(c, str) and decimal_mark([c])[1]]
        findings += cell_findings(
            place,
            where,
            cells,
            warning(
                "T030",
                f"{place.name} must show which mark is the decimal one",
                assumed="read as a decimal point with thousands commas",
                advice="set decimal in [read] of audit.toml",
            ),
        )
    for state in _TROUBLES:
        where = [int(i) for i in np.flatnonzero(got.state == state)]
        if where:
            findings += cell_findings(place, where, cells, _named(state, place.name))
    return findings


_NOT_KNOWN = "taken as not known"
_TROUBLES = {
    "words": warning("T031", "{} must be a number", assumed=_NOT_KNOWN, advice="put the number there if it is known"),
    "dash": note("T032", "{} is left open with a dash", assumed="taken as not known"),
    "extra": note("T033", "{} has words after the number", assumed="the number was taken"),
    "scaled": warning("T092", "{} is stated in cents or thousands of a currency", assumed="brought to the currency"),
    "approx": note("T034", "{} is stated as approximate", assumed="the number was taken"),
    "range": warning("T035", "{} is a range", assumed="its middle was taken, its ends kept as low and high"),
    "date": warning("T036", "{} must be a number, not a date", assumed=f"{_NOT_KNOWN}: a spreadsheet made a date of it",
                    advice="type the number again as text or with the other decimal mark"),
    "uncalculated": warning("T019", "{} must hold a result, not a formula never calculated", assumed=_NOT_KNOWN,
                            advice="open the file in a spreadsheet, let it calculate, and save it"),
    "absurd": warning("T060", "{} must be a number that can be meant", assumed=_NOT_KNOWN, advice="correct the number"),
    "error": warning("T037", "{} must be a number, not an error", assumed=_NOT_KNOWN, advice="repair the formula"),
}  # fmt: skip


def extension_findings(place: Place, product: NDArray[np.float64], stated: NDArray[np.float64]) -> list[Finding]:
    """T053: lines whose extended cost is not quantity × unit cost."""
    off = ~np.isnan(product) & ~np.isnan(stated) & ~agrees(product, stated)
    if not off.any():
        return []
    shown = np.array(
        [f"{s:.12g} where qty × unit cost is {p:.12g}" for s, p in zip(stated, product, strict=True)], dtype=object
    )
    return cell_findings(place, [int(i) for i in np.flatnonzero(off)], shown, warning(
        "T053", "extended cost must be quantity × unit cost", assumed="unit cost and quantity are kept as stated",
        advice="correct the line; a pack price or a rounded piece price is the usual cause"))  # fmt: skip


def convert(
    column: Column, cells: Cells, place: Place, read: ReadSection, pooled: str = "", *, table: str = "bom"
) -> tuple[Any, list[Finding]]:
    """Convert a column by its glossary kind.

    Returns
    -------
    values : array
        object (text, code), float64 (money, number, share), datetime64[us] (date, period), boolean (flag).
    findings : list
    """
    if column.kind in ("text", "code"):
        return _words(table, column, cells, place)
    if column.kind in ("money", "number", "share"):
        got, findings = read_amounts(cells, place, read, pooled, money=column.kind == "money")
        if column.unit == "unit":
            return _units_made(got, cells, place, findings)
        return _as_share(got.value, cells, place, read) if column.kind == "share" else (got.value, findings)
    if column.kind == "flag":
        values, unread = flags(cells)
        template = warning("T038", f"{column.name} must be yes or no", assumed="taken as not known")
        return pd.array(values.tolist(), dtype="boolean"), cell_findings(
            place, [int(i) for i in np.flatnonzero(unread)], cells, template
        )
    return _dates(column, cells, place, read)


def _words(table: str, column: Column, cells: Cells, place: Place) -> tuple[Any, list[Finding]]:
    """Texts; in columns that take fixed codes, the codes. The kinds of decision elements are words of their own."""
    words, cleaned = clean_words(texts(cells), cells, place)
    if not codes.has_codes(column.name) or (column.name == "kind" and table != "quotes"):
        return words, cleaned
    found, odd = codes.to_codes(column.name, words)
    template = warning(
        "T063", f"{column.name} must be one of {', '.join(codes.codes_of(column.name))}", assumed="kept as it is"
    )
    return found, cleaned + cell_findings(place, [int(i) for i in np.flatnonzero(odd)], cells, template)


def clean_words(words: NDArray[np.object_], cells: Cells, place: Place) -> tuple[NDArray[np.object_], list[Finding]]:
    """Drop what would steer a terminal; line ends and tabs within a cell stay."""
    doubtful = np.flatnonzero(~np.fromiter(map(str.isprintable, words), bool, len(words)))
    odd = [int(i) for i in doubtful if steers(words[i])]
    if not odd:
        return words, []
    words = words.copy()
    for i in odd:
        words[i] = without_controls(words[i])
    template = warning("T027", f"{place.name} must hold no control characters", assumed="they were removed")
    return words, cell_findings(place, odd, cells, template)


def _units_made(
    got: Amounts, cells: Cells, place: Place, findings: list[Finding]
) -> tuple[NDArray[np.float64], list[Finding]]:
    """Units made: growth in per cent is none, thousands and millions in words are multiplied."""
    share = each(cells, lambda c: isinstance(c, str) and "%" in c, bool)
    scale = each(got.unit, _scale_of, np.float64)
    findings = [f for f in findings if f.code != "T033"]
    for where, template in (
        (share, warning("T093", f"{place.name} must be a number of units, not a share or a growth", assumed=_NOT_KNOWN,
                        advice="state the units made")),
        ((got.state == "extra") & (scale == 1) & ~share, _named("extra", place.name)),
        ((scale != 1) & ~share, note("T094", f"{place.name} is stated in thousands, millions or billions",
                                     assumed="multiplied: units count")),
    ):  # fmt: skip
        findings += cell_findings(place, [int(i) for i in np.flatnonzero(where)], cells, template)
    return np.where(share, np.nan, got.value * scale), findings


_SCALES = {
    1e3: ("k", "K", "thousand", "tsd", "tausend"),
    1e6: ("M", "mn", "mio", "million", "millions", "millionen"),
    1e9: ("bn", "mrd", "milliard", "milliarde", "milliarden", "billion", "billions"),
}
_SCALE = {word: scale for scale, words in _SCALES.items() for word in words}


def _scale_of(words: str) -> float:
    """What the first word after a number multiplies it by."""
    first = words.split(maxsplit=1)[0].rstrip(".") if words.strip() else ""
    return _SCALE.get(first if len(first) == 1 else first.casefold(), 1.0)


def _named(state: str, name: str) -> Finding:
    return replace(_TROUBLES[state], message=_TROUBLES[state].message.format(name))


def _as_share(
    values: NDArray[np.float64], cells: Cells, place: Place, read: ReadSection
) -> tuple[NDArray[np.float64], list[Finding]]:
    """Shares, those that cannot be meant taken as not known."""
    values, findings = _per_cent(values, cells, place)
    low, high = _SHARES.get(place.name, (-np.inf, np.inf))
    if place.name == "scrap_rate" and read.scrap == "multiply":
        high = np.inf
    odd = (values < low) | (values >= high)
    if not odd.any():
        return values, findings
    must = f"at least {low:g}" + (f" and less than {high:g}" if high < np.inf else "")
    template = warning("T062", f"{place.name} must be {must}", assumed=_NOT_KNOWN, advice="correct the share")
    findings += cell_findings(place, [int(i) for i in np.flatnonzero(odd)], cells, template)
    return np.where(odd, np.nan, values), findings


_SHARES = {"scrap_rate": (0.0, 1.0), "agreed_reduction": (-1.0, 1.0)}
"""From which share to below which: nothing good would be left of a quantity that is all scrap, nor of a price."""


def _per_cent(values: NDArray[np.float64], cells: Cells, place: Place) -> tuple[NDArray[np.float64], list[Finding]]:
    """Numbers above 1 without a percent sign can only be meant as per cent."""
    plain = each(cells, lambda c: not (isinstance(c, str) and "%" in c), bool)
    large = plain & (np.abs(values) > 1)
    if not large.any():
        return values, []
    template = warning(
        "T039", f"{place.name} must be a share such as 0.12 or 12 %", assumed="numbers above 1 are read as per cent"
    )
    where = [int(i) for i in np.flatnonzero(large)]
    return np.where(plain & (np.abs(values) > 1), values / 100, values), cell_findings(place, where, cells, template)


def _dates(column: Column, cells: Cells, place: Place, read: ReadSection) -> tuple[Any, list[Finding]]:
    got = dates(cells, day_first=read.day_first)
    findings = cell_findings(
        place,
        [int(i) for i in np.flatnonzero(got.unread)],
        cells,
        warning(
            "T040", f"{column.name} must be a date such as 2019-03-31, Q1 2019 or 2019", assumed="taken as not known"
        ),
    )
    either = [int(i) for i in np.flatnonzero(got.either)]
    if either:
        findings += cell_findings(place, either, cells, warning(
            "T041", f"{column.name} must show whether the day or the month comes first",
            assumed="day first" if got.day_first else "month first",
            advice="set day_first in [read] of audit.toml"))  # fmt: skip
    coarse = sorted({p for p in pd.unique(got.precision) if p in ("week", "month", "quarter", "year")})
    if coarse and column.kind == "date":
        findings.append(Finding(
            code="T042", severity=Severity.NOTE, message=f"{column.name} is stated to the {' or '.join(coarse)} only",
            assumed="the last day of it is taken", **place.whole()))  # fmt: skip
    return got.value, findings
