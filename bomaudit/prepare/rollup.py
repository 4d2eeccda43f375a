"""Quantities down a tree of BOM rows, costs up it, and the check of the total to the cent.

For structures in which parts share sub-assemblies, see :mod:`bomaudit.prepare.part_graph`, which also says what the two
scrap conventions and the findings ``U001`` to ``U004`` are.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from bomaudit.findings import BadInput
from bomaudit.prepare.part_graph import Floats, Ints, PartGraph, Scrap, graph_of, gross_quantity, part_graph

__all__ = [
    "PartGraph", "Scrap", "TotalCheck",
    "explode", "gross_quantity", "part_graph", "reconcile_total", "roll_up", "to_decimal",
]  # fmt: skip


def explode(
    parent_row: ArrayLike,
    qty: ArrayLike,
    scrap_rate: ArrayLike,
    *,
    scrap: Scrap,
    row_kind: ArrayLike,
    purchased: ArrayLike | None = None,
) -> Floats:
    """Quantity of each BOM row for ONE finished product, scrap compounded down the levels.

    Parameters
    ----------
    parent_row : int array, shape (rows,)
        Position of the parent's row; -1 at the top.
    qty : array, shape (rows,)
        Net quantity per parent. NaN is unknown and makes the rows below unknown too. [uom]
    scrap_rate : array, shape (rows,)
        Share lost; NaN: none. [-]
    scrap : {"divide", "multiply"}
        The convention, see the module.
    row_kind : array of str, shape (rows,)
        Alternatives, and all that stands below one, are not built in: their quantity is 0.
    purchased : bool array, shape (rows,), optional
        Rows bought complete: what stands below them is paid for with them, so its quantity is 0.

    Returns
    -------
    array, shape (rows,)
        Quantity per finished product. [uom]

    Raises
    ------
    BadInput
        ``U001`` if rows are each other's parents, ``U002`` for a scrap rate out of range.

    Notes
    -----
    :math:`Q_i = g_i Q_{parent(i)}` with the gross quantity :math:`g_i`. Each pass multiplies a row by what its
    ancestor has gathered and jumps twice as far, so a depth of d takes log2 d passes.
    """
    ancestor = np.asarray(parent_row, dtype=np.int64)
    quantity = gross_quantity(qty, scrap_rate, scrap=scrap)
    not_built = np.asarray(row_kind, dtype=object) == "alternative"
    if purchased is not None:
        below = np.flatnonzero(ancestor >= 0)
        not_built[below] |= np.asarray(purchased, dtype=bool)[ancestor[below]]
    for _ in range(len(ancestor).bit_length() + 1):
        below = np.flatnonzero(ancestor >= 0)
        if not len(below):
            return np.where(not_built, 0.0, quantity)
        above = ancestor[below]
        quantity[below], not_built[below] = quantity[below] * quantity[above], not_built[below] | not_built[above]
        ancestor[below] = ancestor[above]
    raise _tree_cycle(np.asarray(parent_row, dtype=np.int64))


def roll_up(
    parent_row: ArrayLike,
    qty: ArrayLike,
    scrap_rate: ArrayLike,
    own_cost: ArrayLike,
    *,
    scrap: Scrap,
    row_kind: ArrayLike,
    purchased: ArrayLike | None = None,
    yield_rate: ArrayLike | None = None,
) -> Floats:
    r"""Cost of one unit of each BOM row: its own cost and that of all that goes into it.

    Parameters
    ----------
    parent_row, qty, scrap_rate, scrap, row_kind, purchased
        As in :func:`explode`.
    own_cost : array, shape (rows,)
        Price of a part or charge, cost added at an assembly (0 where charges are rows of their own). NaN is unknown
        and makes every assembly above it unknown. [currency/uom]
    yield_rate : array, shape (rows,), optional
        Share of good pieces when the row is made; its inputs and own cost are divided by it. NaN: 1. [-]

    Returns
    -------
    array, shape (rows,)
        Cost of one unit. [currency/uom]

    Raises
    ------
    BadInput
        ``U001`` cycle, ``U002`` scrap rate, ``U003`` yield out of range.

    Notes
    -----
    :math:`c_i = (o_i + \sum_{j \in children(i)} g_j c_j) / y_i`.
    """
    parent = np.asarray(parent_row, dtype=np.int64)
    gross = gross_quantity(qty, scrap_rate, scrap=scrap)
    counted = (parent >= 0) & (np.asarray(row_kind, dtype=object) != "alternative")
    if purchased is not None:
        counted &= ~np.asarray(purchased, dtype=bool)[np.maximum(parent, 0)]
    rows = np.flatnonzero(counted)
    return graph_of(_row_names(len(parent)), parent[rows], rows, gross[rows], yield_rate).roll_up(own_cost)


@dataclass(frozen=True)
class TotalCheck:
    """A rolled-up total against the stated one, in exact decimals.

    Attributes
    ----------
    stated : Decimal
        The total the file or finance states. [currency]
    rolled : Decimal
        The exact roll-up, rounded once at the end. [currency]
    difference : Decimal
        ``rolled - stated``, or 0 if the stated total comes from another rounding that is used in the trade. [currency]
    rounding : str
        How the stated total was rounded: ``total`` (once, at the end), ``lines`` (each line of each assembly),
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


def reconcile_total(lines: pd.DataFrame, stated_total: float | Decimal, *, scrap: Scrap, places: int = 2) -> TotalCheck:
    """Hold the roll-up of the BOM rows against a stated total, to the last decimal place.

    Parameters
    ----------
    lines : DataFrame
        BOM rows: ``parent_row``, ``qty``, ``scrap_rate``, ``unit_cost`` (all in one currency), ``row_kind``. A row with
        rows below it takes its cost from them; its own ``unit_cost`` is their total and not counted again.
        Alternatives are not built in.
    stated_total : float or Decimal
        Cost of one finished product as stated. [currency]
    scrap : {"divide", "multiply"}
        The convention, see :mod:`bomaudit.prepare.part_graph`.
    places : int
        Decimal places of money.

    Returns
    -------
    TotalCheck

    Raises
    ------
    BadInput
        As :func:`explode`.

    Notes
    -----
    Exact rational arithmetic: prices and quantities are taken as the decimals that were written, scrap divides exactly.
    Halves are rounded away from zero, as money is. One pass of Python over the rows: some 5 µs a row and rounding.
    """
    tree = _ExactTree.of(lines, scrap=scrap)
    stated = stated_total if isinstance(stated_total, Decimal) else to_decimal(stated_total)

    def rounded(value: Fraction) -> Fraction:
        return _half_up(value, places)

    totals = {
        "total": tree.total(),
        "lines": tree.total(line=rounded),
        "assemblies": tree.total(unit=rounded),
        "exploded": tree.exploded_total(rounded),
    }
    money = {how: _decimal(_half_up(value, places), places) for how, value in totals.items()}
    how = next((h for h, value in money.items() if value == stated), "")
    difference = Decimal(0) if how else money["total"] - stated
    return TotalCheck(stated, money["total"], difference, how, tree.unpriced)


def _same(value: Fraction) -> Fraction:
    return value


@dataclass(frozen=True)
class _ExactTree:
    parent: list[int]
    gross: list[Fraction]
    own: list[Fraction]
    is_assembly: list[bool]
    deepest_first: list[int]
    unpriced: tuple[int, ...]

    @classmethod
    def of(cls, lines: pd.DataFrame, *, scrap: Scrap) -> _ExactTree:
        parent = lines["parent_row"].to_numpy(np.int64)
        built = explode(parent, np.ones(len(lines)), np.zeros(len(lines)), scrap=scrap, row_kind=lines["row_kind"]) > 0
        rate = lines["scrap_rate"].fillna(0.0).to_numpy(np.float64)
        gross_quantity(lines["qty"], rate, scrap=scrap)  # refuses rates out of range
        has_rows = np.zeros(len(lines), dtype=bool)
        has_rows[parent[(parent >= 0) & built]] = True
        price, qty = lines["unit_cost"].to_numpy(np.float64), lines["qty"].to_numpy(np.float64)
        leaf = built & ~has_rows
        known = np.isfinite(price) & np.isfinite(qty)
        counted = np.flatnonzero(leaf & known)
        own = [Fraction(0)] * len(lines)
        gross = [Fraction(0)] * len(lines)
        for i in counted:
            own[i] = Fraction(to_decimal(price[i]))
        for i in np.flatnonzero(built & np.isfinite(qty)):
            lost = Fraction(to_decimal(rate[i]))
            gross[i] = Fraction(to_decimal(qty[i])) * (1 / (1 - lost) if scrap == "divide" else 1 + lost)
        return cls(
            parent.tolist(),
            gross,
            own,
            has_rows.tolist(),
            np.argsort(-_depth(parent), kind="stable").tolist(),
            tuple(np.flatnonzero(built & ~(known | (has_rows & np.isfinite(qty)))).tolist()),
        )

    def total(
        self, *, line: Callable[[Fraction], Fraction] = _same, unit: Callable[[Fraction], Fraction] = _same
    ) -> Fraction:
        """Cost of one product, rounding each line at its level or each assembly's unit cost."""
        cost, total = list(self.own), Fraction(0)
        for i in self.deepest_first:
            extended = line(self.gross[i] * (unit(cost[i]) if self.is_assembly[i] else cost[i]))
            if self.parent[i] >= 0:
                cost[self.parent[i]] = cost[self.parent[i]] + extended
            else:
                total += extended
        return total

    def exploded_total(self, rounded: Callable[[Fraction], Fraction]) -> Fraction:
        """Cost of one product, rounding each line at its quantity per product."""
        per_product, total = list(self.gross), Fraction(0)
        for i in reversed(self.deepest_first):
            if self.parent[i] >= 0:
                per_product[i] *= per_product[self.parent[i]]
            total += rounded(per_product[i] * self.own[i])
        return total


def _depth(parent: Ints) -> Ints:
    """Steps to the top, by doubling; the caller has made sure that there is a top."""
    ancestor, depth = parent.copy(), (parent >= 0).astype(np.int64)
    while (below := np.flatnonzero(ancestor >= 0)).size:
        above = ancestor[below]
        depth[below], ancestor[below] = depth[below] + depth[above], ancestor[above]
    return depth


def _half_up(value: Fraction, places: int) -> Fraction:
    scale = 10**places
    units = (abs(value) * scale * 2 + 1) // 2
    return Fraction(units if value >= 0 else -units, scale)


def _decimal(value: Fraction, places: int) -> Decimal:
    return Decimal(int(value * 10**places)).scaleb(-places)


def _row_names(rows: int) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    return np.array([f"row {i}" for i in range(rows)], dtype=object)


def _tree_cycle(parent: Ints) -> BadInput:
    rows = np.flatnonzero(parent >= 0)
    try:
        graph_of(_row_names(len(parent)), parent[rows], rows, np.ones(len(rows)))
    except BadInput as problem:
        return problem
    raise AssertionError("no cycle among the rows after all")  # pragma: no cover
