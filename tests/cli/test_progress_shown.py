"""Progress: names, counts and time left on a terminal; nothing where nobody looks, and no figure different for it."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from bomaudit.cli.shell import Shown
from bomaudit.progress import heard, told

SAMPLE = Path(__file__).parents[2] / "sample_boms" / "pressure_washer_messy"


def test_what_is_told_is_how_many_were_done_before_each_piece():
    said: list[tuple[str, int, int]] = []
    with heard(lambda *what: said.append(what)):
        assert list(told("sorting", ["a", "bb", "ccc"], 6, size=len)) == ["a", "bb", "ccc"]
    assert said == [("sorting", 0, 6), ("sorting", 1, 6), ("sorting", 3, 6)]
    list(told("sorting", ["a"], 1))
    assert len(said) == 3


def test_time_left_follows_from_what_was_done_and_starts_anew_with_a_stage():
    lines: list[str] = []
    now = iter([0.0, 0.0, 0.5, 4.0, 10.0, 10.0])
    shown = Shown(lines.append, clock=lambda: next(now))
    shown("drawing decisions", 0, 1000)
    shown("drawing decisions", 100, 1000)
    shown("drawing decisions", 200, 1000)
    shown("writing files", 0, 8)
    assert lines == [
        "drawing decisions: 0 of 1,000 done", "drawing decisions: 100 of 1,000 done",
        "drawing decisions: 200 of 1,000 done, about 16 s left", "writing files: 0 of 8 done",
    ]  # fmt: skip


def ran(tmp_path, *, terminal: bool, options: tuple[str, ...] = ()) -> str:
    """Standard error of an audit, on a pseudo terminal or piped."""
    code = "import sys; from bomaudit.cli import main; sys.argv[0] = 'bomaudit'; main()"
    command = [sys.executable, "-c", code, "audit", str(SAMPLE), "--out", str(tmp_path / "out"), *options]
    if not terminal:
        return subprocess.run(command, capture_output=True, text=True, check=True).stderr
    pty = pytest.importorskip("pty", reason="needs pseudo terminals")
    master, slave = pty.openpty()
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=slave, env=os.environ | {"TERM": "xterm"}) as run:
        os.close(slave)
        seen = b""
        while True:
            try:
                piece = os.read(master, 4096)
            except OSError:  # the other end is closed
                break
            if not piece:
                break
            seen += piece
        run.wait()
    os.close(master)
    return seen.decode(errors="replace")


def test_stages_are_shown_on_a_terminal_only(tmp_path):
    seen = ran(tmp_path, terminal=True)
    assert re.search(r"(reading files|writing files): \d of \d done", seen)
    assert ran(tmp_path, terminal=False) == ""
    assert ran(tmp_path, terminal=True, options=("--quiet",)) == ""
