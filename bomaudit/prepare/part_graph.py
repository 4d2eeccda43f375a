"""Which part goes into which: costs up, requirements down, where a part is used, effectivity, yield.

A part that several assemblies share stands once. Nothing recurses over the structure: it is walked level by level, with
one sparse product a level.

Scrap, here as in ``audit.toml``, is either ``"divide"`` (gross = net / (1 - scrap)) or ``"multiply"``
(gross = net × (1 + scrap)); both are in use, and 10 % of scrap differ by a ninth of it, so the caller must say which.

A phantom assembly (made on the way, never stocked) needs no rule of its own: it has no own cost, and what goes into it
passes through.

Findings: ``U001`` a cycle, ``U002`` a scrap rate out of range, ``U003`` a yield out of range, ``U004`` an effectivity
that ends before it begins.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from bomaudit.findings import BadInput, error

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Scrap = Literal["divide", "multiply"]

_ROWS_NAMED = 5
"""At most this many offending rows or parts are named in a message."""


def counted_quantity(bom: pd.DataFrame) -> Floats:
    """Net quantity that each row of a BOM counts with: 1 where none is known, 0 where it is stated below 0. [uom]."""
    return np.asarray(bom["qty"].fillna(1.0).mask(negative_quantity(bom), 0.0), dtype=np.float64)


def negative_quantity(bom: pd.DataFrame) -> Bools:
    """Rows whose quantity is stated below 0: a credit or a correction, nothing that is built in."""
    stated = bom["qty_negative"].to_numpy(dtype=bool) if "qty_negative" in bom else np.zeros(len(bom), dtype=bool)
    return np.asarray(stated | (bom["qty"] < 0).to_numpy(dtype=bool))


def gross_quantity(qty: ArrayLike, scrap_rate: ArrayLike, *, scrap: Scrap) -> Floats:
    r"""Quantity to issue so that the net quantity arrives.

    Parameters
    ----------
    qty : array, shape (rows,)
        Net quantity per parent; 0 and negative (by-products) are legal, NaN stays unknown. [uom]
    scrap_rate : array, shape (rows,)
        Share lost; NaN means none is stated and counts as 0. [-]
    scrap : {"divide", "multiply"}
        The convention, see the module.

    Returns
    -------
    array, shape (rows,)
        Gross quantity. [uom]

    Raises
    ------
    BadInput
        ``U002`` where a scrap rate is negative, or with "divide" is 1 or more: nothing good would be left.

    Notes
    -----
    divide: :math:`q / (1 - s)`; multiply: :math:`q (1 + s)`.
    """
    stated = np.asarray(scrap_rate, dtype=np.float64)
    rate = np.where(np.isnan(stated), 0.0, stated)
    bad = (rate < 0) | ((rate >= 1) if scrap == "divide" else np.isinf(rate))
    if bad.any():
        top = "below 1" if scrap == "divide" else "finite"
        raise BadInput(
            error("U002", f"scrap_rate must be at least 0 and {top}", found=_some(rate[bad]),
                  advice="state it as a share: 0.05 for 5 %", column="scrap_rate")
        )  # fmt: skip
    net = np.asarray(qty, dtype=np.float64)
    return net / (1.0 - rate) if scrap == "divide" else net * (1.0 + rate)


@dataclass(frozen=True)
class PartGraph:
    """Parts and what goes into what; every part once, however many assemblies share it.

    Attributes
    ----------
    part_no : array of str, shape (parts,)
        Part numbers, in order of the alphabet.
    uses : sparse matrix, shape (parts, parts)
        ``uses[p, c]``: gross quantity of c in one good unit of p (scrap and the yield of p included). [uom]
    level : int array, shape (parts,)
        Low-level code: 0 for finished products, else one more than the deepest parent's.
    input_factor : array, shape (parts,)
        Starts for one good unit, 1 / yield. [-]
    not_effective : int
        Edges left out because they do not hold at the as-of date.
    """

    part_no: NDArray[np.object_]
    uses: sparse.csr_array
    level: Ints
    input_factor: Floats
    not_effective: int = 0

    def position(self, part_no: str) -> int:
        """Row of a part number; KeyError where the graph has none."""
        at = int(np.searchsorted(self.part_no, part_no))
        if at == len(self.part_no) or self.part_no[at] != part_no:
            raise KeyError(part_no)
        return at

    def roll_up(self, own_cost: ArrayLike) -> Floats:
        """Cost of one unit of each part, deepest level first.

        Parameters
        ----------
        own_cost : array, shape (parts,)
            Price of a bought part, labour and overhead of an assembly, per started unit; order of ``part_no``.
            NaN is unknown and makes all that uses the part unknown. [currency/uom]

        Returns
        -------
        array, shape (parts,)
            Cost of one good unit. [currency/uom]
        """
        cost = np.asarray(own_cost, dtype=np.float64) * self.input_factor
        for parts, uses in reversed(self._layers()):
            if uses.nnz:
                cost[parts] += uses @ cost
        return cost

    def quantities(self, needed: ArrayLike) -> Floats:
        """Gross requirement of each part, for stated numbers of each; own needs included.

        Parameters
        ----------
        needed : array, shape (parts,)
            Independent demand, order of ``part_no``. [uom]

        Returns
        -------
        array, shape (parts,)
            Total demand. [uom]
        """
        total = np.array(needed, dtype=np.float64)
        for parts, uses in self._layers():
            if uses.nnz:
                total += uses.T @ total[parts]
        return total

    def where_used(self, part_no: str) -> pd.DataFrame:
        """All that a part goes into, directly or not, with the quantity of it in each.

        Returns
        -------
        DataFrame
            ``part_no``, ``level`` (low-level code), ``qty`` (of the part in one unit, all paths added; this is also how
            much one unit of currency on the part's price raises the cost) and ``direct`` (a parent, not a remoter
            ancestor); the part itself is left out. Deepest level first.

        Raises
        ------
        KeyError
            If the part is not in the graph.
        """
        at = self.position(part_no)
        own = np.zeros(len(self.part_no))
        own[at] = 1.0 / self.input_factor[at]
        reached = _reached(self.uses, at)
        qty = self.roll_up(own)
        direct = np.zeros(len(qty), dtype=bool)
        direct[self.uses[:, [at]].tocoo().row] = True
        rows = np.flatnonzero(reached)
        rows = rows[np.lexsort((rows, -self.level[rows]))]
        return pd.DataFrame(
            {"part_no": self.part_no[rows], "level": self.level[rows], "qty": qty[rows], "direct": direct[rows]}
        )

    def _layers(self) -> list[tuple[Ints, sparse.csr_array]]:
        order = np.argsort(self.level, kind="stable")
        ends = np.cumsum(np.bincount(self.level, minlength=1))
        by_level = self.uses[order]
        by_level.eliminate_zeros()  # none of an unpriced part costs nothing, not an unknown amount
        starts = np.concatenate([[0], ends[:-1]])
        return [(order[a:b], by_level[a:b]) for a, b in zip(starts, ends, strict=True)]


def built_into(parent_row: Ints, exploded_row: Ints | None = None) -> tuple[Ints, Ints]:
    """Tell what goes into what: rows, each as often as it is built into another, and the row above each time.

    Parameters
    ----------
    parent_row : int array, shape (rows,)
        Position of the parent's row; -1 at the top.
    exploded_row : int array, shape (rows,), optional
        Position of the row beneath which an assembly is broken down that stands here with its number alone; else -1.

    Returns
    -------
    above, row : int arrays
        What stands beneath a broken-down assembly goes into each of its bare rows too.
    """
    rows = np.flatnonzero(parent_row >= 0)
    bare = np.flatnonzero(exploded_row >= 0) if exploded_row is not None else rows[:0]
    if exploded_row is None or not len(bare):
        return parent_row[rows], rows
    rows = rows[np.argsort(parent_row[rows], kind="stable")]
    first, last = (np.searchsorted(parent_row[rows], exploded_row[bare], side) for side in ("left", "right"))
    count = last - first
    again = rows[np.repeat(first - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))]
    return np.concatenate([parent_row[rows], np.repeat(bare, count)]), np.concatenate([rows, again])


def exploded_rows(lines: pd.DataFrame) -> Ints | None:
    """``exploded_row`` of BOM rows, as :func:`built_into` takes it; None where they were read without structure."""
    return lines["exploded_row"].to_numpy(np.int64) if "exploded_row" in lines else None


def part_graph(
    edges: pd.DataFrame,
    *,
    scrap: Scrap,
    as_of: date,
    yields: pd.Series | None = None,
    purchased: frozenset[str] = frozenset(),
) -> PartGraph:
    """Build the graph of parts from parent-part rows.

    Parameters
    ----------
    edges : DataFrame
        ``parent_no``, ``part_no`` (str), ``qty`` (net, per one parent), and optionally ``scrap_rate``,
        ``effective_from``, ``effective_to`` (both inclusive; missing: no limit). A pair that stands twice is added up.
    scrap : {"divide", "multiply"}
        The convention, see the module.
    as_of : date
        Day for which edges must hold.
    yields : Series, optional
        Share of good pieces by part number; parts that are not in it yield 1.
    purchased : frozenset of str
        Parts bought complete: what goes into them is not followed.

    Returns
    -------
    PartGraph

    Raises
    ------
    BadInput
        ``U001`` a part that goes into itself, with the path; ``U002`` scrap rate, ``U003`` yield out of range,
        ``U004`` effectivity that ends before it begins.
    """
    holds = effective(edges, as_of=as_of)
    follow = edges["parent_no"].isin(purchased).to_numpy()
    used = edges[holds & ~follow]
    codes, names = pd.factorize(
        np.concatenate([edges["parent_no"].to_numpy(object), edges["part_no"].to_numpy(object)]), sort=True
    )
    parent, child = codes[: len(edges)][holds & ~follow], codes[len(edges) :][holds & ~follow]
    rate = used["scrap_rate"] if "scrap_rate" in used else np.zeros(len(used))
    gross = gross_quantity(used["qty"], rate, scrap=scrap)
    named = np.asarray(names, dtype=object)
    share = None if yields is None else yields.reindex(named).to_numpy(np.float64)
    graph = graph_of(named, parent, child, gross, share)
    return PartGraph(graph.part_no, graph.uses, graph.level, graph.input_factor, int((~holds).sum()))


def effective(edges: pd.DataFrame, *, as_of: date) -> Bools:
    """Rows that hold on a day: ``effective_from`` ≤ day ≤ ``effective_to``, a missing limit being none.

    Raises
    ------
    BadInput
        ``U004`` if a row ends before it begins.
    """
    day = np.datetime64(as_of, "us")
    never = np.full(len(edges), np.datetime64("NaT", "us"))
    first, last = (
        edges[c].to_numpy("datetime64[us]") if c in edges else never for c in ("effective_from", "effective_to")
    )
    if (last < first).any():
        wrong = edges.loc[last < first, "part_no"].astype(str).to_numpy()
        raise BadInput(
            error("U004", "effective_to must not be before effective_from", found=_some(wrong), column="effective_to")
        )
    return ~((first > day) | (last < day))


def graph_of(
    names: NDArray[np.object_], parent: Ints, child: Ints, gross: Floats, yields: ArrayLike | None = None
) -> PartGraph:
    """Build a graph from positions: ``gross[k]`` of ``child[k]`` goes into ``parent[k]``; raises as :func:`part_graph`.

    ``names`` must be sorted for :meth:`PartGraph.position` to find a part.
    """
    n = len(names)
    good = np.ones(n) if yields is None else np.nan_to_num(np.asarray(yields, dtype=np.float64), nan=1.0)
    if ((good <= 0) | (good > 1)).any():
        raise BadInput(
            error("U003", "a yield must be above 0 and at most 1", found=_some(good[(good <= 0) | (good > 1)]),
                  advice="state the share of good pieces: 0.97 for 97 %")
        )  # fmt: skip
    factor = 1.0 / good
    uses = sparse.csr_array((gross * factor[parent], (parent, child)), shape=(n, n))
    uses.sum_duplicates()
    return PartGraph(names, uses, _low_levels(uses, names), factor)


def _low_levels(uses: sparse.csr_array, names: NDArray[np.object_]) -> Ints:
    """Longest way down from a finished product; a part is placed once all its parents are."""
    n = uses.shape[0]
    waiting = np.bincount(uses.indices, minlength=n).astype(np.int64)
    level = np.zeros(n, dtype=np.int64)
    front = np.flatnonzero(waiting == 0)
    depth = 0
    while len(front):
        depth += 1
        children, times = np.unique(uses.indices[_edges_of(uses, front)], return_counts=True)
        waiting[children] -= times
        front = children[waiting[children] == 0]
        level[front] = depth
    if (waiting > 0).any():
        raise _cycle(uses, waiting > 0, names)
    return level


def _edges_of(uses: sparse.csr_array, rows: Ints) -> Ints:
    """Positions of all stored entries of the given rows of a csr matrix."""
    first, count = uses.indptr[rows].astype(np.int64), np.diff(uses.indptr)[rows].astype(np.int64)
    skipped = np.concatenate([[0], np.cumsum(count)[:-1]]) if len(count) else count
    return np.repeat(first - skipped, count) + np.arange(int(count.sum()), dtype=np.int64)


def _reached(uses: sparse.csr_array, start: int) -> Bools:
    """Ancestors of one part, by breadth; by the edges and not by the quantity, which may be 0 or cancel out."""
    parents = uses.T.tocsr()
    seen = np.zeros(uses.shape[0], dtype=bool)
    front = np.array([start], dtype=np.int64)
    while len(front):
        found = np.unique(parents.indices[_edges_of(parents, front)]).astype(np.int64)
        front = found[~seen[found]]
        seen[front] = True
    return seen


def _cycle(uses: sparse.csr_array, stuck: Bools, names: NDArray[np.object_]) -> BadInput:
    """Walk upwards among the parts that were never placed, each of which has such a parent, until one comes back."""
    parents = uses.T.tocsr()
    path, at = [], int(np.flatnonzero(stuck)[0])
    while at not in path:
        path.append(at)
        above = parents.indices[parents.indptr[at] : parents.indptr[at + 1]]
        at = int(above[stuck[above]][0])
    loop = [*path[path.index(at) :], at][::-1]
    return BadInput(
        error("U001", "a part cannot go into itself", found=" → ".join(str(names[i]) for i in loop),
              advice="remove one of these rows from the structure", column="parent_no")
    )  # fmt: skip


def _some(values: NDArray[np.object_] | Floats) -> str:
    shown = ", ".join(str(v) for v in values[:_ROWS_NAMED])
    return shown + (f" and {len(values) - _ROWS_NAMED} more" if len(values) > _ROWS_NAMED else "")
