"""Do prices fall faster or slower than the curve in some stage of a market? Residuals of the hindcast by stage.

    python tests/benchmarks/phases.py

The stage is the one an audit at the origin would state, from volumes known by then. For each stage: mean of what
happened less what was forecast, per ln of volume added, every technology counting the same, and its standard error. A
correction is worth making where the mean stands clear of its error and helps technologies that it was not taken from.
"""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parent))
import hindcast as hc
import published_series as ps

from bomaudit.curves.calibration import bundled_pools
from bomaudit.curves.volumes import read_volumes
from bomaudit.frames import conform
from bomaudit.glossary import VOLUMES


def stages(table: pd.DataFrame, origin: int, series: list[str]) -> pd.Series:
    """Stage of each series at the end of a year, from the volumes known then."""
    known = table[table["series"].isin(series) & (table["year"] <= origin)]
    volumes = conform(
        pd.DataFrame(
            {
                "commodity": known["series"],
                "period": ps.year_end(known["year"]),
                "cumulative_volume": np.exp(known["log_experience"]),
            }
        ),
        VOLUMES,
    )
    indices, _ = read_volumes(volumes, volumes.iloc[:0], as_of=date(origin, 12, 31))
    at = np.full(len(series), np.datetime64(f"{origin}-12-31"))
    return pd.Series(indices.stage(np.array(series, dtype=object), at), index=series)


def effects(result: pd.DataFrame) -> pd.DataFrame:
    """Mean rest by stage, its standard error over technologies, and the mean drawn towards none by that error."""
    rest = (result["moved"] - result["predicted"]) / result["growth"]
    by = rest.groupby([result["stage"], result["technology"]]).mean().groupby("stage")
    mean, error = by.mean(), by.std() / np.sqrt(by.size())
    between = max(float((mean**2 - error**2).mean()), 0.0)
    return pd.DataFrame(
        {"technologies": by.size(), "mean": mean, "error": error, "drawn": mean * between / (between + error**2)}
    )


def corrected(result: pd.DataFrame) -> pd.Series:
    """Forecasts with the drawn means of all other technologies."""
    parts = []
    for technology, own in result.groupby("technology"):
        found = effects(result[result["technology"] != technology])["drawn"]
        parts.append(own["predicted"] + own["stage"].map(found).fillna(0.0) * own["growth"])
    return pd.concat(parts).loc[result.index]


def main() -> None:
    """Print the table, and what a correction by stage would do to the error."""
    table = ps.gapless(ps.price_and_production())
    result = hc.hindcast(table, ps.forecasts(table), bundled_pools())
    named = [
        some.assign(stage=some["series"].map(stages(table, int(origin), sorted(some["series"].unique()))))
        for origin, some in result.groupby("origin")
    ]
    both = pd.concat(named, ignore_index=True)
    print("positive: prices fell less than forecast, per ln of volume added")
    print(effects(both).round(3).to_string())
    error = {n: hc.by_series(both, (both["moved"] - p).abs()) for n, p in (
        ("as it is", both["predicted"]), ("corrected by stage, technology left out", corrected(both)))}  # fmt: skip
    print(pd.DataFrame(error).round(3).T.to_string())


if __name__ == "__main__":
    main()
