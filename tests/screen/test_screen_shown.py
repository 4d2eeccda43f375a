"""What a screening shows: the caution, the totals, progress in words; what it refuses."""

import io
import json
import math

import pytest
from rich.console import Console
from screen_case import plan_of, run, write_book
from typer.testing import CliRunner

from bomaudit.cli import app
from bomaudit.findings import BadInput
from bomaudit.report import words
from bomaudit.report.terminal_screen import progress_bar, show_screened
from bomaudit.screen.run import Progress


def test_the_terminal_shows_totals_rankings_and_the_caution(tmp_path):
    result = run([write_book(tmp_path / "pump.csv")], tmp_path / "out")
    out = io.StringIO()
    show_screened(result, Console(file=out, width=100))
    told = " ".join(out.getvalue().split())
    assert words.CAUTION in told
    assert "pump.csv" in told
    assert f"{result.summary.totals['stale']} of 12 audited lines are stale" in told


def test_json_is_the_summary(tmp_path):
    book = write_book(tmp_path / "pump.csv")
    arguments = ["screen", str(book), "--out", str(tmp_path / "out"), "--as-of", "2026-06-30", "--json"]
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 0
    assert json.loads(done.stdout) == json.loads((tmp_path / "out" / "summary.json").read_text())
    assert json.loads(done.stdout)["caution"] == words.CAUTION


def test_rate_and_time_left():
    half = Progress("screening", 5, 10, 1000, 2.0)
    assert half.rate == 500
    assert half.left == 2.0
    assert math.isnan(Progress("screening", 0, 10, 0, 0.0).left)


def test_progress_is_silent_when_piped():
    out = io.StringIO()
    with progress_bar(False, Console(file=out)) as tell:
        tell(Progress("screening", 5, 10, 1000, 2.0))
    assert out.getvalue() == ""
    with progress_bar(False, Console(file=out, force_terminal=True, width=100)) as tell:
        tell(Progress("screening", 5, 10, 1000, 2.0))
    assert "500 lines/s" in out.getvalue()
    assert "0:02 left" in out.getvalue()


def test_a_currency_without_rates_is_refused():
    with pytest.raises(BadInput, match="exchange rates"):
        plan_of(currency="XQQ")
