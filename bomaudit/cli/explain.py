"""explain: one line or decision in full. requote: what to ask for first."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from bomaudit.cli.shell import (
    AsJson,
    AsOf,
    Change,
    Folder,
    bad_input_ends,
    console,
    given,
    opened,
    print_json,
    run_whole,
    show_given,
    talking,
)


def explain(
    folder: Folder,
    what: Annotated[str, typer.Argument(help="A line id, part number or decision.")],
    as_of: AsOf = None,
    change: Change = None,
    as_json: AsJson = False,
) -> None:
    """Explain one line or one decision in full."""
    with bad_input_ends(), talking(quiet=False) as stage:
        read = opened(folder, as_of, change)
        from bomaudit.prepare.where_used import reach_of_part
        from bomaudit.report import as_data
        from bomaudit.report import explain as explanations
        from bomaudit.report.terminal_finance import show_where_used

        stage("estimating")
        audited = run_whole(read)
        explanation = explanations.explain(audited, what)
        bom = read.inputs.tables["bom"]
        reach = reach_of_part(bom, audited.lines, what, scrap=read.settings.read.scrap, as_of=read.as_of)
    if as_json:
        print_json(explanations.as_data(explanation) | {"where_used": as_data.where_used(reach)} | given(read))
    else:
        explanations.show(explanation, console())
        show_where_used(reach, audited.currency, console())
        show_given(read)


def requote(
    folder: Folder,
    top: Annotated[int, typer.Option(help="How many parts to show.", min=1)] = 20,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder for a request for quote to each supplier, of all parts worth asking for."),
    ] = None,
    as_of: AsOf = None,
    change: Change = None,
    as_json: AsJson = False,
) -> None:
    """List the parts to ask new quotes for, most worth knowing first; write the requests."""
    with bad_input_ends(), talking(quiet=False) as stage:
        read = opened(folder, as_of, change)
        from bomaudit.report import as_data, terminal

        stage("estimating")
        result = run_whole(read)
        if out is not None:
            from bomaudit.report.requests import write_requests

            written = write_requests(result, out)
            sys.stderr.write(f"bomaudit: {len(written)} files written to {out}\n")
    if as_json:
        print_json(as_data.requotes(result, top) | given(read))
    else:
        terminal.show_requotes(result, console(), top=top)
        show_given(read)
