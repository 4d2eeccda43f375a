"""compare: what changed between two kept audits."""

from __future__ import annotations

from typing import Annotated

import typer

from bomaudit.cli.shell import AsJson, Folder, bad_input_ends, console, print_json, say, talking

_WHICH = "latest, previous, a date, or the beginning of a kept audit's name."


def compare(
    folder: Folder,
    old: Annotated[str, typer.Argument(help=_WHICH)] = "previous",
    new: Annotated[str, typer.Argument(help=_WHICH)] = "latest",
    as_json: AsJson = False,
) -> None:
    """Compare two audits kept with 'audit --keep': what is newly stale, resolved or judged otherwise, and why."""
    with bad_input_ends(), talking(quiet=False) as stage:
        from bomaudit.history.actions import read_actions
        from bomaudit.history.causes import audit_again, causes_by_rerun
        from bomaudit.history.compare import compare as compare_
        from bomaudit.history.store import open_stored
        from bomaudit.report import as_data, terminal_history

        stage("reading")
        before, after = open_stored(folder, old), open_stored(folder, new)
        stage("finding out why")
        causes = causes_by_rerun(before, after, run=audit_again)
        actions, odd = read_actions(folder)
        say(odd)
        result = compare_(before, after, causes=causes, actions=actions)
    if as_json:
        print_json(as_data.compared(result))
    else:
        terminal_history.show_compared(result, console())
