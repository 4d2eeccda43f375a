"""The three things a task does, whichever engine runs it: digest a partition, screen a partition, screen a bill.

A task takes a piece and what all share, writes what came of it, and says so in a few words. It may be run twice: files
take their place in one step, and the same input gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from pyarrow import compute

from bomaudit.findings import BadInput, Severity, error
from bomaudit.screen import bills
from bomaudit.screen.batches import read_batches
from bomaudit.screen.digest import NEED, digest
from bomaudit.screen.partition import ARROW, screen_batch
from bomaudit.screen.shared import Company, Fitted, Plan
from bomaudit.screen.sources import Piece, hash_of
from bomaudit.screen.state import (
    DiskFull,
    Done,
    Place,
    keep,
    kept,
    key_of,
    read_kept,
    take_back,
    write_lines,
    write_table,
)
from bomaudit.screen.sums import merge


@dataclass(frozen=True)
class ToDigest:
    """What digesting a partition needs."""

    place: Place
    plan: Plan
    company: Company


@dataclass(frozen=True)
class ToScreen:
    """What screening a piece needs; ``fitted`` where there is a dataset."""

    place: Place
    plan: Plan
    fitted: Fitted | None


def digest_piece(piece: Piece, shared: ToDigest) -> Done:
    """Digest a partition, unless an earlier run did."""

    def work() -> Done:
        key = key_of("digest", shared.plan.fixed, hash_of(piece))
        path = shared.place.digest(piece)
        if read_kept(path, key) is not None:
            return Done(piece, fresh=False)
        write_table(digest(piece.path, shared.company), path, key)
        return Done(piece)

    return _guarded(piece, work)


def screen_piece(piece: Piece, shared: ToScreen) -> Done:
    """Screen a piece, unless an earlier run did with the same input, curves and settings."""

    def work() -> Done:
        if piece.kind == "partition":
            assert shared.fitted is not None  # noqa: S101  (a dataset is fitted before it is screened)
            return _screen_partition(piece, shared.place, shared.plan, shared.fitted)
        return _screen_bill(piece, shared.place, shared.plan)

    done = _guarded(piece, work)
    return take_back(done, shared.place) if done.passed_over else done


def _screen_partition(piece: Piece, place: Place, plan: Plan, fitted: Fitted) -> Done:
    content = hash_of(piece)
    key = key_of("lines", plan.fixed, content, fitted.fixed, _need_of(piece, place, plan, content, fitted))
    before = kept(piece, place, key)
    if before is not None:
        return before
    sums: list[pa.Table] = []

    def screened() -> Iterator[pa.Table]:
        for batch in read_batches(piece.path):
            table, found = screen_batch(batch, fitted)
            sums.extend(found)
            yield table

    lines = write_lines(place.lines(piece), ARROW, screened())
    write_table(merge(sums), place.sums(piece))
    return keep(Done(piece, lines), place, key)


def _need_of(piece: Piece, place: Place, plan: Plan, content: str, fitted: Fitted) -> str:
    """Hash of what the dataset needs of this partition's quoted parts: all that other partitions mean to it."""
    facts = read_kept(place.digest(piece), key_of("digest", plan.fixed, content))
    if facts is None:
        raise BadInput(
            error("N005", "a partition must not change while it is screened", file=piece.name, assumed="passed over",
                  advice="run again")
        )  # fmt: skip
    parts = facts.filter(compute.equal(facts["what"], NEED))["part_no"].to_numpy(zero_copy_only=False)
    at = fitted.parts.get_indexer(parts)
    return key_of(np.append(fitted.need, np.nan)[at].tobytes().hex())


def _screen_bill(piece: Piece, place: Place, plan: Plan) -> Done:
    key = key_of("bill", plan.fixed, hash_of(piece))
    before = kept(piece, place, key)
    if before is not None:
        return before
    audit = bills.audit_piece(piece, plan)
    table, sums, decisions = bills.screen_bill(piece, audit, plan)
    lines = write_lines(place.lines(piece), ARROW, iter([table]))
    write_table(merge(sums), place.sums(piece))
    told = tuple(f for f in audit.findings if f.severity != Severity.NOTE)
    done = Done(piece, lines, findings=told, decisions=decisions, invented=audit.settings.audit.invented)
    return keep(done, place, key)


def _guarded(piece: Piece, work: Callable[[], Done]) -> Done:
    """Pass over a piece that cannot be used: one bad file must not end a run over thousands."""
    try:
        return work()
    except BadInput as problem:
        return Done(piece, findings=problem.findings, passed_over=True)
    except (DiskFull, MemoryError):
        raise
    except OSError as problem:
        told = error("N013", "a file must be readable", file=piece.name, assumed="passed over",
                     found=problem.strerror or str(problem), advice="look at its permissions")  # fmt: skip
        return Done(piece, findings=(told,), passed_over=True)
    except Exception as problem:  # noqa: BLE001  (named and counted; the rest goes on)
        told = error("N009", "a piece could not be screened: our own mistake", file=piece.name, assumed="passed over",
                     found=f"{type(problem).__name__}: {problem}",
                     advice="report it, with the file if you may")  # fmt: skip
        return Done(piece, findings=(told,), passed_over=True)
