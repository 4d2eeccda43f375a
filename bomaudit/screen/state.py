"""What a screening leaves on the disk, piece by piece: written whole or not at all, and known again when run anew."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import pyarrow as pa
from pyarrow import parquet

from bomaudit.findings import Finding, Severity
from bomaudit.screen.sources import Piece

LINES, STATE = "lines", "state"
FULL = frozenset({errno.ENOSPC, errno.EDQUOT})
"""Error numbers of a disk without room."""
_KEY = b"bomaudit-key"
_COMPRESSION = "zstd"


class DiskFull(Exception):  # noqa: N818  (what happened)
    """There is no room left for what a piece gave; nothing of it was put in place."""


@dataclass(frozen=True)
class Done:
    """What became of a piece.

    Attributes
    ----------
    piece : Piece
    lines : int
        Lines screened.
    fresh : bool
        It was done in this run, not taken over from an earlier one.
    findings : tuple of Finding
        Why it was passed over, or what was assumed.
    passed_over : bool
    decisions : tuple of dict
        Rows of table ``reopen``.
    invented : bool
        The data of the audit say that they are.
    """

    piece: Piece
    lines: int = 0
    fresh: bool = True
    findings: tuple[Finding, ...] = ()
    passed_over: bool = False
    decisions: tuple[dict[str, Any], ...] = ()
    invented: bool = False


@dataclass(frozen=True)
class Place:
    """Folder of a screening's results."""

    out: Path

    def lines(self, piece: Piece) -> Path:
        """Screened lines of a piece."""
        return self.out / LINES / f"{piece.stem}.parquet"

    def sums(self, piece: Piece) -> Path:
        """Grouped sums of a piece."""
        return self.out / STATE / f"{piece.stem}-sums.parquet"

    def digest(self, piece: Piece) -> Path:
        """Digest of a partition."""
        return self.out / STATE / f"{piece.stem}-digest.parquet"

    def record(self, piece: Piece) -> Path:
        """What became of a piece, with the key of what it was made from."""
        return self.out / STATE / f"{piece.stem}.json"

    def begin(self) -> None:
        """Make the folders."""
        for name in (LINES, STATE):
            (self.out / name).mkdir(parents=True, exist_ok=True)

    def tidy(self, pieces: list[Piece]) -> None:
        """Remove what earlier runs left of pieces that are no longer there, and files that were never placed."""
        kept = {f(p) for p in pieces for f in (self.lines, self.sums, self.digest, self.record)}
        for folder in (self.out / LINES, self.out / STATE):
            for path in sorted(folder.iterdir()):
                if path not in kept and path.is_file():
                    path.unlink()


def key_of(*parts: str) -> str:
    """Key of a result: hash of everything it was made from."""
    return hashlib.sha256("\x00".join(parts).encode()).hexdigest()


@contextmanager
def placed(path: Path) -> Iterator[Path]:
    """Write a file under another name and put it in place when it is whole.

    Yields
    ------
    Path
        Where to write.

    Raises
    ------
    DiskFull
        If there is no room; what stood at ``path`` still stands.
    """
    handle, name = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
    os.close(handle)
    made = Path(name)
    try:
        yield made
        made.replace(path)
    except OSError as problem:
        if problem.errno in FULL:
            raise DiskFull(f"no room left to write {path.name}") from None
        raise
    finally:
        with contextlib.suppress(OSError):
            made.unlink(missing_ok=True)


def open_out(path: Path) -> pa.NativeFile:
    """Open a file to write."""
    return pa.OSFile(str(path), "wb")


def write_table(table: pa.Table, path: Path, key: str = "") -> None:
    """Write a small table whole, with the key of what it was made from."""
    table = table.replace_schema_metadata({_KEY: key.encode()})
    with placed(path) as made, open_out(made) as sink:
        parquet.write_table(table, sink, compression=_COMPRESSION)


def write_lines(path: Path, schema: pa.Schema, batches: Iterator[pa.Table]) -> int:
    """Write a partition batch by batch; returns its number of lines."""
    lines = 0
    with (
        placed(path) as made,
        open_out(made) as sink,
        parquet.ParquetWriter(sink, schema, compression=_COMPRESSION) as writer,
    ):
        for table in batches:
            writer.write_table(table)
            lines += len(table)
    return lines


def read_kept(path: Path, key: str) -> pa.Table | None:
    """Read a small table of an earlier run; None where it is missing, unreadable or made from something else."""
    try:
        table = parquet.read_table(path)
    except (OSError, pa.ArrowException):
        return None
    return table if (table.schema.metadata or {}).get(_KEY) == key.encode() else None


def keep(done: Done, place: Place, key: str) -> Done:
    """Record that a piece is done: the last thing that is written of it."""
    size = place.lines(done.piece).stat().st_size
    told = {
        "key": key, "size": size, "lines": done.lines, "invented": done.invented,
        "findings": [asdict(f) for f in done.findings], "decisions": list(done.decisions),
    }  # fmt: skip
    with placed(place.record(done.piece)) as made:
        made.write_text(json.dumps(told, ensure_ascii=False, indent=1), encoding="utf-8")
    return done


def kept(piece: Piece, place: Place, key: str) -> Done | None:
    """What an earlier run made of the same; None where there is nothing or something else."""
    try:
        told = json.loads(place.record(piece).read_text(encoding="utf-8"))
        whole = place.lines(piece).stat().st_size == told["size"] and place.sums(piece).is_file()
        if told["key"] != key or not whole:
            return None
        findings = tuple(Finding(**{**f, "severity": Severity(f["severity"])}) for f in told["findings"])
        return Done(piece, told["lines"], fresh=False, findings=findings, decisions=tuple(told["decisions"]),
                    invented=told["invented"])  # fmt: skip
    except (OSError, ValueError, KeyError, TypeError):
        return None


def take_back(done: Done, place: Place) -> Done:
    """Remove what an earlier run made of a piece that is passed over now: it does not belong to this result."""
    for path in (place.record(done.piece), place.lines(done.piece), place.sums(done.piece)):
        path.unlink(missing_ok=True)
    return replace(done, lines=0)
