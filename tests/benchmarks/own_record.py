"""What the record of a client's first years says of the years that follow, on published series.

    python tests/benchmarks/own_record.py

A client is a random collection of one to eight technologies (or consumer items). What was forecast and had come in by
some day makes the width of intervals, as ``bomaudit.interval_width`` does with the weight of published series varied;
forecasts made from that day on are scored with it.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import gammaln, ndtri, stdtr, stdtrit

sys.path.insert(0, str(Path(__file__).resolve().parent))
import hindcast as hc
import published_series as ps

from bomaudit.curves.calibration import bundled_pools

WEIGHTS = (1, 4, 16, np.inf)
CLIENTS = 600


def scored(table: pd.DataFrame, horizons: tuple[int, ...]) -> pd.DataFrame:
    """Every forecast with its deviation in scales, and its normal score."""
    result = hc.hindcast(table, ps.forecasts(table, horizons=horizons), bundled_pools())
    z = (result["moved"] - result["predicted"]) / result["scale"]
    score = np.clip(ndtri(stdtr(result["dof"], z)), -3, 3)
    return result.assign(
        z=z, squared=score**2, inside=np.abs(score) < ndtri(0.9), end=result["origin"] + result["horizon"]
    )


def log_density(z: pd.Series, dof: pd.Series, width: float) -> pd.Series:
    """Of Student's t, but for the scale of the forecast."""
    norm = gammaln((dof + 1) / 2) - gammaln(dof / 2) - 0.5 * np.log(dof * np.pi) - np.log(width)
    return norm - (dof + 1) / 2 * np.log1p((z / width) ** 2 / dof)


def by_technology(rows: pd.DataFrame, value: pd.Series) -> float:
    """Mean over technologies of the mean over horizons."""
    return float(value.groupby([rows["technology"], rows["horizon"]]).mean().groupby("technology").mean().mean())


def clients(result: pd.DataFrame) -> pd.DataFrame:
    """One row a client: coverage before and after, density and coverage after by weight of the published series."""
    rng, rows = np.random.default_rng(1), []
    names = result["technology"].unique()
    for _ in range(CLIENTS):
        own = result[result["technology"].isin(rng.choice(names, rng.integers(1, 9), replace=False))]
        days = np.arange(own["origin"].min() + 6, own["end"].max() - 3)
        day = rng.choice(days) if len(days) else np.inf
        past, later = own[own["end"] <= day], own[own["origin"] >= day]
        if past.empty or later.empty:
            continue
        record = past.groupby("technology")["squared"].mean()
        row = {"before": by_technology(past, past["inside"]), "after": by_technology(later, later["inside"])}
        for weight in WEIGHTS:
            wide = 1.0 if np.isinf(weight) else np.sqrt((weight + record.sum()) / (weight + len(record)))
            for name, width in ((f"{weight:g}", wide), (f"{weight:g}, wider only", max(wide, 1.0))):
                row[f"density {name}"] = by_technology(later, log_density(later["z"], later["dof"], width))
                inside = later["z"].abs() <= width * stdtrit(later["dof"], 0.9)
                row[f"in 80% {name}"] = by_technology(later, inside.astype(float))
        rows.append(row)
    return pd.DataFrame(rows)


def main() -> None:
    """Print correlation, and the means over clients, and over those whose record was bad."""
    for name, table, horizons in (
        ("technologies", ps.gapless(ps.price_and_production()), ps.HORIZONS),
        ("consumer prices", ps.consumer_prices(), ps.CONSUMER_HORIZONS),
    ):
        found = clients(scored(table, horizons))
        bad = found[found["before"] < 0.7]
        print(
            f"{name}: {len(found)} clients, coverage before and after correlated "
            f"{found['before'].corr(found['after']):.2f}"
        )
        print(pd.DataFrame({"all": found.mean(), f"{len(bad)} with a bad record": bad.mean()}).round(3).to_string())


if __name__ == "__main__":
    main()
