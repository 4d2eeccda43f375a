"""Start runs that store the same audit again and again, and kill each at a random moment.

``python kill_runs.py FOLDER KILLS`` imports once, then forks for each run; the names of stored audits go to standard
output, each only once it is stored.
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


def store_forever(folder):
    said, files = snapshot(), {"bom.csv": b"part_no\nA-1\n" * 20_000}
    while True:
        name = store_snapshot(said, folder, stored_at=datetime.now(UTC), files=files).name
        os.write(sys.stdout.fileno(), f"{name}\n".encode())


if __name__ == "__main__":
    assert pyarrow.parquet is not None
    for moment in np.random.default_rng(7).uniform(0.0, 0.3, int(sys.argv[2])):
        run = os.fork()
        if run == 0:
            store_forever(Path(sys.argv[1]))
        time.sleep(moment)
        os.kill(run, signal.SIGKILL)
        os.waitpid(run, 0)
