"""Stated totals of a block held against its lines; quantities of the whole product brought to those in one parent."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.findings import Finding, note, warning
from bomaudit.tables import structure, totals
from bomaudit.tables.block_read import Reading
from bomaudit.tables.cells import amounts
from bomaudit.tables.columns import LEAST
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
    parent = _parents(r, keep, frame)
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


def _parents(r: Reading, keep: NDArray[np.intp], frame: pd.DataFrame) -> NDArray[np.intp]:
    """Position of each line's parent in the block; -1 at the top."""
    parent, _ = structure.parents_of(
        part_no=r.part_no[keep], dotted=frame["dotted"].to_numpy(), level=frame["level"].to_numpy(dtype=float),
        parent_no=frame["parent_no"].to_numpy(),
    )  # fmt: skip
    return parent


_WHOLE = re.compile(r"\b(?:total|ext|extended|overall|cumulated|cumulative|gesamt\w*|summe)\b")


def in_one_parent(r: Reading, keep: NDArray[np.intp], frame: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """Quantities in one parent, where the column that was taken states those of the whole product beside them.

    Parameters
    ----------
    r : Reading
    keep : int array
        Rows of the block that are lines.
    frame : DataFrame
        The lines, with level and qty.

    Returns
    -------
    frame : DataFrame
        With the other column's quantities where in every line total = quantity × total of the parent.
    findings : list of Finding
        ``T089`` what was taken, ``T090`` a column headed as a total without another to tell by.
    """
    above, total = _parents(r, keep, frame), frame["qty"].to_numpy(dtype=float)
    of_parent = np.where(above >= 0, total[np.maximum(above, 0)], 1.0)
    mapped, taken = r.block.mapped.get("qty"), {m.column for m in r.block.mapped.values()}
    if mapped is None or mapped.how == "stated" or not (np.isfinite(of_parent) & (of_parent != 1)).any():
        return frame, []
    place = {**r.where, "column": letter(mapped.column)}
    for column, header in enumerate(r.block.headers):
        if column in taken or max(header.score(n) for n in ("qty", "~qty_order", "~qty_other")) <= LEAST:
            continue
        in_one = amounts(r.block.sheet.columns[column][r.span][keep], r.decimal, money=False).value
        known = np.isfinite(total) & np.isfinite(in_one) & np.isfinite(of_parent)
        same = np.isclose(total[known], in_one[known] * of_parent[known], rtol=1e-6)
        if known.sum() * 2 > len(keep) and same.all() and (total[known] != in_one[known]).any():
            said = note("T089", "quantities of the whole product are not multiplied again", **place,
                        found=mapped.header, assumed=f"those in one parent are taken: {header.text}")  # fmt: skip
            return frame.assign(qty=np.where(np.isfinite(in_one), in_one, total)), [said]
    if not _WHOLE.search(r.block.headers[mapped.column].words):
        return frame, []
    return frame, [warning("T090", "quantities of a structure must be those in one parent", **place,
                           found=mapped.header, assumed="taken for that, and multiplied down the structure",
                           advice="name the column of quantities in one parent as qty in [columns.bom]")]  # fmt: skip
