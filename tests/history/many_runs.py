"""Runs that store the same audit, killed at random moments or all at once.

``python many_runs.py FOLDER kill 50`` or ``python many_runs.py FOLDER together 8``: imports once and forks for each
run; names of stored audits go to standard output, each only once it is stored.
"""

import os
import signal
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow.parquet
from history_case import snapshot

from bomaudit.history.store import store_snapshot


def start(folder, times, begun=None):
    """Fork a run; it says that it has begun by a byte in a pipe."""
    run = os.fork()
    if run == 0:
        failed = 1
        try:
            said, files = snapshot(), {"bom.csv": b"part_no\nA-1\n" * 20_000}
            said.tables["lines"].to_parquet(os.devnull)  # what is loaded on first use is loaded
            if begun is not None:
                os.write(begun, b".")
            for _ in range(times):
                name = store_snapshot(said, folder, stored_at=datetime.now(UTC), files=files).name
                os.write(sys.stdout.fileno(), f"{name}\n".encode())
            failed = 0
        finally:
            os._exit(failed)
    return run


def kill_runs(folder, kills):
    """Kill runs that store without end, each at a random moment of the time that two stores take."""
    told, begun = os.pipe()
    run = start(folder, 3, begun)
    os.read(told, 1)
    clock = time.perf_counter()
    os.waitpid(run, 0)
    one = (time.perf_counter() - clock) / 3
    for moment in np.random.default_rng(7).uniform(0.0, 2 * one, kills):
        run = start(folder, 1_000_000, begun)
        os.read(told, 1)
        time.sleep(moment)
        os.kill(run, signal.SIGKILL)
        os.waitpid(run, 0)


def run_together(folder, runs):
    """Start all runs, then wait for all; 1 if one failed."""
    started = [start(folder, 1) for _ in range(runs)]
    return int(any(os.waitpid(run, 0)[1] for run in started))


if __name__ == "__main__":
    assert pyarrow.parquet is not None
    where, what, many = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    sys.exit(kill_runs(where, many) if what == "kill" else run_together(where, many))
