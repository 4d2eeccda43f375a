"""Price and quantity of each line as stated → unit cost per one unit: extended costs, packs, sets, ranges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bomaudit.findings import Finding, warning
from bomaudit.tables import units
from bomaudit.tables.cells import Amounts
from bomaudit.tables.distinct import each
from bomaudit.tables.evidence import agrees
from bomaudit.tables.tally import Tally

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]
_WHOLE = frozenset([
    "set", "sets", "lot", "pack", "satz", "zestaw", "jeu", "juego", "kit", "total", "all", "alles", "alle",
    "insgesamt", "komplett", "complete",
])  # fmt: skip
"""Words after a price that make it the price of the whole line, not of one piece."""


@dataclass(frozen=True)
class Priced:
    """Quantity and money of lines; all arrays one entry a line.

    Attributes
    ----------
    qty, unit_cost, low, high, extended, per : float arrays
    uom : object array of str
    negative : bool array
        Lines whose quantity is stated below 0, and therefore not known.
    findings : tuple
    """

    qty: Floats
    unit_cost: Floats
    low: Floats
    high: Floats
    extended: Floats
    per: Floats
    uom: NDArray[np.object_]
    negative: NDArray[np.bool_]
    findings: tuple[Finding, ...]


def price_lines(
    qty: Amounts | None,
    unit: Amounts | None,
    extended: Amounts | None,
    *,
    per: Floats | None,
    per_unit: Texts | None = None,
    uom: NDArray[np.object_],
    rows: NDArray[np.intp],
    where: dict[str, Any],
) -> Priced:
    """Bring stated figures to one unit of each line.

    Parameters
    ----------
    qty, unit, extended : Amounts or None
        None where the table has no such column.
    per : float array or None
        Pieces the stated price is for.
    per_unit : object array or None
        Unit beside that number, "" where there is none.
    uom : object array
        Unit column, "" where absent.
    rows : int array
        1-based rows, for findings.
    where : dict
        File and sheet, for findings.
    """
    n = len(rows)
    tally = Tally(rows, where)
    quantity, words, uom, negative = _quantity(qty, uom, tally)
    cost, low, high = _figures(unit, n)
    total, total_low, total_high = _figures(extended, n)
    per = pieces_in_line_units(per, per_unit, unit, uom, tally)
    scale = np.where(per > 0, per, 1.0)
    for_many = ~np.isnan(cost) & (scale != 1)
    tally.note("T052", "prices for more than one unit are brought to one", for_many,
               assumed="unit cost = price / pieces it is for")  # fmt: skip
    whole = _for_the_whole_line(quantity, words, cost, total, unit)
    tally.warning("T054", "a price for a set, pack or measured amount is the price of the whole line", whole,
                  assumed="unit cost = price / qty")  # fmt: skip
    scale = scale * np.where(whole & (quantity > 0), quantity, 1.0)
    cost, low, high = cost / scale, low / scale, high / scale
    lump = np.isnan(quantity) & ~np.isnan(total) & (total != 0)
    tally.warning("T045", "a line with an extended cost must state a quantity", lump,
                  assumed="counted as one lot at its extended cost")  # fmt: skip
    quantity[lump], cost[lump] = 1.0, total[lump]
    derived = np.isnan(cost) & ~np.isnan(total) & (quantity > 0)
    tally.note("T051", "unit cost is derived where only the extended cost is stated", derived,
               assumed="unit cost = extended cost / qty")  # fmt: skip
    for target, source in ((cost, total), (low, total_low), (high, total_high)):
        target[derived] = source[derived] / quantity[derived]
    tally.warning("T046", "unit_cost must not be negative", cost < 0, assumed="taken as not known",
                  advice="name a discount as such in the description")  # fmt: skip
    cost[cost < 0] = np.nan
    _gaps(quantity, cost, tally, negative)
    return Priced(quantity, cost, low, high, total, per, uom, negative, tuple(tally.findings))


def _quantity(qty: Amounts | None, uom: Texts, tally: Tally) -> tuple[Floats, Texts, Texts, NDArray[np.bool_]]:
    """Quantities in the unit of their line, the words beside them, that unit, and where they are below 0."""
    n = len(uom)
    if qty is None:
        tally.findings.append(warning("T050", "a quantity should be stated", **tally.where, found="no quantity column",
                                      assumed="one of each line"))  # fmt: skip
        return np.ones(n), np.full(n, "", dtype=object), uom, np.zeros(n, dtype=bool)
    quantity, uom, clash = units.in_column_units(qty.value, qty.unit, uom)
    tally.warning("T043", "the unit in the quantity must fit the unit column", clash,
                  assumed="the number is kept in the unit column's unit")  # fmt: skip
    negative = quantity < 0
    tally.error("T044", "qty must be > 0, it is negative", negative,
                assumed="taken for a credit or a correction: not audited, counted in no total",
                advice="correct the cell, or state what is built in as one line")  # fmt: skip
    quantity[negative] = np.nan
    return quantity, qty.unit, uom, negative


def _figures(read: Amounts | None, n: int) -> tuple[Floats, Floats, Floats]:
    if read is None:
        return np.full(n, np.nan), np.full(n, np.nan), np.full(n, np.nan)
    return read.value.copy(), read.low.copy(), read.high.copy()


_BETWEEN = "\n"  # parts two units


def _rate(of_price: str, of_line: str) -> float:
    """Units of the line in one of the price; NaN where they measure different things, 1 where neither is a measure."""
    price, line = units.spelling(of_price), units.spelling(of_line)
    if not price or not line or price == line or not (units.is_measure(price) or units.is_measure(line)):
        return 1.0
    return units.factor(price, line)


def rates(of_price: Texts, of_line: Texts) -> Floats:
    """Units of each line in one of its price: 1 where either states none or neither measures, NaN where they clash."""
    found, both = np.ones(len(of_line)), np.flatnonzero((of_price != "") & (of_line != ""))
    found[both] = each(of_price[both] + _BETWEEN + of_line[both], lambda pair: _rate(*pair.split(_BETWEEN)), float)
    return found


def price_units(stated: Texts | None, unit: Amounts | None, n: int) -> Texts:
    """Unit that each price is for, as a column of pieces or the price itself says; "" where neither does."""
    words = np.full(n, "", dtype=object) if stated is None else stated
    return np.where(words == "", unit.per_unit, words).astype(object) if unit is not None else words


def pieces_in_line_units(
    per: Floats | None, stated: Texts | None, unit: Amounts | None, uom: Texts, tally: Tally
) -> Floats:
    """Pieces that prices are for, in the unit of their line: a price per kg of a line in g is one for 1000.

    Parameters
    ----------
    per, stated : arrays or None
        Pieces as a column of their own states them, and the unit beside the number.
    unit : Amounts or None
        Prices as read, which may say it themselves.
    uom : object array
        Unit of each line, "" where not stated.
    tally : Tally
        Is told of units that do not convert (``T088``).
    """
    n = len(uom)
    pieces = per.copy() if per is not None else np.full(n, np.nan)
    pieces = np.where(np.isnan(pieces), unit.per, pieces) if unit is not None else pieces
    found = rates(price_units(stated, unit, n), uom)
    tally.warning("T088", "the unit of the price must fit the unit of the quantity", np.isnan(found),
                  assumed="the price is taken for the unit of the quantity", advice="correct one of them")  # fmt: skip
    known = np.isfinite(found) & (found != 1.0)
    return np.where(known, np.where(np.isnan(pieces), 1.0, pieces) * np.where(known, found, 1.0), pieces)


def _for_the_whole_line(
    quantity: Floats, words: NDArray[np.object_], cost: Floats, total: Floats, unit: Amounts | None
) -> NDArray[np.bool_]:
    """Lines whose unit price is that of the whole line: "8 (set)", or 50 g whose extended cost is the unit price."""
    if unit is None:
        return np.zeros(len(quantity), dtype=bool)
    whole = {u for u in set(unit.unit) if u and u.strip("() .").lower() in _WHOLE}
    said = np.array([u in whole for u in unit.unit], dtype=bool) & np.isnan(total)
    measures = {w for w in set(words) if w and units.is_measure(units.spelling(w))}
    measured = np.array([w in measures for w in words], dtype=bool)
    with np.errstate(invalid="ignore"):
        packed = measured & agrees(cost, total) & ~agrees(cost * quantity, total)
    return np.asarray((said | packed) & (quantity != 1))


def _gaps(quantity: Floats, cost: Floats, tally: Tally, negative: NDArray[np.bool_]) -> None:
    """Missing and zero figures, counted."""
    missing = np.isnan(cost)
    if missing.all() and len(cost):
        tally.warning("T047", "lines should state a price, none has one", missing,
                      advice="name the price column in [columns.bom]")  # fmt: skip
    else:
        tally.note("T047", "lines without a price are not audited", missing)
    tally.warning("T048", "a unit cost of 0 should mean that the part is free", cost == 0, assumed="free",
                  advice="leave the cell empty where the cost is not known")  # fmt: skip
    tally.warning("T049", "qty must be a number", np.isnan(quantity) & ~negative,
                  assumed="not known; such lines are left out when totals are checked")  # fmt: skip
    tally.note("T058", "a quantity of 0 counts for nothing", quantity == 0)
