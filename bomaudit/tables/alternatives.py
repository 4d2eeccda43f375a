"""Lines that stand in for another line: second choices, marked alternatives."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from bomaudit.tables.cells import flags, texts
from bomaudit.tables.distinct import each
from bomaudit.tables.headers import fold
from bomaudit.tables.locate import Block
from bomaudit.tables.rowkinds import View
from bomaudit.tables.words import is_alternative, is_word

_RANKED = re.compile(
    r"\brank(?:ing)?\b|\bchoice\b|\bpriority\b|\boption\b|\bpreference\b|\bauswahl\b|\bchoix\b|\bvariante?\b|优先|選択"
)
_SECOND = re.compile(r"^(?:[2-9]|(?:2nd|3rd|4th|second|third)(?: choice)?)$")
_PREFIX = re.compile(
    r"^\(?\s*(?:alt(?:ernative|ernativ|ernativa|ernate)?\b|or\b|oder\b|ou\b|lub\b|или\b|或)\s*[:.)\-]", re.IGNORECASE
)


def choices(block: Block, view: View, kind: NDArray[np.object_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows (0-based in the block) that are alternatives to another line, and those named so but needed themselves.

    Notes
    -----
    A line is one if a cell of a column that is neither name nor figure says so ("alternative", "2nd choice"), if its
    name begins with "Alternative:" or "or:", if a ranking column ranks it after a first choice of the same section, or
    if a column of alternates names it or says yes to it.
    """
    lines = np.flatnonzero(kind == "part")
    marked = np.zeros(len(kind), dtype=bool)
    named = {m.column - block.left for m in block.mapped.values() if m.name != "note"}
    marked[lines] = each(view.description[lines], lambda t: _PREFIX.match(t) is not None, bool)
    for c, column in enumerate(view.columns):
        if c in named:
            continue
        marked[lines] |= each(column[lines], lambda t: _is_short(t) and is_alternative(t), bool)
    marked |= _outranked(block, view, kind, lines)
    needed = np.zeros(len(kind), dtype=bool)
    for c, header in enumerate(block.headers[block.left :]):
        if c not in named and is_word("alternate for", header.words):
            cells, numbers = texts(view.columns[c])[lines], view.part_no[lines]
            marked[lines] |= np.isin(cells, numbers[numbers != ""]) & (cells != numbers)
        elif c not in named and is_word("alternate column", header.words):
            beside, too = _named_beside(view, lines, texts(view.columns[c])[lines])
            marked[beside], needed[too] = True, True
    found = np.flatnonzero(marked)
    return found if len(found) < len(lines) else np.empty(0, dtype=np.intp), np.flatnonzero(needed & ~marked)


def _is_short(cell: object) -> bool:
    return isinstance(cell, str) and 3 <= len(cell) <= 40  # noqa: PLR2004  (a word or a few)


def _outranked(block: Block, view: View, kind: NDArray[np.object_], lines: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Lines ranked 2 or later in a section that has a line ranked 1."""
    marked = np.zeros(len(kind), dtype=bool)
    ranking = [c for c, h in enumerate(block.headers[block.left :]) if _RANKED.search(fold(h.text))]
    if not ranking:
        return marked
    ranks = view.columns[ranking[0]]
    section = np.cumsum(np.isin(kind, ("heading", "header", "blank")))
    first = {int(section[i]) for i in lines if _rank(ranks[i]) in ("1", "1st", "1st choice", "first", "first choice")}
    for i in lines:
        if int(section[i]) in first and _SECOND.match(_rank(ranks[i])):
            marked[i] = True
    return marked


def _rank(cell: object) -> str:
    return str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell).strip().lower()


def _named_beside(view: View, lines: NDArray[np.intp], cells: NDArray[np.object_]) -> tuple[list[int], list[int]]:
    """Rows that a column of alternates names as another's alternate, or says yes to; and those needed themselves.

    Notes
    -----
    A part that is named so and needed in another quantity is needed for something else too. Of two that name each other
    the second is the alternate. Where most lines say yes, they have an alternate; where few do, they are one.
    """
    said, unread = flags(cells)
    yes = [int(i) for i, flag, c in zip(lines, said, cells, strict=True) if flag and not c.isdigit()]  # 1 may be a rank
    place = {number: int(i) for i, number in zip(lines[::-1], view.part_no[lines[::-1]], strict=True) if number}
    stand_ins: dict[int, int] = {}
    needed = []
    for i, other in [(int(i), place[c]) for i, c in zip(lines, cells, strict=True) if c in place]:
        first = i
        while first in stand_ins:
            first = stand_ins[first]
        same = view.qty is None or view.number("qty", i) == view.number("qty", other)
        if same and other != first and other not in stand_ins:
            stand_ins[other] = i
        elif not same and other not in stand_ins:
            needed.append(other)
    return sorted(stand_ins) + (yes if not unread.any() and 2 * len(yes) < len(lines) else []), needed
