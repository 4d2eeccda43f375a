"""The hindcast through the front door: audit folders with disguised names, read, estimated and written like any other.

    python tests/benchmarks/front_door.py [--horizon 5] [--every 1] [--kind purchase]

One audit folder a year of origin and horizon: the series that are known then, each a part of a market of its own name,
quotes up to the origin, volumes up to the as-of date, no inflation. Prints the mean absolute error of the estimates in
lines.csv, what the intervals hold, and the same from ``hindcast.py`` on the same targets.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import stdtrit

sys.path.insert(0, str(Path(__file__).resolve().parent))
import hindcast as hc
import published_series as ps

from bomaudit.audit import prepare
from bomaudit.curves.calibration import bundled_pools
from bomaudit.curves.fit import fit_curves
from bomaudit.estimate import estimate
from bomaudit.opened import open_audit

COVERAGES = (0.50, 0.80, 0.95)


def write_folder(folder: Path, known: pd.DataFrame, volumes: pd.DataFrame, as_of: int, kind: str) -> None:
    """Write the audit folder of one origin; columns part_no, year, price and part_no, year, cumulative."""
    newest = known.drop_duplicates("part_no", keep="last")
    pd.DataFrame(
        {
            "part_no": newest["part_no"], "description": "part " + newest["part_no"], "qty": 1, "uom": "pcs",
            "unit_cost": newest["price"], "currency": "USD", "cost_date": newest["year"].astype(str) + "-12-31",
            "commodity": "market_" + newest["part_no"],
        }
    ).to_csv(folder / "bom.csv", index=False)  # fmt: skip
    pd.DataFrame(
        {
            "part_no": known["part_no"], "quote_date": known["year"].astype(str) + "-12-31",
            "unit_price": known["price"], "currency": "USD", "kind": kind,
        }
    ).to_csv(folder / "quotes.csv", index=False)  # fmt: skip
    pd.DataFrame(
        {
            "commodity": "market_" + volumes["part_no"], "period": volumes["year"],
            "cumulative_volume": volumes["cumulative"],
        }
    ).to_csv(folder / "volumes.csv", index=False)  # fmt: skip
    years = np.arange(known["year"].min(), as_of + 1)
    flat = pd.DataFrame({"series": "general_inflation", "period": years, "value": 100.0})
    flat.to_csv(folder / "input_prices.csv", index=False)
    (folder / "audit.toml").write_text(
        f'[audit]\nas_of = {as_of}-12-31\ncurrency = "USD"\n[files]\nbom = "bom.csv"\nquotes = "quotes.csv"\n'
        'volumes = "volumes.csv"\ninput_prices = "input_prices.csv"\n',
        encoding="utf-8",
    )


def through_the_door(folder: Path) -> pd.DataFrame:
    """Estimate, and the ends of its intervals, by part."""
    opened = open_audit(folder)
    library, quotes, lines, _ = prepare(opened)
    tables = opened.inputs.tables
    curves = fit_curves(
        quotes=quotes, volumes=tables["volumes"], input_prices=tables["input_prices"], lines=lines, library=library,
        fx=opened.fx, settings=opened.settings, as_of=opened.as_of,
    )  # fmt: skip
    made = {c: estimate(lines, curves, as_of=opened.as_of, confidence=c).frame for c in COVERAGES}
    columns = {"part_no": lines["part_no"], "estimate": made[0.5]["estimate"]}
    for c, frame in made.items():
        columns |= {f"low {c}": frame["estimate_low"], f"high {c}": frame["estimate_high"]}
    return pd.DataFrame(columns)


def main() -> None:
    """Print both."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--horizon", type=int, default=5)
    parser.add_argument("--every", type=int, default=1, help="take every so-many-th year of origin")
    parser.add_argument("--kind", default="", help="kind of the quotes; not stated by default")
    arguments = parser.parse_args()
    table = ps.gapless(ps.price_and_production())
    names = {s: f"P{k:03d}" for k, s in enumerate(sorted(table["series"].unique()))}
    table = table.assign(part_no=table["series"].map(names), price=np.exp(table["log_price"]),
                         cumulative=np.exp(table["log_experience"]))  # fmt: skip
    targets = ps.forecasts(table, horizons=(arguments.horizon,))
    years = sorted(targets["origin"].unique())[:: arguments.every]
    targets = targets[targets["origin"].isin(years)].reset_index(drop=True)
    targets = hc.hindcast(table, targets, bundled_pools()).assign(part_no=targets["series"].map(names))
    found = []
    for origin, some in targets.groupby("origin"):
        as_of = int(origin) + arguments.horizon
        mine = table[table["series"].isin(some["series"])]
        with tempfile.TemporaryDirectory() as folder:
            write_folder(Path(folder), mine[mine["year"] <= origin], mine[mine["year"] <= as_of], as_of,
                         arguments.kind)  # fmt: skip
            found.append(through_the_door(Path(folder)).assign(origin=origin))
    both = targets.merge(pd.concat(found), on=["part_no", "origin"], validate="one_to_one")
    last = table.set_index(["series", "year"])["price"].loc[list(zip(both["series"], both["origin"], strict=True))]
    both["door"] = np.log(both["estimate"] / last.to_numpy())
    moved = both["moved"]
    size = f"{len(both)} forecasts {arguments.horizon} years ahead, {both['series'].nunique()} series"
    print(f"{size}, {len(years)} folders")
    unchanged = hc.by_series(both, moved.abs()).item()
    for name, column in (("hindcast", "predicted"), ("front door", "door")):
        error = hc.by_series(both, (moved - both[column]).abs()).item()
        print(f"{name}: mean absolute ln error {error:.3f}, {error / unchanged:.3f} of leaving the price unchanged")
    apart = (both["door"] - both["predicted"]).abs()
    print(f"apart: mean {apart.mean():.4f}, largest {apart.max():.4f} ({both.loc[apart.idxmax(), 'series']})")
    z = ((moved - both["predicted"]) / both["scale"]).abs()
    for c in COVERAGES:
        actual = last.to_numpy() * np.exp(moved)
        inside = ((actual >= both[f"low {c}"]) & (actual <= both[f"high {c}"])).astype(float)
        plain = (z <= stdtrit(both["dof"], 0.5 + c / 2)).astype(float)
        held = [hc.by_series(both, v).item() for v in (inside, plain)]
        print(f"{c:.0%} interval held {held[0]:.3f}, hindcast {held[1]:.3f}")


if __name__ == "__main__":
    main()
