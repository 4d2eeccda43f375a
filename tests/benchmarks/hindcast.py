"""How good the forecast is, on published series: errors against the plain methods, and what the intervals cover.

python tests/benchmarks/hindcast.py                 table of price and production series
python tests/benchmarks/hindcast.py --consumer      table of consumer prices, no volumes
python tests/benchmarks/hindcast.py --folds 6       the same with the pool estimated without each technology
python tests/benchmarks/hindcast.py --estimate      estimate learning_curves/pooled_priors.csv again
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import gammaln, stdtrit

sys.path.insert(0, str(Path(__file__).resolve().parent))
import published_series as ps

from bomaudit.curves.calibration import Pools
from bomaudit.curves.experience import PRIOR_COLUMNS, fit_experience

COVERAGES = (0.50, 0.80, 0.95)


def hindcast(table: pd.DataFrame, targets: pd.DataFrame, pools: Pools) -> pd.DataFrame:
    """Forecast all targets: columns of ``targets`` and predicted, scale, dof."""
    known = ps.observations(table, targets)
    names = sorted(known["commodity"].unique())
    priors = pd.DataFrame(np.nan, index=pd.Index(names), columns=list(PRIOR_COLUMNS))
    fit = fit_experience(known, priors, pools=pools)
    made = fit.project(
        ps.name_of(targets), targets["growth"], targets["horizon"], start=ps.year_end(targets["origin"]).to_numpy()
    )
    return targets.assign(predicted=made.log_ratio, scale=np.sqrt(made.var_exponent + made.var_process), dof=made.dof)


def by_series(result: pd.DataFrame, value: pd.Series) -> pd.Series:
    """Mean by horizon of the means by series and horizon."""
    return value.groupby([result["series"], result["horizon"]]).mean().groupby("horizon").mean()


def summary(result: pd.DataFrame, plain: pd.DataFrame) -> pd.DataFrame:
    """One row a horizon: mean absolute ln error of the methods, ratios, coverage."""
    moved = result["moved"]
    table = pd.DataFrame({"n": result.groupby("horizon")["series"].nunique()})
    table["ours"] = by_series(result, (moved - result["predicted"]).abs())
    for name in plain.columns[plain.notna().all()]:
        table[name] = by_series(result, (moved - plain[name]).abs())
    table["/unchanged"] = table["ours"] / table["unchanged"]
    table["/trend"] = table["ours"] / table["trend"]
    if "levels" in table:
        table["/experience"] = table["ours"] / table[["levels", "differences"]].min(axis=1)
    z = ((moved - result["predicted"]) / result["scale"]).abs()
    for coverage in COVERAGES:
        inside = (z <= stdtrit(result["dof"], 0.5 + coverage / 2)).astype(float)
        table[f"in {coverage:.0%}"] = by_series(result, inside)
    return table


def log_score(result: pd.DataFrame) -> float:
    """Mean log density of what happened, each technology and horizon counting the same."""
    z, nu = (result["moved"] - result["predicted"]) / result["scale"], result["dof"]
    density = (
        gammaln((nu + 1) / 2) - gammaln(nu / 2) - 0.5 * np.log(nu * np.pi) - np.log(result["scale"])
        - (nu + 1) / 2 * np.log1p(z**2 / nu)
    )  # fmt: skip
    return float(density.groupby([result["technology"], result["horizon"]]).mean().groupby("horizon").mean().mean())
