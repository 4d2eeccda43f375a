"""What is to be screened: audit folders, loose workbooks and partitions of a dataset, found under the paths given."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from bomaudit.findings import Finding, error, note
from bomaudit.glossary import TABLES_IN
from bomaudit.opened import SETTINGS_FILE
from bomaudit.settings import load

_BOOKS = frozenset({".xlsx", ".xlsm", ".xls", ".xlsb", ".ods", ".csv", ".tsv", ".parquet"})
"""Endings of files that are looked at inside a folder; a file named by the user is read whatever its ending."""
_PARTITION = ".parquet"
_RESULTS = ("summary.json", "reconcile.json")
"""Files by which results of an audit, a screening or a reconciliation are known; they name the others."""
_COPY = "annotated_"
_EVERYTHING = frozenset({"*"})
_BLOCK = 1 << 20
_PREFIX = 12  # letters of a hash in a file's name: enough to tell apart every file there is

Kind = Literal["folder", "book", "partition"]


@dataclass(frozen=True, order=True)
class Piece:
    """One thing to screen: what a task works on, and what a re-run leaves alone if it did not change.

    Attributes
    ----------
    name : str
        Path as the user gave or would give it, with forward slashes; the name of the BOM for folders and workbooks.
    kind : "folder", "book" or "partition"
    path : Path
        Absolute.
    """

    name: str
    kind: Kind
    path: Path

    @property
    def stem(self) -> str:
        """Name of the files that come of it: readable, and told apart by a hash of the whole name."""
        words = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in Path(self.name).stem)[:40]
        return f"{words}-{hashlib.sha256(self.name.encode()).hexdigest()[:_PREFIX]}"


def find_pieces(paths: Iterable[Path], *, out: Path | None = None) -> tuple[list[Piece], list[Finding]]:
    """Find everything to screen.

    Parameters
    ----------
    paths : iterable of Path
        A folder with an ``audit.toml`` is an audit; any other folder is searched through; a file is a partition of a
        dataset if it is Parquet with a column ``bom``, else a workbook.
    out : Path, optional
        Folder of the results: it is not looked into.

    Returns
    -------
    pieces : list of Piece
        Sorted by name, each once.
    findings : list of Finding
        ``N001`` for a path that leads nowhere, ``N014`` for results of this program within folders: they are no BOMs.
    """
    pieces: set[Piece] = set()
    findings: list[Finding] = []
    ours: list[Path] = []
    for path in paths:
        found = list(_under(path, inside=False, out=out.resolve() if out is not None else None, ours=ours))
        pieces.update(found)
        if not found:
            findings.append(
                error("N001", "a path must lead to an audit folder, a workbook or a dataset", file=path.as_posix(),
                      found="nothing to screen" if path.exists() else "no such file or folder",
                      assumed="passed over", advice="correct the path")
            )  # fmt: skip
    if ours:
        findings.append(
            note("N014", "results of earlier runs are no bills of materials", file=ours[0].as_posix(),
                 found=f"{len(ours)} folder{'s' if len(ours) > 1 else ''} with results, the first of them this",
                 assumed="what an earlier run wrote there is left out")
        )  # fmt: skip
    by_path = {p.path: p for p in sorted(pieces, reverse=True)}
    return sorted(by_path.values()), findings


def _under(path: Path, *, inside: bool, out: Path | None, ours: list[Path]) -> Iterator[Piece]:
    if path.is_dir():
        if path.resolve() == out:
            return
        if (path / SETTINGS_FILE).is_file():
            yield Piece(path.as_posix(), "folder", path.resolve())
            return
        written = _written_by_us(path)
        if written:
            ours.append(path)
        for entry in sorted(path.iterdir()):
            linked = entry.is_symlink() and entry.is_dir()  # may lead in a circle
            if not entry.name.startswith((".", "~", "_")) and not linked and not _is_result(entry, written):
                yield from _under(entry, inside=True, out=out, ours=ours)
    elif path.is_file() and (not inside or path.suffix.lower() in _BOOKS):
        yield Piece(path.as_posix(), "partition" if _is_partition(path) else "book", path.resolve())


def _written_by_us(folder: Path) -> frozenset[str]:
    """Names of the files of a folder that an earlier run wrote; :data:`_EVERYTHING` where the folder is its own."""
    names: set[str] = set()
    for name in _RESULTS:
        try:
            held = json.loads((folder / name).read_bytes())
        except (OSError, ValueError, RecursionError):  # somebody else's file of the same name
            continue
        schema = str(held.get("schema", "")) if isinstance(held, dict) else ""
        if schema.startswith("bomaudit-screen/"):
            return _EVERYTHING
        if schema.startswith("bomaudit-"):
            names |= {name, *map(str, held.get("files") or ())}
    return frozenset(names)


def _is_result(entry: Path, written: frozenset[str]) -> bool:
    return written == _EVERYTHING or (
        bool(written) and entry.is_file() and (entry.name in written or entry.name.startswith(_COPY))
    )


def _is_partition(path: Path) -> bool:
    """Parquet with a column ``bom``; one that cannot be opened counts as a partition, so that it is named as such."""
    if path.suffix.lower() != _PARTITION:
        return False
    from pyarrow import ArrowException, parquet  # noqa: PLC0415  (only where there is Parquet)

    try:
        return "bom" in parquet.read_schema(path).names
    except (ArrowException, OSError):
        return True


def hash_of(piece: Piece) -> str:
    """SHA-256 over every file that a piece is made of.

    Raises
    ------
    BadInput
        If the settings of an audit folder cannot be read.
    OSError
        If a file cannot be read.
    """
    if piece.kind != "folder":
        return hash_of_files([piece.path])
    files = load(piece.path / SETTINGS_FILE).files
    named = [getattr(files, table) for table in TABLES_IN]
    return hash_of_files([piece.path / SETTINGS_FILE, *(piece.path / name for name in named if name is not None)])


def hash_of_files(paths: Iterable[Path]) -> str:
    """SHA-256 over names and contents of files, one after the other; a missing file counts as such."""
    whole = hashlib.sha256()
    for path in paths:
        whole.update(path.name.encode() + b"\x00")
        if not path.is_file():
            whole.update(b"missing\x00")
            continue
        own = hashlib.sha256()
        with path.open("rb") as data:
            while block := data.read(_BLOCK):
                own.update(block)
        whole.update(own.digest())
    return whole.hexdigest()
