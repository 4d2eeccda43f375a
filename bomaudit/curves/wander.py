r"""How rates and prices wander: covariances of changes between dates, in closed form.

Three motions make up a price beside its expected course. A *rate* (exponent or yearly drift) wanders about its lasting
value and forgets within some years. The *level* wanders without return. And a *stated* price is off the level for a
year or so: a good offer, a tight market, an error.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from bomaudit.curves.pooling import Floats


class Spans(NamedTuple):
    """Spans of time, ``end`` after ``start``. [year]."""

    start: Floats
    end: Floats

    @property
    def years(self) -> Floats:
        """Length. [year]."""
        return self.end - self.start


def rate_covariance(spans: Spans, memory: float) -> Floats:
    r"""Covariance of the mean over each span of a rate of unit variance, with that over each other span.

    Parameters
    ----------
    spans : Spans, shape (spans,)
    memory : float
        Time after which the correlation has fallen to 1/e. [year]

    Returns
    -------
    array, shape (spans, spans)
        [-]

    Notes
    -----
    :math:`\iint e^{-|s-t|/L} / (\Delta \Delta')`: the fourth difference of :math:`H(z) = L^2 (e^{-|z|/L} - 1) + L |z|`,
    whose second derivative is the correlation.
    """
    total = _fourth_difference(spans, lambda z: memory**2 * (np.expm1(-z / memory) + z / memory))
    return np.asarray(total / np.outer(spans.years, spans.years))


def rate_carry(years: Floats, memory: float) -> Floats:
    r"""Share of a rate's present deviation that its mean over the coming years keeps.

    Parameters
    ----------
    years : array
        Not negative. [year]
    memory : float
        [year]

    Returns
    -------
    array
        :math:`(1 - e^{-u})/u`, :math:`u` years over memory; 1 for no time at all. [-]
    """
    u = np.maximum(years / memory, 1e-9)
    return np.asarray(-np.expm1(-u) / u)


def rate_renewal(years: Floats, memory: float) -> Floats:
    r"""Variance of the mean over the coming years of a rate of unit variance, its present value known.

    Parameters
    ----------
    years : array
        Not negative. [year]
    memory : float
        [year]

    Returns
    -------
    array
        :math:`2(u - 1 + e^{-u})/u^2 - ((1 - e^{-u})/u)^2`. [-]
    """
    u = years / memory
    safe = np.maximum(u, 1e-3)  # below, the difference of the two terms is lost to rounding, and it is linear
    whole = 2 * (safe + np.expm1(-safe)) / safe**2
    return np.asarray((whole - (np.expm1(-safe) / safe) ** 2) * np.minimum(u / safe, 1.0))


def deviation_covariance(spans: Spans, memory: float) -> Floats:
    r"""Covariance of the changes over spans of a deviation of unit variance that is forgotten exponentially.

    Parameters
    ----------
    spans : Spans, shape (spans,)
    memory : float
        [year]

    Returns
    -------
    array, shape (spans, spans)
        [-]
    """
    return -_fourth_difference(spans, lambda z: np.exp(-z / memory))


def level_covariance(spans: Spans) -> Floats:
    """Covariance of the changes over spans of a random walk: the years that two spans share, shape (spans, spans)."""
    shared = np.minimum.outer(spans.end, spans.end) - np.maximum.outer(spans.start, spans.start)
    return np.asarray(np.maximum(shared, 0.0))


def _fourth_difference(spans: Spans, function: Callable[[Floats], Floats]) -> Floats:
    a, b = spans.start, spans.end
    f = [function(np.abs(np.subtract.outer(u, v))) for u, v in ((b, a), (a, b), (b, b), (a, a))]
    return np.asarray(f[0] + f[1] - f[2] - f[3])
