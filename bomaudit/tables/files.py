"""A file as it lies on disk → sheets of raw cells: the type by content, the encoding, and what is refused.

Cells are raw values (text, number, bool, date, time); nothing is inferred here. A workbook is opened only after the
sizes it declares were looked at, so that a file made to fill the memory is refused and not tried.
"""

from __future__ import annotations

import hashlib
import io
import lzma
import re
import struct
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from xml.parsers import expat

import numpy as np

from bomaudit.findings import BadInput, Finding, error, note, warning
from bomaudit.tables.mojibake import repair
from bomaudit.tables.sheets import Sheet, sheet_from_rows
from bomaudit.tables.text_files import read_text
from bomaudit.tables.trial import odd_content, odd_sheet, survives
from bomaudit.tables.xml_parts import ForbiddenXmlError, ods_area

MAX_UNPACKED = 1 << 30
"""A workbook whose parts unpack to more than this is refused [bytes]; 1,000,000 lines of 13 columns stay below it."""
MAX_CELLS = 25_000_000
"""Largest used area of a sheet, rows × columns; a reader keeps about 32 bytes for each cell of it, used or not."""
_MOST_COLUMNS = 16_384
_KEPT = 64 << 20
"""Unpacked sheets up to this size are kept while the file is read [bytes]: their formats are asked for later."""
_LOOKED_AT = 500
"""First rows of a sheet that are looked at for such text: its header and titles have it if the file has."""
_ENCODINGS = ("cp1251", "cp1252", "latin-1")
_DEFLATE_LIMIT = 1032
"""Deflate cannot pack tighter than 1032 to 1 (zlib's technical notes): what a part can hold whatever it declares."""
_CHUNK = 1 << 20


@dataclass(frozen=True)
class Book:
    """A file opened: its type, its sheets, what was noticed while opening it, unpacked parts that are needed again."""

    path: Path
    kind: str
    sheets: tuple[Sheet, ...]
    sha256: str
    findings: tuple[Finding, ...] = field(default=())
    parts: Mapping[str, bytes] = field(default_factory=dict, repr=False)


def open_book(path: Path) -> Book:
    """Read every sheet of a spreadsheet, text table or parquet file; the type is told by content, not by name.

    Raises
    ------
    BadInput
        T001 no such file, T002 empty, T003 encrypted, T004 damaged, T005 unpacks to too much, T006 used area too large,
        T007 a type that is not read.
    """
    if not path.is_file():
        raise BadInput(
            error(
                "T001",
                "the file must exist",
                file=path.name,
                advice="correct its name where it is given, in audit.toml or on the command line",
            )
        )
    data = path.read_bytes()
    if not data.strip(b"\x00 \t\r\n"):
        raise BadInput(error("T002", "the file must hold a table", file=path.name, found="an empty file"))
    kind = file_kind(data)
    parts: dict[str, bytes] = {}
    sheets, findings = _READERS[kind](path, data, parts)
    findings = [*_name_differs(path, kind), *findings, *_repaired(sheets)]
    return Book(path, kind, tuple(sheets), hashlib.sha256(data).hexdigest(), tuple(findings), parts)


def file_kind(data: bytes) -> str:
    """Type of a file by its first bytes and, in a container, by its parts."""
    if data[:4] in (b"PK\x03\x04", b"PK\x05\x06"):
        return _zip_kind(data)
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        encrypted = "EncryptedPackage".encode("utf-16-le") in data
        return "encrypted" if encrypted else "xls"
    if data[:4] == b"PAR1":
        return "parquet"
    if data[:5] == b"%PDF-":
        return "pdf"
    head = data[:2000].lstrip(b"\xef\xbb\xbf \r\n\t").lower()
    if head.startswith((b"<!doctype html", b"<html", b"<?xml", b"<table")):
        return "markup"
    return "text"


def _zip_kind(data: bytes) -> str:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = set(archive.namelist())
    except DAMAGED:
        return "damaged"
    if "xl/workbook.bin" in names:
        return "xlsb"
    if any(n.startswith("xl/") for n in names):
        return "xlsx"
    return "ods" if "content.xml" in names else "archive"


def _repair_sheet(sheet: Sheet) -> int:
    """Repair the texts of a sheet in place; returns how many cells. First rows without such text stand for the rest."""
    head = (c for column in sheet.columns for c in column[:_LOOKED_AT] if isinstance(c, str) and not c.isascii())
    if not any(repair(c) != c for c in head):
        return 0
    repaired = 0
    for column in sheet.columns:
        for i, cell in enumerate(column):
            if isinstance(cell, str) and not cell.isascii():
                fixed = repair(cell)
                if fixed != cell:
                    column[i] = fixed
                    repaired += 1
    return repaired


def _repaired(sheets: Sequence[Sheet]) -> list[Finding]:
    counts = [(s, _repair_sheet(s)) for s in sheets]
    return [warning("T014", "text saved in one encoding and read in another was repaired", file=s.file, sheet=s.name,
                    found=f"{n} cells", advice="check letters with accents") for s, n in counts if n]  # fmt: skip


_USUAL_KINDS = {
    ".xlsx": "xlsx", ".xlsm": "xlsx", ".xltx": "xlsx", ".xls": "xls", ".ods": "ods", ".csv": "text", ".tsv": "text",
    ".txt": "text", ".parquet": "parquet", ".xlsb": "xlsb",
}  # fmt: skip


def _name_differs(path: Path, kind: str) -> list[Finding]:
    usual = _USUAL_KINDS.get(path.suffix.lower())
    if usual is None or usual == kind:
        return []
    what = "text table" if kind == "text" else f"{kind} file"
    return [note("T008", "the name's ending should fit the content", file=path.name, found=f"a {what}",
                 assumed="read by content")]  # fmt: skip


_Opened = tuple[list[Sheet], list[Finding]]


def _refuse(path: Path, kind: str) -> BadInput:
    message, found, advice = _REFUSED[kind]
    code = {"encrypted": "T003", "damaged": "T004"}.get(kind, "T007")
    return BadInput(error(code, message, file=path.name, found=found, advice=advice))


_REFUSED = {
    "encrypted": ("the workbook must be readable without a password", "an encrypted workbook", "save it unprotected"),
    "damaged": ("the workbook must be whole", "a truncated or damaged zip container", "copy the file again"),
    "archive": ("the file must be a table", "a zip archive without a workbook in it", "unpack it and name the table"),
    "pdf": ("the file must be a table", "a PDF document", "export the table as xlsx or csv"),
    "markup": ("the file must be a table", "a web page or XML", "open it in a spreadsheet and save as xlsx"),
}


def _refused_reader(kind: str) -> Any:
    def read(path: Path, _data: bytes, _parts: dict[str, bytes]) -> _Opened:
        raise _refuse(path, kind)

    return read


def _read_workbook(path: Path, data: bytes, _parts: dict[str, bytes]) -> _Opened:
    import python_calamine as calamine  # noqa: PLC0415  (only where a workbook is read)

    try:
        with calamine.load_workbook(io.BytesIO(data)) as book:
            sheets = [_worksheet(path.name, book.get_sheet_by_name(m.name), visible=str(m.visible).endswith(".Visible"))
                      for m in book.sheets_metadata if str(m.typ).endswith("WorkSheet")]  # fmt: skip
    except calamine.PasswordError:
        raise _refuse(path, "encrypted") from None
    except BaseException as problem:
        if not isinstance(problem, Exception) and type(problem).__name__ != "PanicException":
            raise  # only panics of the reader are meant, which are no Exception
        found = str(problem).splitlines()[0][:120] if str(problem) else type(problem).__name__
        raise BadInput(
            error("T004", "the workbook must be whole", file=path.name, found=found,
                  advice="open it in a spreadsheet and save it again")
        ) from None  # fmt: skip
    return sheets, _hidden_sheets(sheets)


def _read_binary(path: Path, data: bytes, parts: dict[str, bytes]) -> _Opened:
    _try_out(path, data)
    return _read_workbook(path, data, parts)


def _try_out(path: Path, data: bytes) -> None:
    if not survives(data):
        raise BadInput(
            error("T006", "a workbook must be readable in 4 GB of memory", file=path.name,
                  found="cells in places that no spreadsheet writes",
                  advice="open it in a spreadsheet and save it again")
        )  # fmt: skip


def _worksheet(file: str, page: Any, *, visible: bool) -> Sheet:
    sheet = sheet_from_rows(file, page.name, page.to_python(skip_empty_area=False), visible=visible)
    merged = tuple((a[0], a[1], b[0], b[1]) for a, b in page.merged_cell_ranges or ())
    return replace(sheet, merged=merged)


DAMAGED = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, expat.ExpatError, ForbiddenXmlError, RuntimeError,
    ValueError, OSError, EOFError,
)  # fmt: skip
"""What an archive raises whose parts are not where or what its directory says: places before its start are ValueError,
packing that breaks off is EOFError or OSError, depending on the method."""


def _read_packed(path: Path, data: bytes, parts: dict[str, bytes]) -> _Opened:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _check_sizes(path, data, archive)
            names = archive.namelist()
            odd = "xl/workbook.bin" in names or any([_check_areas(path, archive, parts), _check_repeats(path, archive)])
    except DAMAGED:
        raise _refuse(path, "damaged") from None
    if odd:
        _try_out(path, data)
    macros, linked = "xl/vbaProject.bin" in names, any(n.startswith("xl/externalLinks/") for n in names)
    sheets, findings = _read_workbook(path, data, parts)
    if macros:
        findings.append(note("T009", "macros are never run", file=path.name, found="a workbook with macros"))
    if linked:
        findings.append(
            note("T010", "links to other workbooks are never followed", file=path.name,
                 assumed="the values last stored in this file are read")
        )  # fmt: skip
    return sheets, findings


def _hidden_sheets(sheets: Sequence[Sheet]) -> list[Finding]:
    return [note("T011", "hidden sheets are looked at too", file=s.file, sheet=s.name, found="a hidden sheet")
            for s in sheets if not s.visible]  # fmt: skip


def _check_sizes(path: Path, data: bytes, archive: zipfile.ZipFile) -> None:
    declared = sum(part.file_size for part in archive.infolist())
    possible = sum(part.compress_size for part in archive.infolist()) * _DEFLATE_LIMIT
    if declared > MAX_UNPACKED or (possible > MAX_UNPACKED and _unpacks_too_far(data, archive)):
        raise BadInput(
            error("T005", f"a workbook must unpack to less than {MAX_UNPACKED >> 20} MB", file=path.name,
                  found=f"parts that declare {declared >> 20} MB", advice="save only the table, as csv or parquet")
        )  # fmt: skip


def _unpacks_too_far(data: bytes, archive: zipfile.ZipFile) -> bool:
    """Whether the parts unpack to more than they may, whatever they declare; nothing is kept of what is unpacked."""
    total = 0
    for part in archive.infolist():
        if part.compress_type != zipfile.ZIP_DEFLATED:
            total += part.compress_size
            continue
        name, extra = struct.unpack_from("<HH", data, part.header_offset + 26)
        start = part.header_offset + 30 + name + extra
        inflater, packed = zlib.decompressobj(-zlib.MAX_WBITS), data[start : start + part.compress_size]
        while packed and not inflater.eof:
            total += len(inflater.decompress(packed, _CHUNK))
            packed = inflater.unconsumed_tail
            if total > MAX_UNPACKED:
                return True
    return total > MAX_UNPACKED


def _check_areas(path: Path, archive: zipfile.ZipFile, parts: dict[str, bytes]) -> bool:
    """Refuse a sheet whose used area would not fit: one stray cell far off is enough; returns whether one looks odd."""
    odd = False
    for name in archive.namelist():
        if not re.fullmatch(r"xl/worksheets/[^/]+\.xml", name):
            continue
        xml = archive.read(name)
        if len(xml) <= _KEPT:
            parts[name] = xml
        odd = odd or odd_sheet(xml)
        rows = _last_used_row(xml)
        if rows * _MOST_COLUMNS <= MAX_CELLS or rows * _widest(xml, rb' r="([A-Z]{2,3})') <= MAX_CELLS:
            continue
        columns = _widest(
            xml, rb'<(?:\w+:)?c r="([A-Z]{2,3})\d+"[^>/]*>'
        )  # cells that are only formatted close themselves
        if rows * columns > MAX_CELLS:
            raise BadInput(_too_large(path, name, rows, columns))
    return odd


def _too_large(path: Path, name: str, rows: int, columns: int) -> Finding:
    return error("T006", f"the used area of a sheet must stay below {MAX_CELLS:,} cells", file=path.name,
                 sheet=name.rsplit("/", 1)[-1], found=f"{rows:,} rows × {columns:,} columns",
                 advice="delete the stray cells far from the table")  # fmt: skip


def _last_used_row(xml: bytes) -> int:
    """Row of the last cell that holds something; cells that are only formatted do not count."""
    end = max(xml.rfind(b"</v>"), xml.rfind(b"</is>"), xml.rfind(b"</f>"), xml.rfind(b":v>"))
    last = xml.rfind(b' r="', 0, max(end, 0))
    number = re.match(rb' r="(?:[A-Z]+)?(\d+)"', xml[last : last + 20]) if last >= 0 else None
    return int(number.group(1)) if number else xml.count(b"<row")


def _widest(xml: bytes, pattern: bytes) -> int:
    return max((_column_number(w) for w in set(re.findall(pattern, xml))), default=26)


def _column_number(letters: bytes) -> int:
    value = 0
    for code in letters:
        value = value * 26 + code - 64
    return value


def _check_repeats(path: Path, archive: zipfile.ZipFile) -> bool:
    """Refuse an ods file whose repeats make too large an area; returns whether they look odd."""
    if "content.xml" not in archive.namelist():
        return False
    content = archive.read("content.xml")
    repeats = [int(n) for n in re.findall(rb'number-(?:rows|columns)-repeated="(\d{1,9})"', content)]
    odd = odd_content(content)
    if sum(r for r in repeats if r > 1000) < 1000:  # noqa: PLR2004  (nothing repeated enough to matter)
        return odd
    for name, rows, columns in ods_area(content):
        if rows * columns > MAX_CELLS:
            raise BadInput(_too_large(path, name, rows, columns))
    return odd


def _read_text(path: Path, data: bytes, _parts: dict[str, bytes]) -> _Opened:
    table = read_text(data)
    findings = []
    if table.guessed_encoding:
        findings.append(
            warning("T012", "text that is not UTF-8 is read in a guessed encoding", file=path.name,
                    found=table.encoding, advice="check letters with accents, or save as UTF-8")
        )  # fmt: skip
    if table.nulls:
        findings.append(
            warning("T013", "text must hold no null characters", file=path.name, assumed="they were removed")
        )
    return [Sheet(path.name, "", table.columns, table.n_rows)], findings


def _read_parquet(path: Path, data: bytes, _parts: dict[str, bytes]) -> _Opened:
    import pyarrow as pa  # noqa: PLC0415  (only where parquet is read)
    import pyarrow.parquet as pq  # noqa: PLC0415

    try:
        table = pq.read_table(io.BytesIO(data))
        columns = []
        for name, values in zip(table.column_names, table.columns, strict=True):
            cells = np.empty(table.num_rows + 1, dtype=object)
            cells[0] = name
            cells[1:] = ["" if v is None else v for v in values.to_pylist()]
            columns.append(cells)
    except (pa.ArrowException, OSError, ValueError) as problem:
        raise BadInput(
            error("T004", "the parquet file must be whole", file=path.name, found=str(problem)[:120])
        ) from None
    return [Sheet(path.name, "", tuple(columns), table.num_rows + 1)], []


_READERS: dict[str, Any] = {
    "xlsx": _read_packed, "ods": _read_packed, "xlsb": _read_packed, "xls": _read_binary, "text": _read_text,
    "parquet": _read_parquet, **{kind: _refused_reader(kind) for kind in _REFUSED},
}  # fmt: skip
