"""What is kept of an audit: its results, the quotes it knew, its curves, its settings and the hashes of its inputs."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from bomaudit.findings import to_frame
from bomaudit.settings import Settings
from bomaudit.tables.places import input_label

if TYPE_CHECKING:
    from bomaudit.audit import Audit

TABLES = ("lines", "decisions", "requotes", "elements", "quotes", "curves", "findings")
"""Tables of a snapshot; ``curves`` is one row a commodity, with what was fitted."""

_ALIKE = (("qty_per", "booked_price", "booked_currency"), ("qty_per",), ())
"""What lines of one part must agree in to be the same line of two audits, the surest first."""

_LIBRARY = ("curves", "commodities", "volumes", "input_prices")

PACKAGES = ("bomaudit", "numpy", "pandas", "scipy")
"""Packages whose version can move a figure."""


@dataclass(frozen=True)
class Snapshot:
    """An audit, as it is compared and stored.

    Attributes
    ----------
    title, currency : str
    as_of : date
    settings : dict
        All settings, as plain data.
    inputs : dict of str to str
        Table to the SHA-256 of its file.
    library : str
        SHA-256 of the learning-curve library that was used.
    versions : dict of str to str
        Versions of the packages that can move a figure.
    tables : dict of str to DataFrame
        :data:`TABLES`.
    name, stored_at : str
        Where and when it was stored; empty for one that was not.
    folder : Path or None
        Its folder in the history.
    """

    title: str
    currency: str
    as_of: date
    settings: dict[str, Any]
    inputs: dict[str, str]
    library: str
    versions: dict[str, str]
    tables: dict[str, pd.DataFrame] = field(repr=False)
    name: str = ""
    stored_at: str = ""
    folder: Path | None = None

    @property
    def confidence(self) -> float:
        """Coverage of its intervals."""
        return float(self.settings["audit"]["confidence"])

    def input_files(self) -> dict[str, Path]:
        """Copies of its input files, by table; empty for one that was not stored."""
        if self.folder is None:
            return {}
        return {path.stem: path for path in sorted((self.folder / "inputs").glob("*")) if path.is_file()}

    def rerun_settings(self, *, files_of: Snapshot | None = None) -> Settings | None:
        """Settings that read the stored copies of the input files, to audit them again.

        Parameters
        ----------
        files_of : Snapshot, optional
            Take the files of that one; default: its own.

        Returns
        -------
        Settings or None
            None if a file was not stored.
        """
        source = files_of or self
        kept, wanted = source.input_files(), {t: n for t, n in source.settings["files"].items() if n}
        if set(wanted) - set(kept):
            return None
        files = {table: str(kept[table].resolve()) for table in wanted}
        plain = {k: v for k, v in self.settings.items() if k not in ("files", "sheets", "columns", "read")}
        of_files = {k: source.settings[k] for k in ("sheets", "columns", "read") if k in source.settings}
        return Settings.model_validate(plain | of_files | {"files": files})


def snapshot_of(audit: Audit) -> Snapshot:
    """Take what is kept of an audit.

    Parameters
    ----------
    audit : Audit

    Returns
    -------
    Snapshot
    """
    from importlib.metadata import version  # noqa: PLC0415  (slow to import, needed here only)

    curves = audit.curves.experience.frame.rename_axis("commodity").reset_index()
    return Snapshot(
        title=audit.title,
        currency=audit.currency,
        as_of=audit.as_of,
        settings=audit.settings.model_dump(mode="json"),
        inputs={
            table: audit.inputs.hashes.get(input_label(file), "")
            for table, file in sorted(audit.settings.files.model_dump().items())
            if file
        },
        library=library_hash(*(getattr(audit.library, part) for part in _LIBRARY)),
        versions={name: version(name) for name in PACKAGES},
        tables={
            "lines": audit.lines,
            "decisions": audit.decided.decisions,
            "requotes": audit.decided.requotes,
            "elements": audit.decided.elements,
            "quotes": audit.quotes,
            "curves": curves,
            "findings": to_frame(audit.findings),
        },
    )


def line_keys(lines: pd.DataFrame) -> pd.Series:
    """Key of each line that stays when rows are inserted or moved: part number or description, and its order."""
    named = _named(lines)
    return named + "\x1f" + lines.groupby(named).cumcount().astype("str")


def keys_of_both(before: pd.DataFrame, after: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Keys of the lines of two audits, the same for what is the same line.

    Of a part on several lines those are the same that state the same, then those of the same quantity; the rest are
    matched in their order.
    """
    right = line_keys(after)
    left = pd.Series(None, index=before.index, dtype=object)
    for columns in _ALIKE:
        open_left, open_right = before[left.isna()], after[~right.isin(left)]
        texts = [
            pd.concat([_named(f), *(f[c].astype("str").fillna("") for c in columns)], axis=1).agg("\x1f".join, axis=1)
            for f in (open_left, open_right)
            if len(f)
        ]
        if len(texts) < 2:  # noqa: PLR2004  (one side has no more)
            break
        keyed = [t + "\x1f" + t.groupby(t).cumcount().astype("str") for t in texts]
        found = keyed[0].map(pd.Series(right[open_right.index].to_numpy(), index=keyed[1].to_numpy()))
        left[found.index] = found.astype(object)
    gone = line_keys(before) + "\x1fgone"
    return left.where(left.notna(), gone).astype("str"), right


def _named(lines: pd.DataFrame) -> pd.Series:
    name = lines["part_no"].where(lines["part_no"] != "", lines["description"]).astype("str")
    return name + "\x1f" + lines["row_kind"].astype("str")


def library_hash(*frames: pd.DataFrame) -> str:
    """SHA-256 of tables, by their text."""
    digest = hashlib.sha256()
    for frame in frames:
        digest.update(frame.to_csv(index=False, lineterminator="\n").encode())
    return digest.hexdigest()


def as_json(value: object) -> bytes:
    """Plain data as JSON bytes, the same for the same data."""
    return (json.dumps(value, ensure_ascii=False, indent=1, sort_keys=True, allow_nan=False) + "\n").encode()
