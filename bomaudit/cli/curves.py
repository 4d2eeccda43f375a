"""curves: the library of learning curves, and curves fitted to data."""

from __future__ import annotations

from math import exp
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bomaudit.cli.shell import EXIT_FINDINGS, AsJson, bad_input_ends, console, opened, print_json, say

if TYPE_CHECKING:
    import pandas as pd

    from bomaudit.curves.library import Library

app = typer.Typer(no_args_is_help=True, help="Show, fit, compare and check learning curves.", rich_markup_mode=None)

Source = Annotated[
    Path, typer.Argument(help="Audit folder, or a table with period, price and volume or cumulative_volume.")
]
Column = Annotated[
    list[str] | None,
    typer.Option("--column", metavar="NAME=HEADER", help="Header of a column of the table, e.g. price='Unit cost'."),
]
Commodity = Annotated[str, typer.Option("--commodity", help="Which commodity of the audit folder.")]


@app.command("list")
def list_(
    search: Annotated[list[str] | None, typer.Argument(help="Words that a row must hold.")] = None,
    as_json: AsJson = False,
) -> None:
    """List the curves of the library, or those that hold all of some words."""
    with bad_input_ends():
        from bomaudit.curves.explore import list_curves
        from bomaudit.curves.library import load_library
        from bomaudit.report import terminal_curves

        rows = list_curves(load_library(), " ".join(search or []))
    if as_json:
        print_json(terminal_curves.rows_as_data(rows))
    else:
        terminal_curves.show_rows(rows, console())


@app.command()
def fit(source: Source, commodity: Commodity = "", column: Column = None, as_json: AsJson = False) -> None:
    """Fit an experience curve to quotes and volumes of an audit folder, or to a table."""
    with bad_input_ends():
        from bomaudit.curves.explore import fit_curve
        from bomaudit.report import terminal_curves

        seen, until = _observations(source, commodity, column)
        result = fit_curve(seen, until=until)
    if as_json:
        print_json(terminal_curves.fit_as_data(result))
    else:
        terminal_curves.show_fit(result, commodity or source.name, console())


@app.command()
def compare(source: Source, commodity: Commodity = "", column: Column = None, as_json: AsJson = False) -> None:
    """Compare a fitted curve with the rows of the library for its commodity, or with all of them."""
    with bad_input_ends():
        from bomaudit.curves.explore import compare_with_library, fit_curve
        from bomaudit.curves.library import load_library
        from bomaudit.report import terminal_curves

        library = load_library()
        if commodity and not source.is_dir():
            _known(commodity, library)
        seen, until = _observations(source, commodity, column)
        result = fit_curve(seen, until=until)
        rows = compare_with_library(result, library, commodity=commodity)
    if as_json:
        print_json(terminal_curves.rows_as_data(rows))
    else:
        terminal_curves.show_comparison(result, rows, commodity or source.name, console())


@app.command()
def check() -> None:
    """Check the library against its rules; exit with 1 if one is broken, warnings do not count."""
    from bomaudit.curves.library import check_library, load_library
    from bomaudit.findings import Severity
    from bomaudit.report.terminal_inputs import show_findings

    findings = check_library(load_library())
    show_findings(findings, console())
    if any(f.severity is Severity.ERROR for f in findings):
        raise typer.Exit(EXIT_FINDINGS)


def _known(commodity: str, library: Library) -> None:
    """Refuse a commodity that the library does not hold; a folder may have markets of its own."""
    from bomaudit.findings import BadInput, error, near

    names = {*library.commodities["commodity"], *library.curves["commodity"]}
    if commodity not in names:
        raise BadInput(
            error("X007", "--commodity must name a commodity of the library", found=repr(commodity),
                  advice=f"{near(commodity, names)} (all of them: bomaudit curves list)")
        )  # fmt: skip


def _observations(source: Path, commodity: str, column: list[str] | None) -> tuple[pd.DataFrame, float | None]:
    """Observations of an audit folder's commodity, and the volume its curve is read at today; or those of a table."""
    from bomaudit.audit import run
    from bomaudit.curves.assumed import find_about_observations
    from bomaudit.curves.explore import doubts_of_table, observe_quotes, observe_table
    from bomaudit.findings import BadInput, error
    from bomaudit.glossary import PRICE_SERIES
    from bomaudit.tables import read_table

    columns = dict(c.partition("=")[::2] for c in column or ())
    if not source.is_dir():
        for name in set(columns) - set(PRICE_SERIES.names):
            known = ", ".join(PRICE_SERIES.names)
            raise BadInput(error("X006", "--column must name a column", found=repr(name), advice=f"one of {known}"))
        read = read_table(source, PRICE_SERIES, columns=columns)
        say(read.findings)  # before what may come of them: too few rows left to fit
        seen = observe_table(read.frame)
        say(doubts_of_table(read.frame, source.name))
        return seen, None
    if column:
        raise BadInput(
            error("X006", "--column is for a table, not for an audit folder", file=str(source),
                  found=", ".join(map(repr, column)), advice="leave it out; audit.toml names the headers of a folder")
        )  # fmt: skip
    curves = run(opened(source, None, None)).curves
    held = sorted(set(curves.observations["commodity"]))
    if commodity not in held:
        names = ", ".join(held) or "none: add quotes first"
        raise BadInput(
            error("X003", "of an audit folder one commodity that its quotes bear on must be named",
                  found=repr(commodity) if commodity else "no name", advice=f"give --commodity and one of {names}")
        )  # fmt: skip
    seen = observe_quotes(curves, commodity)
    if seen.empty:
        return seen, None
    say(find_about_observations(seen, commodity, curves.volumes))
    grown = curves.volumes.growth(commodity, seen["date"].max(), curves.as_of)
    return seen, exp(float(seen["log_experience"].max()) + grown)
