"""Small invented datasets, audit folders and workbooks for tests of screening."""

import hashlib
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from bomaudit.report.screen_files import write_screened
from bomaudit.screen.run import screen
from bomaudit.screen.shared import make_plan

AS_OF = date(2026, 6, 30)
MARKETS = ("dc_motor", "sensor", "fastener", "microcontroller", "gear", "")
STORED = ("lines", "state")


def make_dataset(rows: int = 400, seed: int = 1, parts: int = 60) -> pd.DataFrame:
    """Lines of a few BOMs that share parts; some without price, date, currency or quantity."""
    rng = np.random.default_rng(seed)
    part = rng.integers(0, parts, rows)
    cost = np.exp(rng.normal(1, 1, parts)).round(4)
    cost[rng.random(parts) < 0.05] = np.nan
    dates = pd.Timestamp("2014-01-01") + pd.to_timedelta(rng.integers(0, 4000, parts), unit="D")
    dates = dates.to_series().where(rng.random(parts) > 0.1).to_numpy()
    names = np.array([f"P{k:04d}" for k in range(parts)], dtype=object)
    return pd.DataFrame(
        {
            "bom": [f"B{k:02d}" for k in np.sort(rng.integers(0, 9, rows))],
            "part_no": names[part],
            "description": np.array([f"part {k}, 24 V" for k in range(parts)], dtype=object)[part],
            "row_kind": np.where(rng.random(rows) < 0.05, "alternative", "part"),
            "supplier": np.array([f"S{k}" for k in range(7)], dtype=object)[rng.integers(0, 7, parts)][part],
            "commodity": np.array(MARKETS, dtype=object)[rng.integers(0, len(MARKETS), parts)][part],
            "sourcing": np.where(rng.random(parts) < 0.3, "custom", "standard")[part],
            "qty_per": np.where(rng.random(rows) < 0.02, np.nan, rng.integers(1, 9, rows) * 1.0),
            "annual_volume": np.where(rng.random(rows) < 0.02, np.nan, rng.integers(1, 40, rows) * 100.0),
            "unit_cost": cost[part],
            "currency": np.array(["EUR", "USD", "CNY", ""], dtype=object)[rng.integers(0, 4, parts)][part],
            "cost_date": dates[part],
        }
    )


def make_quotes(seed: int = 2, parts: int = 60, count: int = 50) -> pd.DataFrame:
    """Quotes of some of the parts."""
    rng = np.random.default_rng(seed)
    days = pd.Timestamp("2015-01-01") + pd.to_timedelta(rng.integers(0, 4100, count), unit="D")
    return pd.DataFrame(
        {
            "part_no": [f"P{k:04d}" for k in rng.integers(0, parts // 2, count)],
            "quote_date": days.strftime("%Y-%m-%d"), "unit_price": np.exp(rng.normal(1, 1, count)).round(4),
            "currency": "EUR", "annual_qty": 1000, "kind": "firm", "supplier": "S1",
        }
    )  # fmt: skip


def write_dataset(frame: pd.DataFrame, folder: Path, partitions: int = 3) -> Path:
    """Write a frame as neighbouring partitions."""
    folder.mkdir(parents=True, exist_ok=True)
    for k, rows in enumerate(np.array_split(np.arange(len(frame)), partitions)):
        frame.iloc[rows].to_parquet(folder / f"part-{k:03d}.parquet", index=False)
    return folder


def write_quotes(folder: Path) -> Path:
    """Write the quotes as csv."""
    path = folder / "quotes.csv"
    make_quotes().to_csv(path, index=False)
    return path


def write_book(path: Path, rows: int = 12, currency: str = "EUR") -> Path:
    """Write a loose BOM as csv."""
    frame = pd.DataFrame(
        {
            "Part number": [f"X{k}" for k in range(rows)], "Description": "dc motor 24 V", "Qty": 2,
            "Unit cost": np.linspace(3, 30, rows).round(2), "Currency": currency, "Cost date": "2016-05-01",
            "Annual volume": 900,
        }
    )  # fmt: skip
    frame.to_csv(path, index=False)
    return path


def plan_of(**options):
    """A plan as of the test's day in EUR."""
    return make_plan(**({"as_of": AS_OF, "currency": "EUR"} | options))


def run(paths, out, *, plan=None, **options):
    """Screen and write the summary."""
    result = screen(paths, plan or plan_of(), out, **options)
    write_screened(result, out)
    return result


def hashes(folder: Path, *, only: str = "") -> dict[str, str]:
    """SHA-256 of every file of a result."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and str(p.relative_to(folder)).startswith(only)
    }


def all_lines(folder: Path) -> pd.DataFrame:
    """All screened lines, in the order of BOM, part and quantity."""
    frames = [pd.read_parquet(p) for p in sorted((folder / "lines").glob("*.parquet"))]
    whole = pd.concat(frames, ignore_index=True)
    texts = [c for c in whole if isinstance(whole[c].dtype, pd.CategoricalDtype)]
    return whole.astype(dict.fromkeys(texts, "str"))
