"""Maturity of a market: diffusion curves, the share of the ultimate market that is reached, and the stage it means."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bomaudit.curves.pooling import Floats

FALLING = -0.03
"""Yearly volume that falls faster counts as falling; less is within the noise of published volumes. [ln/year]"""

STAGES = ("emerging", "growth", "shake-out", "mature", "declining")
_BOUNDS = (0.16, 0.5, 0.84)


def bass_share(time: npt.ArrayLike, p: npt.ArrayLike, q: npt.ArrayLike, start: npt.ArrayLike = 0.0) -> Floats:
    r"""Share of the ultimate market that has bought, after Bass.

    Parameters
    ----------
    time : array
        Time since the share was ``start``. [year]
    p, q : array
        Coefficients of innovation and imitation. [1/year]
    start : array
        Share at time 0. [-]

    Returns
    -------
    array
        [-]

    Notes
    -----
    :math:`F' = (p + qF)(1 - F)`; with :math:`F(0) = 0`,
    :math:`F(t) = (1 - e^{-(p+q)t}) / (1 + (q/p) e^{-(p+q)t})`.

    References
    ----------
    .. [1] F. M. Bass, "A New Product Growth for Model Consumer Durables", Management Science 15(5), 1969, 215-227.
    """
    t, p, q, f0 = (np.asarray(v, dtype=float) for v in (time, p, q, start))
    left = (1 - f0) / (1 + q / p * f0) * np.exp(-(p + q) * t)
    return np.asarray((1 - left) / (1 + q / p * left))


def bass_peak(p: npt.ArrayLike, q: npt.ArrayLike) -> tuple[Floats, Floats, Floats]:
    r"""Time, yearly share and share reached at the peak of sales; NaN where q ≤ p and sales only fall.

    Parameters
    ----------
    p, q : array
        [1/year]

    Returns
    -------
    time : array
        :math:`\ln(q/p)/(p+q)`. [year]
    rate : array
        :math:`(p+q)^2/(4q)`. [1/year]
    share : array
        :math:`1/2 - p/(2q)`. [-]
    """
    p, q = np.asarray(p, dtype=float), np.asarray(q, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        peaks = q > p
        time, rate, share = np.log(q / p) / (p + q), (p + q) ** 2 / (4 * q), 0.5 - p / (2 * q)
    return tuple(np.where(peaks, v, np.nan) for v in (time, rate, share))  # type: ignore[return-value]


def logistic_share(time: npt.ArrayLike, rate: npt.ArrayLike, start: npt.ArrayLike) -> Floats:
    r"""Logistic share: :math:`1/(1 + (1/F_0 - 1) e^{-rt})`. Arguments as in :func:`bass_share`, rate in 1/year."""
    t, r, f0 = (np.asarray(v, dtype=float) for v in (time, rate, start))
    return np.asarray(1 / (1 + (1 - f0) / f0 * np.exp(-r * t)))


def gompertz_share(time: npt.ArrayLike, rate: npt.ArrayLike, start: npt.ArrayLike) -> Floats:
    r"""Gompertz share: :math:`F_0^{e^{-ct}}`. Arguments as in :func:`bass_share`, rate in 1/year."""
    t, c, f0 = (np.asarray(v, dtype=float) for v in (time, rate, start))
    return np.asarray(np.exp(np.log(f0) * np.exp(-c * t)))


def stage_of(share: Floats, declining: npt.NDArray[np.bool_]) -> npt.NDArray[np.str_]:
    """Stage of a market from the share of its ultimate size that is reached.

    Parameters
    ----------
    share : array, shape (n,)
        [-], NaN where unknown.
    declining : array of bool, shape (n,)
        The yearly volume falls.

    Returns
    -------
    array of str, shape (n,)
        emerging below 16 %, growth to half, shake-out to 84 %, mature above; declining where the peak is past and the
        volume falls; "" where unknown.

    References
    ----------
    .. [1] E. M. Rogers, Diffusion of Innovations, 1962: early adopters to 16 %, early majority to 50 %, late majority
       to 84 % (from memory).
    """
    stage = np.select([share < b for b in _BOUNDS] + [share >= _BOUNDS[-1]], list(STAGES[:-1]), default="")
    return np.where(declining & (share >= _BOUNDS[1]), "declining", stage).astype(np.str_)
