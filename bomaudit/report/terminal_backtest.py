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
        put(console, section("All quotes" if scope == "all" else f"By {scope}"), _errors(frame, str(scope)))
    put(console, section("How often the quote fell inside the interval"), _coverage(result.coverage))


def _errors(frame: pd.DataFrame, scope: str) -> Table:
    single = scope == "all"
    result = table(*([] if single else [scope]), "method", "quotes", "mean error", "root mean square", "skill of ours")
    for row in frame.to_dict("records"):
        cells = [
            _METHODS.get(str(row["method"]), str(row["method"])),
            f"{row['n']:.0f}",
            f"{100 * row['mae']:.1f} %",
            f"{100 * row['rmse']:.1f} %",
            "" if row["method"] == "estimate" else f"{100 * row['skill']:+.0f} %",
        ]
        result.add_row(*([] if single else [str(row["group"])]), *cells)
    return result


def _coverage(coverage: pd.DataFrame) -> Table:
    result = table("", "quotes", "interval", "inside")
    for row in coverage.to_dict("records"):
        where = "all" if row["scope"] == "all" else f"{row['scope']} {row['group']}"
        result.add_row(where, f"{row['n']:.0f}", f"{100 * row['nominal']:.0f} %", f"{100 * row['inside']:.0f} %")
    return result


def as_data(result: Backtest) -> dict[str, Any]:
    """Plain data of a backtest: errors, coverage and findings."""
    return {
        "schema": SCHEMA,
        "held_out": len(result.cases),
        "errors": records(result.summary, tuple(map(str, result.summary.columns))),
        "coverage": records(result.coverage, tuple(map(str, result.coverage.columns))),
        "findings": [str(f) for f in result.findings],
    }
