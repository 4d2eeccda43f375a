"""What the figures of a sheet say about its columns: quantity × price = extended, and sums under or above them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bomaudit.tables.profile import Profile

Floats = NDArray[np.float64]

SHARE = 0.006
"""quantity × price and extended agree within this share …"""
HALF_CENT = 0.0051
"""… or within half a cent: people round to cents."""
_TELLING_ROWS = 2
"""Lines on which the arithmetic could fail (quantity not 1) before it is believed."""


def agrees(product: Floats, extended: Floats) -> NDArray[np.bool_]:
    """Whether quantity × price and extended agree as far as people round."""
    return np.asarray(np.abs(product - extended) <= np.maximum(HALF_CENT, SHARE * np.abs(extended)))


def same_sum(stated: float, computed: float, lines: int) -> bool:
    """Whether a stated total is the computed one: rounding may lose half a cent a line, at most 0.05 % of the sum."""
    return abs(stated - computed) <= max(0.011, min(HALF_CENT * max(lines, 1), 0.0005 * abs(computed)))


@dataclass(frozen=True)
class Evidence:
    """Figures that stand apart from the lines.

    Attributes
    ----------
    thin : bool array
        Rows below the header that hold a total label, or much less than a usual line.
    loose : float array
        Numbers above the header: a total may stand there.
    """

    thin: NDArray[np.bool_]
    loose: Floats

    def is_summed(self, values: Floats, shown: Floats | None = None) -> bool:
        """Whether the lines' values add up to a figure below them in the column ``shown``, or above the header.

        Parameters
        ----------
        values : float array
            What would be summed; NaN where missing.
        shown : float array
            Column in which the total would stand; the same column if None.
        """
        shown = values if shown is None else shown
        lines = np.where(self.thin | np.isnan(values), 0.0, values)
        if np.count_nonzero(lines) < 2:  # noqa: PLR2004  (one line is its own sum)
            return False
        running = np.cumsum(lines)
        count = int(np.count_nonzero(lines))
        for i in np.flatnonzero(self.thin & (np.nan_to_num(shown) > 0)):
            if np.count_nonzero(lines[: i + 1]) > 1 and same_sum(float(shown[i]), float(running[i]), count):
                return True
        return any(same_sum(float(x), float(running[-1]), count) for x in self.loose)


def identity(qty: Floats, unit: Floats, extended: Floats, per: Floats | None = None) -> float:
    """What the arithmetic says for a choice of columns: 0.9 where it holds and could have failed, -0.8 where it fails.

    Parameters
    ----------
    qty, unit, extended : float arrays
    per : float array or None
        Pieces the unit price is for.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        product = qty * unit if per is None else qty * unit / per
        usable = (product > 0) & (extended > 0) & np.isfinite(product)
    if not usable.any():
        return 0.0
    fits = agrees(product[usable], extended[usable])
    telling = ~agrees(unit[usable], extended[usable])
    share = float(fits.mean())
    if share < 0.5:  # noqa: PLR2004  (more lines against than for)
        return -0.8
    if telling.sum() >= _TELLING_ROWS and fits[telling].mean() > 0.5:  # noqa: PLR2004
        return 0.9 * share
    return 0.2 * share


def breaks(qty: Floats, choices: Sequence[Profile], extended: Floats) -> bool:
    """Whether each line is priced at one of several price columns: price breaks of which the buyer took one."""
    products = np.array([qty * p.read.value for p in choices])
    usable = np.isfinite(products).any(axis=0) & (extended > 0)
    if usable.sum() < 3:  # noqa: PLR2004  (too few lines to tell)
        return False
    fit = agrees(products[:, usable], extended[usable])
    fit = fit[fit.any(axis=1)]
    return bool(len(fit) > 1 and fit.any(axis=0).mean() > 0.9 and fit.mean(axis=1).max() < 0.9)  # noqa: PLR2004  (each line, but no one column)
