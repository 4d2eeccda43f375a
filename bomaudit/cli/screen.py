"""screen: many BOMs at once."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bomaudit.cli.shell import (
    EXIT_FINDINGS,
    AsJson,
    AsOf,
    Change,
    Quiet,
    bad_input_ends,
    console,
    print_json,
)  # fmt: skip

if TYPE_CHECKING:
    from rich.console import Console


def _errors() -> Console:
    from rich.console import Console

    return Console(stderr=True)


def screen(
    paths: Annotated[
        list[Path],
        typer.Argument(
            metavar="PATHS...", help="Audit folders, BOM spreadsheets, Parquet datasets of lines, or folders of these."
        ),
    ],
    out: Annotated[Path, typer.Option("--out", help="Folder for the results; a re-run does what is new or changed.")],
    as_of: AsOf = None,
    currency: Annotated[
        str, typer.Option("--currency", metavar="CODE", help="Currency of the rankings, e.g. USD; EUR if not given.")
    ] = "",
    quotes: Annotated[Path | None, typer.Option("--quotes", help="Quotes, for loose BOMs and datasets.")] = None,
    volumes: Annotated[Path | None, typer.Option("--volumes", help="Volumes of commodities, likewise.")] = None,
    input_prices: Annotated[Path | None, typer.Option("--input-prices", help="Input prices, likewise.")] = None,
    fx: Annotated[Path | None, typer.Option("--fx", help="Exchange rates, likewise.")] = None,
    workers: Annotated[
        int, typer.Option("--workers", min=0, help="Processes on this machine (needs the extra 'screen').")
    ] = 0,
    scheduler: Annotated[
        str, typer.Option("--scheduler", metavar="ADDRESS", help="Dask scheduler to run on, e.g. tcp://host:8786.")
    ] = "",
    change: Change = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Screen many BOMs: rank stale spend and what to re-open by BOM, commodity, supplier and part."""
    given = {"quotes": quotes, "volumes": volumes, "input_prices": input_prices, "fx": fx}
    tables = {name: path for name, path in given.items() if path is not None}
    with bad_input_ends():
        from bomaudit.findings import note
        from bomaudit.report import screen_files, terminal_screen
        from bomaudit.screen.engines import engine
        from bomaudit.screen.run import screen as run
        from bomaudit.screen.shared import make_plan

        day = as_of.date() if as_of is not None else date.today()  # noqa: DTZ011  (the user's own calendar day)
        overrides = [*(change or []), *([f"audit.as_of={day:%Y-%m-%d}"] if as_of is not None else [])]
        said = [note("S013", "a setting was given for this run only", found=change) for change in overrides]
        if as_of is None:
            said.append(note("S008", "as_of is not stated", assumed=f"{day} is used where an audit states no day"))
        plan = make_plan(
            as_of=day, currency=currency.upper(), overrides=tuple(overrides), tables=tables, said=tuple(said)
        )  # fmt: skip
        with (
            engine(workers=workers, scheduler=scheduler) as chosen,
            terminal_screen.progress_bar(quiet, _errors()) as tell,
        ):
            result = run(paths, plan, out, engine=chosen, tell=tell)
        screen_files.write_screened(result, out)
    if as_json:
        print_json(screen_files.as_data(result))
    elif not quiet:
        terminal_screen.show_screened(result, console())
    if not result.complete:
        raise typer.Exit(EXIT_FINDINGS)
