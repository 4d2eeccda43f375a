"""An invented company's lines as a partitioned Parquet dataset, and its quotes, for benchmarks of screening."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import parquet

from bomaudit.curves.library import load_library

LINES_A_BOM = 2_500
PARTITION = 250_000
FAMILY = 20_000  # parts that the BOMs of one product family choose from


def catalogue(parts: int, seed: int = 1) -> pa.Table:
    """Parts with their price, date, market and supplier; one in fifty has no date, one in a hundred no price."""
    rng = np.random.default_rng(seed)
    markets = load_library().commodities["commodity"].to_numpy(dtype=object)
    market = markets[rng.integers(0, len(markets), parts)]
    cost = np.exp(rng.normal(1, 1.2, parts)).round(4)
    dates = np.datetime64("2012-01-01") + rng.integers(0, 5000, parts).astype("timedelta64[D]")
    return pa.table(
        {
            "part_no": pa.array([f"P{k:08d}" for k in range(parts)]),
            "description": pa.array([f"{m.replace('_', ' ')} {k % 997} mm" for k, m in enumerate(market)]),
            "supplier": pa.array([f"Invented supplier {k:04d}" for k in rng.integers(0, 2000, parts)]),
            "commodity": pa.array(market),
            "sourcing": pa.array(np.where(rng.random(parts) < 0.3, "custom", "standard").astype(object)),
            "unit_cost": pa.array(np.where(rng.random(parts) < 0.01, np.nan, cost), from_pandas=True),
            "currency": pa.array(np.array(["EUR", "USD", "CNY"], dtype=object)[rng.integers(0, 3, parts)]),
            "cost_date": pa.array(np.where(rng.random(parts) < 0.02, np.datetime64("NaT", "D"), dates)),
        }
    )


def write_dataset(folder: Path, lines: int, *, parts: int | None = None, partition: int = PARTITION) -> Path:
    """Write ``lines`` lines of BOMs of 2,500; products of a family share parts.

    Parameters
    ----------
    folder : Path
    lines : int
    parts : int, optional
        Parts of the company; a part for every hundred lines, at least the parts of one family.
    partition : int
        Lines of a partition.
    """
    folder.mkdir(parents=True, exist_ok=True)
    known = catalogue(parts or max(lines // 100, FAMILY))
    for k, first in enumerate(range(0, lines, partition)):
        rng = np.random.default_rng([2, k])
        size = min(partition, lines - first)
        bom = (first + np.arange(size)) // LINES_A_BOM
        family = (bom // 200 * 7919 * FAMILY // 3) % max(len(known) - FAMILY + 1, 1)
        rows = known.take(pa.array(family + rng.integers(0, FAMILY, size)))
        volume = (200 + 100 * (bom % 90)).astype(float)
        rows = rows.append_column("bom", pa.array([f"BOM-{b:06d}" for b in bom]))
        rows = rows.append_column("qty_per", pa.array(rng.integers(1, 9, size).astype(float)))
        rows = rows.append_column("annual_volume", pa.array(volume))
        parquet.write_table(rows, folder / f"part-{k:05d}.parquet", compression="zstd")
    return folder


def write_quotes(path: Path, parts: int, count: int = 20_000, seed: int = 3) -> Path:
    """Quotes of some of the parts, about three each."""
    rng = np.random.default_rng(seed)
    known = catalogue(parts)
    at = rng.integers(0, max(count // 3, 1), count) * max(parts // max(count // 3, 1), 1) % parts
    cost = np.nan_to_num(known["unit_cost"].to_numpy()[at], nan=1.0)
    days = np.datetime64("2013-01-01") + rng.integers(0, 4900, count).astype("timedelta64[D]")
    pd.DataFrame(
        {
            "part_no": known["part_no"].to_numpy()[at], "quote_date": days.astype(str),
            "unit_price": (cost * np.exp(rng.normal(0, 0.1, count))).round(4),
            "currency": known["currency"].to_numpy()[at], "annual_qty": rng.integers(1, 900, count) * 1000,
            "kind": "firm", "supplier": known["supplier"].to_numpy()[at],
        }
    ).to_csv(path, index=False)  # fmt: skip
    return path
