"""How long a reconciliation and a stored audit take: ``python tests/benchmarks/bench_finance.py [ROWS]``."""

from __future__ import annotations

import sys
import tempfile
import time
from datetime import UTC, date, datetime
from importlib import import_module
from pathlib import Path

import numpy as np
import pandas as pd

from bomaudit.finance.reconcile import reconcile
from bomaudit.history.compare import compare
from bomaudit.history.store import open_stored, store_snapshot
from bomaudit.prepare.currency import reference_rates
from bomaudit.settings import from_dict

sys.path[:0] = [str(Path(__file__).parent.parent / folder) for folder in ("finance", "history")]
finance_case, history_case = import_module("finance_case"), import_module("history_case")


def big_case(rows: int, seed: int = 1) -> dict[str, object]:
    """A product of many assemblies of 20 parts each, every part with a standard."""
    rng = np.random.default_rng(seed)
    given, names = [("assembly", "TOP", -1, 1, np.nan, np.nan, np.nan, "")], []
    while len(given) < rows:
        at = len(given)
        given.append(("assembly", f"A{at}", 0, 1, np.nan, np.nan, np.nan, ""))
        for k in range(20):
            price = round(float(rng.uniform(0.1, 50)), 2)
            names.append((f"P{at + k}", price))
            given.append(("part", f"P{at + k}", at, 2, 0.02, price, price * 0.9, "pump"))
    bom, estimate = finance_case.bom_frame(given)
    lines, audited = finance_case.lines_of(bom, estimate)
    rows_of = [(p, c, "2025-12-31", 100, 1000, c * 0.95, "2026-02-28") for p, c in names]
    return {
        "bom": bom,
        "lines": lines,
        "audited": audited,
        "standards": finance_case.standards_frame(rows_of),
        "quotes": finance_case.quotes_frame(),
        "settings": from_dict({"files": {"bom": "b"}}),
        "as_of": date(2026, 6, 30),
        "fx": reference_rates("EUR"),
    }


def measure(rows: int) -> dict[str, float]:
    """Seconds of each step."""
    taken: dict[str, float] = {}
    case = big_case(rows)
    start = time.perf_counter()
    reconcile(**case)
    taken[f"reconcile {rows} rows"] = time.perf_counter() - start
    said = history_case.snapshot(lines=pd.DataFrame(case["audited"]))
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        name = store_snapshot(said, Path(folder), stored_at=datetime.now(UTC)).name
        taken["store"] = time.perf_counter() - start
        start = time.perf_counter()
        back = open_stored(Path(folder), name)
        taken["open"] = time.perf_counter() - start
    start = time.perf_counter()
    compare(said, back)
    taken["compare"] = time.perf_counter() - start
    return taken


if __name__ == "__main__":
    for step, value in measure(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000).items():
        print(f"{value:8.3f} s  {step}")
