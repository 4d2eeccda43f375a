"""The client's own BOM with the audit's columns beside theirs: a copy in which nothing else differs.

The copy is made from the bytes of the file, not from what a library understood of it: formats, merged cells, formulas,
charts, pictures, names, comments, hidden rows and macros are the client's, to the byte. Only the sheets that hold lines
get cells, and the style sheet gets formats at its end.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any
from xml.parsers import expat
from xml.sax.saxutils import escape

import numpy as np
import pandas as pd

from bomaudit.findings import Finding, note, warning
from bomaudit.report.book import DAYS, fit
from bomaudit.report.sheet_patch import MOST_COLUMNS, Area, Scan, area_of, first_free, patched, scan_sheet
from bomaudit.report.sheet_styles import HEAD, STATES, TEXT, Look, with_looks
from bomaudit.tables.dress import resolve_target, sheet_part
from bomaudit.tables.files import file_kind
from bomaudit.tables.sheets import letter
from bomaudit.tables.xml_parts import ForbiddenXmlError, elements, local_name

if TYPE_CHECKING:
    from bomaudit.audit import Audit

_STYLES = "xl/styles.xml"
_UNREADABLE = (ValueError, KeyError, IndexError, ForbiddenXmlError, expat.ExpatError)
_BAD = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]|[\ud800-\udfff]")
"""Characters that XML cannot hold."""
_EPOCH = {False: date(1899, 12, 30), True: date(1904, 1, 1)}


@dataclass(frozen=True)
class Column:
    """A column of ours: head, what it holds of a line, how it looks, width in characters."""

    head: str
    name: str
    look: Look
    width: float


@dataclass(frozen=True)
class Copy:
    """An annotated copy, ready to be written.

    Attributes
    ----------
    name : str
        Of the file.
    data : bytes
        Empty where no copy can be made.
    findings : tuple of Finding
        What the copy could not take, and what to know of it.
    """

    name: str
    data: bytes
    findings: tuple[Finding, ...]


def columns_for(currency: str, language: str) -> tuple[Column, ...]:
    """Columns of the copy, in order."""
    price, share = Look("#,##0.00##;-#,##0.00##;0.00"), Look("+0%;-0%;0%")
    return (
        Column("line of the audit", "line_id", TEXT, 16),
        Column("status", "status", TEXT, 10),
        Column(f"booked, {currency} each", "booked_cost", price, 17),
        Column(f"today, {currency} each", "estimate", price, 16),
        Column("low end", "estimate_low", price, 10),
        Column("high end", "estimate_high", price, 10),
        Column("today against booked", "drift", share, 20),
        Column("chance that it is stale", "p_stale", Look("0%"), 20),
        Column(f"booked above today, {currency}/year", "exposure_per_year", Look("+#,##0;-#,##0;0"), 27),
        Column("booked cost is of", "basis_date", Look(DAYS[language]), 16),
        Column("market", "commodity", TEXT, 18),
        Column("why", "reason", TEXT, 60),
    )


def copy_of(audit: Audit) -> Copy:
    """Make the annotated copy of an audit's BOM.

    Parameters
    ----------
    audit : Audit

    Returns
    -------
    Copy
        With findings instead of data where the BOM is no xlsx workbook.
    """
    settings = audit.settings
    path = audit.inputs.folder / settings.files.bom
    turned = {f.sheet for f in audit.findings if f.code == "T066" and f.file == path.name}
    columns = columns_for(audit.currency, settings.report.language)
    lines = audit.lines.assign(commodity=audit.lines["commodity"].str.replace("_", " "))
    return annotated(path.name, path.read_bytes(), lines, audit.inputs.rows, columns=columns, turned=turned)


def annotated(
    name: str, data: bytes, lines: pd.DataFrame, rows: pd.DataFrame, *, columns: tuple[Column, ...], turned: set[str]
) -> Copy:
    """Write columns beside the lines of a workbook.

    Parameters
    ----------
    name : str
        Of the file.
    data : bytes
        Its content.
    lines : DataFrame, columns of glossary ``LINES``
    rows : DataFrame
        What each row of the files is, as in ``tables.Inputs``.
    columns : tuple of Column
    turned : set of str
        Sheets whose lines run across.

    Returns
    -------
    Copy
    """
    path = PurePosixPath(name)
    called = f"annotated_{path.stem}{path.suffix if path.suffix.lower() in ('.xlsx', '.xlsm') else '.xlsx'}"
    if (kind := file_kind(data)) != "xlsx":
        told = warning("W001", "the BOM must be an xlsx workbook to be annotated", file=name, found=f"a {kind} file",
                       assumed="no annotated copy was written", advice="save it as xlsx and audit that")  # fmt: skip
        return Copy(called, b"", (told,))
    own = lines[(lines["source_file"] == name) & lines["source_row"].notna()]
    known = own["basis"] != "undated"
    own = own.assign(basis_date=own["basis_date"].where(known))  # the middle of an assumed range is nobody's date
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        book = _Book(name, archive, columns)
        for sheet, group in own.groupby("source_sheet", sort=False):
            kinds = rows[(rows["file"] == name) & (rows["sheet"] == sheet)]
            if sheet in turned:
                book.say(warning, "W002", "lines must run down the sheet to be annotated", sheet=str(sheet),
                         assumed="this sheet is copied as it is")  # fmt: skip
                continue
            book.annotate(str(sheet), group, kinds.loc[kinds["kind"] == "header", "row"].tolist())
        if any(n.startswith("_xmlsignatures/") for n in archive.namelist()):
            book.say(warning, "W003", "a signature holds only for the file that was signed", found="a signed workbook",
                     assumed="the copy no longer matches its signature")  # fmt: skip
        return Copy(called, book.packed() if book.parts else b"", tuple(book.findings))


class _Book:
    """The package: parts that change, findings on the way."""

    def __init__(self, name: str, archive: zipfile.ZipFile, columns: tuple[Column, ...]) -> None:
        self.name, self.archive, self.columns = name, archive, columns
        self.parts: dict[str, bytes] = {}
        self.findings: list[Finding] = []
        looks = list(dict.fromkeys([HEAD, TEXT, *STATES.values(), *(c.look for c in columns)]))
        names = set(archive.namelist())
        self.styles, self.at = with_looks(archive.read(_STYLES), looks) if _STYLES in names else (b"", {})
        self.late = bool(re.search(rb"""date1904=["'](?:1|true)""", archive.read("xl/workbook.xml")))

    def say(self, make: Callable[..., Finding], code: str, message: str, **where: object) -> None:
        self.findings.append(make(code, message, file=self.name, **where))

    def annotate(self, sheet: str, lines: pd.DataFrame, headers: list[int]) -> None:
        """Write beside the lines of one sheet."""
        try:
            part = sheet_part(self.archive, sheet)
            xml = self.archive.read(part)
            scan = scan_sheet(xml)
            tables, pictures = self._areas(part, scan)
        except _UNREADABLE as problem:
            self.say(warning, "W002", "a sheet must be plain XML to be annotated", sheet=sheet,
                     found=str(problem)[:120], assumed="this sheet is copied as it is")  # fmt: skip
            return
        heads = head_rows(headers, lines["source_row"].astype(int).tolist())
        turn = lines.groupby("source_row").cumcount().tolist()
        span = (min([*heads, int(lines["source_row"].min())]), int(lines["source_row"].max()))
        first, width = first_free(scan, span, [*tables, *pictures]), len(self.columns)
        blocks = max(turn) + 1
        if first + blocks * width > MOST_COLUMNS:
            self.say(warning, "W002", "a sheet must have columns left to be annotated", sheet=sheet,
                     found=f"the first free one is {letter(min(first, MOST_COLUMNS - 1))}",
                     assumed="this sheet is copied as it is")  # fmt: skip
            return
        self._say_of(sheet, scan, tables, heads=heads, first=first)
        firsts = range(first, first + blocks * width, width)
        cells = self._cells(scan.prefix, lines, heads, [firsts[k] for k in turn], firsts)
        widths = {f + i: c.width for f in firsts for i, c in enumerate(self.columns)}
        self.parts[part] = patched(xml, scan, cells, widths)

    def _say_of(self, sheet: str, scan: Scan, tables: list[Area], *, heads: list[int], first: int) -> None:
        if not heads:
            self.say(note, "W004", "a row above the first line must be there for heads", sheet=sheet,
                     assumed=f"the columns from {letter(first)} on have none: "
                             + ", ".join(c.head for c in self.columns))  # fmt: skip
        if scan.filtered or tables:
            self.say(note, "W005", "a filter or table of the sheet sorts its own columns only", sheet=sheet,
                     assumed=f"the audit's columns stand beside it, from {letter(first)} on",
                     advice="take them into the filter or table before you sort")  # fmt: skip

    def _areas(self, part: str, scan: Scan) -> tuple[list[Area], list[Area]]:
        """Areas of the sheet's tables, and of its pictures and charts."""
        folder, _, own = part.rpartition("/")
        relations = f"{folder}/_rels/{own}.rels"
        tables, pictures = list[Area](), list[Area]()
        if not scan.related or relations not in self.archive.namelist():
            return tables, pictures
        for event, attrs, tag in elements(self.archive.read(relations)):
            if event == "start" and local_name(tag) == "Relationship" and attrs.get("Id") in scan.related:
                xml = self.archive.read(resolve_target(folder, attrs["Target"]))
                if attrs["Type"].endswith("/table"):
                    tables += [
                        area_of(a["ref"]) for e, a, t in elements(xml) if e == "start" and local_name(t) == "table"
                    ]
                else:
                    pictures += anchored(xml)
        return tables, pictures

    def _cells(
        self, prefix: str, lines: pd.DataFrame, heads: list[int], start: list[int], firsts: Iterable[int]
    ) -> dict[int, dict[int, bytes]]:
        cells: dict[int, dict[int, bytes]] = {}
        for row in heads:
            for first in firsts:
                for i, column in enumerate(self.columns):
                    cells.setdefault(row, {})[first + i] = self._cell(prefix, row, first + i, column.head, HEAD)
        at = list(zip(lines["source_row"].astype(int).tolist(), start, strict=True))
        for i, column in enumerate(self.columns):
            for (row, first), value in zip(at, lines[column.name].tolist(), strict=True):
                shown = STATES.get(value, TEXT) if column.name == "status" else column.look
                if not _missing(value):
                    cells.setdefault(row, {})[first + i] = self._cell(prefix, row, first + i, value, shown)
        return cells

    def _cell(self, p: str, row: int, column: int, value: Any, shown: Look) -> bytes:
        """Element of a cell, its name with the prefix that the sheet has; text is never a formula."""
        style = f' s="{self.at[shown]}"' if self.at else ""
        ref = f'r="{letter(column)}{row}"{style}'
        if isinstance(value, pd.Timestamp):
            value = (value.date() - _EPOCH[self.late]).days
        if isinstance(value, str):
            text = f'<{p}is><{p}t xml:space="preserve">{_text(value)}</{p}t></{p}is>'
            return f'<{p}c {ref} t="inlineStr">{text}</{p}c>'.encode()
        return f"<{p}c {ref}><{p}v>{value!r}</{p}v></{p}c>".encode()

    def packed(self) -> bytes:
        """The package with the changed parts in the place of the old ones."""
        if self.at:
            self.parts[_STYLES] = self.styles
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as copy:
            copy.comment = self.archive.comment
            for part in self.archive.infolist():
                copy.writestr(part, self.parts.get(part.filename, self.archive.read(part)))
        return out.getvalue()


def head_rows(headers: list[int], lines: list[int]) -> list[int]:
    """Rows for our heads: the last of each run of header rows, else the row above the first line."""
    last = [h for h in sorted(headers) if h + 1 not in headers]
    above = min(lines) - 1
    return last or ([above] if above >= 1 else [])


def anchored(xml: bytes) -> list[Area]:
    """Areas that the pictures and charts of a drawing lie on; those with one corner take one cell."""
    areas, corner, name = list[Area](), dict[str, int](), ""
    ends: Mapping[str, int] = {"from": 0, "to": 2}
    end, place = "", [0, 0, 0, 0]
    for event, _attrs, tag in elements(xml):
        if event == "text":
            if name in ("col", "row") and end:
                corner[name] = int(tag)
            continue
        name = local_name(tag) if event == "start" else ""
        closed = local_name(tag) if event == "end" else ""
        if name in ends:
            end, corner = name, {}
        elif closed in ends:
            at = ends[closed]
            place[at : at + 2] = [corner.get("row", 0) + 1, corner.get("col", 0)]
            if closed == "from":
                place[2:] = place[:2]
            end = ""
        elif closed.endswith("Anchor"):
            areas.append((place[0], place[1], place[2], place[3]))
    return areas


def _missing(value: Any) -> bool:
    return value is None or value is pd.NaT or value == "" or (isinstance(value, float) and not np.isfinite(value))


def _text(value: str) -> str:
    """Text as XML holds it; what spreadsheets would read as a coded character stays as it is written."""
    return escape(_BAD.sub("", re.sub("_(?=x[0-9A-Fa-f]{4}_)", "_x005F_", fit(value))))
