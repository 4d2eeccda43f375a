"""How long fitting and estimating take: ``python tests/benchmarks/bench_estimate.py [LINES]`` prints seconds."""

from __future__ import annotations

import sys
import time
from importlib import import_module
from pathlib import Path

import numpy as np
import pandas as pd

from bomaudit.curves.diffusion import Volumes, fit_diffusion
from bomaudit.curves.library import load_library
from bomaudit.curves.maturity import bass_share
from bomaudit.curves.volumes import HORIZONS
from bomaudit.estimate import estimate

sys.path.insert(0, str(Path(__file__).parent.parent))
made = import_module("made_market")

QUOTES, MARKETS, PERIODS = 50_000, 500, 18


def big_bom(size: int, seed: int = 1) -> pd.DataFrame:
    """Lines over every commodity of the catalogue, three currencies and twelve years."""
    rng = np.random.default_rng(seed)
    names = load_library().commodities["commodity"].to_numpy()
    dates = pd.Timestamp("2012-01-01") + pd.to_timedelta(rng.integers(0, 4500, size), unit="D")
    return made.make_lines(
        size, part_no=[f"P{k:07d}" for k in range(size)], commodity=names[rng.integers(0, len(names), size)].tolist(),
        sourcing=np.where(rng.random(size) < 0.3, "custom", "standard").tolist(), basis_date=dates.tolist(),
        basis_date_sd=np.where(rng.random(size) < 0.02, 2.6, 0.0).tolist(),
        price_at_basis=np.exp(rng.normal(1, 1, size)).tolist(), annual_qty_then=100.0, annual_qty_now=120.0,
        price_currency=np.array(["EUR", "USD", "CNY"])[rng.integers(0, 3, size)].tolist(),
    )  # fmt: skip


def some_quotes(lines: pd.DataFrame, seed: int = 2) -> pd.DataFrame:
    """Quotes of the first lines, about three a part."""
    rng = np.random.default_rng(seed)
    row = rng.integers(0, min(len(lines), QUOTES // 3), min(QUOTES, 3 * len(lines)))
    part, price = lines["part_no"].to_numpy()[row], lines["price_at_basis"].to_numpy()[row]
    dates = pd.Timestamp("2012-01-01") + pd.to_timedelta(rng.integers(0, 5000, len(row)), unit="D")
    stated = price * np.exp(rng.normal(0, 0.1, len(row)))
    return made.make_quotes(
        *zip(part, dates, stated, strict=True), currency=lines["price_currency"].to_numpy()[row].tolist()
    )


def many_markets(seed: int = 3) -> Volumes:
    """Noisy Bass markets at every age."""
    rng = np.random.default_rng(seed)
    ends = np.arange(PERIODS + 1.0)
    p, q, start = (rng.uniform(a, b, (MARKETS, 1)) for a, b in ((0.001, 0.03), (0.15, 0.6), (0.002, 0.2)))
    reached = 1e6 * bass_share(ends[None, :], p, q, start)
    volume = np.diff(reached, axis=1) * np.exp(rng.normal(0, 0.1, (MARKETS, PERIODS)))
    return Volumes(reached[:, 0], np.tile(ends[1:], (MARKETS, 1)), volume, np.ones(volume.shape, dtype=bool))


def timed(what: str, work):
    """Print wall and processor seconds of some work; return its result."""
    wall, processor = time.perf_counter(), time.process_time()
    result = work()
    print(f"{what}: {time.perf_counter() - wall:.2f} s wall, {time.process_time() - processor:.2f} s processor")
    return result


def main() -> None:
    """Time each step."""
    size = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    lines = big_bom(size)
    quotes = some_quotes(lines)
    curves = timed(f"fit, {len(quotes)} quotes", lambda: made.make_curves(lines, quotes=quotes))
    timed(f"estimate, {size} lines", lambda: estimate(lines, curves, as_of=made.AS_OF, confidence=0.8))
    timed("estimate, 30 lines", lambda: estimate(lines.iloc[:30], curves, as_of=made.AS_OF, confidence=0.8))
    timed(f"diffusion curves, {MARKETS} markets", lambda: fit_diffusion(many_markets(), HORIZONS))


if __name__ == "__main__":
    main()
