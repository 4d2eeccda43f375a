"""Published price series that the model is measured on: where they are, how they are read, what is forecast.

Not part of the project: the price and production series lie beside the checkout, the consumer prices come with the
development dependency ``cpi`` (US Bureau of Labor Statistics, CPI-U, US city average, not seasonally adjusted).
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pandas as pd

FOLDER = Path(__file__).resolve().parents[3] / "shared" / "experience_curves"

SAME_TECHNOLOGY = {
    "Photovoltaics": "photovoltaics", "Photovoltaics_2": "photovoltaics", "Photovoltaics_4": "photovoltaics",
    "Fotovoltaica": "photovoltaics", "solar_module_1976_2019": "photovoltaics",
    "Ethylene": "ethylene", "Ethylene_2": "ethylene", "Aluminum": "aluminium", "Primary_Aluminum": "aluminium",
    "Magnesium": "magnesium", "Primary_Magnesium": "magnesium", "CCGT_Electricity": "gas turbines",
    "CCGT_Power": "gas turbines", "Wind_Electricity": "wind", "Wind_Turbine_2_(Germany)": "wind",
    "Capillary_DNA_Sequencing": "sequencing", "Shotgun_Sanger_DNA_Sequencing": "sequencing",
}  # fmt: skip
"""Versions of one technology; every other series is a technology of its own."""

FEWEST = 6  # points before an origin
HORIZONS = tuple(range(1, 11))
CONSUMER_HORIZONS = (1, 3, 5, 10)


def price_and_production(folder: Path = FOLDER) -> pd.DataFrame:
    """Columns series, technology, year, log_price, log_experience, gapless; yearly points with a volume."""
    tables = []
    for path in sorted(folder.glob("*.csv")):
        raw = pd.read_csv(path, encoding="utf-8", encoding_errors="replace")
        if "Unit cost" in raw.columns:
            year, price, volume = raw["Year"], raw["Unit cost"], raw["Cumulative capacity"]
        else:
            price, year, volume = raw.iloc[:, 0], raw.iloc[:, 1], raw.iloc[:, 2] + raw.iloc[:, 3]
        table = pd.DataFrame({"series": path.stem, "year": year, "price": price, "volume": volume}).astype(
            {"year": float, "price": float, "volume": float}
        )
        table = table[table["price"] > 0]
        if not np.allclose(table["year"] % 1, 0):
            continue  # not yearly
        tables.append(table.assign(gapless=table["year"].diff().max() == 1)[table["volume"] > 0])
    whole = pd.concat(tables, ignore_index=True)
    return pd.DataFrame(
        {
            "series": whole["series"],
            "technology": whole["series"].map(SAME_TECHNOLOGY).fillna(whole["series"]),
            "year": whole["year"].astype(int),
            "log_price": np.log(whole["price"]),
            "log_experience": np.log(whole["volume"]),
            "gapless": whole["gapless"],
        }
    )


def gapless(table: pd.DataFrame) -> pd.DataFrame:
    """Series whose prices miss no year."""
    return table[table["gapless"]].reset_index(drop=True)


def consumer_prices(*, longest: int = 41) -> pd.DataFrame:
    """Columns series, technology, year, log_price (real), log_experience (NaN), log_inflation; annual averages.

    National items at the most detailed level that has a code of its own (SE and four characters), with a dozen years.
    """
    spec = find_spec("cpi")
    if spec is None or spec.origin is None:
        message = "the development dependency cpi is not installed"
        raise FileNotFoundError(message)
    query = (
        "select s.items code, i.year, i.period, i.value from indexes i join series s on s.id = i.series "
        "where s.id like 'CUUR0000%' and i.period like 'M%'"
    )
    with closing(sqlite3.connect(f"file:{Path(spec.origin).with_name('cpi.db')}?mode=ro", uri=True)) as base:
        raw = pd.read_sql(query, base)
    monthly = raw[raw["period"] != "M13"].groupby(["code", "year"])["value"].agg(["mean", "size"])
    annual = raw[raw["period"] == "M13"].set_index(["code", "year"])["value"]
    annual = np.log(annual.combine_first(monthly.loc[monthly["size"] == 12, "mean"]))
    inflation = annual["SA0"]
    items = annual[annual.index.get_level_values("code").str.fullmatch(r"SE\w\w\d\d")].rename("nominal").reset_index()
    items = items[items.groupby("code")["year"].transform("size") >= 12]
    general = items["year"].map(inflation)
    return pd.DataFrame(
        {
            "series": items["code"], "technology": items["code"].str[:4], "year": items["year"],
            "log_price": items["nominal"] - general, "log_experience": np.nan, "log_inflation": general,
        }
    )  # fmt: skip


def forecasts(table: pd.DataFrame, *, horizons: tuple[int, ...] = HORIZONS, fewest: int = FEWEST) -> pd.DataFrame:
    """Every rolling origin with enough points before it, and every horizon that the series reaches.

    Columns series, technology, origin (year), horizon, growth (ln volume, known to the horizon), moved (ln price).
    """
    known = table.set_index(["series", "year"])
    position = table.groupby("series").cumcount()
    starts = table[position >= fewest]
    pairs = pd.concat([starts.assign(horizon=h) for h in horizons], ignore_index=True)
    ends = known.reindex(pd.MultiIndex.from_arrays([pairs["series"], pairs["year"] + pairs["horizon"]]))
    result = pd.DataFrame(
        {
            "series": pairs["series"], "technology": pairs["technology"], "origin": pairs["year"],
            "horizon": pairs["horizon"],
            "growth": ends["log_experience"].to_numpy() - pairs["log_experience"].to_numpy(),
            "moved": ends["log_price"].to_numpy() - pairs["log_price"].to_numpy(),
        }
    )  # fmt: skip
    if "log_inflation" in table:
        result["inflation"] = ends["log_inflation"].to_numpy() - pairs["log_inflation"].to_numpy()
    return result[result["moved"].notna()].sort_values(["series", "origin", "horizon"], ignore_index=True)


def observations(table: pd.DataFrame, targets: pd.DataFrame, *, longest: int = 60) -> pd.DataFrame:
    """What was known at each origin, each as a commodity of its own ("series@origin"), as quotes of one part."""
    origins = targets[["series", "origin"]].drop_duplicates()
    known = origins.merge(table, on="series")
    known = known[(known["year"] <= known["origin"]) & (known["year"] > known["origin"] - longest)]
    return pd.DataFrame(
        {
            "commodity": name_of(known),
            "part_no": name_of(known),
            "date": year_end(known["year"]),
            "log_price": known["log_price"],
            "log_experience": known["log_experience"],
        }
    )


def name_of(table: pd.DataFrame) -> pd.Series:
    """Name of a series as known at an origin."""
    return table["series"] + "@" + table["origin"].astype(str)


def year_end(year: pd.Series) -> pd.Series:
    """Last day of a year: a period counts at its end."""
    return pd.to_datetime(year.astype(str) + "-12-31")


def rivals(table: pd.DataFrame, targets: pd.DataFrame) -> pd.DataFrame:
    """Forecasts of the plain methods, in the order of ``targets``; each starts from the last price."""
    rows = []
    groups = dict(list(table.groupby("series")))
    for (series, origin), _ in targets.groupby(["series", "origin"], sort=False):
        known = groups[series][groups[series]["year"] <= origin]
        year, y, x = (known[c].to_numpy(dtype=float) for c in ("year", "log_price", "log_experience"))
        dx, dy = np.diff(x), np.diff(y)
        indexed = np.isfinite(x).all()
        rows.append(
            (
                np.polyfit(year, y, 1)[0],
                np.polyfit(x, y, 1)[0] if indexed else np.nan,
                (dx @ dy) / (dx @ dx) if indexed else np.nan,
            )
        )
    slopes = np.repeat(np.array(rows), targets.groupby(["series", "origin"], sort=False).size().to_numpy(), axis=0)
    horizon, growth = targets["horizon"].to_numpy(dtype=float), targets["growth"].to_numpy()
    return pd.DataFrame(
        {
            "unchanged": np.zeros(len(targets)),
            "trend": slopes[:, 0] * horizon,
            "levels": slopes[:, 1] * growth,
            "differences": slopes[:, 2] * growth,
        }
    )
