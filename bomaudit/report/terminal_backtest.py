"""The record of the estimate on held-out quotes, on the terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pandas as pd
from rich.console import Console
from rich.table import Table
from rich.text import Text

from bomaudit.report.as_data import records
from bomaudit.report.pieces import heading, put, section, table
from bomaudit.report.terminal_inputs import show_findings
from bomaudit.report.words import SPARED

if TYPE_CHECKING:
    from bomaudit.backtest import Backtest

SCHEMA = "bomaudit-backtest/1"
_METHODS = {
    "estimate": "our estimate",
    "unchanged": "booked cost unchanged",
    "inflation": "general inflation",
    "price_down": "constant yearly price-down",
    "trend": "trend of the commodity",
}
_SHORT = {"estimate": "ours", "unchanged": "unchanged", "inflation": "inflation", "price_down": "price-down",
          "trend": "trend"}  # fmt: skip


def show_backtest(result: Backtest, title: str, console: Console) -> None:
    """Show errors beside the simple rules, and what the intervals covered.

    Parameters
    ----------
    result : Backtest
    title : str
        Name of the audit.
    console : Console
    """
    put(console, heading("Estimates of quotes that were held out", title))
    if result.cases.empty:
        put(console, Text("no part has quotes on both sides of any year end: nothing to test on"))
        return
    parts = result.cases["part_no"].nunique()
    put(console, Text(f"{result.quotes:,} quotes of {parts:,} parts were held out and estimated {len(result.cases):,} "
                      "times, each from what was known on an earlier day"))  # fmt: skip
    for scope, frame in result.summary.groupby("scope", sort=False):
        everything = scope == "all"
        title = "All cases" if everything else f"Typical error by {scope}"
        put(console, section(title), _errors(frame) if everything else _side_by_side(frame, str(scope)))
        if everything:
            put(console, Text(f"spared: share {SPARED}, not of the percentages beside it", style="dim"))
    coverage = result.coverage[result.coverage["scope"] == "all"]
    put(console, section("How often the quote fell inside the interval"), _coverage(coverage))
    put(console, Text(f"with published series these quotes ask for intervals {result.width:.2f} times as wide as those "
                      "series alone", style="dim"))  # fmt: skip
    put(console, section("Findings"))
    show_findings(result.findings, console)


def _errors(frame: pd.DataFrame) -> Table:
    result = table("method", "cases", "typical error", "root mean square", "spared by ours")
    for row in frame.to_dict("records"):
        skill = "" if row["method"] == "estimate" else f"{100 * row['skill']:+.0f}%"
        result.add_row(
            _METHODS.get(str(row["method"]), str(row["method"])), f"{row['n']:,.0f}", _percent(_factor(row["mae"])),
            _percent(_factor(row["rmse"])), skill,
        )  # fmt: skip
    return result


def _side_by_side(frame: pd.DataFrame, scope: str) -> Table:
    result = table(scope, "cases", *_SHORT.values())
    for group, rows in frame.groupby("group", sort=False):
        error = rows.set_index("method")["mae"]
        result.add_row(str(group), f"{rows['n'].iloc[0]:,.0f}", *(_percent(_factor(error.get(m))) for m in _SHORT))
    return result


def _coverage(coverage: pd.DataFrame) -> Table:
    result = table("interval", "inside", "cases")
    for row in coverage.to_dict("records"):
        result.add_row(_percent(row["nominal"], 0), _percent(row["inside"], 0), f"{row['n']:,.0f}")
    return result


def _factor(error: float | None) -> float | None:
    """How far off a typical price is by an error of its logarithm, as the page says it."""
    return None if error is None or pd.isna(error) else math.expm1(error)


def _percent(value: float | None, places: int = 1) -> str:
    return "-" if value is None or pd.isna(value) else f"{100 * value:.{places}f}%"


def as_data(result: Backtest) -> dict[str, Any]:
    """Plain data of a backtest: errors, coverage and findings."""
    return {
        "schema": SCHEMA,
        "held_out": result.quotes,
        "cases": len(result.cases),
        "errors_in": "ln; skill is 1 - mae of the estimate / mae of the method",
        "errors": records(result.summary, tuple(map(str, result.summary.columns))),
        "interval_width": round(result.width, 3),
        "coverage": records(result.coverage, tuple(map(str, result.coverage.columns))),
        "findings": [str(f) for f in result.findings],
    }
