"""Depth of a line from how it is written: level cells in any style, dotted numbers, indentation."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from bomaudit.tables.distinct import each
from bomaudit.tables.sheets import Cells

_DOTTED = re.compile(r"^\d+(?:\.\d+)+\.?$")
_POSITION = re.compile(r"\d{1,4}(?:\.\d{1,4})*")
_FEWEST_PARTS = 2
"""Dotted numbers that make a structure; one may be a slip."""
_POINTED = re.compile(r"^([.\-–_ +>]*)\s*(\d+)\s*$")
_LEADING = re.compile(r"^(?:[ \t\u00a0\u3000]|\.\.|--|[-–>•·└├│─]\s)+")


def level_cells(cells: Cells) -> tuple[NDArray[np.float64], NDArray[np.object_]]:
    """Read a column of levels.

    Returns
    -------
    level : float array
        Depth; NaN where the cell says none. ``..2`` is 2, ``1.2.1`` is 3.
    dotted : object array of str
        Dotted number of each line where the column holds such numbers, else "".
    """
    texts = each(cells, as_text)
    dotted, filled = each(texts, _is_dotted, bool), texts != ""
    if dotted.sum() * 2 > filled.sum() or are_numbered(texts.tolist()):
        numbers = each(texts, lambda t: t.rstrip(".") if t[:1].isdigit() else "")
        return each(numbers, lambda t: t.count(".") + 1.0 if t else np.nan, float), numbers
    return each(texts, _depth, float), np.full(len(texts), "", dtype=object)


def _is_dotted(text: str) -> bool:
    return _DOTTED.match(text) is not None


def _depth(text: str) -> float:
    match = _POINTED.match(text)
    return float(match[2]) if match else np.nan


def are_numbered(texts: Iterable[str]) -> bool:
    """Whether texts are positions of a structure: rising numbers, some of them dotted, each with its parent above it.

    2.1 below 2 is a part of it, however few such lines there are; prices have no parents.
    """
    above: set[str] = set()
    top, parts = 0, 0
    for text in filter(None, (t.rstrip(".") for t in texts)):
        parent, dot, _ = text.rpartition(".")
        if not _POSITION.fullmatch(text) or int(text.partition(".")[0]) < top or (dot and parent not in above):
            return False
        top, parts = int(text.partition(".")[0]), parts + bool(dot)
        above.add(text)
    return parts >= _FEWEST_PARTS


def as_text(cell: object) -> str:
    """Text of a cell, whole numbers without a point."""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return "" if cell is None else str(cell).strip()


def levels_by_indent(cells: Cells, worn: Mapping[int, int], keep: NDArray[np.intp]) -> NDArray[np.float64]:
    """Depth from cell indents or from spaces before the text; all NaN where there is no clear indentation.

    Parameters
    ----------
    cells : object array
        Descriptions of all rows of the block.
    worn : mapping row → indent
        Indents of the cells, 0-based row of the block.
    keep : int array
        Rows that are lines.

    Notes
    -----
    A clear indentation has a first line that is not indented, at least a tenth of the lines deeper, and spaces in even
    steps: a stray space before a word is none.
    """
    nothing = np.full(len(keep), np.nan)
    if len(keep) < 3:  # noqa: PLR2004  (too few to show a structure)
        return nothing
    depth = np.array([worn.get(int(i), 0) for i in keep], dtype=float)
    if not (depth > 0).any():
        depth = np.array([_width(cells[i]) for i in keep], dtype=float)
        steps = np.unique(depth[depth > 0])
        if not len(steps) or steps[0] < 2 or np.any(steps % steps[0]):  # noqa: PLR2004  (single spaces are typing)
            return nothing
        depth = depth / steps[0]
    indented = float((depth > 0).mean())
    if depth[0] != 0 or not 0.1 <= indented < 1 or np.any(np.diff(depth) > 1):  # noqa: PLR2004
        return nothing
    return depth + 1


def _width(cell: object) -> int:
    if not isinstance(cell, str):
        return 0
    match = _LEADING.match(cell)
    return len(match[0].replace("\t", "    ").replace("\u3000", "  ")) if match else 0
