"""What knowing is worth: expected value of perfect information, and of a quote with its noise.

For two or more actions with net benefits that depend on uncertain prices, knowing one price before acting is worth the
expected gain of choosing well over choosing by the mean.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

Floats = npt.NDArray[np.float64]

_DEGREE = 4
"""Degree of the regression on the normal score. The benefit is a sum of exponentials exp(s u), whose share of variance above
degree 4 is below s^8/5! of it: under 0.1 % for s = 0.5."""
_NODES = 512
"""Equally likely points at which the better action is looked up."""


def perfect_information(benefit: Floats) -> float:
    """Expected value of knowing everything before acting.

    Parameters
    ----------
    benefit : array, shape (actions, draws)
        Net benefit of each action against doing nothing; doing nothing (0) is always possible. [currency]

    Returns
    -------
    float
        [currency]

    Notes
    -----
    :math:`E[\\max(0, \\max_a B_a)] - \\max(0, \\max_a E[B_a])`
    """
    informed = np.maximum(benefit.max(axis=0), 0.0).mean()
    return float(informed - max(float(benefit.mean(axis=1).max()), 0.0))


def _polynomials(scores: Floats) -> list[Floats]:
    """Hermite polynomials of degree 0 … _DEGREE, orthonormal for a standard normal score."""
    terms = [np.ones_like(scores), scores]
    for k in range(1, _DEGREE):
        terms.append((scores * terms[k] - np.sqrt(k) * terms[k - 1]) / np.sqrt(k + 1))
    return terms


_GRID = np.stack(_polynomials(ndtri((np.arange(_NODES) + 0.5) / _NODES)))


def partial_information(benefit: Floats, scores: Floats, reliability: npt.ArrayLike = 1.0) -> Floats:
    r"""Expected value of learning one cause at a time, exactly or through a noisy observation.

    Parameters
    ----------
    benefit : array, shape (actions, draws)
        As in :func:`perfect_information`. [currency]
    scores : array, shape (causes, draws)
        Standard normal score of each cause.
    reliability : array, shape (causes,)
        Share of the observation's variance that is the cause's own; 1 observes it exactly. [-]

    Returns
    -------
    array, shape (causes,)
        At least 0. [currency]

    Notes
    -----
    Regression: :math:`E[B \mid u] = \sum_k c_k h_k(u)` with orthonormal Hermite polynomials, coefficients by least squares.
    Of an observation with correlation :math:`\rho` to u, :math:`E[h_k(u) \mid v] = \rho^k h_k(v)` (Mehler), so that a
    quote's noise needs no further draws. The expectation over v is over equally likely points.

    References
    ----------
    .. [1] M. Strong, J. E. Oakley and A. Brennan, "Estimating Multiparameter Partial Expected Value of Perfect Information
       from a Probabilistic Sensitivity Analysis Sample", Medical Decision Making 34(3), 2014.
    .. [2] R. A. Howard, "Information Value Theory", IEEE Trans. Systems Science and Cybernetics 2(1), 1966.
    """
    if not len(scores):
        return np.empty(0)
    mean = benefit.mean(axis=1)
    around = (benefit - mean[:, None]).T
    terms = _polynomials(scores)
    products = np.empty((len(scores), _DEGREE + 1, _DEGREE + 1))
    targets = np.empty((len(scores), _DEGREE + 1, benefit.shape[0]))
    for j, left in enumerate(terms):
        targets[:, j] = left @ around
        for k in range(j, _DEGREE + 1):
            products[:, j, k] = products[:, k, j] = np.einsum("ij,ij->i", left, terms[k])
    coefficients = np.linalg.solve(products, targets)
    coefficients[:, 0] = 0.0  # the mean is the benefit's own, so that knowing nothing is worth exactly nothing
    shrink = np.sqrt(np.broadcast_to(np.asarray(reliability, dtype=float), len(scores)))[:, None] ** np.arange(
        _DEGREE + 1
    )
    expected = np.einsum("cka,ck,kn->can", coefficients, shrink, _GRID) + mean[None, :, None]
    informed = np.maximum(expected.max(axis=1), 0.0).mean(axis=1)
    uninformed = max(float(mean.max()), 0.0)
    return np.asarray(np.maximum(informed - uninformed, 0.0))


def reliability(sd_log: npt.ArrayLike, noise: float) -> Floats:
    """Share of the variance of a quoted log price that is the price's own.

    Parameters
    ----------
    sd_log : array, shape (parts,)
        Uncertainty of the log price before asking. [ln]
    noise : float
        Standard deviation of the log of a quote around the price. [ln]

    Returns
    -------
    array, shape (parts,)
        [-]
    """
    variance = np.asarray(sd_log, dtype=float) ** 2
    total = variance + noise**2
    return np.asarray(np.where(total > 0, variance / np.where(total > 0, total, 1.0), 0.0))


def gain_from_asking(booked: npt.ArrayLike, estimate: npt.ArrayLike, sd_log: npt.ArrayLike) -> Floats:
    r"""Expected fall of a price below what is booked, 0 where it rose: what a new quote can win per unit.

    Parameters
    ----------
    booked, estimate : array, shape (lines,)
        [currency/uom]
    sd_log : array, shape (lines,)
        [ln]

    Returns
    -------
    array, shape (lines,)
        [currency/uom]

    Notes
    -----
    :math:`E[\max(B - P, 0)] = B\,\Phi(d) - M e^{s^2/2}\,\Phi(d - s)`, :math:`d = \ln(B/M)/s`, for a lognormal P of
    median M: the partial expectation of the lognormal.
    """
    b, m = np.asarray(booked, dtype=float), np.asarray(estimate, dtype=float)
    s = np.maximum(np.asarray(sd_log, dtype=float), 1e-9)
    with np.errstate(divide="ignore", invalid="ignore"):
        d = np.log(b / m) / s
    return np.asarray(np.maximum(b * ndtr(d) - m * np.exp(s**2 / 2) * ndtr(d - s), 0.0))
