"""Cells written into a worksheet of somebody else's workbook: bytes are put in, no other byte changes.

A sheet is not read into a model and written again, which would lose whatever the model does not know. It is scanned
once for where its rows end; new cells are spliced in there, in the order that the format asks for.

References
----------
.. [1] ECMA-376 part 1, 18.3.1 (worksheets): order of elements, ``spans``, ``cols`` without overlap.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from xml.parsers import expat

from bomaudit.tables.sheets import letter
from bomaudit.tables.xml_parts import ForbiddenXmlError, local_name

MOST_COLUMNS = 16_384
"""Columns that a sheet can have."""
Area = tuple[int, int, int, int]
"""First row, first column, last row, last column; rows from 1, columns from 0."""
Edit = tuple[int, int, bytes]
"""Start, end, and the bytes that take this place."""
Cells = Mapping[int, bytes]
"""Column (from 0) → the cell's element."""

_TAG = re.compile(rb"""<[^\s/>]+(?:\s+[^\s=]+\s*=\s*(?:"[^"]*"|'[^']*'))*\s*(/?)>""")
_REF = re.compile(r"\$?([A-Z]{1,3})\$?(\d+)(?::\$?([A-Z]{1,3})\$?(\d+))?")


@dataclass
class Row:
    """A row as it stands in the bytes: offsets of its start tag, of its end tag, and of empty cells at its end."""

    number: int
    start: int
    open_end: int = 0
    close: int = 0
    used: int = -1
    spare: list[tuple[int, int, int]] = field(default_factory=list)


@dataclass
class Scan:
    """What has to be known of a sheet to write beside its table.

    Attributes
    ----------
    rows : dict of int to Row
        By number, from 1.
    areas : list of Area
        Merged cells, filter and other areas that must not be cut.
    filtered : bool
        The sheet has a filter of its own.
    cols : list of (start, end, attributes)
        Column elements, in bytes.
    related : list of str
        Relations that tables and drawings of the sheet have.
    dimension : tuple of int
        Start and end of the tag; (0, 0) where there is none.
    data : tuple of int
        Start of the start tag of the rows, and of their end tag.
    prefix : str
        Of the elements' names, with its colon.
    """

    rows: dict[int, Row] = field(default_factory=dict)
    areas: list[Area] = field(default_factory=list)
    filtered: bool = False
    cols: list[tuple[int, int, dict[str, str]]] = field(default_factory=list)
    related: list[str] = field(default_factory=list)
    dimension: tuple[int, int] = (0, 0)
    data: tuple[int, int] = (0, 0)
    prefix: str = ""


def area_of(ref: str) -> Area:
    """Read a reference such as ``B2:D9``."""
    found = _REF.fullmatch(ref)
    if found is None:
        raise ValueError(ref)
    a, row, b, last = found.groups()
    return int(row), column_number(a), int(last or row), column_number(b or a)


def column_number(letters: str) -> int:
    """Column from 0 of its letters."""
    value = 0
    for code in letters.encode():
        value = value * 26 + code - 64
    return value - 1


def tag_end(xml: bytes, start: int) -> tuple[int, bool]:
    """Offset after the tag that begins at ``start``, and whether it closes itself."""
    found = _TAG.match(xml, start)
    if found is None:
        raise ValueError("a tag that cannot be read")
    return found.end(), found.group(1) == b"/"


def safe_parser() -> expat.XMLParserType:
    """Parser that refuses a document type, the way to entity expansion."""

    def forbid(*_args: object) -> None:
        raise ForbiddenXmlError("a document type declaration")

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = forbid
    return parser


def spliced(xml: bytes, edits: Iterable[Edit]) -> bytes:
    """Bytes with pieces put in the place of others; pieces at the same place keep their order."""
    out, at = [], 0
    for start, end, new in sorted(edits, key=lambda e: (e[0], e[1])):
        out += [xml[at:start], new]
        at = end
    return b"".join([*out, xml[at:]])


class _Scanner:
    """Handlers of the parser; keeps the place of what is open."""

    def __init__(self, xml: bytes) -> None:
        self.xml, self.scan = xml, Scan()
        self.parser = safe_parser()
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.row: Row | None = None
        self.last_row, self.column, self.cell_start, self.holds = 0, -1, -1, False

    def run(self) -> Scan:
        self.parser.Parse(self.xml, True)
        return self.scan

    def _start(self, tag: str, attrs: dict[str, str]) -> None:
        name, at = local_name(tag), self.parser.CurrentByteIndex
        if self.cell_start >= 0:
            self.holds = True
        elif name == "c" and self.row is not None:
            self.column = area_of(attrs["r"])[1] if "r" in attrs else self.column + 1
            self.cell_start, self.holds = at, False
        elif name == "row":
            self.last_row = int(attrs.get("r", self.last_row + 1))
            self.row, self.column = Row(self.last_row, at, tag_end(self.xml, at)[0]), -1
        else:
            self._other(name, tag, attrs, at)

    def _other(self, name: str, tag: str, attrs: dict[str, str], at: int) -> None:
        scan = self.scan
        if name in ("mergeCell", "autoFilter"):
            scan.areas.append(area_of(attrs["ref"]))
            scan.filtered |= name == "autoFilter"
        elif name == "col":
            scan.cols.append((at, tag_end(self.xml, at)[0], attrs))
        elif name in ("tablePart", "drawing"):
            scan.related.append(next((v for k, v in attrs.items() if local_name(k) == "id" and ":" in k), ""))
        elif name == "dimension":
            scan.dimension = (at, tag_end(self.xml, at)[0])
        elif name == "sheetData":
            scan.data, scan.prefix = (at, at), tag[: -len(name)]

    def _end(self, tag: str) -> None:
        name, at, row = local_name(tag), self.parser.CurrentByteIndex, self.row
        if name == "c" and row is not None and self.cell_start >= 0:
            if self.holds:
                row.used = max(row.used, self.column)
                row.spare.clear()
            else:
                end, closed = tag_end(self.xml, self.cell_start)
                row.spare.append((self.column, self.cell_start, end if closed else self.xml.index(b">", at) + 1))
            self.cell_start = -1
        elif name == "row" and row is not None:
            row.close = at
            self.scan.rows[row.number] = row
            self.row = None
        elif name == "sheetData":
            self.scan.data = (self.scan.data[0], at)


def scan_sheet(xml: bytes) -> Scan:
    """Find where the rows, columns and areas of a sheet stand in its bytes.

    Raises
    ------
    ForbiddenXmlError
        At a document type.
    ValueError
        If the sheet is not UTF-8, or a reference cannot be read.
    """
    declared = re.match(rb"""(?:\xef\xbb\xbf)?<\?xml[^>]*?encoding=["']([\w-]+)""", xml)
    if xml[:2] in (b"\xff\xfe", b"\xfe\xff") or (declared and declared.group(1).lower() not in (b"utf-8", b"us-ascii")):
        raise ValueError("a sheet that is not UTF-8")
    return _Scanner(xml).run()


def first_free(scan: Scan, rows: tuple[int, int], others: Iterable[Area]) -> int:
    """First column from which on two rows and all between hold nothing: cells, merged areas, tables, pictures."""
    first, last = rows
    used = max((r.used for r in scan.rows.values() if first <= r.number <= last), default=-1)
    meet = [a[3] for a in (*scan.areas, *others) if a[0] <= last and a[2] >= first and a[3] < MOST_COLUMNS - 1]
    return max([used, *meet]) + 1


def patched(xml: bytes, scan: Scan, cells: Mapping[int, Cells], widths: Mapping[int, float]) -> bytes:
    """Write cells into rows.

    Parameters
    ----------
    xml : bytes
    scan : Scan
        Of these bytes.
    cells : mapping of int to mapping of int to bytes
        Row → column → element; columns at or after the first free one. A row that the sheet does not have is made.
    widths : mapping of int to float
        Width of each new column, by position.

    Returns
    -------
    bytes
    """
    edits: list[Edit] = []
    absent = {number for number in cells if number not in scan.rows}
    for number, row in scan.rows.items():
        if number in cells:
            edits += _into_row(xml, row, cells[number], scan.prefix)
    edits += _made_rows(scan, {n: cells[n] for n in absent})
    if widths:
        edits += _widths(xml, scan, widths)
        edits += _dimension(xml, scan, max(widths))
    return spliced(xml, edits)


def _into_row(xml: bytes, row: Row, cells: Cells, prefix: str) -> list[Edit]:
    """Splice cells into a row; empty cells that only wear a format make room for ours."""
    end, closed = tag_end(xml, row.start)
    opening = _spanned(xml[row.start : end], max(cells))
    if closed:
        body = b"".join(cells[c] for c in sorted(cells))
        opening = opening[: opening.rindex(b"/")].rstrip() + b">"
        return [(row.start, end, opening + body + f"</{prefix}row>".encode())]
    edits = [] if opening == xml[row.start : end] else [(row.start, end, opening)]
    waiting = sorted(cells)
    for column, start, stop in row.spare:
        before = [c for c in waiting if c < column]
        taken = column in cells
        if before or taken:
            new = b"".join(cells[c] for c in before) + (cells[column] if taken else xml[start:stop])
            edits.append((start, stop, new))
        waiting = [c for c in waiting if c > column]
    if waiting:
        edits.append((row.close, row.close, b"".join(cells[c] for c in waiting)))
    return edits


def _spanned(tag: bytes, column: int) -> bytes:
    """Start tag of a row whose hint of used columns takes in ``column``."""
    found = re.search(rb'\bspans="([\d: ]*?)(\d+)"', tag)
    if found is None or int(found.group(2)) > column:
        return tag
    return tag[: found.start(2)] + str(column + 1).encode() + tag[found.end(2) :]


def _made_rows(scan: Scan, cells: Mapping[int, Cells]) -> list[Edit]:
    edits = []
    for number in sorted(cells):
        following = min((r.start for r in scan.rows.values() if r.number > number), default=scan.data[1])
        body = b"".join(cells[number][c] for c in sorted(cells[number]))
        row = f'<{scan.prefix}row r="{number}">'.encode() + body + f"</{scan.prefix}row>".encode()
        edits.append((following, following, row))
    return edits


def _widths(xml: bytes, scan: Scan, widths: Mapping[int, float]) -> list[Edit]:
    """Column elements with ours among them; what others say of our columns gives way, of all others it stays."""
    first, last = min(widths) + 1, max(widths) + 1
    ours = "".join(
        f'<{scan.prefix}col min="{c + 1}" max="{c + 1}" width="{w}" customWidth="1"/>'
        for c, w in sorted(widths.items())
    ).encode()
    if not scan.cols:
        at = scan.data[0]
        return [(at, at, f"<{scan.prefix}cols>".encode() + ours + f"</{scan.prefix}cols>".encode())]
    edits, placed = [], False
    for start, end, attrs in scan.cols:
        low, high = int(attrs["min"]), int(attrs["max"])
        before = _narrowed(xml[start:end], low, min(high, first - 1))
        after = _narrowed(xml[start:end], max(low, last + 1), high)
        if high >= first:
            edits.append((start, end, before + (b"" if placed else ours) + after))
            placed = True
    return edits if placed else [*edits, (scan.cols[-1][1], scan.cols[-1][1], ours)]


def _narrowed(tag: bytes, low: int, high: int) -> bytes:
    """Column element for part of its columns; nothing where none is left."""
    if low > high:
        return b""
    tag = re.sub(rb"""\bmin=["']\d+["']""", f'min="{low}"'.encode(), tag)
    return re.sub(rb"""\bmax=["']\d+["']""", f'max="{high}"'.encode(), tag)


def _dimension(xml: bytes, scan: Scan, column: int) -> list[Edit]:
    start, end = scan.dimension
    found = re.search(rb'\bref="([A-Z]+\d+)(?::([A-Z]+)(\d+))?"', xml[start:end])
    if not found or not found.group(2) or column_number(found.group(2).decode()) >= column:
        return []
    return [(start + found.start(2), start + found.end(2), letter(column).encode())]
