"""explain: one line or decision in full. requote: what to ask for first."""

from __future__ import annotations

from typing import Annotated

import typer

from bomaudit.cli.shell import (
    AsJson,
    AsOf,
    Change,
    Folder,
    bad_input_ends,
    console,
    of_this_run,
    opened,
    print_json,
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
        from bomaudit.audit import run
        from bomaudit.report import explain as explanations
        from bomaudit.report.terminal import show_findings

        stage("estimating")
        explanation = explanations.explain(run(read), what)
    if as_json:
        print_json(explanations.as_data(explanation))
    else:
        explanations.show(explanation, console())
        if said := of_this_run(read):
            show_findings(said, console())


def requote(
    folder: Folder,
    top: Annotated[int, typer.Option(help="How many parts to show.", min=1)] = 20,
    as_of: AsOf = None,
    change: Change = None,
    as_json: AsJson = False,
) -> None:
    """List the parts to ask new quotes for, most worth knowing first."""
    with bad_input_ends(), talking(quiet=False) as stage:
        read = opened(folder, as_of, change)
        from bomaudit.audit import run
        from bomaudit.report import as_data, terminal

        stage("estimating")
        result = run(read)
    if as_json:
        print_json(as_data.requotes(result, top))
    else:
        terminal.show_requotes(result, console(), top=top)
