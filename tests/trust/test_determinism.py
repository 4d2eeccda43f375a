"""The same files give the same bytes: on any day, in any time zone and locale, with any threads and any hash seed."""

import hashlib
import os
import subprocess
import sys

import pandas as pd
import pytest
from damage import ROWS, _write, write_folder

from bomaudit.audit import audit

SHIFTED = """
import datetime, time
import bomaudit.cli.shell as shell
class Later(datetime.date):
    @classmethod
    def today(cls):
        return cls(2031, 2, 3)
shell.date = Later
time.time = lambda: 1_930_000_000.0
"""
"""Another day, for whatever asks for it."""
RUN = "from bomaudit.cli import main; main()"
SURROUNDINGS = {
    "plain": ({}, ""),
    "another day": ({}, SHIFTED),
    "everything else": (
        {
            "TZ": "Pacific/Kiritimati",
            "LC_ALL": "tr_TR.UTF-8",
            "LANG": "de_DE.UTF-8",
            "PYTHONHASHSEED": "4711",
            "OPENBLAS_NUM_THREADS": "2",
            "OMP_NUM_THREADS": "2",
            "MKL_NUM_THREADS": "2",
            "PYTHONUTF8": "0",
        },
        "import locale; locale.setlocale(locale.LC_ALL, 'C')\n",
    ),
}


def written(folder, out, surroundings):
    environment, before = SURROUNDINGS[surroundings]
    done = subprocess.run(
        [sys.executable, "-c", before + RUN, "audit", str(folder), "--out", str(out), "--quiet"],
        env=os.environ | {"TZ": "UTC", "PYTHONHASHSEED": "0"} | environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(out.iterdir())}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_folder(tmp_path_factory.mktemp("same") / "audit")


@pytest.fixture(scope="module")
def plain(folder, tmp_path_factory):
    return written(folder, tmp_path_factory.mktemp("plain") / "out", "plain")


@pytest.mark.parametrize("surroundings", ["another day", "everything else"])
def test_the_same_bytes_in_other_surroundings(folder, plain, tmp_path, surroundings):
    assert len(plain) == 8
    assert written(folder, tmp_path / "out", surroundings) == plain


def test_rows_in_another_order_give_the_same_figures_up_to_order(tmp_path):
    one, two = write_folder(tmp_path / "one"), write_folder(tmp_path / "two")
    for table, rows in ROWS.items():
        body = rows[1:] if table == "decisions" else rows[:0:-1]  # options stay beside their decision
        _write(two / f"{table}.csv", [rows[0], *body])
    left, right = audit(one), audit(two)
    places = ["line_id", "source_row"]
    a, b = (r.lines.drop(columns=places).sort_values("part_no").reset_index(drop=True) for r in (left, right))
    pd.testing.assert_frame_equal(a, b, rtol=1e-9)
    pd.testing.assert_frame_equal(left.decided.decisions, right.decided.decisions, rtol=1e-9)
