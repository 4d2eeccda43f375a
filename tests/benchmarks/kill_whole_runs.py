"""Kill whole runs (audit, report, history) at random moments: ``python kill_whole_runs.py [KILLS]``.

Prints what stands afterwards; ends with 1 if a stored audit is damaged or a report is incomplete.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from bomaudit.audit import audit
from bomaudit.history.store import FOLDER, list_audits, open_stored, store
from bomaudit.report.files import NAMES, write
from bomaudit.resources import data_folder


def start_run(folder: Path, out: Path) -> int:
    """Start one run, as the command does it, in a process of its own; its number."""
    child = os.fork()
    if child == 0:
        try:
            result = audit(folder)
            write(result, out)
            store(result, folder, stored_at=datetime.now(UTC))
        finally:
            os._exit(0)
    return child


def main(kills: int) -> int:
    """Measure one whole run, kill many, look at what they left."""
    with tempfile.TemporaryDirectory() as made:
        folder, out = Path(made) / "audit", Path(made) / "out"
        shutil.copytree(data_folder("sample_boms") / "floor_scrubber", folder)
        start = time.perf_counter()
        os.waitpid(start_run(folder, out), 0)
        whole = time.perf_counter() - start
        for moment in np.random.default_rng(11).uniform(0, 1.1 * whole, kills):
            child = start_run(folder, out)
            time.sleep(moment)
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
        listed = list_audits(folder)
        for name in listed["name"]:
            open_stored(folder, name)
        left = len(list((folder / FOLDER).glob(".incoming-*")))
        missing = [n for n in NAMES if not (out / n).is_file()]
        print(f"{kills} runs of {whole:.1f} s killed")
        print(f"{len(listed)} audits stored, all whole; {left} unfinished ones ignored")
        print(f"report: {'complete' if not missing else f'lacks {missing}'}")
        return int(bool(missing) or bool((listed["problem"] != "").any()))


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 50))
