"""Priors as stated, weighed against own quotes: the rates of every commodity."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from bomaudit.curves.calibration import Pool
from bomaudit.curves.pooling import FAR, SHARED_WANDER, Changes, Floats, Noise, Series, series_of
from bomaudit.curves.posterior import Posterior, Prior, least_noise, posterior
from bomaudit.curves.projection import Rates

PRIOR_COLUMNS = ("exponent_mean", "exponent_sd", "trend_mean", "trend_sd", "process_noise")
"""Columns that a prior must have; index: commodity. exponent [-], trend [ln/year], process_noise [ln/sqrt(year)]."""


@dataclass(frozen=True)
class Stated:
    """A prior as stated for one commodity, NaN where the pool speaks."""

    exponent: float
    exponent_sd: float
    drift: float
    trend: float
    trend_sd: float
    process_noise: float

    @classmethod
    def of(cls, row: Mapping[Hashable, Any]) -> Stated:
        """Take a row of the priors."""
        number = {c: float(row[c]) for c in PRIOR_COLUMNS}
        drift = float(row.get("drift_mean", np.nan if np.isnan(number["exponent_mean"]) else 0.0))
        return cls(
            number["exponent_mean"], number["exponent_sd"], drift, number["trend_mean"], number["trend_sd"],
            number["process_noise"],
        )  # fmt: skip

    @property
    def pinned(self) -> bool:
        """No learning and no trend of its own: the price follows its inputs."""
        return self.exponent_sd == 0

    def with_volume(self, pool: Pool) -> Prior:
        """Prior of a commodity that has a volume index."""
        if self.pinned:
            return Prior(self.exponent, 0.0, 0.0, 0.0, 0.0, 0.0, self._noise(pool))
        lasting, wander = _split(self.exponent_sd, pool.exponent_sd, pool.exponent_wander)
        return Prior(
            _or(self.exponent, pool.exponent_mean), _or(self.drift, pool.drift_mean), lasting, wander, pool.drift_sd,
            pool.drift_wander, self._noise(pool),
        )  # fmt: skip

    def without_volume(self, pool: Pool) -> Prior:
        """Prior of a commodity that has none: a trend only."""
        if self.pinned or self.trend_sd == 0:
            return Prior(0.0, _or(self.trend, 0.0), 0.0, 0.0, 0.0, 0.0, self._noise(pool))
        lasting, wander = _split(self.trend_sd, pool.drift_sd, pool.drift_wander)
        return Prior(0.0, _or(self.trend, pool.drift_mean), 0.0, 0.0, lasting, wander, self._noise(pool))

    def _noise(self, pool: Pool) -> float:
        """Noise scale whose yearly changes have the stated standard deviation."""
        return pool.noise if np.isnan(self.process_noise) else self.process_noise / np.sqrt(yearly_variance(pool))


def yearly_variance(pool: Pool) -> float:
    """Variance of a yearly change for a squared noise scale of one. [-]."""
    return float(pool.level_share - 2 * (1 - pool.level_share) * np.expm1(-1 / pool.noise_memory))


def _or(stated: float, pooled: float) -> float:
    return pooled if np.isnan(stated) else stated


def _split(stated: float, lasting: float, wander: float) -> tuple[float, float]:
    """Stated standard deviation as a lasting and a wandering one, in the pool's proportion."""
    share = 1.0 if np.isnan(stated) else stated / np.hypot(lasting, wander)
    return lasting * share, wander * share


@dataclass(frozen=True)
class Fitted:
    """Fit of one commodity: what was fitted, the prior, what was found, and how many changes lost weight."""

    series: Series
    prior: Prior
    found: Posterior
    outliers: int


def _fit_one(changes: Changes, commodity: int, prior: Prior, pool: Pool, *, indexed: bool) -> Fitted:
    """Take the weight off slips, fit, take it off changes that all others contradict, and fit again."""
    noise = Noise(prior.noise**2, pool.level_share, pool.noise_memory)
    series = series_of(changes, commodity, noise=noise, indexed=indexed)
    if series.own > 0:  # the rest of a part's movement is its own
        prior = replace(prior, noise=prior.noise * float(np.sqrt(SHARED_WANDER)))
    slips = _slips(series, prior, pool)
    found = posterior(series, prior, pool, inflate=slips)
    far = (np.abs(found.surprise) > FAR) & (slips == 0)
    slipped = max(series.outliers, int(np.sum(slips > 0)))  # the slip of a part shows in the market's index too
    lost = slipped + int(far.sum())
    if not far.any():
        return Fitted(series, prior, found, lost)
    extra = np.where(far, found.surprise_variance * ((found.surprise / FAR) ** 2 - 1), slips)
    return Fitted(series, prior, posterior(series, prior, pool, inflate=extra), lost)


def _slips(series: Series, prior: Prior, pool: Pool) -> Floats:
    """Variance that takes the weight off changes far outside what the others do; 0 for all others. [ln²].

    A price ten times too high makes two such changes. Left in, they would pass for a noisy market and hide behind its
    noise. What the others do is told by the median of their scales, which fewer than half of them cannot move.
    """
    years = series.end - series.start
    if len(years) < _FEWEST:
        return np.zeros(len(years))
    unit = Noise(1.0, pool.level_share, pool.noise_memory).variance(years)
    off = series.log_price + prior.exponent * series.log_experience - prior.drift * series.counted
    off = off - np.median(off / years) * years
    usual = max(_NORMAL_MEDIAN * float(np.median(np.abs(off) / np.sqrt(unit))), least_noise(prior, pool))
    variance = usual**2 * unit + np.diag(series.error)
    over = np.abs(off) / (np.sqrt(variance) * _SLIP)
    return np.where(over > 1, variance * (over**4 - 1), 0.0)


_FEWEST = 6
"""Changes from which their median is trusted to tell what is usual."""
_SLIP = 5.0
"""Usual scales from which a change loses weight before anything is fitted, the faster the further it is: its pull falls
off. On published series limits from 4 to 8 make forecasts equally good; engineering judgement."""
_NORMAL_MEDIAN = 1.4826  # standard deviations of a normal law in its median absolute deviation


def fit_rates(changes: Changes, stated: Sequence[Stated], pool: Pool, *, indexed: bool) -> list[Fitted]:
    """Fit every commodity.

    Parameters
    ----------
    changes : Changes
    stated : sequence of Stated
        One a commodity, in the order of the changes.
    pool : Pool
        The one that goes with ``indexed``.
    indexed : bool
        Exponent and drift from changes with a volume index; else trends from all changes.

    Returns
    -------
    list of Fitted
    """
    priors = (s.with_volume(pool) if indexed else s.without_volume(pool) for s in stated)
    return [_fit_one(changes, k, prior, pool, indexed=indexed) for k, prior in enumerate(priors)]


def stack(fitted: Sequence[Fitted], pool: Pool) -> Rates:
    """Stack fits for a projection."""
    return Rates.of(
        [f.found for f in fitted], [f.prior for f in fitted],
        own=np.array([f.series.own for f in fitted]) / yearly_variance(pool),
        latest=np.array([f.series.latest for f in fitted]),
    )  # fmt: skip
