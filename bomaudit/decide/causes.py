"""What is uncertain in each decision, and by how much it can move it: parts, stated ranges, shared factors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse

from bomaudit.decide.simulate import Model

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

KINDS = ("part", "element", "factor")
"""A part's whole log price; a stated element's range; a factor that moves several parts."""


@dataclass(frozen=True)
class Causes:
    """Causes of all decisions, those of one decision together.

    Attributes
    ----------
    first : array of int, shape (decisions + 1,)
        Causes of decision d are ``first[d]`` to ``first[d + 1] - 1``.
    kind : array of int
        Position in ``KINDS``.
    position : array of int
        Of the part, range or factor.
    reach : array
        Standard deviation that the cause gives the difference between two options, at most. [currency/product]
    """

    first: Ints
    kind: Ints
    position: Ints
    reach: Floats

    def of(self, d: int) -> slice:
        """Causes of a decision."""
        return slice(int(self.first[d]), int(self.first[d + 1]))


def find_causes(model: Model) -> Causes:
    """List the causes of each decision, linear in the log prices.

    A cause that moves all options of a decision alike moves nothing and is not listed.
    """
    prices, accounts = model.prices, model.accounts
    money = model.part_use @ sparse.diags_array(np.nan_to_num(prices.median))
    by_part = money @ sparse.diags_array(np.nan_to_num(prices.parts["sd_log"].to_numpy(dtype=float)))
    by_range = model.range_use @ sparse.diags_array(model.ranges.sd)
    effect = sparse.coo_array(sparse.hstack([by_part, by_range, money @ prices.loadings]))
    option, column = effect.coords
    d, width = accounts.decision_of[option], effect.shape[1]
    key = d * width + column
    order = np.argsort(key, kind="stable")
    key, data = key[order], effect.data[order]
    starts = np.flatnonzero(np.diff(key, prepend=-1))
    if not len(starts):
        return Causes(
            np.zeros(len(accounts.products) + 1, dtype=np.int64), *(np.empty(0, dtype=np.int64),) * 2, np.empty(0)
        )
    n_options = np.diff(accounts.first_option)[key[starts] // width]
    everywhere = np.diff(np.append(starts, len(key))) >= n_options
    high, low = np.maximum.reduceat(data, starts), np.minimum.reduceat(data, starts)
    reach = np.where(everywhere, high, np.maximum(high, 0.0)) - np.where(everywhere, low, np.minimum(low, 0.0))
    held = reach > 0
    d, column, reach = key[starts][held] // width, key[starts][held] % width, reach[held]
    bounds = np.cumsum([0, by_part.shape[1], by_range.shape[1]])
    kind = np.searchsorted(bounds, column, side="right") - 1
    first = np.searchsorted(d, np.arange(len(accounts.products) + 1))
    return Causes(first, kind, column - bounds[kind], reach)
