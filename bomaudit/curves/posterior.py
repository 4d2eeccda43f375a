r"""What the changes of one commodity say of its rates: Gaussian processes with unknown scales, in closed form.

:math:`\Delta y = -\int \alpha\,dx + \int \delta\,dt + \text{noise}`. Exponent :math:`\alpha` and drift :math:`\delta`
are each a lasting value plus a wandering one. The lasting ones are not independent over technologies: an exponent is
about the yearly fall over the yearly growth [1]_. What is independent of it is the yearly change at a typical growth
:math:`g`, :math:`\delta - \alpha g`, which stands for the lasting drift among the states. How noisy a technology is,
and how much its rates wander, are not known: a grid of both, weighed by the likelihood, stands for them. Their
uncertainty makes the tails those of a Student t. The drift of a noisy price wanders more than that of a calm one, in
proportion to its noise: of published prices the calm quarter changes its course in ten years by less than half of what
the noisy quarter does.

References
----------
.. [1] D. Sahal, "A theory of progress functions", AIIE Transactions 11(1), 1979.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bomaudit.curves.calibration import Pool
from bomaudit.curves.pooling import Floats, Series
from bomaudit.curves.wander import Spans, deviation_covariance, level_covariance, rate_carry, rate_covariance

STATES = ("exponent", "present_exponent", "drift", "present_drift", "deviation")
"""Lasting exponent, its present deviation, lasting yearly change at typical growth, present deviation of the drift,
passing deviation of the newest price."""

_SIZE = len(STATES)
_NODES = np.linspace(-2.4, 2.4, 9)  # of ln noise, in standard deviations
_WANDER_NODES = np.sqrt(1.5) * np.array([-1.0, 0.0, 1.0])
_WANDER_WEIGHTS = np.array([1.0, 1.0, 1.0]) / 3  # mean 0, variance 1

_LOG_WEIGHT = (np.log(_WANDER_WEIGHTS)[:, None] - 0.5 * _NODES**2).ravel()  # wandering first, as in _grid


@dataclass(frozen=True)
class Prior:
    """Prior of one commodity: lasting and wandering standard deviations of both rates, and the noise scale.

    Attributes
    ----------
    exponent, drift : float
        Means; the drift is what comes beside experience. [-, ln/year]
    exponent_sd, exponent_wander, drift_sd, drift_wander : float
        [-, -, ln/year, ln/year]; ``drift_wander`` at the median noise scale.
    noise : float
        Median noise scale. [ln]
    """

    exponent: float
    drift: float
    exponent_sd: float
    exponent_wander: float
    drift_sd: float
    drift_wander: float
    noise: float


@dataclass(frozen=True)
class Posterior:
    """What is known of one commodity.

    Attributes
    ----------
    mean : array, shape (5,)
    covariance : array, shape (5, 5)
        Of :data:`STATES`, about the scales' uncertainty too.
    noise : float
        Expected squared noise scale of the time ahead. [ln²]
    wander, drifting : float
        Expected squares of how much the exponent and the drift wander, 1 for as much as the prior. [-]
    drawn : float
        Share of the present exponent's variance that the changes take away, at given scales: their weight against the
        prior. Surprising changes make it no smaller, though they raise the scales and with them the variance. [-]
    dof : float
        Degrees of freedom of a Student t with the tails that the uncertain scales give.
    log_likelihood : float
        Of the changes, scales integrated out.
    surprise, surprise_variance : array, shape (changes,)
        Deviation of each change from what all others lead to expect, in standard deviations; and that variance.
        [-, ln²]
    """

    mean: Floats
    covariance: Floats
    noise: float
    wander: float
    drifting: float
    drawn: float
    dof: float
    log_likelihood: float
    surprise: Floats
    surprise_variance: Floats


def posterior(series: Series, prior: Prior, pool: Pool, *, inflate: Floats | None = None) -> Posterior:
    """Weigh the changes of a commodity against its prior.

    Parameters
    ----------
    series : Series
        May be empty: the prior comes back, with its tails.
    prior : Prior
    pool : Pool
        Memories, and spreads of the scales.
    inflate : array, shape (changes,), optional
        Variance added to single changes, to take the weight off outliers. [ln²]

    Returns
    -------
    Posterior
    """
    parts = _Parts.of(series, prior, pool)
    fixed = parts.lasting + series.error
    if inflate is not None:
        fixed = fixed + np.diag(inflate)
    residual = series.log_price + prior.exponent * series.log_experience - prior.drift * series.counted
    grid = _grid(fixed, parts, residual, prior, pool)
    top = (_LOG_WEIGHT + grid.log_likelihood).max()
    weight = np.exp(_LOG_WEIGHT + grid.log_likelihood - top)
    evidence = float(top + np.log(weight.sum()) - np.log(np.exp(_LOG_WEIGHT).sum()))
    weight = weight / weight.sum()
    mean = weight @ grid.mean
    apart = grid.mean - mean
    covariance = np.tensordot(weight, grid.covariance, 1) + apart.T @ (weight[:, None] * apart)
    known = np.array([prior.exponent, 0.0, prior.drift - pool.typical_growth * prior.exponent, 0.0, 0.0])
    return Posterior(
        mean + known, covariance, prior.noise**2 * float(weight @ grid.times),
        float(weight @ grid.wander2), float(weight @ grid.drift2), float(weight @ grid.drawn),
        _tails(weight, grid, prior, pool), evidence,
        weight @ grid.surprise, weight @ grid.surprise_variance,
    )  # fmt: skip


@dataclass(frozen=True)
class _Grid:
    """Posteriors given the scales, one row a node of the grid; ``times``: squared noise ahead, in squared medians."""

    times: Floats
    wander2: Floats
    drift2: Floats
    log_likelihood: Floats
    mean: Floats
    covariance: Floats
    drawn: Floats
    surprise: Floats
    surprise_variance: Floats


def _grid(fixed: Floats, parts: _Parts, residual: Floats, prior: Prior, pool: Pool) -> _Grid:
    r"""Condition on every pair of scales; one eigendecomposition serves all noise scales of one wandering scale.

    With :math:`N = LL'` and :math:`L^{-1} F L^{-T} = U D U'`, the inverse of :math:`F + \sigma^2 N` is
    :math:`W (D + \sigma^2)^{-1} W'`, :math:`W = L^{-T} U`. Noise and the wandering of the drift, which goes with it,
    are :math:`N`.
    """
    n = len(residual)
    times, ahead = np.exp(2 * pool.noise_log_sd * _NODES), _noise_ahead(pool)
    noise2 = prior.noise**2 * times
    wander2 = np.exp(2 * pool.wander_log_sd * _WANDER_NODES)
    each = wander2[:, None, None]
    root = np.linalg.cholesky(parts.noise + each * parts.drifting + _JITTER * np.eye(n))
    back = np.linalg.inv(root)
    value, vector = np.linalg.eigh(back @ (fixed + each * parts.wandering) @ np.swapaxes(back, 1, 2))
    turn = np.swapaxes(back, 1, 2) @ vector  # (wander, n, n)
    scale = 1.0 / (np.maximum(value, 0.0)[:, None, :] + noise2[:, None])  # (wander, noise, n)
    turned = residual @ turn  # (wander, n)
    still = np.swapaxes(turn, 1, 2) @ (parts.state_lasting + each * parts.state_wandering)
    moving = np.swapaxes(turn, 1, 2) @ (parts.state_noise + each * parts.state_drifting)
    cross = still[:, None] + noise2[:, None, None] * moving[:, None]  # (wander, noise, n, states)
    weighed = cross * scale[..., None]
    before = parts.state_variance(prior, pool, times, wander2)
    inside = before[..., None] * np.eye(_SIZE) - np.swapaxes(cross, 2, 3) @ weighed
    alone = 1.0 / (scale @ np.swapaxes(turn**2, 1, 2))
    pull = (scale * turned[:, None, :]) @ np.swapaxes(turn, 1, 2)
    logdet = 2 * np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)[:, None] - np.log(scale).sum(axis=2)
    fit = (scale * turned[:, None, :] ** 2).sum(axis=2)
    return _Grid(
        times=np.tile(ahead, len(wander2)), wander2=np.repeat(wander2, len(ahead)),
        drift2=np.outer(wander2, ahead).ravel(),
        log_likelihood=_flat(-0.5 * (fit + logdet + n * np.log(2 * np.pi))),
        mean=_flat((np.swapaxes(weighed, 2, 3) @ turned[:, None, :, None])[..., 0]),
        covariance=_flat(inside), drawn=_flat(_drawn(before, inside)),
        surprise=_flat(pull * np.sqrt(alone)), surprise_variance=_flat(alone),
    )  # fmt: skip


def _noise_ahead(pool: Pool) -> Floats:
    r"""Expected squared noise scale of the time ahead at each node, in squared medians.

    With :math:`s = \ln \sigma` normal about its median with variance :math:`v`, what a technology was,
    :math:`s_0`, is kept in part: :math:`s \mid s_0 \sim N(k s_0, (1 - k^2) v)`. Over all nodes the mean stays the same.
    """
    prior = np.exp(-0.5 * _NODES**2)
    was, stays = (np.exp(2 * k * pool.noise_log_sd * _NODES) for k in (1.0, pool.noise_kept))
    return np.asarray(stays * (prior @ was) / (prior @ stays))


def _drawn(before: Floats, inside: Floats) -> Floats:
    """Share of the variance of lasting and present exponent together that is gone; 0 where there was none."""
    had, left = before[..., :2].sum(axis=-1), inside[..., :2, :2].sum(axis=(-2, -1))
    return np.asarray(np.where(had > 0, np.clip(1 - left / np.where(had > 0, had, 1.0), 0.0, 1.0), 0.0))


def _flat(by_scales: Floats) -> Floats:
    """Nodes of both scales as one axis."""
    return by_scales.reshape(by_scales.shape[0] * by_scales.shape[1], *by_scales.shape[2:])


_LEAST = 1e-4  # ln; the least noise that a drift's wandering is measured by
_JITTER = 1e-8  # ln², a hundredth of a per cent: prices are printed with few digits


@dataclass(frozen=True)
class _Parts:
    """Covariances of the changes, and of changes with states, for unit scales; drifting for a unit noise scale."""

    lasting: Floats
    wandering: Floats
    drifting: Floats
    noise: Floats
    state_lasting: Floats
    state_wandering: Floats
    state_drifting: Floats
    state_noise: Floats

    @classmethod
    def of(cls, series: Series, prior: Prior, pool: Pool) -> _Parts:
        spans = Spans(series.start, series.end)
        x, t, n = series.log_experience, series.counted, len(series.start)
        since = np.maximum(series.latest - series.end, 0.0)
        faster = x - pool.typical_growth * t
        xx, tt = np.outer(x, x), np.outer(t, t)
        steady, passing = pool.level_share, 1 - pool.level_share
        level = steady * level_covariance(spans) + passing * deviation_covariance(spans, pool.noise_memory)
        drift = prior.drift_wander**2 / max(prior.noise, _LEAST) ** 2
        states = np.zeros((4, n, _SIZE))
        states[0, :, 0], states[0, :, 2] = -(prior.exponent_sd**2) * faster, prior.drift_sd**2 * t
        for row, k, sign, amount, memory in (
            (1, 1, -x, prior.exponent_wander**2, pool.exponent_memory), (2, 3, t, drift, pool.drift_memory)
        ):  # fmt: skip
            states[row, :, k] = amount * sign * np.exp(-since / memory) * rate_carry(spans.years, memory)
        fade = np.exp(-since / pool.noise_memory)
        states[3, :, 4] = passing * (fade - np.exp(-(since + spans.years) / pool.noise_memory))
        return cls(
            lasting=prior.exponent_sd**2 * np.outer(faster, faster) + prior.drift_sd**2 * tt,
            wandering=prior.exponent_wander**2 * xx * rate_covariance(spans, pool.exponent_memory),
            drifting=drift * tt * rate_covariance(spans, pool.drift_memory),
            noise=level,
            state_lasting=states[0], state_wandering=states[1], state_drifting=states[2], state_noise=states[3],
        )  # fmt: skip

    @staticmethod
    def state_variance(prior: Prior, pool: Pool, times: Floats, wander2: Floats) -> Floats:
        """Variance of the states before any data, shape (wander, noise, states)."""
        variance = np.zeros((len(wander2), len(times), _SIZE))
        variance[..., 0], variance[..., 2] = prior.exponent_sd**2, prior.drift_sd**2
        variance[..., 1] = prior.exponent_wander**2 * wander2[:, None]
        variance[..., 3] = prior.drift_wander**2 * np.outer(wander2, times)
        variance[..., 4] = (1 - pool.level_share) * prior.noise**2 * times
        return variance


def least_noise(prior: Prior, pool: Pool) -> float:
    """Smallest noise scale that is thought of. [ln]."""
    return float(prior.noise * np.exp(pool.noise_log_sd * _NODES[0]))


def _tails(weight: Floats, grid: _Grid, prior: Prior, pool: Pool) -> float:
    r"""Degrees of freedom with the excess kurtosis of mixed variances: :math:`4 + 2 \bar V^2 / \mathrm{Var}\,V`."""
    noisy = grid.times * prior.noise**2 + grid.drift2 * prior.drift_wander**2
    yearly = noisy + grid.wander2 * (pool.typical_growth * prior.exponent_wander) ** 2
    mean = float(weight @ yearly)
    renewed = np.expm1(4 * (1 - pool.noise_kept**2) * pool.noise_log_sd**2)  # of a lognormal about its mean
    spread = float(weight @ ((yearly - mean) ** 2 + noisy**2 * renewed))
    return float(min(4 + 2 * mean**2 / max(spread, 1e-300), _MOST_DOF)) if mean > 0 else _MOST_DOF


_MOST_DOF = 1000.0
