"""Lines that stand in for another line: second choices, marked alternatives."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from bomaudit.tables.distinct import each
from bomaudit.tables.headers import fold
from bomaudit.tables.locate import Block
from bomaudit.tables.rowkinds import View
from bomaudit.tables.words import is_alternative

_RANKED = re.compile(
    r"\brank(?:ing)?\b|\bchoice\b|\bpriority\b|\boption\b|\bpreference\b|\bauswahl\b|\bchoix\b|\bvariante?\b|优先|選択"
)
_SECOND = re.compile(r"^(?:[2-9]|(?:2nd|3rd|4th|second|third)(?: choice)?)$")
_PREFIX = re.compile(
    r"^\(?\s*(?:alt(?:ernative|ernativ|ernativa|ernate)?\b|or\b|oder\b|ou\b|lub\b|или\b|或)\s*[:.)\-]", re.IGNORECASE
)


def choices(block: Block, view: View, kind: NDArray[np.object_]) -> NDArray[np.intp]:
    """Rows (0-based in the block) that are alternatives to another line.

    Notes
    -----
    A line is one if a cell of a column that is neither name nor figure says so ("alternative", "2nd choice"), if its
    name begins with "Alternative:" or "or:", or if a ranking column ranks it after a first choice of the same section.
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
    found = np.flatnonzero(marked)
    return found if len(found) < len(lines) else np.empty(0, dtype=np.intp)


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
