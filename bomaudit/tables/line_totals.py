"""Stated totals of a block held against its lines."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.findings import Finding, note
from bomaudit.tables import structure, totals
from bomaudit.tables.block_read import Reading
from bomaudit.tables.rowkinds import RowKinds
from bomaudit.tables.sheets import letter
from bomaudit.tables.totals_beside import labelled_figures


def checked_totals(r: Reading, kinds: RowKinds, keep: NDArray[np.intp], frame: pd.DataFrame) -> list[Finding]:
    """Hold the stated totals against the lines; in a structure only its ends count, at their rolled-up quantity."""
    n, block = len(r.rows), r.block
    beside = labelled_figures(block)
    is_total = np.isin(kinds.kind, totals.LABELS) & ~np.isnan(kinds.stated)
    stated = [int(r.rows[i]) for i in np.flatnonzero(is_total)] + [row for row, _, _ in beside]
    if not stated:
        return []
    codes = {c for c in frame["currency"] if c}
    if len(codes) > 1:
        return [note("T074", "totals over several currencies are not checked", **r.where, row=stated[0],
                     found=", ".join(sorted(codes)))]  # fmt: skip
    value, unit, product = (np.full(n, np.nan) for _ in range(3))
    qty, cost, extended = (frame[k].to_numpy(dtype=float) for k in ("qty", "unit_cost", "extended_cost"))
    parent, _ = structure.parents_of(
        part_no=r.part_no[keep], dotted=frame["dotted"].to_numpy(), level=frame["level"].to_numpy(dtype=float),
        parent_no=frame["parent_no"].to_numpy(),
    )  # fmt: skip
    if (parent >= 0).any():
        ends = ~np.isin(np.arange(len(parent)), parent)
        extended = np.full(len(parent), np.nan)
        product[keep] = np.where(ends, cost * structure.rolled_quantity(parent, qty), np.nan)
    else:
        product[keep] = cost * qty
    unit[keep] = cost
    value[keep] = np.where(np.isnan(extended), product[keep], extended)
    figures = totals.Figures(kinds.kind, kinds.label, kinds.stated, value, unit, product, np.ones(n, dtype=bool))
    money = next((block.mapped[k].column for k in ("extended_cost", "unit_cost") if k in block.mapped), 0)
    return totals.check(figures, r.where, r.rows, letter(money)) + totals.check_above(figures, beside, r.where)
