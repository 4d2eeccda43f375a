"""The history of an audit folder: every audit a folder of its own, written once, found by what it holds.

``history/<as of>_<stored at>_<digest>/`` holds ``manifest.json`` (settings, hashes of inputs, library and tables), one
parquet file a table, and ``inputs/``, the files it was made from.

Why folders of files and not a database: they are published by one rename, which is all that two people on a shared
drive can rely on (file locks are not); nothing that is there is ever opened for writing, so a run that is killed
cannot hurt it; each can be copied, checked by its hashes and read by anything that reads parquet, in ten years too.

A run writes into ``.incoming-…`` beside them, makes the disk keep it, and renames. A rename onto a folder that is there
fails, so two runs cannot take the same name. What a killed run leaves is ``.incoming-…``: never listed, and swept away
by a later run once it is a day old.

Findings: ``H001`` no such audit, ``H002`` a stored audit that was changed or is incomplete, ``H003`` an input that
changed while it was audited, ``H004`` a stored audit of another layout, ``H005`` a folder that cannot be written to.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import tempfile
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from bomaudit.findings import BadInput, Finding, error, warning
from bomaudit.frames import write_parquet
from bomaudit.history.snapshot import TABLES, Snapshot, as_json, snapshot_of
from bomaudit.safe_text import file_name_trouble
from bomaudit.tables.places import input_label, locate_input

if TYPE_CHECKING:
    from bomaudit.audit import Audit

FOLDER = "history"
MANIFEST = "manifest.json"
SCHEMA = "bomaudit-history/1"
_INCOMING = ".incoming-"
_SWEPT_AFTER = 86_400
"""Seconds after which an unfinished run is taken for dead: no audit takes a day."""
_DIGITS = 12
"""Digits of the digest in a name: 48 bits, enough to tell the audits of one folder apart."""


def store(audit: Audit, folder: Path, *, stored_at: datetime) -> tuple[Snapshot, list[Finding]]:
    """Store an audit in the history of its folder.

    Parameters
    ----------
    audit : Audit
    folder : Path
        The audit folder; ``history/`` is made in it.
    stored_at : datetime
        Now, with a time zone.

    Returns
    -------
    Snapshot
        As stored; ``name`` says where.
    findings : list of Finding
        ``H003``.

    Raises
    ------
    OSError
        If it cannot be written; the history is as it was.
    """
    files, findings = _input_files(audit)
    return store_snapshot(snapshot_of(audit), folder, stored_at=stored_at, files=files), findings


def store_snapshot(
    snapshot: Snapshot, folder: Path, *, stored_at: datetime, files: dict[str, bytes] | None = None
) -> Snapshot:
    """Store a snapshot and the input files it was made from (name to bytes); see :func:`store`."""
    history = folder / FOLDER
    history.mkdir(parents=True, exist_ok=True)
    contents = {f"{name}.parquet": _parquet(snapshot.tables[name]) for name in TABLES}
    contents |= {f"inputs/{name}": data for name, data in sorted((files or {}).items())}
    held = {
        "schema": SCHEMA,
        "title": snapshot.title,
        "currency": snapshot.currency,
        "as_of": snapshot.as_of.isoformat(),
        "settings": snapshot.settings,
        "inputs": snapshot.inputs,
        "library": snapshot.library,
        "versions": snapshot.versions,
        "files": {name: _sha256(data) for name, data in contents.items()},
    }
    digest = _sha256(as_json(held))
    moment = stored_at.astimezone(UTC).strftime("%Y%m%dT%H%M%S.%fZ")
    contents[MANIFEST] = as_json(held | {"digest": digest, "stored_at": moment})
    name = _publish(contents, history, f"{snapshot.as_of.isoformat()}_{moment}_{digest[:_DIGITS]}")
    _sweep(history, now=stored_at)
    return replace(snapshot, name=name, stored_at=moment, folder=history / name)


def stored_names(folder: Path) -> list[str]:
    """Names of the audits stored in an audit folder, by as-of date and then by when they were stored."""
    history = folder / FOLDER
    if not history.is_dir():
        return []
    return sorted(p.name for p in history.iterdir() if not p.name.startswith(".") and (p / MANIFEST).is_file())


def list_audits(folder: Path) -> pd.DataFrame:
    """One row a stored audit, oldest first.

    Returns
    -------
    DataFrame
        ``name``, ``as_of``, ``stored_at``, ``title``, ``currency``, ``digest``, ``problem`` (empty where it is whole).
    """
    columns = ["name", "as_of", "stored_at", "title", "currency", "digest", "problem"]
    rows = []
    for name in stored_names(folder):
        try:
            held = _manifest(folder / FOLDER / name)
        except BadInput as found:
            rows.append([name, "", "", "", "", "", str(found)])
        else:
            rows.append([name, *(held[c] for c in columns[1:-1]), ""])
    return pd.DataFrame(rows, columns=columns, dtype="str")


def find_stored(folder: Path, which: str) -> str:
    """Name of a stored audit.

    Parameters
    ----------
    folder : Path
        The audit folder.
    which : str
        ``latest``, ``previous`` (the newest with an earlier as-of date), a date (the last stored as of that day), or
        the beginning of a name or of its digest.

    Returns
    -------
    str

    Raises
    ------
    BadInput
        ``H001`` if none, or several, match.
    """
    names = stored_names(folder)
    if which == "latest":
        found = names[-1:]
    elif which == "previous":
        found = [n for n in names if n[:10] < names[-1][:10]][-1:]
    elif _is_date(which):
        found = [n for n in names if n.startswith(which)][-1:]
    else:
        found = [n for n in names if n.startswith(which) or n.rsplit("_", 1)[-1].startswith(which)]
    if len(found) != 1:
        kept = f"latest, previous, an as-of date or the beginning of a name; the last ones are {', '.join(names[-5:])}"
        none = "run 'bomaudit audit' on the folder, with --keep where report.keep is false; each run is kept"
        raise BadInput(
            error("H001", "one stored audit must be named", file=str(folder / FOLDER),
                  found=_missed(which, names, found), advice=kept if names else none)
        )  # fmt: skip
    return found[0]


def _missed(which: str, names: list[str], found: list[str]) -> str:
    if not names:
        return "none are stored"
    if which == "previous" and not found:
        return f"none of an earlier as-of date than {names[-1][:10]}"
    return f"{which!r}: {len(found)} match"


def open_stored(folder: Path, which: str) -> Snapshot:
    """Read a stored audit and check it against its hashes.

    Parameters
    ----------
    folder, which
        As in :func:`find_stored`.

    Returns
    -------
    Snapshot

    Raises
    ------
    BadInput
        ``H001``; ``H002`` if a file of it is missing or is not what was stored; ``H004`` if its layout is another.
    """
    place = folder / FOLDER / find_stored(folder, which)
    held = _manifest(place)
    data = {}
    for name, digest in held["files"].items():
        path = place / name
        content = path.read_bytes() if path.is_file() else b""
        if _sha256(content) != digest:
            raise _damaged(place, name)
        data[name] = content
    return Snapshot(
        title=held["title"],
        currency=held["currency"],
        as_of=date.fromisoformat(held["as_of"]),
        settings=held["settings"],
        inputs=held["inputs"],
        library=held["library"],
        versions=held["versions"],
        tables={name: pd.read_parquet(io.BytesIO(data[f"{name}.parquet"])) for name in TABLES},
        name=place.name,
        stored_at=held["stored_at"],
        folder=place,
    )


def _input_files(audit: Audit) -> tuple[dict[str, bytes], list[Finding]]:
    """Bytes of the input files, named by their table; those that changed since they were read are left out."""
    kept: dict[str, bytes] = {}
    findings = []
    folder, hashes = audit.inputs.folder, audit.inputs.hashes
    for table, file in audit.settings.files.model_dump().items():
        path = locate_input(folder, file)[0] if file else None
        if path is None or not path.is_file():
            continue
        data = path.read_bytes()
        if hashes.get(input_label(file)) != _sha256(data):
            findings.append(
                warning("H003", "an input must not change while it is audited", file=path.name,
                        assumed="its copy is not stored, so this audit cannot be run again", advice="audit again")
            )  # fmt: skip
            continue
        suffix = path.suffix.lower()
        kept[table if file_name_trouble(table + suffix) else table + suffix] = data
    return kept, findings


def _parquet(frame: pd.DataFrame) -> bytes:
    buffer = io.BytesIO()
    write_parquet(frame, buffer)
    return buffer.getvalue()


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _manifest(place: Path) -> dict[str, Any]:
    try:
        held: dict[str, Any] = json.loads((place / MANIFEST).read_text(encoding="utf-8"))
        schema = str(held["schema"])
        digest = _sha256(as_json({k: v for k, v in held.items() if k not in ("digest", "stored_at")}))
        whole = held["digest"] == digest
    except (OSError, ValueError, KeyError, TypeError):
        raise _damaged(place, MANIFEST) from None
    if not whole:
        raise _damaged(place, MANIFEST)
    if schema != SCHEMA:
        raise BadInput(
            error("H004", f"a stored audit must have the layout {SCHEMA}", file=f"{place.name}/{MANIFEST}",
                  found=schema, assumed="it is left as it is",
                  advice="read it with the version of bomaudit that stored it, or audit its inputs/ again with --keep")
        )  # fmt: skip
    return held


def _damaged(place: Path, name: str) -> BadInput:
    return BadInput(
        error("H002", "a stored audit must be as it was stored", file=f"{place.name}/{name}",
              found="missing or changed since", advice="restore it from a copy, or leave this audit out")
    )  # fmt: skip


def _publish(contents: dict[str, bytes], history: Path, name: str) -> str:
    """Write all files into a folder that nobody looks into, then give it its name in one step."""
    incoming = Path(tempfile.mkdtemp(prefix=_INCOMING, dir=history))
    try:
        for relative, data in contents.items():
            path = incoming / relative
            path.parent.mkdir(exist_ok=True)
            with path.open("wb") as out:
                out.write(data)
                out.flush()
                os.fsync(out.fileno())
        for place in {(incoming / relative).parent for relative in contents}:
            _keep_folder(place)
        taken = _rename_to_free(incoming, history, name)
    except BaseException:
        shutil.rmtree(incoming, ignore_errors=True)
        raise
    _keep_folder(history)
    return taken


def _rename_to_free(incoming: Path, history: Path, name: str) -> str:
    """Rename to the name, or if it is taken to the name with the next number: a taken name holds files, so it fails."""
    number, wanted = 1, name
    incoming.chmod(0o755)  # a temporary folder is private; a history is to be read by others
    while True:
        try:
            if os.name == "nt" or not (history / wanted).exists():
                incoming.rename(history / wanted)
                return wanted
        except OSError:
            if not (history / wanted).exists():
                raise
        number += 1
        wanted = f"{name}-{number}"


def _keep_folder(place: Path) -> None:
    """Make the disk keep a folder's entries; where a system cannot sync folders, it does so by itself."""
    if os.name == "nt":
        return
    handle = os.open(place, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _sweep(history: Path, *, now: datetime) -> None:
    """Remove what killed runs left, once it is old enough that nobody can be writing it."""
    for path in history.glob(f"{_INCOMING}*"):
        try:
            old = now.timestamp() - path.stat().st_mtime > _SWEPT_AFTER
        except OSError:
            continue
        if old:
            shutil.rmtree(path, ignore_errors=True)


def _is_date(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True
