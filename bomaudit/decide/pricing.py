"""Today's prices of the parts that decisions rest on, and what moves them together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import sparse

from bomaudit.glossary import VARIANCE_PARTS, WALK_STEPS
from bomaudit.prepare.part_graph import built_into, exploded_rows

if TYPE_CHECKING:
    from bomaudit.estimate import Estimates

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

WALK = [f"walk_{s}" for s in WALK_STEPS]
_TAKEN = ["estimate", "sd_log", "dof", *WALK, *(f"var_{v}" for v in VARIANCE_PARTS)]


@dataclass(frozen=True)
class Prices:
    """Today's prices of the parts that decisions rest on, with what moves them together.

    Attributes
    ----------
    parts : DataFrame, shape (parts,)
        part_no, description, supplier, commodity, line (position in the prepared lines, -1: not in the BOM),
        booked_cost, safety_relevant, estimate [currency/uom], sd_log [ln], dof, walk_* [currency/uom].
    factors : tuple of str
        Shared causes, as in ``Estimates``.
    loadings : csr array, shape (parts, factors)
        Effect of one standard deviation of each factor on the log price. [ln]
    sd_own : array, shape (parts,)
        What is the part's own. [ln]
    """

    parts: pd.DataFrame
    factors: tuple[str, ...]
    loadings: sparse.csr_array
    sd_own: Floats

    @property
    def median(self) -> Floats:
        """Median estimate of each part. [currency/uom]."""
        return self.parts["estimate"].to_numpy(dtype=float)


def prices_of(lines: pd.DataFrame, estimates: Estimates, rows: Ints) -> Prices:
    """Prices of some of the estimated lines.

    Parameters
    ----------
    lines : DataFrame
        Prepared lines.
    estimates : Estimates
        Of the same lines.
    rows : array of int, shape (parts,)
        Positions of the lines wanted.

    Returns
    -------
    Prices
    """
    head = lines.iloc[rows][["part_no", "description", "supplier", "commodity", "booked_cost", "safety_relevant"]]
    body = estimates.frame.iloc[rows].reindex(columns=_TAKEN)
    parts = pd.concat([head.reset_index(drop=True), body.reset_index(drop=True)], axis=1)
    loadings = sparse.csr_array(estimates.loadings)[rows]
    return Prices(parts.assign(line=rows), estimates.factors, loadings, np.asarray(estimates.sd_own, dtype=float)[rows])


def joined(first: Prices, second: Prices) -> Prices:
    """Both sets of parts, factors of the same name being the same factor."""
    names = tuple(dict.fromkeys([*first.factors, *second.factors]))
    position = {name: i for i, name in enumerate(names)}

    def widened(prices: Prices) -> sparse.csr_array:
        own = sparse.coo_array(prices.loadings)
        columns = np.array([position[f] for f in prices.factors], dtype=np.int64)[own.coords[1]]
        return sparse.csr_array((own.data, (own.coords[0], columns)), shape=(own.shape[0], len(names)))

    return Prices(
        pd.concat([first.parts, second.parts], ignore_index=True),
        names,
        sparse.csr_array(sparse.vstack([widened(first), widened(second)])),
        np.concatenate([first.sd_own, second.sd_own]),
    )


def contents(lines: pd.DataFrame) -> sparse.csr_array:
    """Lines beneath each line, at any depth.

    Parameters
    ----------
    lines : DataFrame
        Prepared lines with ``parent_row``.

    Returns
    -------
    csr array of bool-like, shape (lines, lines)
        1 where the column's line stands beneath the row's line.
    """
    return _beneath(lines, np.ones(len(lines)))


def bearing_on_safety(lines: pd.DataFrame) -> Bools:
    """Lines that bear on safety: flagged, made of a flagged line or built into one, and all lines of their parts.

    Parameters
    ----------
    lines : DataFrame
        Prepared lines with ``parent_row``.

    Returns
    -------
    array of bool, shape (lines,)
    """
    flagged = _on_all_lines(lines, lines["safety_relevant"].fillna(False).to_numpy(dtype=bool))
    inside = contents(lines)
    near = [np.asarray(held @ flagged.astype(float)) > 0 for held in (inside, inside.T)]
    return _on_all_lines(lines, flagged | near[0] | near[1])


def _on_all_lines(lines: pd.DataFrame, held: Bools) -> Bools:
    """What holds for any line of a part holds for all of its lines."""
    parts = lines["part_no"][held & (lines["part_no"] != "").to_numpy()]
    return np.asarray(held | lines["part_no"].isin(parts).to_numpy())


def rolled_into(lines: pd.DataFrame) -> sparse.csr_array:
    """Quantity of each line in ONE of each line above it, also of an assembly that the product does not hold.

    Parameters
    ----------
    lines : DataFrame
        Prepared lines with ``parent_row`` and ``qty_in_parent``.

    Returns
    -------
    csr array, shape (lines, lines)
        Product of ``qty_in_parent`` down from the row's line to the column's, which is a part or charge (nothing is
        built into it). [uom]
    """
    each = lines["qty_in_parent"].to_numpy(dtype=float)
    bottom = np.where(made_of_lines(lines), 0.0, 1.0)
    found = sparse.csr_array(_beneath(lines, each).multiply(bottom[None, :]))
    found.eliminate_zeros()
    return found


def made_of_lines(lines: pd.DataFrame) -> Bools:
    """Lines that others are built into."""
    above, rows = built_into(lines["parent_row"].to_numpy(dtype=np.int64), exploded_rows(lines))
    made = np.zeros(len(lines), dtype=bool)
    made[above[lines["qty_in_parent"].to_numpy(dtype=float)[rows] > 0]] = True
    return made


def _beneath(lines: pd.DataFrame, each: Floats) -> sparse.csr_array:
    """Product of what each line has, down from the row's line (without its own) to the column's, over all ways."""
    above, rows = built_into(lines["parent_row"].to_numpy(dtype=np.int64), exploded_rows(lines))
    direct = sparse.csr_array((each[rows], (above, rows)), shape=(len(lines), len(lines)))
    direct.eliminate_zeros()
    whole = step = direct
    while (step := sparse.csr_array(step @ direct)).nnz:
        whole = sparse.csr_array(whole + step)
    return whole
