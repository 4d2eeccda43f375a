"""XML of spreadsheet files, parsed without ever expanding an entity."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from xml.parsers import expat


class ForbiddenXmlError(ValueError):
    """XML that declares a document type: the way to entity expansion; never needed in a workbook."""


def elements(xml: bytes) -> Iterator[tuple[str, dict[str, str], str]]:
    """Yield (event, attributes, name or text) of an XML part; raises :class:`ForbiddenXmlError` at a document type."""
    events: list[tuple[str, dict[str, str], str]] = []

    def forbid(*_args: Any) -> None:
        raise ForbiddenXmlError("a document type declaration")

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = forbid
    parser.EntityDeclHandler = forbid
    parser.buffer_text = True
    parser.StartElementHandler = lambda tag, attrs: events.append(("start", attrs, tag))
    parser.EndElementHandler = lambda tag: events.append(("end", {}, tag))
    parser.CharacterDataHandler = lambda text: events.append(("text", {}, text))
    for start in range(0, len(xml), 1 << 16):
        parser.Parse(xml[start : start + (1 << 16)], start + (1 << 16) >= len(xml))
        yield from events
        events.clear()


def local_name(tag: str) -> str:
    """Return the name of an element without its prefix."""
    return tag.rsplit(":", 1)[-1]


@dataclass
class OdsPlace:
    """Where the reader stands in a table of an ods file."""

    table: str = ""
    row: int = 0
    column: int = 0
    row_repeat: int = 1
    last_row: int = -1
    last_column: int = -1


def ods_cells(xml: bytes) -> Iterator[tuple[OdsPlace, dict[str, str], int]]:
    """Yield the place, attributes and column repeat of each cell; and of each table's end with empty attributes."""
    at = OdsPlace()
    for event, attrs, tag in elements(xml):
        if event == "text":
            continue
        name = local_name(tag)
        if event == "start" and name == "table" and "table:name" in attrs:
            at = OdsPlace(attrs["table:name"])
        elif name == "table-row":
            if event == "start":
                at.row_repeat, at.column = int(attrs.get("table:number-rows-repeated", 1)), 0
                yield at, attrs, 0
            else:
                at.row += at.row_repeat
        elif event == "start" and name in ("table-cell", "covered-table-cell"):
            repeat = int(attrs.get("table:number-columns-repeated", 1))
            yield at, attrs, repeat
            at.column += repeat


def ods_area(xml: bytes) -> list[tuple[str, int, int]]:
    """Return name, rows and columns of the used area of each table of an ods file, repeats counted."""
    areas: dict[str, tuple[int, int]] = {}
    for at, attrs, repeat in ods_cells(xml):
        if repeat and "office:value-type" in attrs:
            rows, columns = areas.get(at.table, (0, 0))
            areas[at.table] = (max(rows, at.row + at.row_repeat), max(columns, at.column + repeat))
    return [(name, *area) for name, area in areas.items()]
