"""Experience and time: how a commodity's real price moved, from own quotes and the pool, and where it goes from here.

Wright's law (price falls with cumulative volume) and a constant trend (price falls with time) in one regression on the
changes between quotes of the same part. What a commodity's own quotes say is weighed against its prior.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.pooling import Changes, Floats, combine, within_part_changes

PRIOR_COLUMNS = ("exponent_mean", "exponent_sd", "trend_mean", "trend_sd", "process_noise")
"""Columns that a prior must have; index: commodity. exponent [-], trend [ln/year], process_noise [ln/sqrt(year)]."""


@dataclass(frozen=True)
class Projection:
    """Change of ln real price over a span, per line.

    Attributes
    ----------
    log_ratio : array, shape (lines,)
        Median change. [ln]
    var_exponent, var_process : array, shape (lines,)
        Variance from not knowing exponent and trend, and from the market's own wandering. [ln²]
    dof : array, shape (lines,)
        Degrees of freedom of the Student t whose squared scale is the sum of the two.
    elasticity : array, shape (lines,)
        Change of ``log_ratio`` per unit of experience change: minus the exponent; 0 without a volume index.
    """

    log_ratio: Floats
    var_exponent: Floats
    var_process: Floats
    dof: Floats
    elasticity: Floats


@dataclass(frozen=True)
class ExperienceFit:
    """Exponent and trend of each commodity, and how sure.

    Attributes
    ----------
    frame : DataFrame
        One row a commodity (index): exponent, exponent_sd, drift (ln/year on top of experience), drift_sd,
        exponent_drift_cov, trend, trend_sd (ln/year where there is no volume index), process_noise, dof, data_weight,
        weight_experience, n_obs, n_parts, theta, source, kind, warnings.
    """

    frame: pd.DataFrame

    def project(self, commodity: npt.ArrayLike, experience_change: npt.ArrayLike, years: npt.ArrayLike) -> Projection:
        """Forecast the change of ln real price.

        Parameters
        ----------
        commodity : array of str, shape (lines,)
            Commodities of the fit.
        experience_change : array, shape (lines,)
            Change of ln cumulative volume over the span; NaN where there is no volume index. [ln]
        years : array, shape (lines,)
            Length of the span, not negative. [year]

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
        dx, span = np.asarray(experience_change, dtype=float), np.asarray(years, dtype=float)
        if bool(np.any(span < 0)):
            raise ValueError("a projection runs forward in time: years must not be negative")
        codes, names = pd.factorize(np.asarray(commodity, dtype=object))
        row = self.frame.index.get_indexer(names)
        if bool(np.any(row < 0)):
            raise KeyError(f"no fit for commodity {names[row < 0][0]!r}")
        at = {c: self.frame[c].to_numpy(dtype=float)[row][codes] for c in _PROJECTED}
        indexed = np.isfinite(dx)
        x = np.where(indexed, dx, 0.0)
        drift, drift_var = (
            np.where(indexed, at[a], at[b]) ** p for a, b, p in (("drift", "trend", 1), ("drift_sd", "trend_sd", 2))
        )
        cross = np.where(indexed, -2 * x * span * at["exponent_drift_cov"], 0.0)
        return Projection(
            log_ratio=-at["exponent"] * x + drift * span,
            var_exponent=np.maximum(at["exponent_sd"] ** 2 * x**2 + drift_var * span**2 + cross, 0.0),
            var_process=at["process_noise"] ** 2 * span,
            dof=at["dof"],
            elasticity=np.where(indexed, -at["exponent"], 0.0),
        )


_PROJECTED = (
    "exponent", "exponent_sd", "drift", "drift_sd", "exponent_drift_cov", "trend", "trend_sd", "process_noise", "dof",
)  # fmt: skip

_DRIFT_SD = 0.02
_NOISE_DOF = 6.0


def fit_experience(observations: pd.DataFrame, priors: pd.DataFrame) -> ExperienceFit:
    """Fit exponent and trend of every commodity in ``priors``.

    Parameters
    ----------
    observations : DataFrame
        Quotes: commodity, part_no, date, log_price (real, one currency), log_experience (NaN: no volume index at that
        date) and optionally noise (sd of one quote). [-, -, day, ln, ln, ln]
    priors : DataFrame
        One row a commodity (index), columns :data:`PRIOR_COLUMNS`, source and kind. An sd of zero pins the value: raw
        materials carry exponent 0 ± 0.

    Returns
    -------
    ExperienceFit

    Raises
    ------
    ValueError
        If a column is missing or a prior is not finite.
    """
    missing = [c for c in PRIOR_COLUMNS if c not in priors.columns]
    if missing:
        raise ValueError(f"priors lack {', '.join(missing)}")
    if not np.isfinite(priors[list(PRIOR_COLUMNS)].to_numpy(dtype=float)).all():
        raise ValueError("a prior must be finite in every commodity")
    changes = within_part_changes(observations, tuple(str(c) for c in priors.index))
    prior = {c: priors[c].to_numpy(dtype=float) for c in PRIOR_COLUMNS}
    both, both_cov, drawn = _experience_and_drift(changes, prior)
    trend, trend_cov = _trend_alone(changes, prior)
    noise, dof = _noise(changes, prior, both, trend)
    size = len(priors)
    parts = observations.groupby("commodity", observed=True)["part_no"].nunique()
    frame = pd.DataFrame(
        {
            "exponent": both[:, 0],
            "exponent_sd": np.sqrt(both_cov[:, 0, 0]),
            "drift": both[:, 1],
            "drift_sd": np.sqrt(both_cov[:, 1, 1]),
            "exponent_drift_cov": both_cov[:, 0, 1],
            "trend": trend[:, 0],
            "trend_sd": np.sqrt(trend_cov[:, 0, 0]),
            "process_noise": noise,
            "dof": dof,
            "data_weight": drawn,
            "weight_experience": np.ones(size),
            "n_obs": np.bincount(changes.code, minlength=size),
            "n_parts": parts.reindex(priors.index).fillna(0).to_numpy(dtype=np.int64),
            "theta": np.zeros(size),
            "source": priors["source"].to_numpy() if "source" in priors else [""] * size,
            "kind": priors["kind"].to_numpy() if "kind" in priors else [""] * size,
            "warnings": [""] * size,
        },
        index=priors.index,
    )
    return ExperienceFit(frame)


def _weights(changes: Changes, prior: dict[str, Floats]) -> Floats:
    noise = np.maximum(prior["process_noise"][changes.code], 1e-6)
    return 1.0 / (noise**2 * changes.years + changes.quote_variance)


def _sums(changes: Changes, columns: list[Floats], weight: Floats, size: int) -> tuple[Floats, Floats]:
    """Weighted cross products of the columns and with the price change, per commodity."""
    k = len(columns)
    information, score = np.zeros((size, k, k)), np.zeros((size, k))
    for i, a in enumerate(columns):
        score[:, i] = np.bincount(changes.code, weight * a * changes.log_price, minlength=size)
        for j, b in enumerate(columns):
            information[:, i, j] = np.bincount(changes.code, weight * a * b, minlength=size)
    return information, score


def _experience_and_drift(changes: Changes, prior: dict[str, Floats]) -> tuple[Floats, Floats, Floats]:
    size = len(prior["exponent_mean"])
    indexed = np.isfinite(changes.log_experience)
    weight = np.where(indexed, _weights(changes, prior), 0.0)
    information, score = _sums(changes, [-np.where(indexed, changes.log_experience, 0.0), changes.years], weight, size)
    covariance = np.zeros((size, 2, 2))
    covariance[:, 0, 0] = prior["exponent_sd"] ** 2
    covariance[:, 1, 1] = np.where(prior["trend_sd"] > 0, _DRIFT_SD, 0.0) ** 2
    mean, posterior = combine(np.column_stack([prior["exponent_mean"], np.zeros(size)]), covariance, information, score)
    with np.errstate(invalid="ignore", divide="ignore"):
        drawn = np.where(covariance[:, 0, 0] > 0, 1 - posterior[:, 0, 0] / covariance[:, 0, 0], 0.0)
    return mean, posterior, drawn


def _trend_alone(changes: Changes, prior: dict[str, Floats]) -> tuple[Floats, Floats]:
    size = len(prior["trend_mean"])
    information, score = _sums(changes, [changes.years], _weights(changes, prior), size)
    return combine(prior["trend_mean"][:, None], prior["trend_sd"][:, None, None] ** 2, information, score)


def _noise(changes: Changes, prior: dict[str, Floats], both: Floats, trend: Floats) -> tuple[Floats, Floats]:
    """Process noise shrunk to its prior by a scaled inverse chi-square, and its degrees of freedom."""
    size, code = len(prior["process_noise"]), changes.code
    indexed = np.isfinite(changes.log_experience)
    fitted = np.where(
        indexed,
        -both[code, 0] * np.where(indexed, changes.log_experience, 0.0) + both[code, 1] * changes.years,
        trend[code, 0] * changes.years,
    )
    square = (changes.log_price - fitted) ** 2 - changes.quote_variance
    per_year = np.maximum(square, 0.0) / changes.years
    n = np.bincount(code, minlength=size)
    total = _NOISE_DOF * prior["process_noise"] ** 2 + np.bincount(code, per_year, minlength=size)
    return np.sqrt(total / (_NOISE_DOF + n)), _NOISE_DOF + n
