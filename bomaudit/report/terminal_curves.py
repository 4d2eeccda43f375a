"""Learning curves on the terminal: rows of the library, a fit with its warnings, the two side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd
from rich.console import Console
from rich.text import Text

from bomaudit.report.as_data import records
from bomaudit.report.pieces import WIDEST, heading, put, section, table_of

if TYPE_CHECKING:
    from bomaudit.curves.explore import CurveFit

_GAP = 2  # characters between columns
_SOURCE = 20  # characters under which a source does not read
_WIDTH = 40  # characters of a residual plot
_ROWS = {
    "curve_id": "curve", "commodity": "commodity", "rate": "learning\nrate", "how_obtained": "how\nobtained",
    "measured_on": "of", "source": "source", "period": "period", "price_basis": "money",
}  # fmt: skip
"""Columns of the list by how much they matter: what has no room is left out."""


def show_rows(rows: pd.DataFrame, console: Console) -> None:
    """Show rows of the library."""
    put(console, heading("Learning curves of the library", f"{len(rows)} curves" if len(rows) != 1 else "1 curve"))
    if rows.empty:
        put(console, Text("no row holds all of these words; 'bomaudit curves list' without words shows every one"))
    if len(rows):
        rate = rows["learning_rate"].map(_percent) + rows["learning_rate_sd"].map(lambda sd: f" ± {100 * sd:.0f}")
        _put_fitting(rows.assign(rate=rate), _ROWS, console)


def show_fit(fit: CurveFit, name: str, console: Console) -> None:
    """Show a fitted curve: when not to trust it first, then its figures and residuals."""
    put(console, heading("Experience curve", name))
    put(console, *(Text(f"◆ {w}") for w in fit.warnings))
    put(console, Text(f"standard errors: {fit.errors}", style="dim"))
    frame = fit.to_frame()
    share = frame["figure"].isin(["learning rate", "progress ratio"])
    value = frame["value"].map("{:.4g}".format).mask(share, frame["value"].map(_percent))
    put(console, table_of(frame.assign(value=value), {"figure": "", "value": ""}))
    put(console, section("Residuals, ln"), *_residual_plot(fit.residuals))


def show_comparison(fit: CurveFit, rows: pd.DataFrame, name: str, console: Console) -> None:
    """Show a fitted rate beside those of the library, nearest first."""
    put(console, heading("Fitted beside the library", name))
    put(console, Text(f"fitted learning rate {_percent(fit.learning_rate)}, {fit.n} observations"))
    if rows.empty:
        put(console, Text("the library holds no published curve of this commodity"))
        return
    shown = rows.assign(rate=rows["learning_rate"].map(_percent), away=rows["distance"].map("{:.1f}".format))
    headers = {"curve_id": "curve", "commodity": "commodity", "rate": "rate", "away": "sd\naway", "source": "source"}
    _put_fitting(shown, headers, console)


def _put_fitting(rows: pd.DataFrame, headers: dict[str, str], console: Console) -> None:
    """Show the columns that have room, none but the source folded: a name in two pieces cannot be copied."""
    width = room = min(console.width, WIDEST)
    shown: dict[str, str] = {}
    left_out = []
    for column, header in headers.items():
        need = max(rows[column].str.len().max(), *map(len, header.split("\n")))
        need = min(need, _SOURCE) if column == "source" else need
        if need <= room or not shown:
            shown[column] = header
            room -= need + _GAP
        else:
            left_out.append(header.replace("\n", " "))
    result = table_of(rows, shown)
    for made, column in zip(result.columns, shown, strict=True):
        made.no_wrap = column != "source" and room >= -_GAP  # a window narrower than a name folds it after all
    put(console, result)
    if left_out:
        wider = f"more in a window of {WIDEST} columns, " if width < WIDEST else ""
        put(console, Text(f"no room for {', '.join(left_out)}: {wider}all with --json or in curves.csv", style="dim"))


def rows_as_data(rows: pd.DataFrame) -> dict[str, Any]:
    """Plain data of rows of the library."""
    return {"schema": "bomaudit-curves/1", "curves": records(rows, tuple(map(str, rows.columns)))}


def fit_as_data(fit: CurveFit) -> dict[str, Any]:
    """Plain data of a fit."""
    figures = fit.to_frame()
    return {
        "schema": "bomaudit-curve-fit/1",
        "figures": dict(zip(figures["figure"], figures["value"], strict=True)),
        "errors": fit.errors,
        "warnings": list(fit.warnings),
        "residuals": records(fit.residuals, tuple(map(str, fit.residuals.columns))),
    }


def _residual_plot(residuals: pd.DataFrame) -> list[Text]:
    """One line an observation, in order of time: left of the middle below the curve, right above."""
    largest = float(residuals["residual"].abs().max()) or 1.0
    ordered = residuals.sort_values(["date", "part_no"], kind="stable")
    lines = []
    for row in ordered.to_dict("records"):
        place = round((_WIDTH / 2) * (1 + row["residual"] / largest))
        bar = "".join("●" if k == place else "│" if k == _WIDTH // 2 else " " for k in range(_WIDTH + 1))
        lines.append(Text(f"{row['date']:%Y-%m-%d} {bar} {row['residual']:+.3f}"))
    return lines


def _percent(value: float) -> str:
    return f"{100 * value:.1f} %"
