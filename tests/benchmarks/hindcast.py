"""How good the forecast is, on published series: errors against the plain methods, and what the intervals cover.

    python tests/benchmarks/hindcast.py                 price and production series, volumes known to the horizon
    python tests/benchmarks/hindcast.py --consumer      consumer prices, no volumes
    python tests/benchmarks/hindcast.py --hidden        the first with their volumes hidden
    python tests/benchmarks/hindcast.py --folds 6       the first with the pool estimated without each technology
    python tests/benchmarks/hindcast.py --blind         any of them where no price but the last is known

The pool itself is estimated by ``tests/benchmarks/estimate_pools.py``.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import gammaln, stdtrit

sys.path.insert(0, str(Path(__file__).resolve().parent))
import published_series as ps

from bomaudit.curves.calibration import Pools, bundled_pools
from bomaudit.curves.pooling import Changes, within_part_changes
from bomaudit.curves.projection import project
from bomaudit.curves.rates import PRIOR_COLUMNS, Stated, fit_rates, stack

COVERAGES = (0.50, 0.80, 0.95)


@dataclass(frozen=True)
class Task:
    """Targets with what was known at their origins, prepared once for many pools."""

    targets: pd.DataFrame
    changes: Changes
    row: np.ndarray
    indexed: bool

    @classmethod
    def of(cls, table: pd.DataFrame, targets: pd.DataFrame, *, blind: bool = False) -> Task:
        """Targets of a table; blind: nothing is known of any series but its price at the origin."""
        names = tuple(sorted(set(ps.name_of(targets))))
        seen = ps.observations(table, targets)
        changes = within_part_changes(seen.iloc[:0] if blind else seen, names)
        row = pd.Index(names).get_indexer(pd.Index(ps.name_of(targets)))
        return cls(targets, changes, row, bool(targets["growth"].notna().all()))

    def forecast(self, pools: Pools) -> pd.DataFrame:
        """Columns of the targets and predicted, scale, dof; every prior is the pool's."""
        pool = pools.with_volume if self.indexed else pools.without_volume
        stated = [Stated.of(dict.fromkeys(PRIOR_COLUMNS, np.nan))] * len(self.changes.parts)
        rates = stack(fit_rates(self.changes, stated, pool, indexed=self.indexed), pool)
        t = self.targets
        made = project(
            self.row, t["growth"].to_numpy(dtype=float), t["horizon"].to_numpy(dtype=float),
            ps.year_end(t["origin"]).to_numpy(), with_volume=rates, without=rates, pools=pools,
        )  # fmt: skip
        return t.assign(predicted=made.log_ratio, scale=np.sqrt(made.var_exponent + made.var_process), dof=made.dof)


def hindcast(table: pd.DataFrame, targets: pd.DataFrame, pools: Pools, *, blind: bool = False) -> pd.DataFrame:
    """Forecast all targets: columns of ``targets`` and predicted, scale, dof."""
    return Task.of(table, targets, blind=blind).forecast(pools)


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
    if "inflation" in table:
        table["/inflation"] = table["ours"] / table["inflation"]
    if "levels" in table:
        table["/experience"] = table["ours"] / table[["levels", "differences"]].min(axis=1)
    z = ((moved - result["predicted"]) / result["scale"]).abs()
    for coverage in COVERAGES:
        inside = (z <= stdtrit(result["dof"], 0.5 + coverage / 2)).astype(float)
        table[f"in {100 * coverage:.0f}%"] = by_series(result, inside)
    return table


def log_score(result: pd.DataFrame) -> float:
    """Mean log density of what happened, each technology and horizon counting the same."""
    z, nu = (result["moved"] - result["predicted"]) / result["scale"], result["dof"]
    density = (
        gammaln((nu + 1) / 2) - gammaln(nu / 2) - 0.5 * np.log(nu * np.pi) - np.log(result["scale"])
        - (nu + 1) / 2 * np.log1p(z**2 / nu)
    )  # fmt: skip
    return float(density.groupby([result["technology"], result["horizon"]]).mean().groupby("horizon").mean().mean())


def left_out(table: pd.DataFrame, targets: pd.DataFrame, *, folds: int, calls: int) -> pd.DataFrame:
    """Forecast each technology with figures estimated without it: technologies are left out in so many groups."""
    from estimate_pools import with_volume  # noqa: PLC0415  (it uses this module)

    technologies = sorted(table["technology"].unique())
    parts = []
    for fold in range(folds):
        out = set(technologies[fold::folds])
        pool = with_volume(table[~table["technology"].isin(out)].reset_index(drop=True), calls=calls)
        print(f"group {fold + 1} of {folds}, without {', '.join(sorted(out))}: {pool}", file=sys.stderr)
        some = targets[targets["technology"].isin(out)].reset_index(drop=True)
        parts.append(hindcast(table, some, replace(bundled_pools(), with_volume=pool)))
    return pd.concat(parts).sort_values(["series", "origin", "horizon"], ignore_index=True)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--consumer", action="store_true", help="consumer prices instead, no volumes")
    parser.add_argument("--hidden", action="store_true", help="as if volumes were not known")
    parser.add_argument(
        "--folds", type=int, default=0, help="estimate the pool without each technology, in so many groups"
    )
    parser.add_argument("--calls", type=int, default=250, help="evaluations of each such estimate")
    parser.add_argument("--fewest", type=int, default=ps.FEWEST, help="points before an origin")
    parser.add_argument("--blind", action="store_true", help="as if nothing were known but the price at the origin")
    parser.add_argument("--gaps", action="store_true", help="series with missing years too")
    arguments = parser.parse_args()
    if arguments.consumer:
        table = ps.consumer_prices()
        horizons = ps.CONSUMER_HORIZONS
    else:
        table = ps.price_and_production()
        table = table if arguments.gaps else ps.gapless(table)
        table = table.assign(log_experience=np.nan) if arguments.hidden else table
        horizons = ps.HORIZONS
    targets = ps.forecasts(table, horizons=horizons, fewest=arguments.fewest)
    if arguments.folds:
        result = left_out(table, targets, folds=arguments.folds, calls=arguments.calls)
    else:
        result = hindcast(table, targets, bundled_pools(), blind=arguments.blind)
    pd.set_option("display.width", 250)
    plain = consumer_rivals(table, targets) if arguments.consumer else ps.rivals(table, targets)
    print(f"{table['series'].nunique()} series, {len(targets)} forecasts; mean log density {log_score(result):.3f}")
    print(summary(result, plain).round(3).to_string())


def consumer_rivals(table: pd.DataFrame, targets: pd.DataFrame) -> pd.DataFrame:
    """In real money: left at its nominal price, carried with general inflation, or along its whole past trend."""
    plain = ps.rivals(table, targets)
    nominal = ps.rivals(table.assign(log_price=table["log_price"] + table["log_inflation"]), targets)
    inflation = targets["inflation"].to_numpy(dtype=float)
    return pd.DataFrame(
        {
            "unchanged": -inflation,
            "inflation": np.zeros(len(targets)),
            "trend": plain["trend"],
            "nominal trend": nominal["trend"] - inflation,
        }
    )


if __name__ == "__main__":
    main()
