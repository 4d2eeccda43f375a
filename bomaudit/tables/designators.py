"""Reference designators held against quantities: R1, R2, C1-C4 are six places on a board."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.findings import Finding, warning
from bomaudit.tables.block_read import Reading
from bomaudit.tables.columns import LEAST
from bomaudit.tables.distinct import each
from bomaudit.tables.sheets import letter
from bomaudit.tables.tally import Tally

_PLACE = re.compile(r"^([A-Z]{1,4})(\d{1,5})(?:\s*[-–:]\s*(?:([A-Z]{1,4}))?(\d{1,5}))?$", re.IGNORECASE)
_MOST = 0.8
"""Share of the lines whose quantities are the same multiple of their designators before the list is one of several."""
_FEWEST = 3


def designator_findings(r: Reading, keep: NDArray[np.intp], frame: pd.DataFrame) -> list[Finding]:
    """``T104``: quantities that are not the number of designators of their line."""
    taken = {m.column for m in r.block.mapped.values()}
    column = next((c for c, h in enumerate(r.block.headers) if c not in taken and c >= r.block.left
                   and h.score("~designator") > LEAST), None)  # fmt: skip
    if column is None or "qty" not in r.block.mapped:
        return []
    places = each(r.block.sheet.columns[column][r.span][keep], _count, np.float64)
    qty = frame["qty"].to_numpy(dtype=float)
    known = (places > 0) & (qty > 0)
    if known.sum() < _FEWEST or 2 * known.sum() < np.isfinite(qty).sum():
        return []
    ratio = qty[known] / places[known]
    usual = float(np.sort(ratio)[len(ratio) // 2])
    place = {**r.where, "column": letter(r.block.mapped["qty"].column)}
    alike = np.isclose(ratio, usual)
    if usual != 1 and alike.mean() >= _MOST:
        return [warning("T104", "qty should be the number of designators of a line", **place,
                        found=f"{usual:.12g} times as many on {int(alike.sum())} of {len(ratio)} lines",
                        assumed="taken for the quantity in one product",
                        advice="divide the quantities, if they are those of several products")]  # fmt: skip
    tally = Tally(r.rows[keep], place)
    tally.warning("T104", "qty should be the number of designators of a line", known & (qty != places),
                  assumed="the quantity is kept", advice="correct the quantity or the designators")  # fmt: skip
    return tally.findings


def _count(cell: object) -> float:
    """Designators in a cell; NaN where it holds other words."""
    words = [w for w in re.split(r"[,;\s]+", re.sub(r"\s*[-–]\s*", "-", cell)) if w] if isinstance(cell, str) else []
    found = [_PLACE.match(w) for w in words]
    if not found or not all(found):
        return float("nan")
    return float(sum(1 if m[4] is None else abs(int(m[4]) - int(m[2])) + 1 for m in found if m))
