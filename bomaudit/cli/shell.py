"""What every command shares: errors without tracebacks, options, where output goes."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from bomaudit.audit import Audit
    from bomaudit.findings import Finding
    from bomaudit.opened import Opened
    from bomaudit.settings import Settings
    from bomaudit.what_if import Change as Input

EXIT_FINDINGS = 1
EXIT_BAD_INPUT = 2
EXIT_INTERNAL = 3
"""Our own mistake, not the user's: told apart from bad input (2) and from findings asked to fail on (1)."""

Folder = Annotated[Path, typer.Argument(help="Audit folder: holds audit.toml and the tables it names.")]
AsOf = Annotated[
    datetime | None,
    typer.Option("--as-of", formats=["%Y-%m-%d"], help="Day to estimate for, instead of the one in audit.toml."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON instead of tables.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")]
Change = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="NAME=VALUE",
        help="What if: give a setting or an input for this run only, shown with the result; may be repeated. "
        "Settings as decide.discount_rate=0.1; inputs as price:PART='12.50 EUR' (a firm quote today), "
        "booked:PART=12.50, date:PART=2024-03-31 (of the booked cost), volume:COMMODITY@2024=x1.5, input:SERIES=+20%, "
        "exponent:COMMODITY=0.3, learning_rate:COMMODITY=20%, trend:COMMODITY=-2%, decision:NAME.years_left=7 "
        "(or annual_volume, volume_growth, change_cost).",
    ),
]


def console() -> Console:
    """Where results go: standard output, at least 80 columns wide, plain when piped."""
    from bomaudit.report.pieces import SafeConsole

    return SafeConsole() if sys.stdout.isatty() else SafeConsole(width=80, no_color=True, highlight=False)


class Shown:
    """Shows how far a stage is: its name, how many of how many, and about how long it still takes.

    Parameters
    ----------
    show : callable
        Takes a line of text.
    clock : callable, optional
        Seconds.
    """

    def __init__(self, show: Callable[[str], object], clock: Callable[[], float] = time.monotonic) -> None:
        self.show, self.clock = show, clock
        self.stage, self.began = "", 0.0

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Show a stage; the time left is told once the stage has taken a second."""
        if stage != self.stage:
            self.stage, self.began = stage, self.clock()
        spent = self.clock() - self.began
        left = spent / done * (total - done) if done else 0.0
        tail = f", about {left:.0f} s left" if spent >= 1 and left >= 1 else ""
        self.show(f"{stage}: {done:,} of {total:,} done{tail}")


@contextmanager
def talking(quiet: bool) -> Iterator[Any]:
    """Show what is being done on standard error while it takes long; silent when piped.

    Parameters
    ----------
    quiet : bool

    Yields
    ------
    Callable[[str], None]
        Call it with the name of the stage that begins.
    """
    if quiet or not sys.stderr.isatty():
        yield lambda _stage: None
        return
    from rich.console import Console

    from bomaudit.progress import heard

    with Console(stderr=True).status("reading") as status, heard(Shown(status.update)):
        yield status.update


def say(findings: Iterable[Finding]) -> None:
    """Write findings to standard error, one a line."""
    from bomaudit.safe_text import printable

    sys.stderr.writelines(f"bomaudit: {printable(' '.join(str(finding).split()))}\n" for finding in findings)


@contextmanager
def bad_input_ends() -> Iterator[None]:
    """Print the findings of bad input to standard error and exit with 2."""
    from bomaudit.findings import BadInput

    try:
        yield
    except BadInput as problem:
        say(problem.findings)
        raise typer.Exit(EXIT_BAD_INPUT) from None


def opened(folder: Path, as_of: datetime | None, changes: list[str] | None) -> Opened:
    """Open an audit folder with the overrides of the command line; today where no day is stated.

    Raises
    ------
    BadInput
        As :func:`bomaudit.opened.open_audit`, or for an override that names no setting or nothing in the inputs.
    """
    import pandas as pd

    from bomaudit.findings import in_order, note
    from bomaudit.opened import open_audit

    # A call of Arrow's costs more than all the texts of a usual BOM; at 100,000 lines the two are even.
    pd.set_option("mode.string_storage", "python")
    settings, overrides, of_inputs = stated_settings(folder, as_of, changes)
    today = date.today()  # noqa: DTZ011  (the user's own calendar day)
    read = open_audit(folder, settings=settings, as_of=today, changes=of_inputs)
    said = [note("S013", "a setting was given for this run only", found=change) for change in overrides]
    return replace(read, findings=tuple(in_order([*read.findings, *said])))


def stated_settings(
    folder: Path, as_of: datetime | None, changes: list[str] | None
) -> tuple[Settings, list[str], tuple[Input, ...]]:
    """Settings of a folder with the overrides of the command line, those overrides, and what is given of the inputs."""
    from bomaudit.opened import SETTINGS_FILE
    from bomaudit.settings import load, overridden
    from bomaudit.what_if import told_apart

    overrides, of_inputs = told_apart(changes or [])
    if as_of is not None:
        overrides.append(f"audit.as_of={as_of:%Y-%m-%d}")
    return overridden(load(folder / SETTINGS_FILE), overrides), overrides, of_inputs


def run_whole(read: Opened) -> Audit:
    """Audit what was read; a result whose figures contradict each other is not shown: exit with 3."""
    from bomaudit.audit import run

    result = run(read)
    if result.broken:
        say(result.broken)
        raise typer.Exit(EXIT_INTERNAL)
    return result


def of_this_run(read: Opened) -> list[Finding]:
    """What the command line set, to be shown with every result."""
    return [f for f in read.findings if f.code == "S013"]


def given(read: Opened) -> dict[str, list[str]]:
    """What the command line set, for results as JSON; nothing where nothing was."""
    said = [f"{f.found}: {f.assumed}" if f.assumed else f.found for f in of_this_run(read)]
    return {"given_for_this_run": said} if said else {}


def show_given(read: Opened) -> None:
    """Print what the command line set, below a result; nothing where nothing was."""
    from bomaudit.report.terminal_inputs import show_findings

    if said := of_this_run(read):
        show_findings(said, console())


def print_json(content: object) -> None:
    """Write JSON to standard output: keys in their order, numbers that are not finite as null."""
    from bomaudit.safe_text import escaped_json

    sys.stdout.write(escaped_json(json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)) + "\n")
