"""check: read and validate. audit: the main job."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bomaudit.cli.shell import (
    EXIT_FINDINGS,
    EXIT_INTERNAL,
    AsJson,
    AsOf,
    Change,
    Folder,
    Quiet,
    bad_input_ends,
    console,
    of_this_run,
    opened,
    print_json,
    say,
    stated_settings,
    talking,
)  # fmt: skip

if TYPE_CHECKING:
    from bomaudit.audit import Audit
    from bomaudit.opened import Opened
    from bomaudit.report.annotate import Copy


class FailOn(StrEnum):
    """What the user can ask to fail on."""

    ERROR = "error"
    WARNING = "warning"
    STALE = "stale"
    REOPEN = "reopen"


Fail = Annotated[
    list[FailOn] | None, typer.Option("--fail-on", help="Exit with 1 if there is any of these; may be repeated.")
]


def check(
    folder: Folder,
    as_of: AsOf = None,
    change: Change = None,
    as_json: AsJson = False,
    fail_on: Fail = None,
    against: Annotated[
        Path | None,
        typer.Option("--against", help="summary.json of an audit: only say whether FOLDER is what it was made from."),
    ] = None,
) -> None:
    """Read and validate an audit folder; estimate nothing."""
    if against is not None:
        _check_against(against, folder, as_of, change, as_json=as_json)
        return
    with bad_input_ends():
        result = opened(folder, as_of, change)
        if as_json:
            from bomaudit.report import as_data

            print_json(as_data.checked(result))
        else:
            from bomaudit.report.terminal_inputs import show_check

            show_check(result, console())
    severities = {f.severity.value for f in result.findings}
    if severities & {f.value for f in fail_on or ()}:
        raise typer.Exit(EXIT_FINDINGS)


def _check_against(
    summary: Path, folder: Path, as_of: datetime | None, change: list[str] | None, *, as_json: bool
) -> None:
    with bad_input_ends():
        from bomaudit.provenance import compare_with, read_summary

        settings, _, given = stated_settings(folder, as_of, change)
        held = compare_with(read_summary(summary), folder, settings, [c.text for c in given])
        if as_json:
            from bomaudit.report import as_data

            print_json(as_data.compared_with(held))
        else:
            from bomaudit.report.terminal_inputs import show_provenance

            show_provenance(held, console())
    if any(h.counts for h in held):
        raise typer.Exit(EXIT_FINDINGS)


def _is_kept(read: Opened, asked: bool | None) -> bool:
    """Whether the history takes this run: a what-if would be compared with as if its inputs had been so."""
    from bomaudit.findings import BadInput, error

    given = [f.found for f in of_this_run(read) if ":" in f.found.partition("=")[0]]
    if asked and given:
        raise BadInput(error("S016", "an audit with inputs given by --set is not kept", found=", ".join(given),
                             advice="leave out --keep, or change the files"))  # fmt: skip
    return not given and (read.settings.report.keep if asked is None else asked)


def _keep(result: Audit, folder: Path, *, asked: bool) -> None:
    """Keep the audit in the folder's history; a folder that cannot be written to ends the run only if asked for."""
    from bomaudit.findings import BadInput, error, warning
    from bomaudit.history.actions import start_actions
    from bomaudit.history.store import FOLDER, store

    try:
        findings = store(result, folder, stored_at=datetime.now(tz=UTC))[1]
        start_actions(folder)
    except OSError as problem:
        unkept = (error if asked else warning)(
            "H005",
            f"an audit is kept in {FOLDER}/ of its folder, which must be writable",
            file=folder.name,
            found=problem.strerror or type(problem).__name__,
            assumed="the report is written, the audit is not kept",
            advice="give --no-keep, set report.keep = false, or copy the folder",
        )
        if asked:
            raise BadInput(unkept) from problem
        findings = [unkept]
    say(findings)


def _annotated(result: Audit) -> tuple[Copy, Audit]:
    """Annotated copy of the BOM; what it cannot take is said before anything is written, and in the findings."""
    from bomaudit.findings import in_order
    from bomaudit.report.annotate import copy_of

    copy = copy_of(result)
    say(copy.findings)
    return copy, replace(result, findings=tuple(in_order([*result.findings, *copy.findings])))


def audit(
    folder: Folder,
    out: Annotated[
        Path, typer.Option("--out", help="Folder for the files out: all of them or none; other files in it are kept.")
    ],
    as_of: AsOf = None,
    change: Change = None,
    keep: Annotated[
        bool | None,
        typer.Option("--keep/--no-keep", help="Keep this audit in FOLDER/history or not, whatever report.keep says."),
    ] = None,
    test: Annotated[
        bool,
        typer.Option(
            "--backtest",
            help="First test the estimate on your own older quotes: for the report, and for the width of intervals.",
        ),
    ] = False,
    redact: Annotated[bool, typer.Option("--redact", help="Leave out supplier names and internal notes.")] = False,
    annotate: Annotated[
        bool, typer.Option("--annotate", help="Also write a copy of the BOM's xlsx with our columns beside its lines.")
    ] = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
    fail_on: Fail = None,
) -> None:
    """Estimate today's price of each line, judge the decisions, write the report."""
    if redact and annotate:
        raise typer.BadParameter("--annotate copies all that the BOM holds, so nothing can be left out with --redact")
    with bad_input_ends(), talking(quiet) as stage:
        read = opened(folder, as_of, change)
        kept = _is_kept(read, keep)
        from bomaudit.audit import run
        from bomaudit.report import as_data, files, terminal

        files.prepare()
        record = None
        if test:
            from bomaudit.backtest import backtest_folder
            from bomaudit.interval_width import widened

            stage("testing on held-out quotes")
            record = backtest_folder(read)
            read = widened(read, record.width, quotes=record.quotes)
        stage("estimating")
        result = run(read)
        stage("writing")
        copy = None
        if annotate:
            copy, result = _annotated(result)
        files.write(result, out, redact=redact, record=record, copy=copy)
        if kept and not result.broken:
            _keep(result, folder, asked=keep is True)
    if result.broken:
        say(result.broken)
        raise typer.Exit(EXIT_INTERNAL)
    if as_json:
        print_json(as_data.summary(result))
    elif not quiet:
        terminal.show_audit(result, console())
    met = (
        {f.severity.value for f in result.findings}
        | set(result.lines["status"])
        | set(result.decided.decisions["verdict"])
    )
    if met & {f.value for f in fail_on or ()}:
        raise typer.Exit(EXIT_FINDINGS)
