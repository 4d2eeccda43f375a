"""What knowing is worth: expected value of perfect information, and of a quote with its noise.

For two or more actions with net benefits that depend on uncertain prices, knowing one price before acting is worth the
expected gain of choosing well over choosing by the mean.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from bomaudit.decide.draws import Draws

Floats = npt.NDArray[np.float64]

_DEGREE = 4
"""Degree of the regression on the normal score. The benefit is a sum of exponentials exp(s u), whose share of
variance above degree 4 is below s^8/5! of it: under 0.1 % for s = 0.5."""
_NODES = 512
"""Equally likely cells of the score in which the better action is looked up."""


def perfect_information(benefit: Floats) -> float:
    r"""Expected value of knowing everything before acting.

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
    :math:`E[\max(0, \max_a B_a)] - \max(0, \max_a E[B_a])`
    """
    informed = np.maximum(benefit.max(axis=0), 0.0).mean()
    return float(informed - max(float(benefit.mean(axis=1).max()), 0.0))


def _polynomials(scores: Floats) -> Floats:
    """Hermite polynomials of degree 1 to _DEGREE, orthonormal under a standard normal; shape (causes, degree, n)."""
    terms = np.empty((len(scores), _DEGREE, scores.shape[1]))
    terms[:, 0] = scores
    np.multiply(scores, scores, out=terms[:, 1])
    terms[:, 1] -= 1.0
    terms[:, 1] /= np.sqrt(2.0)
    for k in range(2, _DEGREE):
        np.multiply(scores, terms[:, k - 1], out=terms[:, k])
        terms[:, k] -= np.sqrt(k) * terms[:, k - 2]
        terms[:, k] /= np.sqrt(k + 1)
    return terms


def _powers(scores: Draws) -> Draws:
    """Powers 1 to _DEGREE of the scores, shape (causes, degree, n)."""
    terms = np.empty((len(scores), _DEGREE, scores.shape[1]), dtype=scores.dtype)
    terms[:, 0] = scores
    for k in range(1, _DEGREE):
        np.multiply(scores, terms[:, k - 1], out=terms[:, k])
    return terms


_HANKEL = np.add.outer(np.arange(_DEGREE), np.arange(_DEGREE)) + 1
"""Which power the product of two powers is, counted from 0."""
_BASIS = np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [-3.0, 0.0, 1.0, 0.0], [0.0, -6.0, 0.0, 1.0]]) / np.sqrt(
    [[1.0], [2.0], [6.0], [24.0]]
)
"""The orthonormal Hermite polynomials less their constants, in powers 1 to 4."""


def _cell_means() -> Floats:
    """Mean of each polynomial over each of _NODES equally likely cells of the score, shape (degree, nodes).

    The integral of the Hermite polynomial of degree k against the normal density is the one of degree k - 1 times the
    density at the ends, so that the means are exact and their tails are not cut off.
    """
    inner = ndtri(np.arange(1, _NODES) / _NODES)
    below = np.concatenate([np.ones((1, _NODES - 1)), _polynomials(inner[None])[0, :-1]])
    at_edges = below * np.exp(-(inner**2) / 2) / np.sqrt(2 * np.pi) / np.sqrt(np.arange(1, _DEGREE + 1))[:, None]
    return np.asarray(-np.diff(at_edges, axis=1, prepend=0.0, append=0.0) * _NODES)


_GRID = _cell_means()


@dataclass(frozen=True)
class Regression:
    """Net benefit of each action given one cause at a time.

    Attributes
    ----------
    mean : array, shape (actions,)
        Mean net benefit. [currency]
    coefficients : array, shape (causes, actions, degree)
        On the orthonormal Hermite polynomials of the cause's score. [currency]
    """

    mean: Floats
    coefficients: Floats

    def value(self, reliability: npt.ArrayLike = 1.0) -> Floats:
        r"""Expected value of learning each cause, exactly or through a noisy observation.

        Parameters
        ----------
        reliability : array, shape (causes,)
            Share of the observation's variance that is the cause's own; 1 observes it exactly. [-]

        Returns
        -------
        array, shape (causes,)
            At least 0. [currency]

        Notes
        -----
        Of an observation v with correlation :math:`\rho` to the score u, :math:`E[h_k(u) \mid v] = \rho^k h_k(v)`
        (Mehler), so that a quote's noise needs no further draws. The expectation over v is over equally likely
        points.
        """
        share = np.broadcast_to(np.asarray(reliability, dtype=float), len(self.coefficients))
        shrunk = self.coefficients * np.sqrt(share)[:, None, None] ** np.arange(1, _DEGREE + 1)
        best = np.zeros((len(shrunk), _NODES))
        for action, mean in enumerate(self.mean):
            expected = shrunk[:, action] @ _GRID
            expected += mean
            np.maximum(best, expected, out=best)
        return np.asarray(np.maximum(best.mean(axis=1) - max(float(self.mean.max()), 0.0), 0.0))


def regress(benefit: Floats, scores: Draws) -> Regression:
    r"""Regress the net benefit of each action on one cause at a time.

    Parameters
    ----------
    benefit : array, shape (actions, draws)
        As in :func:`perfect_information`. [currency]
    scores : array, shape (causes, draws)
        Standard normal score of each cause.

    Returns
    -------
    Regression

    Notes
    -----
    :math:`E[B \mid u] = \sum_k c_k h_k(u)` with orthonormal Hermite polynomials, so that each coefficient is the mean
    of :math:`h_k(u) (B - E B)`; the draws are spread evenly, which makes them orthonormal in the sample too.

    References
    ----------
    .. [1] M. Strong, J. E. Oakley and A. Brennan, "Estimating Multiparameter Partial Expected Value of Perfect
       Information
       from a Probabilistic Sensitivity Analysis Sample", Medical Decision Making 34(3), 2014.
    .. [2] R. A. Howard, "Information Value Theory", IEEE Trans. Systems Science and Cybernetics 2(1), 1966.
    """
    mean, n = benefit.mean(axis=1), benefit.shape[1]
    powers = _powers(scores)
    around = benefit - mean[:, None]
    scale = float(np.abs(around).max(initial=0.0)) or 1.0
    around = np.concatenate([around / scale, np.ones((1, n))]).astype(powers.dtype)
    sums = np.matmul(powers, around.T).astype(np.float64) / n
    low = sums[:, :, -1]  # mean of the 1st to 4th power, then of the 5th to 8th
    high = np.matmul(powers[:, -1:], powers.transpose(0, 2, 1))[:, 0].astype(np.float64) / n
    moments = np.concatenate([low, high], axis=1)[:, _HANKEL] - low[:, :, None] * low[:, None, :]
    coefficients = np.linalg.solve(_BASIS @ moments @ _BASIS.T, _BASIS @ sums[:, :, :-1])
    return Regression(mean, scale * coefficients.transpose(0, 2, 1))


def most_it_could_be(mean: npt.ArrayLike, sd: npt.ArrayLike) -> Floats:
    r"""Bound on the value of learning a cause, from the normal two-action case summed over the actions.

    Parameters
    ----------
    mean : array, shape (actions,)
        Mean net benefit. [currency]
    sd : array, shape (causes,)
        Standard deviation that the cause gives any difference of benefits. [currency]

    Returns
    -------
    array, shape (causes,)
        :math:`\sum_a \sigma L(|m_a| / \sigma)` with the unit normal loss :math:`L(z) = \phi(z) - z (1 - \Phi(z))`,
        :math:`\sigma` taken half as large again for skew. [currency]

    References
    ----------
    .. [1] R. Schlaifer, "Probability and Statistics for Business Decisions", McGraw-Hill, 1959: unit normal loss.
    """
    sigma = 1.5 * np.asarray(sd, dtype=float)
    return np.asarray(sum(sigma * unit_normal_loss(abs(m) / sigma) for m in np.asarray(mean, dtype=float)))


def unit_normal_loss(z: npt.ArrayLike) -> Floats:
    """Expected excess of a standard normal over z: φ(z) - z (1 - Φ(z))."""
    at = np.asarray(z, dtype=float)
    return np.asarray(np.exp(-(at**2) / 2) / np.sqrt(2 * np.pi) - at * ndtr(-at))


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
