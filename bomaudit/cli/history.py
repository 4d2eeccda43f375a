"""compare: what changed between two kept audits."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bomaudit.cli.shell import AsJson, Folder, bad_input_ends, console, opened, print_json, say, talking

if TYPE_CHECKING:
    import pandas as pd

    from bomaudit.history.snapshot import Snapshot

_WHICH = "latest, previous, a date, or the beginning of a kept audit's name."


def compare(
    folder: Folder,
    old: Annotated[str, typer.Argument(help=_WHICH)] = "previous",
    new: Annotated[str, typer.Argument(help=_WHICH)] = "latest",
    as_json: AsJson = False,
) -> None:
    """Compare two kept audits: what is newly stale, resolved or judged otherwise, and why."""
    with bad_input_ends(), talking(quiet=False) as stage:
        from bomaudit.history.actions import read_actions
        from bomaudit.history.causes import audit_again, causes_by_rerun
        from bomaudit.history.compare import compare as compare_
        from bomaudit.history.store import open_stored
        from bomaudit.report import as_data, terminal_history

        stage("reading")
        before, after = open_stored(folder, old), open_stored(folder, new)
        scored, record = _scores(folder, before)
        stage("finding out why")
        causes = causes_by_rerun(before, after, run=audit_again)
        actions, odd = read_actions(folder)
        say(odd)
        result = compare_(before, after, causes=causes, actions=actions)
    if as_json:
        print_json(as_data.compared(result, scored, record))
    else:
        terminal_history.show_compared(result, console())
        terminal_history.show_scores(scored, record, console())


def _scores(folder: Path, said: Snapshot) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Estimates of the older audit against quotes the folder holds now, and the record over all kept audits."""
    from bomaudit.audit import prepare
    from bomaudit.history.scores import calibration, score
    from bomaudit.history.store import open_stored, stored_names

    read = opened(folder, None, None)
    _, quotes, _, _ = prepare(read)
    kept = [open_stored(folder, name) for name in stored_names(folder)]
    return score(said, quotes, fx=read.fx), calibration(kept, quotes, fx=read.fx)
