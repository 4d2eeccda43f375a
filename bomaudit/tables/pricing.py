"""Price and quantity of each line as stated → unit cost per one unit: extended costs, packs, sets, ranges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bomaudit.findings import Finding, Severity, note, warning
from bomaudit.tables import units
from bomaudit.tables.cells import Amounts
from bomaudit.tables.evidence import agrees

Floats = NDArray[np.float64]
_WHOLE = frozenset("set sets lot pack satz zestaw jeu juego kit total all alles alle insgesamt komplett complete".split())
"""Words after a price that make it the price of the whole line, not of one piece."""


@dataclass(frozen=True)
class Priced:
    """Quantity and money of lines; all arrays one entry a line.

    Attributes
    ----------
    qty, unit_cost, low, high, extended, per : float arrays
    uom : object array of str
    findings : tuple
    """

    qty: Floats
    unit_cost: Floats
    low: Floats
    high: Floats
    extended: Floats
    per: Floats
    uom: NDArray[np.object_]
    findings: tuple[Finding, ...]


def price_lines(
    qty: Amounts | None, unit: Amounts | None, extended: Amounts | None, *, per: Floats | None, uom: NDArray[np.object_],
    rows: NDArray[np.intp], where: dict[str, Any],
) -> Priced:  # fmt: skip
    """Bring stated figures to one unit of each line.

    Parameters
    ----------
    qty, unit, extended : Amounts or None
        None where the table has no such column.
    per : float array or None
        Pieces the stated price is for.
    uom : object array
        Unit column, "" where absent.
    rows : int array
        1-based rows, for findings.
    where : dict
        File and sheet, for findings.
    """
    n = len(rows)
    nan = np.full(n, np.nan)
    found: list[Finding] = []

    def say(severity: Severity, code: str, message: str, at: NDArray[np.bool_], assumed: str, advice: str = "") -> None:
        if at.any():
            first = int(rows[np.flatnonzero(at)[0]])
            found.append(Finding(code=code, severity=severity, message=message, found=f"{int(at.sum())} lines, the first in row {first}",
                                 assumed=assumed, advice=advice, **{**where, "row": first}))  # fmt: skip

    quantity = qty.value.copy() if qty is not None else np.ones(n)
    words = qty.unit if qty is not None else np.full(n, "", dtype=object)
    if qty is None:
        found.append(warning("T050", "a quantity should be stated", **where, found="no quantity column", assumed="one of each line"))
    quantity, uom, clash = units.in_column_units(quantity, words, uom)
    say(Severity.WARNING, "T043", "the unit in the quantity must fit the unit column", clash, "the number is kept in the unit column's unit")
    negative = quantity < 0
    say(Severity.ERROR, "T044", "qty must be > 0, it is negative", negative, "taken as not known", "correct the cell")
    quantity[negative] = np.nan
    cost, low, high = (getattr(unit, k).copy() if unit is not None else nan.copy() for k in ("value", "low", "high"))
    total, total_low, total_high = (getattr(extended, k).copy() if extended is not None else nan.copy() for k in ("value", "low", "high"))
    per = _pieces(per, unit, n)
    scale = np.where(per > 0, per, 1.0)
    say(Severity.NOTE, "T052", "prices for more than one unit are brought to one", ~np.isnan(cost) & (scale != 1), "unit cost = price / pieces it is for")
    cost, low, high = cost / scale, low / scale, high / scale
    whole = _for_the_whole_line(quantity, words, cost, total, unit)
    say(Severity.WARNING, "T054", "a price for a set, pack or measured amount is the price of the whole line", whole, "unit cost = price / qty")
    share = np.where(whole & (quantity > 0), quantity, 1.0)
    cost, low, high = cost / share, low / share, high / share
    lump = np.isnan(quantity) & ~np.isnan(total) & (total != 0)
    say(Severity.WARNING, "T045", "a line with an extended cost must state a quantity", lump, "counted as one lot at its extended cost")
    quantity[lump], cost[lump] = 1.0, total[lump]
    derived = np.isnan(cost) & ~np.isnan(total) & (quantity > 0)
    say(Severity.NOTE, "T051", "unit cost is derived where only the extended cost is stated", derived, "unit cost = extended cost / qty")
    for target, source in ((cost, total), (low, total_low), (high, total_high)):
        target[derived] = source[derived] / quantity[derived]
    refund = cost < 0
    say(Severity.WARNING, "T046", "unit_cost must not be negative", refund, "taken as not known", "name a discount as such in the description")
    cost[refund] = np.nan
    return Priced(quantity, cost, low, high, total, per, uom, (*found, *_gaps(quantity, cost, rows, where)))


def _pieces(per: Floats | None, unit: Amounts | None, n: int) -> Floats:
    pieces = per.copy() if per is not None else np.full(n, np.nan)
    return np.where(np.isnan(pieces), unit.per, pieces) if unit is not None else pieces


def _for_the_whole_line(
    quantity: Floats, words: NDArray[np.object_], cost: Floats, total: Floats, unit: Amounts | None
) -> NDArray[np.bool_]:
    """Lines whose unit price is in truth that of the whole line: "8 (set)", or 50 g whose extended cost is the unit price."""
    if unit is None:
        return np.zeros(len(quantity), dtype=bool)
    whole = {u for u in set(unit.unit) if u and u.strip("() .").lower() in _WHOLE}
    said = np.array([u in whole for u in unit.unit], dtype=bool) & np.isnan(total)
    measures = {w for w in set(words) if w and units.is_measure(units.spelling(w))}
    measured = np.array([w in measures for w in words], dtype=bool)
    with np.errstate(invalid="ignore"):
        packed = measured & agrees(cost, total) & ~agrees(cost * quantity, total)
    return (said | packed) & (quantity != 1)


def _gaps(quantity: Floats, cost: Floats, rows: NDArray[np.intp], where: dict[str, Any]) -> list[Finding]:
    """Missing and zero figures, counted."""
    findings = []
    missing, zero, none = np.isnan(cost), cost == 0, np.isnan(quantity)
    if missing.all() and len(cost):
        findings.append(warning("T047", "lines should state a price", **where, found="no line has one", advice="name the price column in [columns.bom]"))
    elif missing.any():
        first = int(rows[np.flatnonzero(missing)[0]])
        findings.append(note("T047", "lines without a price are not audited", **{**where, "row": first}, found=f"{int(missing.sum())} lines"))
    if zero.any():
        first = int(rows[np.flatnonzero(zero)[0]])
        findings.append(warning("T048", "a unit cost of 0 should mean that the part is free", **{**where, "row": first},
                                found=f"{int(zero.sum())} lines", assumed="free", advice="leave the cell empty where the cost is not known"))  # fmt: skip
    if none.any():
        first = int(rows[np.flatnonzero(none)[0]])
        findings.append(warning("T049", "qty must be a number", **{**where, "row": first}, found=f"{int(none.sum())} lines without one",
                                assumed="not known; such lines are left out of sums"))  # fmt: skip
    zero_qty = quantity == 0
    if zero_qty.any():
        first = int(rows[np.flatnonzero(zero_qty)[0]])
        findings.append(note("T058", "a quantity of 0 counts for nothing", **{**where, "row": first}, found=f"{int(zero_qty.sum())} lines"))
    return findings
