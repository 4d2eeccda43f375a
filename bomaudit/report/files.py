"""Files out: all of them or none, the same bytes for the same audit."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from bomaudit.frames import texts_in_arrow, write_parquet
from bomaudit.progress import told
from bomaudit.report import runtime
from bomaudit.report.as_data import LAYOUTS, as_json, summarise
from bomaudit.report.content import Content, gather, redacted
from bomaudit.safe_text import guard_column

if TYPE_CHECKING:
    from bomaudit.audit import Audit
    from bomaudit.backtest import Backtest
    from bomaudit.report.annotate import Copy

NAMES = (
    "lines.csv", "lines.parquet", "decisions.csv", "requotes.csv", "findings.csv", "summary.json", "report.xlsx",
    "report.html",
)  # fmt: skip
"""Files of a report, in the order in which they are written."""
UNUSABLE = "not_to_be_used_"
"""Begins the name of each file of a result that does not hold together; an earlier whole report is left as it is."""


def prepare() -> None:
    """Begin in another process what takes longest and needs no audit: the page's chart runtime.

    Call it before the audit and the report hardly waits for it; :func:`write` does it where nobody did.
    """
    runtime.start()


def write(
    audit: Audit, out: Path, *, redact: bool = False, record: Backtest | None = None, copy: Copy | None = None
) -> list[Path]:
    """Write the report of an audit.

    Parameters
    ----------
    audit : Audit
    out : Path
        Folder of the report; made where it is missing. Other files in it are left alone.
    redact : bool
        Leave out supplier names, prices that others quoted and internal notes.
    record : Backtest, optional
        The tool's own record on these quotes, for the page.
    copy : Copy, optional
        Annotated copy of the client's BOM, written with the rest where it could be made.

    Returns
    -------
    list of Path
        Files written, in the order of :data:`NAMES`; :data:`UNUSABLE` before each name where the audit is broken.

    Raises
    ------
    OSError
        If the folder cannot be written; what stood there before still stands.
    """
    prepare()
    content = gather(audit, record)
    return write_content(redacted(content) if redact else content, out, copy=copy)


def write_content(content: Content, out: Path, *, copy: Copy | None = None) -> list[Path]:
    """Write the report of what :func:`bomaudit.report.content.gather` collected; as :func:`write`."""
    from bomaudit.report import page, workbook  # noqa: PLC0415  (charts and workbook take most of the import time)

    lines = texts_in_arrow(content.lines)
    writers: dict[str, Callable[[Path], object]] = {
        "lines.csv": lambda p: write_csv(lines, p, columnar=True),
        "lines.parquet": lambda p: write_parquet(_with_layout(lines), p),
        "decisions.csv": lambda p: write_csv(content.decisions, p),
        "requotes.csv": lambda p: write_csv(content.requotes, p, columnar=True),
        "findings.csv": lambda p: write_csv(content.findings, p),
        "summary.json": lambda p: p.write_text(as_json(summarise(content)), encoding="utf-8"),
        "report.xlsx": lambda p: workbook.write(content, p),
        "report.html": lambda p: page.write(content, p),
    }
    mark = UNUSABLE if content.broken else ""
    chosen = {name: writers[name] for name in NAMES}
    if copy is not None and copy.data:
        data = copy.data
        chosen[copy.name] = lambda p: p.write_bytes(data)
    written = write_all({mark + name: write for name, write in chosen.items()}, out)
    if not mark:
        for name in chosen:
            (out / (UNUSABLE + name)).unlink(missing_ok=True)
    return written


def _with_layout(lines: pd.DataFrame) -> pd.DataFrame:
    """Lines with the layout among their attributes, which parquet keeps."""
    named = lines.copy(deep=False)
    named.attrs["schema"] = LAYOUTS["lines.parquet"]
    return named


def write_all(writers: dict[str, Callable[[Path], object]], out: Path) -> list[Path]:
    """Write files into a temporary folder beside ``out`` and move them in together.

    Parameters
    ----------
    writers : dict of str to callable
        File name and the function that writes it to a given path.
    out : Path
        Folder that the files end up in.

    Returns
    -------
    list of Path

    Raises
    ------
    OSError
        If a file cannot be written or moved; files of an earlier run are put back.
    """
    out = out.absolute()
    out.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=f".{out.name}-", dir=out.parent) as made:
        new, old = Path(made) / "new", Path(made) / "old"
        new.mkdir()
        old.mkdir()
        for name, writer in told("writing files", writers.items(), len(writers)):
            writer(new / name)
        if not out.exists():
            new.rename(out)
        else:
            _swap(tuple(writers), new, old, out)
    return [out / name for name in writers]


def _swap(names: tuple[str, ...], new: Path, old: Path, out: Path) -> None:
    """Move new files over those of an earlier run; on failure put back what was moved away."""
    kept, placed = [], []
    try:
        for name in names:
            if (out / name).exists():
                (out / name).rename(old / name)
                kept.append(name)
            (new / name).rename(out / name)
            placed.append(name)
    except OSError:
        for name in placed:
            (out / name).unlink()
        for name in kept:
            shutil.move(old / name, out / name)
        raise


def write_csv(frame: pd.DataFrame, path: Path, *, columnar: bool = False) -> None:
    """Write a frame as UTF-8 csv, full precision, dates as ISO days, flags as yes or no.

    Notes
    -----
    Text that a spreadsheet would take for a formula gets an apostrophe in front, numbers never:
    :func:`bomaudit.safe_text.guard`. Line ends within a cell become line feeds: a lone carriage return would end the
    record for some readers. ``lines.parquet`` holds texts as they were. ``columnar`` is for the large tables of named
    columns, each of one type.
    """
    out = texts_in_arrow(frame) if columnar else frame.copy()
    for column in out.columns:
        values = out[column]
        if isinstance(values.dtype, pd.StringDtype) or values.dtype == object:
            out[column] = guard_column(_even_line_ends(values))
        elif isinstance(values.dtype, pd.BooleanDtype) or pd.api.types.is_bool_dtype(values.dtype):
            out[column] = values.map({True: "yes", False: "no"}).astype("str").where(values.notna(), "")
        elif pd.api.types.is_datetime64_any_dtype(values):
            out[column] = values.dt.strftime("%Y-%m-%d").astype("str").where(values.notna(), "")
    if columnar:
        _write_columnar(out, path)
    else:
        out.to_csv(path, index=False, encoding="utf-8", lineterminator="\n")


def _even_line_ends(values: pd.Series) -> pd.Series:
    if isinstance(values.dtype, pd.StringDtype):
        return (
            values.str.replace(r"\r\n?", "\n", regex=True) if values.str.contains("\r", regex=False).any() else values
        )
    return values.map(lambda c: c.replace("\r\n", "\n").replace("\r", "\n") if isinstance(c, str) else c)


def _write_columnar(frame: pd.DataFrame, path: Path) -> None:
    """Write columns of one type each, texts in quotation marks: ten times as fast as row by row."""
    from pyarrow import Table, csv  # noqa: PLC0415  (only where a table is written)

    with path.open("wb") as sink:
        sink.write((",".join(map(str, frame.columns)) + "\n").encode())
        csv.write_csv(Table.from_pandas(frame, preserve_index=False), sink, csv.WriteOptions(include_header=False))
