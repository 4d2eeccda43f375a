"""Sub-assembly tables that a line of another table takes up again: the line is the assembly, its cost is not added."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.tables.evidence import same_sum
from bomaudit.tables.headers import fold

_FEWEST = 2
_PLENTY = 4
"""Lines from which on an uneven total is told from a price that happens to be equal, whatever the line is called."""
_ALIKE = 60.0
"""Least likeness (0-100) of the names of line and table where the total alone does not prove it."""


@dataclass(frozen=True)
class Link:
    """Line ``row`` of table ``upper`` is the total of table ``lower``."""

    upper: int
    row: int
    lower: int


def links(frames: Sequence[pd.DataFrame], titles: Sequence[str]) -> list[Link]:
    """Find tables whose total is the cost of a line in another table.

    Parameters
    ----------
    frames : sequence of DataFrame
        Lines of each table.
    titles : sequence of str
        Sheet name of each table, or "": a line may be called so.

    Notes
    -----
    A line fits if its unit cost or extended cost is the sum of the other table's parts to the cent, and either it is
    called as the table or the sum is too particular to be met by chance. Where several fit, the most alike in name.
    """
    found: list[Link] = []
    sums = [_total(f) for f in frames]
    for lower, (total, lines) in enumerate(sums):
        if lines < _FEWEST or total <= 0:
            continue
        fits = [
            (upper, int(row))
            for upper, frame in enumerate(frames)
            if upper != lower
            for row in _fitting(frame, total, lines)
        ]
        fits = [(u, r) for u, r in fits if not any(x.upper == lower and x.lower == u for x in found)]
        sure = lines >= _PLENTY and not float(total).is_integer()
        fits = [(u, r) for u, r in fits if sure or _called(frames[u], r, titles[lower]) >= _ALIKE]
        if fits:
            upper, row = max(fits, key=lambda f: (_called(frames[f[0]], f[1], titles[lower]), -f[0], -f[1]))
            found.append(Link(upper, row, lower))
    return found


def _total(frame: pd.DataFrame) -> tuple[float, int]:
    part = frame["row_kind"].isin(("part", "charge")).to_numpy()
    extended = frame["extended_cost"].to_numpy(dtype=float)
    value = np.where(np.isnan(extended), (frame["qty"] * frame["unit_cost"]).to_numpy(dtype=float), extended)[part]
    return float(np.nansum(value)), int((~np.isnan(value)).sum())


def _fitting(frame: pd.DataFrame, total: float, lines: int) -> NDArray[np.intp]:
    hit = np.zeros(len(frame), dtype=bool)
    for name in ("unit_cost", "extended_cost"):
        values = frame[name].to_numpy(dtype=float)
        hit |= np.array([np.isfinite(v) and same_sum(total, v, lines) for v in values], dtype=bool)
    return np.flatnonzero(hit & frame["row_kind"].eq("part").to_numpy())


def _called(frame: pd.DataFrame, row: int, title: str) -> float:
    from rapidfuzz import fuzz  # noqa: PLC0415  (only where tables are rolled up)

    return float(fuzz.token_set_ratio(fold(str(frame["description"].iloc[row])), fold(title))) if title else 0.0
