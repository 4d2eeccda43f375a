"""How long a big structure takes: ``python tests/benchmarks/bench_rollup.py [EDGES]`` prints seconds for each step."""

from __future__ import annotations

import sys
import time
from datetime import date

import numpy as np
import pandas as pd

from bomaudit.prepare.rollup import explode, part_graph, roll_up

LEVELS = 12


def big_structure(edges: int, seed: int = 1) -> pd.DataFrame:
    """Random structure of 12 levels of edges: every edge goes one level down or more."""
    rng = np.random.default_rng(seed)
    per_level = max(1, edges // 60)
    above = rng.integers(0, LEVELS, edges)
    below = np.minimum(LEVELS, above + rng.geometric(0.8, edges))
    names = np.array([f"P{k:08d}" for k in range((LEVELS + 1) * per_level)], dtype=object)
    return pd.DataFrame(
        {
            "parent_no": names[above * per_level + rng.integers(0, per_level, edges)],
            "part_no": names[below * per_level + rng.integers(0, per_level, edges)],
            "qty": rng.integers(1, 4, edges).astype(float),
            "scrap_rate": 0.01,
        }
    )


def big_tree(rows: int, seed: int = 1) -> np.ndarray:
    """Parent row of each row, 12 levels below the top."""
    rng = np.random.default_rng(seed)
    parent, per_level = np.full(rows, -1), max(1, rows // (LEVELS + 1))
    for start in range(per_level, rows, per_level):
        end = min(rows, start + per_level)
        parent[start:end] = rng.integers(start - per_level, start, end - start)
    return parent


def measure(edges: int) -> dict[str, float]:
    """Seconds of each step."""
    taken: dict[str, float] = {}
    frame = big_structure(edges)
    start = time.perf_counter()
    graph = part_graph(frame, scrap="divide", as_of=date(2026, 6, 30))
    taken["build graph, low-level codes"] = time.perf_counter() - start
    start = time.perf_counter()
    graph.roll_up(np.ones(len(graph.part_no)))
    taken["roll up graph"] = time.perf_counter() - start
    start = time.perf_counter()
    used = graph.where_used(graph.part_no[int(np.argmax(graph.level))])
    taken[f"where used ({len(used)} ancestors)"] = time.perf_counter() - start
    parent = big_tree(edges)
    kind = np.full(edges, "part", object)
    start = time.perf_counter()
    explode(parent, np.full(edges, 1.1), np.full(edges, 0.01), scrap="divide", row_kind=kind)
    taken["explode tree"] = time.perf_counter() - start
    start = time.perf_counter()
    roll_up(parent, np.full(edges, 1.1), np.full(edges, 0.01), np.ones(edges), scrap="divide", row_kind=kind)
    taken["roll up tree"] = time.perf_counter() - start
    assert graph.level.max() == LEVELS
    return taken


if __name__ == "__main__":
    seconds = measure(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
    for step, value in seconds.items():
        print(f"{value:8.3f} s  {step}")
    print(f"{sum(seconds.values()):8.3f} s  in all")
