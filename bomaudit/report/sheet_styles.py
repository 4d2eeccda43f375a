"""Formats added to the style sheet of somebody else's workbook: behind those it has, whose numbers stay the same."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import quoteattr

from bomaudit.report import look
from bomaudit.report.sheet_patch import safe_parser, spliced, tag_end
from bomaudit.tables.xml_parts import local_name

_FIRST_OWN_FORMAT = 164
"""Number formats below are the format's own (ECMA-376 part 1, 18.8.30)."""
_HEAD_GROUND = "#f2f0ea"
_ROOT, _LIST, _ENTRY = 1, 2, 3
"""Depths of the elements of a style sheet."""


@dataclass(frozen=True)
class Look:
    """How a cell looks.

    Attributes
    ----------
    code : str
        Number format; "@" is text, which then stays text when somebody edits it.
    ink, ground : str
        Colours, "" for the usual ones.
    bold : bool
    """

    code: str = "General"
    ink: str = ""
    ground: str = ""
    bold: bool = False


HEAD = Look("@", look.INK, _HEAD_GROUND, bold=True)
TEXT = Look("@")
STATES = {status: Look("@", tone.light, tone.soft, bold=True) for status, tone in look.STATUS.items()}


def with_looks(xml: bytes, looks: Sequence[Look]) -> tuple[bytes, Mapping[Look, int]]:
    """Add cell formats to a style sheet.

    Parameters
    ----------
    xml : bytes
        Part ``styles.xml``.
    looks : sequence of Look

    Returns
    -------
    xml : bytes
        With fonts, fills, number formats and cell formats appended; nothing else changed.
    at : mapping of Look to int
        Position of each cell format; empty where the style sheet lacks a list that it must have.
    """
    places = _places(xml)
    if not {"fonts", "fills", "cellXfs"} <= places.keys():
        return xml, {}
    prefix = places["cellXfs"].prefix
    first = max([_FIRST_OWN_FORMAT - 1, *(int(i) for i in re.findall(rb'\bnumFmtId="(\d+)"', xml))]) + 1
    fonts, fills, formats, cells = [], [], [], []
    for i, shown in enumerate(looks):
        fonts.append(_element(prefix, "font", _font(prefix, shown)))
        fills.append(_element(prefix, "fill", _fill(prefix, shown.ground)))
        formats.append(f"<{prefix}numFmt numFmtId={quoteattr(str(first + i))} formatCode={quoteattr(shown.code)}/>")
        text = ' quotePrefix="1"' if shown.code == "@" else ""
        shape = f'><{prefix}alignment wrapText="1" vertical="bottom"/></{prefix}xf>' if shown == HEAD else "/>"
        cells.append(
            f'<{prefix}xf numFmtId="{first + i}" fontId="{places["fonts"].count + i}"{text} '
            f'fillId="{places["fills"].count + i}" borderId="0" xfId="0" applyNumberFormat="1" applyFont="1" '
            f'applyFill="1" applyAlignment="1"{shape}'
        )
    added = {"fonts": fonts, "fills": fills, "numFmts": formats, "cellXfs": cells}
    return _spliced(xml, places, added), {shown: places["cellXfs"].count + i for i, shown in enumerate(looks)}


@dataclass(frozen=True)
class _Place:
    """A list of the style sheet: its start tag, its end tag (-1: it closes itself), how many it holds."""

    start: int
    open_end: int
    close: int
    count: int
    prefix: str


def _places(xml: bytes) -> dict[str, _Place]:
    """Lists of the style sheet by name, and under "" the place of the first."""
    parser, found = safe_parser(), dict[str, _Place]()
    depth, begun, count = 0, 0, 0

    def start(tag: str, _attrs: dict[str, str]) -> None:
        nonlocal depth, begun, count
        depth += 1
        if depth == _ROOT:
            after = tag_end(xml, parser.CurrentByteIndex)[0]
            found[""] = _Place(after, after, after, 0, tag[: -len(local_name(tag))])
        elif depth == _LIST:
            begun, count = parser.CurrentByteIndex, 0
        elif depth == _ENTRY:
            count += 1

    def end(tag: str) -> None:
        nonlocal depth
        if depth == _LIST:
            after, closed = tag_end(xml, begun)
            name = local_name(tag)
            close = -1 if closed else parser.CurrentByteIndex
            found[name] = _Place(begun, after, close, count, tag[: -len(name)])
        depth -= 1

    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.Parse(xml, True)
    return found


def _element(prefix: str, name: str, inner: str) -> str:
    return f"<{prefix}{name}>{inner}</{prefix}{name}>"


def _font(prefix: str, shown: Look) -> str:
    bold = f"<{prefix}b/>" if shown.bold else ""
    ink = f'<{prefix}color rgb="FF{shown.ink[1:].upper()}"/>' if shown.ink else ""
    return f'{bold}<{prefix}sz val="10"/>{ink}<{prefix}name val="Calibri"/><{prefix}family val="2"/>'


def _fill(prefix: str, ground: str) -> str:
    if not ground:
        return f'<{prefix}patternFill patternType="none"/>'
    inner = f'<{prefix}fgColor rgb="FF{ground[1:].upper()}"/><{prefix}bgColor indexed="64"/>'
    return f'<{prefix}patternFill patternType="solid">{inner}</{prefix}patternFill>'


def _spliced(xml: bytes, places: Mapping[str, _Place], added: Mapping[str, Sequence[str]]) -> bytes:
    edits: list[tuple[int, int, bytes]] = []
    for name, new in added.items():
        body, place = "".join(new), places.get(name, places[""])  # only numFmts may be absent; it then comes first
        if name not in places or place.close < 0:
            whole = f'<{place.prefix}{name} count="{len(new)}">{body}</{place.prefix}{name}>'
            edits.append((place.start, place.open_end, whole.encode()))
            continue
        tag = xml[place.start : place.open_end]
        counted = re.sub(rb'\bcount="\d+"', f'count="{place.count + len(new)}"'.encode(), tag)
        edits += [(place.start, place.open_end, counted), (place.close, place.close, body.encode())]
    return spliced(xml, edits)
