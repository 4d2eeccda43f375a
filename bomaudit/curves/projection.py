"""Carry what is known of a commodity's rates forward: change of ln real price over any span, for all lines at once."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np
import numpy.typing as npt

from bomaudit.curves.calibration import Pool, Pools
from bomaudit.curves.pooling import DAYS_PER_YEAR, Floats, Ints, years_since_2000
from bomaudit.curves.posterior import STATES, Posterior, Prior
from bomaudit.curves.wander import rate_carry, rate_renewal


@dataclass(frozen=True)
class Projection:
    """Change of ln real price over a span, per line.

    Attributes
    ----------
    log_ratio : array, shape (lines,)
        Median change. [ln]
    var_exponent, var_process : array, shape (lines,)
        Squared scales from not knowing exponent and trend, now and as they wander, with what their errors share with
        that of the starting price's deviation; and from the price's own wandering. [ln²]
    dof : array, shape (lines,)
        Degrees of freedom of the Student t whose squared scale is the sum of the two.
    elasticity : array, shape (lines,)
        Change of ``log_ratio`` per unit of experience change; 0 without a volume index.
    """

    log_ratio: Floats
    var_exponent: Floats
    var_process: Floats
    dof: Floats
    elasticity: Floats


@dataclass(frozen=True)
class Rates:
    """Posteriors of all commodities, stacked: what a projection needs.

    Attributes
    ----------
    mean : array, shape (commodities, 5)
    covariance : array, shape (commodities, 15)
        Upper triangle, row by row.
    exponent_wander, drift_wander : array, shape (commodities,)
        Expected variance of the wandering rates. [-, (ln/year)²]
    noise, own : array, shape (commodities,)
        Expected squared noise scale of the market, and of a part about it. [ln²]
    dof : array, shape (commodities,)
    latest : array, shape (commodities,)
        Date of the newest quote, NaN without any. [years since 2000]
    """

    mean: Floats
    covariance: Floats
    exponent_wander: Floats
    drift_wander: Floats
    noise: Floats
    own: Floats
    dof: Floats
    latest: Floats

    @classmethod
    def of(cls, found: list[Posterior], priors: list[Prior], *, own: Floats, latest: Floats) -> Rates:
        """Stack the posteriors of commodities."""
        return cls(
            mean=np.array([f.mean for f in found]).reshape(-1, len(STATES)),
            covariance=np.array([[f.covariance[i, j] for i, j in _PAIRS] for f in found]).reshape(-1, len(_PAIRS)),
            exponent_wander=np.array([f.wander * p.exponent_wander**2 for f, p in zip(found, priors, strict=True)]),
            drift_wander=np.array([f.drifting * p.drift_wander**2 for f, p in zip(found, priors, strict=True)]),
            noise=np.array([f.noise for f in found]),
            own=own,
            dof=np.array([f.dof for f in found]),
            latest=latest,
        )


_PAIRS = tuple(combinations_with_replacement(range(len(STATES)), 2))
_DEVIATION = len(STATES) - 1
_SAME_DAY = 1.5 / DAYS_PER_YEAR


def project(
    row: Ints,
    growth: Floats,
    years: Floats,
    start: npt.ArrayLike | None,
    *,
    with_volume: Rates,
    without: Rates,
    pools: Pools,
) -> Projection:
    """Carry the rates of each line's commodity over its span.

    Parameters
    ----------
    row : array of int, shape (lines,)
        Position of the commodity.
    growth : array, shape (lines,)
        Change of ln cumulative volume, NaN without an index; taken as even over the span. [ln]
    years : array, shape (lines,)
        [year]
    start : array of datetime64, shape (lines,), or None
        As in :meth:`bomaudit.curves.experience.ExperienceFit.project`.
    with_volume, without : Rates
    pools : Pools

    Returns
    -------
    Projection
    """
    began = np.full(row.shape, np.nan) if start is None else np.broadcast_to(years_since_2000(start), row.shape)
    indexed = np.isfinite(growth)
    result = np.empty((5, len(row)))
    for chosen, rates, pool in ((indexed, with_volume, pools.with_volume), (~indexed, without, pools.without_volume)):
        at = np.flatnonzero(chosen)
        for block in np.array_split(at, max(1, len(at) // _BLOCK)) if len(at) else []:
            span = _Span(row[block], np.nan_to_num(growth[block]), years[block], began[block])
            result[:, block] = _carry(span, rates, pool)
    result[4] = np.where(indexed, result[4], 0.0)
    return Projection(*result)


_BLOCK = 1 << 15  # lines carried at once: what stays in a processor's cache


@dataclass(frozen=True)
class _Span:
    row: Ints
    growth: Floats
    years: Floats
    began: Floats


def _carry(span: _Span, rates: Rates, pool: Pool) -> Floats:
    """Log ratio, squared scales, degrees of freedom and elasticity, stacked."""
    row, growth, years = span.row, span.growth, span.years
    kept, kept_drift = rate_carry(years, pool.exponent_memory), rate_carry(years, pool.drift_memory)
    faded = np.expm1(-years / pool.noise_memory)
    known = np.abs(span.began - rates.latest[row]) <= _SAME_DAY
    load = [pool.typical_growth * years - growth, -growth * kept, years, years * kept_drift, faded * known]
    log_ratio = np.asarray(sum(load[k] * rates.mean[:, k][row] for k in range(len(STATES))))
    dof = np.minimum(rates.dof[row], pool.tail_dof)
    exponent = _quadratic(row, load, rates) + (
        rates.exponent_wander[row] * growth**2 * rate_renewal(years, pool.exponent_memory)
        + rates.drift_wander[row] * years**2 * rate_renewal(years, pool.drift_memory)
    )
    process = _process(span, faded, known, rates, pool)
    scale = (dof - 2) / dof  # from variance to squared scale
    elasticity = -(rates.mean[:, 0][row] + rates.mean[:, 1][row] * kept)
    return np.array([log_ratio, exponent * scale, process * scale, dof, elasticity])


def _quadratic(row: Ints, load: list[Floats], rates: Rates) -> Floats:
    """Variance from the uncertainty of the rates as they are, and twice their covariance with the deviation's.

    The deviation's own variance is not in it, :func:`_process` has that. The covariance is seldom small: had the newest
    price been low in passing, prices would have fallen less, and would now come back as well.
    """
    total = np.zeros(len(row))
    for k, (i, j) in enumerate(_PAIRS):
        if i != _DEVIATION:
            total += load[i] * load[j] * (rates.covariance[:, k] * (1.0 if i == j else 2.0))[row]
    return np.maximum(total, 0.0)


def _process(span: _Span, faded: Floats, known: npt.NDArray[np.bool_], rates: Rates, pool: Pool) -> Floats:
    """Variance of the level's own steps, of the passing deviation at the start and of the one at the end."""
    passing = 1 - pool.level_share
    own, noise = rates.own[span.row], (rates.noise + rates.own)[span.row]
    unknown = np.where(known, rates.covariance[:, -1][span.row] + passing * own, passing * noise)
    renewed = passing * noise * -np.expm1(-2 * span.years / pool.noise_memory)
    return np.asarray(pool.level_share * noise * span.years + unknown * faded**2 + renewed)
