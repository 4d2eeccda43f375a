"""What cells wear beside their values: number formats, indents, hidden rows, comments, merged cells, missing results.

A reader of values loses these. They are looked up only where the values leave something open, and only for the columns
that need it. XML is scanned or parsed without ever expanding an entity.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field

from bomaudit.tables.files import DAMAGED, Book
from bomaudit.tables.money import code_in_format
from bomaudit.tables.sheets import letter
from bomaudit.tables.xml_parts import elements, local_name, ods_cells

_MAX_XLS = 30 << 20
"""Larger old workbooks are read without formats [bytes]: their only reader of formats is slow."""


@dataclass(frozen=True)
class Dress:
    """What the cells of one sheet wear; rows and columns 0-based.

    Attributes
    ----------
    currencies : dict column → dict row → (ISO code, mark)
        Currency of the number format of cells in the columns asked for.
    zeros : dict column → dict row → int
        Digits that a format such as 00000 pads to.
    indents : dict column → dict row → int
    hidden_rows, hidden_columns : frozenset of int
    comments : dict (row, column) → text
    merged : tuple of (first row, first column, last row, last column)
    uncalculated, errors : frozenset of (row, column)
        Formulas without a stored result; cells with an error value.
    bold : dict column → frozenset of rows
    """

    currencies: dict[int, dict[int, tuple[str, str]]] = field(default_factory=dict)
    zeros: dict[int, dict[int, int]] = field(default_factory=dict)
    indents: dict[int, dict[int, int]] = field(default_factory=dict)
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    comments: dict[tuple[int, int], str] = field(default_factory=dict)
    merged: tuple[tuple[int, int, int, int], ...] = ()
    uncalculated: frozenset[tuple[int, int]] = frozenset()
    errors: frozenset[tuple[int, int]] = frozenset()


def dress_of(book: Book, sheet: str, columns: tuple[int, ...]) -> Dress:
    """Look up what the cells of the given columns of a sheet wear.

    Parameters
    ----------
    book : Book
        An xlsx, xls or ods file; other kinds wear nothing.
    sheet : str
    columns : tuple of int
        0-based columns whose formats and indents are wanted.
    """
    readers = {"xlsx": _xlsx, "xls": _xls, "ods": _ods}
    if book.kind not in readers:
        return Dress()
    try:
        return readers[book.kind](book, sheet, columns)
    except (*DAMAGED, KeyError, IndexError):
        return Dress()


# ---------------------------------------------------------------- xlsx


@dataclass(frozen=True)
class _Style:
    currency: tuple[str, str]
    zeros: int
    indent: int


_BUILT_IN_MONEY = frozenset({5, 6, 7, 8, 42, 44})
"""Number formats that show the currency of the computer they are opened on (ECMA-376 part 1, 18.8.30)."""


def _xlsx(book: Book, sheet: str, columns: tuple[int, ...]) -> Dress:
    with zipfile.ZipFile(book.path) as archive:
        part = sheet_part(archive, sheet)
        xml = book.parts.get(part) or archive.read(part)
        styles = _xlsx_styles(archive.read("xl/styles.xml")) if "xl/styles.xml" in archive.namelist() else []
        comments = _xlsx_comments(archive, part)
    currencies: dict[int, dict[int, tuple[str, str]]] = {}
    zeros: dict[int, dict[int, int]] = {}
    indents: dict[int, dict[int, int]] = {}
    if any(s.currency[0] or s.zeros or s.indent for s in styles):
        for column in columns:
            worn = {row: styles[s] for row, s in _cell_styles(xml, column) if s < len(styles)}
            currencies[column] = {r: s.currency for r, s in worn.items() if s.currency[0]}
            zeros[column] = {r: s.zeros for r, s in worn.items() if s.zeros}
            indents[column] = {r: s.indent for r, s in worn.items() if s.indent}
    hidden = b"hidden=" in xml
    return Dress(
        currencies,
        zeros,
        indents,
        hidden_rows=frozenset(_hidden_rows(xml)) if hidden else frozenset(),
        hidden_columns=frozenset(_hidden_columns(xml)) if hidden else frozenset(),
        comments=comments,
        merged=tuple(
            _area(m)
            for m in re.findall(
                rb'<(?:\w+:)?mergeCell ref="([A-Z]+\d+:[A-Z]+\d+)"', xml[max(xml.rfind(b"mergeCells count"), 0) :]
            )
        )
        if b"mergeCell " in xml
        else (),
        uncalculated=frozenset(_cell(m) for m in _uncalculated(xml)),
        errors=frozenset(_cell(m) for m in re.findall(rb'<(?:\w+:)?c r="([A-Z]+\d+)"[^>]*? t="e"', xml))
        if b't="e"' in xml
        else frozenset(),
    )


_HIDDEN = re.compile(rb'\shidden="(?:1|true)"')


def sheet_part(archive: zipfile.ZipFile, sheet: str) -> str:
    """Return the part of an xlsx package that holds a sheet; raises KeyError where there is none of that name."""
    relation = ""
    for event, attrs, tag in elements(archive.read("xl/workbook.xml")):
        if event == "start" and local_name(tag) == "sheet" and attrs.get("name") == sheet:
            relation = next((v for k, v in attrs.items() if local_name(k) == "id" and ":" in k), "")
    for event, attrs, _tag in elements(archive.read("xl/_rels/workbook.xml.rels")):
        if event == "start" and attrs.get("Id") == relation:
            target = attrs["Target"]
            return target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    raise KeyError(sheet)


def _xlsx_styles(xml: bytes) -> list[_Style]:
    formats: dict[int, str] = {}
    styles: list[_Style] = []
    inside, number, indent = False, 0, 0
    for event, attrs, tag in elements(xml):
        name = local_name(tag) if event != "text" else ""
        if name == "numFmt" and event == "start":
            formats[int(attrs["numFmtId"])] = attrs.get("formatCode", "")
        elif name == "cellXfs":
            inside = event == "start"
        elif inside and name == "xf":
            if event == "start":
                number, indent = int(attrs.get("numFmtId", 0)), 0
            else:
                styles.append(_style(number, formats.get(number, ""), indent))
        elif inside and name == "alignment" and event == "start":
            indent = int(attrs.get("indent", 0))
    return styles


def _style(number: int, code: str, indent: int) -> _Style:
    if not code and number in _BUILT_IN_MONEY:
        return _Style(("USD", "$"), 0, indent)
    zeros = len(code) if re.fullmatch(r"0{2,}", code) else 0
    return _Style(code_in_format(code), zeros, indent)


def _cell_styles(xml: bytes, column: int) -> Iterator[tuple[int, int]]:
    for row, attrs in re.findall(rb'<(?:\w+:)?c r="%s(\d+)"([^>]*)>' % letter(column).encode(), xml):
        style = re.search(rb'\bs="(\d+)"', attrs)
        if style:
            yield int(row) - 1, int(style.group(1))


def _hidden_rows(xml: bytes) -> Iterator[int]:
    for tag in re.findall(rb"<(?:\w+:)?row [^>]*>", xml):
        if _HIDDEN.search(tag):
            number = re.search(rb'\br="(\d+)"', tag)
            if number:
                yield int(number.group(1)) - 1


def _hidden_columns(xml: bytes) -> Iterator[int]:
    for tag in re.findall(rb"<(?:\w+:)?col [^>]*>", xml):
        if _HIDDEN.search(tag):
            first, last = re.search(rb'\bmin="(\d+)"', tag), re.search(rb'\bmax="(\d+)"', tag)
            if first and last:
                yield from range(int(first.group(1)) - 1, min(int(last.group(1)), 1000))


def _uncalculated(xml: bytes) -> list[bytes]:
    if b"<f>" not in xml and b"<f " not in xml and b":f>" not in xml and b":f " not in xml:
        return []
    return re.findall(
        rb'<(?:\w+:)?c r="([A-Z]+\d+)"[^>]*><(?:\w+:)?f(?:>|\s)[^<]*(?:</(?:\w+:)?f>|(?<=/>))'
        rb"(?:<(?:\w+:)?v ?/>|<(?:\w+:)?v></(?:\w+:)?v>)?</(?:\w+:)?c>",
        xml,
    )


def _xlsx_comments(archive: zipfile.ZipFile, part: str) -> dict[tuple[int, int], str]:
    folder, _, name = part.rpartition("/")
    relations = f"{folder}/_rels/{name}.rels"
    found: dict[tuple[int, int], str] = {}
    if relations not in archive.namelist():
        return found
    for event, attrs, _tag in elements(archive.read(relations)):
        target = attrs.get("Target", "")
        if event == "start" and "comments" in target.lower() and target.endswith(".xml"):
            path = resolve_target(folder, target)
            if path in archive.namelist():
                found.update(_comment_part(archive.read(path)))
    return found


def resolve_target(folder: str, target: str) -> str:
    """Return the part that a relation leads to, stated from the folder of the part that has it."""
    if target.startswith("/"):
        return target[1:]
    pieces = folder.split("/")
    for piece in target.split("/"):
        if piece == "..":
            pieces.pop()
        else:
            pieces.append(piece)
    return "/".join(pieces)


def _comment_part(xml: bytes) -> dict[tuple[int, int], str]:
    found: dict[tuple[int, int], str] = {}
    place, text, within = None, "", False
    for event, attrs, tag in elements(xml):
        name = local_name(tag) if event != "text" else ""
        if name in ("comment", "threadedComment"):
            if event == "start":
                place, text = _cell(attrs.get("ref", "A1").encode()), ""
            elif place is not None:
                found[place] = (found[place] + " " if place in found else "") + text.strip()
        elif name in ("t", "text"):
            within = event == "start"
        elif event == "text" and within:
            text += tag
    return found


def _cell(ref: bytes) -> tuple[int, int]:
    match = re.match(rb"([A-Z]+)(\d+)", ref)
    if match is None:
        raise ValueError(ref)
    column = 0
    for code in match.group(1):
        column = column * 26 + code - 64
    return int(match.group(2)) - 1, column - 1


def _area(ref: bytes) -> tuple[int, int, int, int]:
    first, _, last = ref.partition(b":")
    return (*_cell(first), *_cell(last))


# ---------------------------------------------------------------- xls


def _xls(book: Book, sheet: str, columns: tuple[int, ...]) -> Dress:
    if book.path.stat().st_size > _MAX_XLS:
        return Dress()
    import xlrd  # noqa: PLC0415  (only where an old workbook leaves something open)

    try:
        workbook = xlrd.open_workbook(filename=str(book.path), formatting_info=True, logfile=io.StringIO())
        page = workbook.sheet_by_name(sheet)
    except (xlrd.XLRDError, AssertionError, NotImplementedError, IndexError, UnicodeError):
        return Dress()  # what the library raises for formats it does not read: values stand, currencies stay open
    currencies: dict[int, dict[int, tuple[str, str]]] = {c: {} for c in columns}
    indents: dict[int, dict[int, int]] = {c: {} for c in columns}
    for column in columns:
        for row in range(page.nrows if column < page.ncols else 0):
            style = workbook.xf_list[page.cell_xf_index(row, column)]
            found = code_in_format(workbook.format_map[style.format_key].format_str)
            if found[0]:
                currencies[column][row] = found
            if style.alignment.indent_level:
                indents[column][row] = style.alignment.indent_level
    return Dress(
        currencies, {}, indents,
        hidden_rows=frozenset(r for r, info in page.rowinfo_map.items() if info.hidden),
        hidden_columns=frozenset(c for c, info in page.colinfo_map.items() if info.hidden),
        comments={place: n.text for place, n in page.cell_note_map.items()},
        merged=tuple((r1, c1, r2 - 1, c2 - 1) for r1, r2, c1, c2 in page.merged_cells),
    )  # fmt: skip


# ---------------------------------------------------------------- ods


def _ods(book: Book, sheet: str, columns: tuple[int, ...]) -> Dress:
    with zipfile.ZipFile(book.path) as archive:
        xml = archive.read("content.xml")
    currencies: dict[int, dict[int, tuple[str, str]]] = {c: {} for c in columns}
    hidden: set[int] = set()
    merged: list[tuple[int, int, int, int]] = []
    wanted = set(columns)
    for at, attrs, repeat in ods_cells(xml):
        if at.table != sheet:
            continue
        if not repeat:
            if attrs.get("table:visibility") in ("collapse", "filter"):
                hidden.update(range(at.row, at.row + min(at.row_repeat, 100_000)))
            continue
        code = attrs.get("office:currency", "")
        if code:
            for column in wanted.intersection(range(at.column, at.column + repeat)):
                currencies[column].update(
                    dict.fromkeys(range(at.row, at.row + min(at.row_repeat, 100000)), (code, code))
                )
        across, down = (int(attrs.get(f"table:number-{k}-spanned", 1)) for k in ("columns", "rows"))
        if across > 1 or down > 1:
            merged.append((at.row, at.column, at.row + down - 1, at.column + across - 1))
    return Dress(currencies, hidden_rows=frozenset(hidden), merged=tuple(merged))
