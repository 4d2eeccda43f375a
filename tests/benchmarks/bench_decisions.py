"""How long many decisions of 3 options take: ``python tests/benchmarks/bench_decisions.py [DECISIONS]``.

Prints wall and processor seconds and the peak of memory, for a quarter of the decisions and for all: the cost should be
linear.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
from scipy import sparse

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from made_decisions import AS_OF, Market, market_of

from bomaudit.decide.judged import judge_case

OPTIONS, ELEMENTS, PARTS_PER_OPTION, FACTORS = 3, 12, 6, 60


def big_market(parts: int, seed: int = 1) -> Market:
    """Parts of lognormal prices, each moved by some of 60 shared factors, with 5 to 40 degrees of freedom."""
    rng = np.random.default_rng(seed)
    loadings = sparse.random_array(
        (parts, FACTORS), density=4 / FACTORS, rng=rng, data_sampler=lambda size: rng.normal(0, 0.06, size)
    ).tocsr()
    own = rng.uniform(0.02, 0.2, parts)
    one = market_of([{"part_no": "P", "booked": 1, "today": 1, "sd": 0.1}])
    lines = one.lines.loc[np.zeros(parts, dtype=int)].reset_index(drop=True)
    booked = rng.lognormal(2, 1, parts)
    lines = lines.assign(part_no=[f"P{k}" for k in range(parts)], booked_cost=booked)
    frame = one.estimates.frame.loc[np.zeros(parts, dtype=int)].reset_index(drop=True)
    frame = frame.assign(
        estimate=booked * rng.lognormal(-0.1, 0.3, parts),
        sd_log=np.sqrt(np.asarray(loadings.power(2).sum(axis=1)).ravel() + own**2),
        dof=rng.choice([5.0, 12.0, 40.0, 1000.0], parts),
    )
    names = tuple(f"factor {k}" for k in range(FACTORS))
    estimates = SimpleNamespace(frame=frame, factors=names, loadings=loadings, sd_own=own)
    return Market(lines, estimates, one.settings, one.fx)


def big_register(decisions: int, seed: int = 2) -> pd.DataFrame:
    """Each option of six parts of its own, five ranges and a one-time cost."""
    rng = np.random.default_rng(seed)
    rows = decisions * OPTIONS * ELEMENTS
    d, k = np.arange(rows) // (OPTIONS * ELEMENTS), np.arange(rows) % ELEMENTS
    option, part = np.arange(rows) // ELEMENTS % OPTIONS, k < PARTS_PER_OPTION
    once = k == ELEMENTS - 1
    amount = np.where(part, np.nan, rng.lognormal(0, 1, rows) * np.where(once, 10_000, 1))
    return pd.DataFrame(
        {
            "decision": np.char.add("D", d.astype(str)), "option": np.array(["old", "new", "third"])[option],
            "element": np.char.add("element ", k.astype(str)),
            "kind": np.where(part, "part", np.where(once, "tooling", "labour")),
            "part_no": np.where(part, np.char.add("P", (np.cumsum(part) - 1).astype(str)), ""), "qty": 1.0,
            "amount": amount, "low": amount * rng.uniform(0.5, 0.9, rows), "high": amount * rng.uniform(1.1, 2.0, rows),
            "currency": "EUR", "basis": np.where(once, "once", "per_unit"), "chosen": option == 0,
            "annual_volume": 10_000.0, "years_left": 5.0, "change_cost": 20_000.0,
            "decided_on": pd.Timestamp(2016, 1, 1), "source_file": "decisions.csv", "source_sheet": "",
            "source_row": np.arange(2, rows + 2),
        }
    )  # fmt: skip


def run(decisions: int) -> None:
    """Price, account and judge so many decisions; prices on other days are today's."""
    market, rows = big_market(decisions * OPTIONS * PARTS_PER_OPTION), big_register(decisions)
    wall, cpu = time.perf_counter(), time.process_time()
    case = market.case(rows)
    priced = time.perf_counter() - wall
    decided = judge_case(
        case, lambda _: case.costed.prices, lines=market.lines, audited=market.audited, findings=(),
        settings=market.settings, currency="EUR", as_of=AS_OF,
    )  # fmt: skip
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    worst = decided.decisions["p_error"].max()
    print(
        f"{decisions} decisions: {wall:.1f} s wall ({priced:.1f} s of it pricing), {cpu:.1f} s processor, "
        f"{peak:.2f} GB peak, largest standard error {100 * worst:.2f} %"
    )


if __name__ == "__main__":
    most = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    run(most // 4)
    run(most)
