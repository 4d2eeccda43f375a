"""Money in exact decimals: the roll-up of BOM rows held against what the file or finance states, to the last place.

Prices, quantities and scrap rates are taken as the decimals that were written, and rolled up as rational numbers, so a
division by 1 - scrap loses nothing. Halves are rounded away from zero, as money is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from bomaudit.prepare.part_graph import Bools, Scrap, built_into, exploded_rows, graph_of, gross_quantity
from bomaudit.prepare.rollup import explode

_WIDE = Context(prec=400)
"""Room for every float there is: 309 digits before the point and the places after it."""

_Rounding = Callable[[Fraction], Fraction]


@dataclass(frozen=True)
class TotalCheck:
    """A rolled-up cost against the stated one.

    Attributes
    ----------
    stated : Decimal
        The cost the file or finance states. [currency]
    rolled : Decimal
        The exact roll-up, rounded once at the end. [currency]
    difference : Decimal
        ``rolled - stated``, or 0 if the stated cost comes from another rounding that is used in the trade. [currency]
    rounding : str
        How the stated cost was rounded: ``total`` (once, at the end), ``lines`` (each line of each assembly),
        ``assemblies`` (the cost of one unit of each assembly), ``exploded`` (each line at its quantity per product), or
        empty where none of these gives it.
    unpriced : tuple of int
        Positions of the rows that should carry a cost and have none; they are not in the total.
    """

    stated: Decimal
    rolled: Decimal
    difference: Decimal
    rounding: str
    unpriced: tuple[int, ...]


def to_decimal(amount: float) -> Decimal:
    """Exact decimal of the shortest text that means this float: 0.1 becomes 0.1, not 0.1000000000000000055."""
    return Decimal(repr(float(amount)))


def round_money(amount: float | Decimal | Fraction, places: int) -> Decimal:
    """Round to decimal places, halves away from zero, starting from the amount as it would be written."""
    if isinstance(amount, Fraction):
        return _decimal(_half_up(amount, places), places)
    exact = amount if isinstance(amount, Decimal) else to_decimal(amount)
    return exact.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP, context=_WIDE)


def reconcile_total(
    lines: pd.DataFrame,
    stated_total: float | Decimal,
    *,
    scrap: Scrap,
    places: int = 2,
    built: ArrayLike | None = None,
) -> TotalCheck:
    """Hold the roll-up of the BOM rows against a stated total, to the last decimal place.

    Parameters
    ----------
    lines : DataFrame
        BOM rows: ``parent_row``, ``qty``, ``scrap_rate``, ``unit_cost`` (all in one currency), ``row_kind``, and
        ``exploded_row`` where there is any. A row with rows below it takes its cost from them; its own ``unit_cost``
        is their total and not counted again. Alternatives are not built in.
    stated_total : float or Decimal
        Cost of one finished product as stated. [currency]
    scrap : {"divide", "multiply"}
        The convention, see :mod:`bomaudit.prepare.part_graph`.
    places : int
        Decimal places of money.
    built : bool array, shape (rows,), optional
        False for rows that do not hold on the day.

    Returns
    -------
    TotalCheck

    Raises
    ------
    BadInput
        As :func:`bomaudit.prepare.rollup.explode`.

    Notes
    -----
    One pass of Python over the rows for each rounding; some 20 µs a row in all.
    """
    tree = _ExactTree.of(lines, scrap=scrap, built=built)

    def rounded(value: Fraction) -> Fraction:
        return _half_up(value, places)

    totals = {
        "total": tree.total(tree.unit_costs()),
        "lines": tree.total(tree.unit_costs(line=rounded), line=rounded),
        "assemblies": tree.total(tree.unit_costs(unit=rounded)),
        "exploded": tree.exploded_total(rounded),
    }
    stated = stated_total if isinstance(stated_total, Decimal) else to_decimal(stated_total)
    return _check(stated, totals, places, tree.unpriced)


def reconcile_assemblies(
    lines: pd.DataFrame,
    stated: Sequence[float] | pd.Series,
    *,
    scrap: Scrap,
    places: int = 2,
    built: ArrayLike | None = None,
) -> dict[int, TotalCheck]:
    """Hold the cost of one unit of each assembly against the stated one.

    Parameters
    ----------
    lines, scrap, places, built
        As in :func:`reconcile_total`.
    stated : sequence of float, shape (rows,)
        Stated cost of one unit; NaN where none is, and for rows without rows below them. [currency/uom]

    Returns
    -------
    dict of int to TotalCheck
        By position of the assembly's row; ``unpriced`` names those below it.

    Raises
    ------
    BadInput
        As :func:`bomaudit.prepare.rollup.explode`.
    """
    tree = _ExactTree.of(lines, scrap=scrap, built=built)

    def rounded(value: Fraction) -> Fraction:
        return _half_up(value, places)

    costs = {
        "total": tree.unit_costs(),
        "lines": tree.unit_costs(line=rounded),
        "assemblies": tree.unit_costs(unit=rounded),
    }
    asked = [i for i, amount in enumerate(stated) if tree.is_assembly[i] and np.isfinite(amount)]
    below = tree.unpriced_below()
    amounts = list(stated)
    return {
        i: _check(to_decimal(amounts[i]), {how: cost[i] for how, cost in costs.items()}, places, below.get(i, ()))
        for i in asked
    }


def _check(stated: Decimal, costs: dict[str, Fraction], places: int, unpriced: tuple[int, ...]) -> TotalCheck:
    money = {how: _decimal(_half_up(value, places), places) for how, value in costs.items()}
    how = next((h for h, value in money.items() if value == stated), "")
    difference = Decimal(0) if how else money["total"] - stated
    return TotalCheck(stated, money["total"], difference, how, unpriced)


def _same(value: Fraction) -> Fraction:
    return value


@dataclass(frozen=True)
class _ExactTree:
    above: list[list[int]]
    gross: list[Fraction]
    own: list[Fraction]
    is_assembly: list[bool]
    deepest_first: list[int]
    unpriced: tuple[int, ...]

    @classmethod
    def of(cls, lines: pd.DataFrame, *, scrap: Scrap, built: ArrayLike | None) -> _ExactTree:
        parent = lines["parent_row"].to_numpy(np.int64)
        ones = np.ones(len(lines))
        row_kind = lines["row_kind"].to_numpy(object)
        exploded = exploded_rows(lines)
        in_it = explode(
            parent, ones, np.zeros(len(lines)), scrap=scrap, row_kind=row_kind, built=built, exploded_row=exploded
        ) > 0  # fmt: skip
        above, rows = built_into(parent, exploded)
        has_rows = np.zeros(len(lines), dtype=bool)
        has_rows[above[in_it[rows]]] = True
        level = graph_of(row_kind, above, rows, np.ones(len(rows))).level
        places: list[list[int]] = [[] for _ in range(len(lines))]
        for upper, row in zip(above.tolist(), rows.tolist(), strict=True):
            places[row].append(upper)
        price, qty = lines["unit_cost"].to_numpy(np.float64), lines["qty"].to_numpy(np.float64)
        counted = in_it & np.isfinite(qty)
        own = [Fraction(0)] * len(lines)
        for i in np.flatnonzero(counted & ~has_rows & np.isfinite(price)):
            own[i] = Fraction(to_decimal(price[i]))
        unpriced = in_it & ~(np.isfinite(qty) & (has_rows | np.isfinite(price)))
        return cls(
            places,
            _exact_gross(qty, lines["scrap_rate"].fillna(0.0).to_numpy(np.float64), counted, scrap),
            own,
            has_rows.tolist(),
            np.argsort(-level, kind="stable").tolist(),
            tuple(np.flatnonzero(unpriced).tolist()),
        )

    def unit_costs(self, *, line: _Rounding = _same, unit: _Rounding = _same) -> list[Fraction]:
        """Cost of one unit of each row, rounding each line at its level or each assembly's unit cost."""
        cost = list(self.own)
        for i in self.deepest_first:
            if self.is_assembly[i]:
                cost[i] = unit(cost[i])
            for above in self.above[i]:
                cost[above] += line(self.gross[i] * cost[i])
        return cost

    def total(self, cost: list[Fraction], *, line: _Rounding = _same) -> Fraction:
        """Cost of one product, from the unit costs of the rows at the top."""
        tops = (i for i, above in enumerate(self.above) if not above)
        return sum((line(self.gross[i] * cost[i]) for i in tops), Fraction(0))

    def exploded_total(self, rounded: _Rounding) -> Fraction:
        """Cost of one product, rounding each line at its quantity per product."""
        per_product, total = list(self.gross), Fraction(0)
        for i in reversed(self.deepest_first):
            if self.above[i]:
                per_product[i] *= sum(per_product[above] for above in self.above[i])
            total += rounded(per_product[i] * self.own[i])
        return total

    def unpriced_below(self) -> dict[int, tuple[int, ...]]:
        """Rows without a cost, by each assembly above them."""
        below: dict[int, tuple[int, ...]] = {}
        for row in self.unpriced:
            seen, front = set[int](), set(self.above[row])
            while front:
                seen |= front
                front = {upper for above in front for upper in self.above[above]} - seen
            for above in seen:
                below[above] = (*below.get(above, ()), row)
        return below


def _exact_gross(
    qty: np.ndarray[tuple[int], np.dtype[np.float64]],
    rate: np.ndarray[tuple[int], np.dtype[np.float64]],
    counted: Bools,
    scrap: Scrap,
) -> list[Fraction]:
    gross_quantity(qty, rate, scrap=scrap)  # refuses rates out of range
    gross = [Fraction(0)] * len(qty)
    for i in np.flatnonzero(counted):
        lost = Fraction(to_decimal(rate[i]))
        gross[i] = Fraction(to_decimal(qty[i])) * (1 / (1 - lost) if scrap == "divide" else 1 + lost)
    return gross


def _half_up(value: Fraction, places: int) -> Fraction:
    scale = 10**places
    units = (abs(value) * scale * 2 + 1) // 2
    return Fraction(units if value >= 0 else -units, scale)


def _decimal(value: Fraction, places: int) -> Decimal:
    return Decimal(int(value * 10**places)).scaleb(-places)
