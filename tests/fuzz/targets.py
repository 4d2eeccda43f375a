"""What is fuzzed: each target reads bytes as one kind of input; only a refusal in our words may come out."""

from __future__ import annotations

import io
import time
import traceback
import zipfile
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import openpyxl

from bomaudit import settings
from bomaudit.edited import read_edited
from bomaudit.finance.approvals import read_approvals
from bomaudit.findings import BadInput
from bomaudit.glossary import TABLES_IN
from bomaudit.history import actions
from bomaudit.settings import ReadSection
from bomaudit.tables import read_table
from bomaudit.tables.convert import Place, convert
from bomaudit.tables.sheets import Sheet

SLOW = 10.0
"""Seconds of one processor that a small input must never take."""
TABLES = tuple(TABLES_IN)
PARTS = ("xl/worksheets/sheet1.xml", "xl/styles.xml", "xl/workbook.xml", "xl/sharedStrings.xml")


def base_workbook() -> bytes:
    """A small bill as a workbook, whose parts are then replaced."""
    book = openpyxl.Workbook()
    for row in (
        ["Part number", "Description", "Qty", "Unit price EUR"],
        ["A-1", "plate", 2, 3.5],
        ["A-2", "nut", 8, 1],
    ):
        book.active.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


_BASE = base_workbook()


def with_part(name: str, content: bytes) -> bytes:
    """The small bill with one part replaced."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(_BASE)) as old, zipfile.ZipFile(out, "w") as new:
        for part in old.namelist():
            new.writestr(part, content if part == name else old.read(part))
    return out.getvalue()


def as_ods(content: bytes) -> bytes:
    """Content of an ods file, packed."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
    return out.getvalue()


def _read(data: bytes, folder: Path, table: str, name: str) -> None:
    path = folder / name
    path.write_bytes(data)
    read_table(path, TABLES_IN[table])


def text(data: bytes, folder: Path) -> None:
    """A text table; the first byte says which table it is read as."""
    if data:
        _read(data[1:], folder, TABLES[data[0] % len(TABLES)], "t.csv")


def part(data: bytes, folder: Path) -> None:
    """A workbook of which one part, named by the first byte, is the rest of the bytes."""
    if data:
        _read(with_part(PARTS[data[0] % len(PARTS)], data[1:]), folder, "bom", "t.xlsx")


def ods(data: bytes, folder: Path) -> None:
    """The content of an ods file."""
    _read(as_ods(data), folder, "bom", "t.ods")


def raw(data: bytes, folder: Path) -> None:
    """Any file, its type told by its bytes."""
    _read(data, folder, "bom", "t.bin")


def toml(data: bytes, folder: Path) -> None:
    """An audit.toml."""
    (folder / "audit.toml").write_bytes(data)
    settings.load(folder / "audit.toml")


def edited(data: bytes, folder: Path) -> None:
    """Files that people edit and hand back."""
    read_edited(data)
    (folder / "a.csv").write_bytes(data)
    read_approvals(folder / "a.csv")
    (folder / actions.FILE).write_bytes(data)
    actions.read_actions(folder)


def cells(data: bytes, folder: Path) -> None:
    """Lines of text as the cells of a column of every kind."""
    values = np.array(data.decode("utf-8", "replace").split("\n"), dtype=object)
    sheet = Sheet("t.csv", "", (values,), len(values))
    for table, column in (
        ("bom", "unit_cost"),
        ("bom", "qty"),
        ("bom", "cost_date"),
        ("bom", "scrap_rate"),
        ("bom", "safety_relevant"),
        ("bom", "part_no"),
        ("volumes", "period"),
    ):
        place = Place(sheet, 0, column, np.arange(len(values)) + 1)
        convert(TABLES_IN[table].column(column), values, place, ReadSection(), table=table)


TARGETS: dict[str, Callable[[bytes, Path], None]] = {f.__name__: f for f in (text, part, ods, raw, toml, edited, cells)}


def attempt(target: str, data: bytes) -> str:
    """Feed bytes to a target.

    Returns
    -------
    str
        "" where they were read or refused; else what went wrong and where: one text for one mistake.
    """
    with TemporaryDirectory() as folder:
        start = time.process_time()
        try:
            TARGETS[target](data, Path(folder))
        except BadInput:
            pass
        except (KeyboardInterrupt, SystemExit):
            raise
        except BaseException as problem:  # noqa: BLE001  (what a reader must never let out, panics of libraries too)
            return _signature(problem)
        return "slow" if time.process_time() - start > SLOW else ""


def _signature(problem: BaseException) -> str:
    frames = [f for f in traceback.extract_tb(problem.__traceback__) if "bomaudit" in f.filename]
    last = frames[-1] if frames else None
    where = f"{Path(last.filename).name}:{last.name}:{last.lineno}" if last else "outside"
    return f"{type(problem).__name__} at {where}"
