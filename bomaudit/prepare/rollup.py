"""Quantities down a tree of BOM rows, and costs up it.

For structures in which parts share sub-assemblies, see :mod:`bomaudit.prepare.part_graph`, which also says what the two
scrap conventions and the findings ``U001`` to ``U004`` are. Totals to the cent: :mod:`bomaudit.prepare.exact`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from bomaudit.findings import BadInput
from bomaudit.prepare.part_graph import (
    Bools,
    Floats,
    Ints,
    PartGraph,
    Scrap,
    built_into,
    graph_of,
    gross_quantity,
    part_graph,
)

__all__ = ["PartGraph", "Scrap", "explode", "gross_quantity", "part_graph", "roll_up"]


def explode(
    parent_row: ArrayLike,
    qty: ArrayLike,
    scrap_rate: ArrayLike,
    *,
    scrap: Scrap,
    row_kind: ArrayLike,
    purchased: ArrayLike | None = None,
    built: ArrayLike | None = None,
    exploded_row: Ints | None = None,
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
    built : bool array, shape (rows,), optional
        False for rows that do not hold, by their effectivity: they and what stands below them have quantity 0.
    exploded_row : int array, shape (rows,), optional
        As in :func:`~bomaudit.prepare.part_graph.built_into`: what goes into an assembly is needed at all its places.

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
    ancestor = np.array(parent_row, dtype=np.int64)
    quantity = gross_quantity(qty, scrap_rate, scrap=scrap)
    not_built = ~_counted(ancestor, row_kind=row_kind, purchased=purchased, built=built)
    if exploded_row is not None and (exploded_row >= 0).any():
        above, rows = built_into(ancestor, exploded_row)
        gross = np.where(not_built, 0.0, quantity)
        graph = graph_of(_row_names(len(ancestor)), above, rows, gross[rows])
        return graph.quantities(np.where(ancestor < 0, gross, 0.0))
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
    built: ArrayLike | None = None,
    yield_rate: ArrayLike | None = None,
) -> Floats:
    r"""Cost of one unit of each BOM row: its own cost and that of all that goes into it.

    Parameters
    ----------
    parent_row, qty, scrap_rate, scrap, row_kind, purchased, built
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
    counted = (parent >= 0) & _counted(parent, row_kind=row_kind, purchased=purchased, built=built)
    rows = np.flatnonzero(counted)
    return graph_of(_row_names(len(parent)), parent[rows], rows, gross[rows], yield_rate).roll_up(own_cost)


def _counted(parent: Ints, *, row_kind: ArrayLike, purchased: ArrayLike | None, built: ArrayLike | None) -> Bools:
    counted: Bools = np.asarray(np.asarray(row_kind, dtype=object) != "alternative", dtype=bool)
    if built is not None:
        counted &= np.asarray(built, dtype=bool)
    if purchased is not None:
        counted &= (parent < 0) | ~np.asarray(purchased, dtype=bool)[np.maximum(parent, 0)]
    return counted


def _row_names(rows: int) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    return np.array([f"row {i}" for i in range(rows)], dtype=object)


def _tree_cycle(parent: Ints) -> BadInput:
    rows = np.flatnonzero(parent >= 0)
    try:
        graph_of(_row_names(len(parent)), parent[rows], rows, np.ones(len(rows)))
    except BadInput as problem:
        return problem
    raise AssertionError("no cycle among the rows after all")  # pragma: no cover
