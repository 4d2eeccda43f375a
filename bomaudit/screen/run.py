"""The whole of a screening: find, digest, fit, screen, sum up."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from bomaudit.findings import BadInput, Finding, error, in_order
from bomaudit.opened import SETTINGS_FILE
from bomaudit.screen.digest import bills_and_need, merge_facts
from bomaudit.screen.engines import Engine, in_process
from bomaudit.screen.schema import REOPEN
from bomaudit.screen.shared import Fitted, Plan, fit_dataset, read_company
from bomaudit.screen.sources import Piece, find_pieces
from bomaudit.screen.state import DiskFull, Done, Place
from bomaudit.screen.summary import Summary, sum_up
from bomaudit.screen.tasks import ToDigest, ToScreen, digest_piece, screen_piece

_AT_ONCE = 32  # digests merged at a time: merging each alone would cost most


@dataclass(frozen=True)
class Progress:
    """How far a screening is.

    Attributes
    ----------
    stage : str
    done, pieces : int
    lines : int
        Lines screened so far.
    seconds : float
        Since the stage began.
    """

    stage: str
    done: int
    pieces: int
    lines: int
    seconds: float

    @property
    def rate(self) -> float:
        """Lines a second."""
        return self.lines / self.seconds if self.seconds > 0 else 0.0

    @property
    def left(self) -> float:
        """Seconds left at the rate so far; NaN before the first piece is done."""
        return self.seconds / self.done * (self.pieces - self.done) if self.done else float("nan")


Tell = Callable[[Progress], None]


@dataclass(frozen=True)
class Screened:
    """A screening, whole.

    Attributes
    ----------
    plan : Plan
    summary : Summary
    reopen : DataFrame, columns of table ``reopen``
    done : tuple of Done
        Every piece, in order of name.
    findings : tuple of Finding
    """

    plan: Plan
    summary: Summary
    reopen: pd.DataFrame
    done: tuple[Done, ...]
    findings: tuple[Finding, ...]

    @property
    def passed_over(self) -> tuple[Done, ...]:
        """Pieces that could not be used."""
        return tuple(d for d in self.done if d.passed_over)

    @property
    def complete(self) -> bool:
        """Every path led to something and nothing was passed over."""
        return not self.passed_over and all(f.code != "N001" for f in self.findings)


def screen(
    paths: Iterable[Path], plan: Plan, out: Path, *, engine: Engine = in_process, tell: Tell = lambda _p: None
) -> Screened:
    """Screen everything under some paths.

    Parameters
    ----------
    paths : iterable of Path
        Audit folders, workbooks, datasets, or folders of these.
    plan : Plan
    out : Path
        Folder of the results; lines and what a re-run needs are written here as they come.
    engine : Engine
        Where the tasks run; the results do not depend on it.
    tell : callable
        Called with the progress.

    Returns
    -------
    Screened

    Raises
    ------
    BadInput
        ``N001`` if there is nothing to screen at all, ``N006`` if the disk is full, ``N011`` if the scheduler is lost,
        or for company tables that cannot be read. What is done so far is kept, and taken over by the next run.
    """
    pieces, lost = find_pieces(paths, out=out)
    if not pieces:
        raise BadInput(*lost)
    place = Place(out.absolute())
    try:
        place.begin()
        partitions = [p for p in pieces if p.kind == "partition"]
        failed, fitted = _fit(partitions, plan, place, engine, tell) if partitions else ([], None)
        bad = {d.piece for d in failed}
        rest = [p for p in pieces if p not in bad]
        done = [*failed, *_each("screening", engine, screen_piece, rest, ToScreen(place, plan, fitted), tell=tell)]
    except DiskFull as problem:
        raise no_room(out, str(problem)) from None
    done.sort(key=lambda d: d.piece)
    good = [d for d in done if not d.passed_over]
    place.tidy([d.piece for d in good])
    rows = [row for d in good for row in d.decisions]
    reopen = pd.DataFrame(rows, columns=list(REOPEN.names))
    summary = sum_up([place.sums(d.piece) for d in good], reopen)
    of_fit = [*fitted.company.findings, *fitted.curves.findings] if fitted is not None else []
    told = [f for d in done for f in _named(d)]
    findings = in_order([*plan.said, *lost, *of_fit, *told, *summary.findings])
    return Screened(plan, summary, reopen, tuple(done), tuple(findings))


def no_room(out: Path, why: str) -> BadInput:
    """Say that the disk is full: ``N006``."""
    return BadInput(
        error("N006", "there must be room for the results", file=str(out), found=why,
              assumed="what is done so far is kept", advice="make room and repeat the command: the rest is done")
    )  # fmt: skip


def _fit(
    partitions: list[Piece], plan: Plan, place: Place, engine: Engine, tell: Tell
) -> tuple[list[Done], Fitted | None]:
    """Curves of the dataset, and the partitions that could not be read."""
    from pyarrow import parquet  # noqa: PLC0415  (only for datasets)

    company = read_company(plan)
    found = sorted(
        _each("looking through", engine, digest_piece, partitions, ToDigest(place, plan, company), tell=tell),
        key=lambda d: d.piece,
    )
    failed, good = [d for d in found if d.passed_over], [d for d in found if not d.passed_over]
    if not good:
        return failed, None
    facts = merge_facts([])
    for k in range(0, len(good), _AT_ONCE):
        some = [parquet.read_table(place.digest(d.piece)).to_pandas() for d in good[k : k + _AT_ONCE]]
        facts = merge_facts([facts, *some])
    return failed, fit_dataset(company, *bills_and_need(facts), fixed=plan.fixed)


def _each(stage: str, engine: Engine, work: Any, pieces: list[Piece], shared: Any, *, tell: Tell) -> list[Done]:
    began, lines = time.monotonic(), 0
    done: list[Done] = []
    tell(Progress(stage, 0, len(pieces), 0, 0.0))
    for one in engine(work, pieces, shared):
        done.append(one)
        lines += one.lines
        tell(Progress(stage, len(done), len(pieces), lines, time.monotonic() - began))
    return done


def _named(done: Done) -> list[Finding]:
    """Findings of a piece under its own name: many workbooks are called the same."""
    told = [f if f.file == done.piece.name else _renamed(f, done.piece) for f in done.findings]
    if not done.passed_over:
        return told
    return told or [error("N007", "a piece was passed over", file=done.piece.name)]


def _renamed(finding: Finding, piece: Piece) -> Finding:
    """A folder holds its files; a workbook holds none, and the company's tables, the same for all, keep their names."""
    inner, name = finding.file, piece.name
    if piece.kind == "folder":
        return replace(finding, file=f"{name}/{inner}" if inner and not name.endswith(inner) else name)
    return replace(finding, file=name) if inner in ("", SETTINGS_FILE, Path(name).name) else finding
