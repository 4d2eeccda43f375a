"""How cost and memory grow, beside what people would do without the tool; prints ratios.

Run: ``python tests/benchmarks/scale.py WHAT... [--lines N] [--to N] [--keep FOLDER]`` with WHAT one or more of

* ``workbook``: whole audit of a workbook, report included, against pandas.read_excel (openpyxl) merely loading it;
* ``estimate``: the estimate of lines against an analyst's script of pandas and statsmodels that loops (analyst.py);
* ``growth``: screening 10,000 lines to ``--to`` (1,000,000), the exponent of cost and memory a million lines;
* ``workers``: screening on one worker against two;
* ``big``: screening ``--lines`` (50,000,000) on two workers: time and peak memory of all processes together.

Costs are processor seconds of all processes unless they say wall, so that other work on the machine disturbs little.
Memory is the proportional set size summed over the processes, looked at four times a second.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from importlib import import_module
from pathlib import Path
from typing import NamedTuple

import numpy as np

HERE = Path(__file__).resolve().parent
PROGRAM = [sys.executable, "-c", "from bomaudit.cli import main; main()"]
LOAD = "import sys, pandas; pandas.read_excel(sys.argv[1], engine='openpyxl')"
sys.path.insert(0, str(HERE))


class Cost(NamedTuple):
    """Processor and wall seconds, and peak memory in GB."""

    processor: float
    wall: float
    memory: float


def _processes(pid: int) -> list[int]:
    found = [pid]
    try:
        for task in Path(f"/proc/{pid}/task").iterdir():
            for child in (task / "children").read_text().split():
                found += _processes(int(child))
    except OSError:
        pass
    return found


def _memory(pid: int) -> float:
    """Proportional set size of one process. [GB]."""
    try:
        told = Path(f"/proc/{pid}/smaps_rollup").read_text()
    except OSError:
        return 0.0
    return next((int(line.split()[1]) / 2**20 for line in told.splitlines() if line.startswith("Pss:")), 0.0)


def measured(*command: str) -> Cost:
    """Run a command and measure it with all its children."""
    before, began, peak = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter(), [0.0]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    over = threading.Event()

    def look() -> None:
        while not over.wait(0.25):
            peak[0] = max(peak[0], sum(map(_memory, _processes(process.pid))))

    watcher = threading.Thread(target=look)
    watcher.start()
    status = process.wait()
    over.set()
    watcher.join()
    if status > 1:
        raise SystemExit(f"failed with {status}: {' '.join(command)}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Cost(used, time.perf_counter() - began, peak[0])


def screen(folder: Path, out: Path, *more: str) -> Cost:
    """Screen a dataset anew."""
    shutil.rmtree(out, ignore_errors=True)
    return measured(*PROGRAM, "screen", str(folder / "lines"), "--out", str(out), "--as-of", "2026-06-30", "--quiet",
                    "--quotes", str(folder / "quotes.csv"), *more)  # fmt: skip


def made(folder: Path, lines: int) -> Path:
    """A dataset and its quotes, written where they are not there yet."""
    dataset = import_module("made_dataset")
    target = folder / f"{lines}"
    if not target.exists():
        print(f"writing {lines:,} lines", flush=True)
        dataset.write_dataset(target / "lines", lines)
        dataset.write_quotes(target / "quotes.csv", max(lines // 100, dataset.FAMILY))
    return target


def workbook(folder: Path, options: argparse.Namespace) -> None:
    """Whole audit against merely loading."""
    lines = options.lines or 100_000
    audit = folder / "audit"
    audit.mkdir(exist_ok=True)
    import_module("reading_speed").write_xlsx(audit / "bom.xlsx", lines)
    (audit / "audit.toml").write_text('[audit]\nas_of = 2026-06-30\ncurrency = "EUR"\n[files]\nbom = "bom.xlsx"\n')
    ours = measured(*PROGRAM, "audit", str(audit), "--out", str(folder / "report"), "--quiet")
    theirs = measured(sys.executable, "-c", LOAD, str(audit / "bom.xlsx"))
    print(f"workbook of {lines:,} lines: audit {ours.processor:.1f} s ({ours.wall:.1f} wall, {ours.memory:.2f} GB)")
    print(f"loading with pandas and openpyxl {theirs.processor:.1f} s ({theirs.wall:.1f} wall): ratio "
          f"{ours.processor / theirs.processor:.2f}, wall {ours.wall / theirs.wall:.2f} (target 0.50)")  # fmt: skip


def estimate(_folder: Path, options: argparse.Namespace) -> None:
    """Vectorised estimate against a loop."""
    bench, analyst = import_module("bench_estimate"), import_module("analyst")
    from bomaudit.estimate import estimate as ours  # noqa: PLC0415  (only here)

    lines = bench.big_bom(options.lines or 100_000)
    quotes = bench.some_quotes(lines)
    curves = bench.made.make_curves(lines, quotes=quotes)
    ours(lines.head(1000), curves, as_of=bench.made.AS_OF, confidence=0.8)
    began = time.process_time()
    found = ours(lines, curves, as_of=bench.made.AS_OF, confidence=0.8).frame["estimate"].to_numpy()
    vectorised = time.process_time() - began
    began = time.process_time()
    looped = analyst.estimate(lines, curves, bench.made.AS_OF)
    slow = time.process_time() - began
    apart = np.median(np.abs(np.log(looped / found)))
    print(f"estimate of {len(lines):,} lines: {vectorised:.2f} s, looped {slow:.1f} s: ratio {slow / vectorised:.0f} "
          f"(target 20); the two differ by {100 * apart:.1f} % in the middle")  # fmt: skip


def growth(folder: Path, options: argparse.Namespace) -> None:
    """Exponent of cost over lines."""
    sizes = [10**k for k in range(4, 9) if 10**k <= (options.to or 1_000_000)]
    costs = [screen(made(folder, n), folder / "out") for n in sizes]
    for n, cost in zip(sizes, costs, strict=True):
        print(f"{n:>11,} lines: {cost.processor:.1f} s, {cost.wall:.1f} s wall, {cost.memory:.2f} GB", flush=True)
    x, y = np.log(sizes), np.log([c.processor for c in costs])
    marginal = (costs[-1].processor - costs[-2].processor) / (sizes[-1] - sizes[-2]) * 1e6
    added = (costs[-1].memory - costs[0].memory) / sizes[-1] * 1e6
    print(f"exponent over all {np.polyfit(x, y, 1)[0]:.2f}, over the last step {(y[-1] - y[-2]) / (x[-1] - x[-2]):.2f} "
          f"(target 1.05); {marginal:.1f} s and {added:.3f} GB a million further lines")  # fmt: skip


def workers(folder: Path, options: argparse.Namespace) -> None:
    """Wall time of one worker against two."""
    data = made(folder, options.lines or 2_000_000)
    one, two = (screen(data, folder / "out", "--workers", str(n)) for n in (1, 2))
    load = os.getloadavg()[0]
    print(f"one worker {one.wall:.1f} s wall, two {two.wall:.1f} s: ratio {one.wall / two.wall:.2f} (target 1.7); "
          f"processor {one.processor:.1f} and {two.processor:.1f} s; load of the machine {load:.1f}")  # fmt: skip


def big(folder: Path, options: argparse.Namespace) -> None:
    """A whole company on two workers."""
    lines = options.lines or 50_000_000
    cost = screen(made(folder, lines), folder / "out", "--workers", "2")
    print(f"{lines:,} lines on two workers: {cost.wall / 60:.1f} min wall, {cost.processor / 60:.1f} min processor, "
          f"peak {cost.memory:.2f} GB over all processes (target 4)")  # fmt: skip


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    every = {f.__name__: f for f in (workbook, estimate, growth, workers, big)}
    parser.add_argument("what", nargs="+", choices=every)
    parser.add_argument("--lines", type=int)
    parser.add_argument("--to", type=int)
    parser.add_argument("--keep", type=Path, help="folder for the generated data, kept between runs")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        for name in options.what:
            every[name](folder, options)


if __name__ == "__main__":
    main()
