"""Experience and time: how a commodity's real price moved, from own quotes and the pool, and where it goes from here.

Wright's law (price falls with cumulative volume) and a constant trend (price falls with time) together, each with a
lasting rate and a present one, in one regression on the changes between quotes of the same part. What a commodity's own
quotes say is weighed against its prior by how much they can be trusted; the rest is the pool of published series.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.breaks import warnings_of
from bomaudit.curves.calibration import Pool, Pools, bundled_pools
from bomaudit.curves.pooling import Changes, Floats, Series, within_part_changes
from bomaudit.curves.projection import Projection, Rates, project
from bomaudit.curves.rates import PRIOR_COLUMNS, Fitted, Stated, fit_rates, stack, yearly_variance


@dataclass(frozen=True)
class ExperienceFit:
    """Exponent and trend of each commodity, and how sure.

    Attributes
    ----------
    frame : DataFrame
        One row a commodity (index): exponent, exponent_sd (of the years to come), drift, drift_sd (ln/year beside
        experience), trend, trend_sd (ln/year, where there is no volume index), process_noise (ln/sqrt(year)), dof,
        data_weight (share of the exponent's variance that own quotes took away, at given scales), weight_experience
        (share of the expected yearly change that is owed to experience), n_obs (changes), n_quotes (quotes they are
        between, those of one day as one), n_parts (parts these are of), theta (first-order moving-average coefficient
        of yearly changes), source, kind, warnings.
    with_volume, without_volume : Rates
        What a projection needs, with a volume index and without.
    pools : Pools
        The pooled figures that were used.
    """

    frame: pd.DataFrame
    with_volume: Rates
    without_volume: Rates
    pools: Pools

    def to_frame(self) -> pd.DataFrame:
        """Frame of the fits."""
        return self.frame

    def __repr__(self) -> str:
        return f"ExperienceFit({int((self.frame['n_obs'] > 0).sum())} of {len(self.frame)} commodities with own quotes)"

    def project(
        self,
        commodity: npt.ArrayLike,
        experience_change: npt.ArrayLike,
        years: npt.ArrayLike,
        *,
        start: npt.ArrayLike | None = None,
    ) -> Projection:
        """Forecast the change of ln real price.

        Parameters
        ----------
        commodity : array of str, shape (lines,)
            Commodities of the fit.
        experience_change : array, shape (lines,)
            Change of ln cumulative volume over the span; NaN where there is no volume index. [ln]
        years : array, shape (lines,)
            Length of the span, not negative. [year]
        start : array of datetime64, shape (lines,), optional
            When the span starts. Where that is the newest quote of the commodity, what is known of that quote's passing
            deviation is used; else it is unknown.

        Returns
        -------
        Projection

        Raises
        ------
        KeyError
            If a commodity was not fitted.
        ValueError
            If a span is negative.
        """
        growth, span = np.asarray(experience_change, dtype=float), np.asarray(years, dtype=float)
        if bool(np.any(span < 0)):
            raise ValueError("a projection runs forward in time: years must not be negative")
        codes, names = pd.factorize(np.asarray(commodity, dtype=object))
        row = self.frame.index.get_indexer(pd.Index(names))
        if bool(np.any(row < 0)):
            raise KeyError(f"no fit for commodity {names[row < 0][0]!r}")
        return project(
            row[codes], growth, span, start, with_volume=self.with_volume, without=self.without_volume, pools=self.pools
        )


def fit_experience(observations: pd.DataFrame, priors: pd.DataFrame, *, pools: Pools | None = None) -> ExperienceFit:
    """Fit exponent and trend of every commodity in ``priors``.

    Parameters
    ----------
    observations : DataFrame
        Quotes: commodity, part_no, date, log_price (real, one currency), log_experience (NaN: no volume index at that
        date) and optionally noise (sd of one quote) and learned (share of the industry's learning, else 1).
        [-, -, day, ln, ln, ln, -]
    priors : DataFrame
        One row a commodity (index), columns :data:`PRIOR_COLUMNS` and optionally drift_mean (ln/year beside experience,
        0 if not stated), source and kind. The sds are of the rates that will hold in the years to estimate. NaN takes
        the pool's figure. An exponent of 0 ± 0 pins the price: raw materials learn nothing and keep no trend.
    pools : Pools, optional
        Default: the figures that come with the package; the fit carries them.

    Returns
    -------
    ExperienceFit

    Raises
    ------
    ValueError
        If a column is missing.
    """
    missing = [c for c in PRIOR_COLUMNS if c not in priors.columns]
    if missing:
        raise ValueError(f"priors lack {', '.join(missing)}")
    pools = bundled_pools() if pools is None else pools
    commodities = tuple(str(c) for c in priors.index)
    changes = within_part_changes(observations, commodities)
    stated = [Stated.of(row) for row in priors.to_dict("records")]
    indexed = fit_rates(changes, stated, pools.with_volume, indexed=True)
    plain = fit_rates(changes, stated, pools.without_volume, indexed=False)
    with_volume, without = stack(indexed, pools.with_volume), stack(plain, pools.without_volume)
    return ExperienceFit(_frame(priors, changes, indexed, plain, pools), with_volume, without, pools)


def _frame(
    priors: pd.DataFrame, changes: Changes, indexed: list[Fitted], plain: list[Fitted], pools: Pools
) -> pd.DataFrame:
    mean, spread = _figures(indexed, pools.with_volume)
    trend, trend_spread = _figures(plain, pools.without_volume)
    used = [a if len(a.series.start) else b for a, b in zip(indexed, plain, strict=True)]
    yearly = yearly_variance(pools.with_volume)
    noise = np.array([f.found.noise * yearly + f.series.own for f in used])
    growth = np.array([_growth(f.series) for f in indexed])
    parts = np.array([len(np.unique(p)) for p in np.split(changes.part, changes.first[1:-1])], dtype=np.int64)
    by_experience = np.abs(mean[:, 0] * growth)
    return pd.DataFrame(
        {
            "exponent": mean[:, 0],
            "exponent_sd": spread[:, 0],
            "drift": mean[:, 1],
            "drift_sd": spread[:, 1],
            "trend": trend[:, 1],
            "trend_sd": trend_spread[:, 1],
            "process_noise": np.sqrt(noise),
            "dof": [min(f.found.dof, pools.with_volume.tail_dof) for f in used],
            "data_weight": [f.found.drawn for f in indexed],
            "weight_experience": by_experience / np.maximum(by_experience + np.abs(mean[:, 1]), 1e-12),
            "n_obs": np.diff(changes.first),
            "n_quotes": np.diff(changes.first) + parts,
            "n_parts": parts,
            "shared_noise": [f.found.noise * yearly / max(f.found.noise * yearly + f.series.own, 1e-300) for f in used],
            "theta": [
                implied_theta(pools.with_volume if len(f.series.log_experience) else pools.without_volume) for f in used
            ],
            "source": priors["source"].to_numpy() if "source" in priors else "",
            "kind": priors["kind"].to_numpy() if "kind" in priors else "",
            "warnings": [warnings_of(f.series, f.outliers) for f in used],
        },
        index=priors.index,
    )


def _figures(fitted: list[Fitted], pool: Pool) -> tuple[Floats, Floats]:
    """Exponent and drift of the years to come, lasting and present together: means and standard deviations."""
    together = np.array([[1, pool.typical_growth], [1, 0], [0, 1], [0, 1], [0, 0]], dtype=float)  # rows as STATES
    mean = np.array([f.found.mean for f in fitted]) @ together
    variance = np.einsum("ia,cij,ja->ca", together, np.array([f.found.covariance for f in fitted]), together)
    return mean, np.sqrt(np.maximum(variance, 0.0))


def _growth(series: Series) -> float:
    """Yearly growth of ln cumulative volume over the changes; a fifth, the median of published series, without any."""
    years = float((series.end - series.start).sum())
    return float(series.log_experience.sum()) / years if years > 0 else 0.2


def implied_theta(pool: Pool) -> float:
    r"""First-order moving-average coefficient that yearly changes have under a pool's noise.

    Notes
    -----
    Their first autocorrelation is :math:`r = -(1-w)(1-e^{-1/L})^2 / v`, and :math:`\theta` solves
    :math:`r = \theta/(1+\theta^2)`.
    """
    lost = -np.expm1(-1 / pool.noise_memory)
    r = -(1 - pool.level_share) * lost**2 / yearly_variance(pool)
    return 0.0 if r == 0 else float((1 - np.sqrt(max(1 - 4 * r**2, 0.0))) / (2 * r))
