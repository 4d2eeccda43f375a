"""Mark-up: what a market under a price umbrella charges above cost, and loses in the shake-out.

Beside it stands no correction of the exponent by stage: on published price series the mean of each stage lies within
its error, and a correction makes forecasts of technologies it was not taken from worse (tests/benchmarks/phases.py).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bomaudit.curves.pooling import Floats

_LARGEST_MARGIN = 0.6  # of the price; the formula has no bound as H approaches the elasticity


def cournot_markup(concentration: npt.ArrayLike, elasticity: npt.ArrayLike) -> Floats:
    r"""Price over marginal cost where makers compete in quantities.

    Parameters
    ----------
    concentration : array
        Herfindahl index H of the makers' shares, 0 to 1. [-]
    elasticity : array
        Size of the market's price elasticity. [-]

    Returns
    -------
    array
        :math:`1/(1 - H/\varepsilon)`; the margin :math:`H/\varepsilon` is capped at 60 % of the price. [-]

    References
    ----------
    .. [1] K. Cowling and M. Waterson, "Price-Cost Margins and Market Structure", Economica 43, 1976 (from memory).
    """
    margin = np.minimum(np.asarray(concentration, dtype=float) / np.asarray(elasticity, dtype=float), _LARGEST_MARGIN)
    return np.asarray(1 / (1 - margin))


def stage_markup(share: npt.ArrayLike, early: npt.ArrayLike, mature: npt.ArrayLike) -> Floats:
    r"""Price over cost by the share F of the ultimate market: the early mark-up at 0, the mature one at 1.

    Parameters
    ----------
    share : array
        [-]
    early, mature : array
        Mark-ups of the commodity. [-]

    Returns
    -------
    array
        :math:`early^{1-F} \cdot mature^F`. [-]
    """
    f = np.clip(np.asarray(share, dtype=float), 0.0, 1.0)
    early, mature = np.asarray(early, dtype=float), np.asarray(mature, dtype=float)
    return np.asarray(np.exp((1 - f) * np.log(early) + f * np.log(mature)))
