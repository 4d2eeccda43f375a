"""The record of the estimate on held-out quotes, on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd
from rich.console import Console
from rich.table import Table
from rich.text import Text

from bomaudit.report.as_data import records
from bomaudit.report.pieces import heading, put, section, table

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
    put(console, Text(f"{len(result.cases)} held-out quotes of {result.cases['part_no'].nunique()} parts"))
    for scope, frame in result.summary.groupby("scope", sort=False):
        everything = scope == "all"
        title = "All quotes" if everything else f"Mean error by {scope}"
        put(console, section(title), _errors(frame) if everything else _side_by_side(frame, str(scope)))
    coverage = result.coverage[result.coverage["scope"] == "all"]
    put(console, section("How often the quote fell inside the interval"), _coverage(coverage))
    put(console, *(Text(str(f)) for f in result.findings))


def _errors(frame: pd.DataFrame) -> Table:
    result = table("method", "quotes", "mean error", "root mean square", "skill of ours")
    for row in frame.to_dict("records"):
        skill = "" if row["method"] == "estimate" else f"{100 * row['skill']:+.0f} %"
        result.add_row(
            _METHODS.get(str(row["method"]), str(row["method"])), f"{row['n']:.0f}", _percent(row["mae"]),
            _percent(row["rmse"]), skill,
        )  # fmt: skip
    return result


def _side_by_side(frame: pd.DataFrame, scope: str) -> Table:
    result = table(scope, "quotes", *_SHORT.values())
    for group, rows in frame.groupby("group", sort=False):
        error = rows.set_index("method")["mae"]
        result.add_row(str(group), f"{rows['n'].iloc[0]:.0f}", *(_percent(error.get(m)) for m in _SHORT))
    return result


def _coverage(coverage: pd.DataFrame) -> Table:
    result = table("interval", "inside", "quotes")
    for row in coverage.to_dict("records"):
        result.add_row(_percent(row["nominal"], 0), _percent(row["inside"], 0), f"{row['n']:.0f}")
    return result


def _percent(value: float | None, places: int = 1) -> str:
    return "-" if value is None or pd.isna(value) else f"{100 * value:.{places}f} %"


def as_data(result: Backtest) -> dict[str, Any]:
    """Plain data of a backtest: errors, coverage and findings."""
    return {
        "schema": SCHEMA,
        "held_out": len(result.cases),
        "errors": records(result.summary, tuple(map(str, result.summary.columns))),
        "coverage": records(result.coverage, tuple(map(str, result.coverage.columns))),
        "findings": [str(f) for f in result.findings],
    }
