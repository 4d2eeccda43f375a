"""Part numbers or names staggered over columns, level 1 in the first, level 2 in the next: one column, and levels."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bomaudit.glossary import Table
from bomaudit.tables.headers import Header
from bomaudit.tables.locate import Block, block_below
from bomaudit.tables.profile import profile
from bomaudit.tables.rowkinds import filled_cells
from bomaudit.tables.sheets import letter

_FEWEST = 3
_MARK = re.compile(r"[x×✓✔*•\d]|\d\.0", re.IGNORECASE)
_OF_LEVEL = re.compile(
    r"(?:level|lvl|ebene|stufe|niveau|nivel|livello|poziom|l)? ?\d|sub ?assembly|part|component|item"
)
"""Headers of the columns after the first, where they have one."""
_NAMES = ("level", "part_no", "~name", "description", "~category", "parent_no")


def unstaggered(block: Block, table: Table, stated: Mapping[str, str]) -> Block:
    """Join columns of which each row fills one, the deeper the further right, to one, and keep the depth as level.

    Notes
    -----
    Lines of the first column must say more than a name, else they are headings; none goes two levels down at once.
    """
    if not block.header_rows or {"level", "part_no"} & set(stated):
        return block
    filled = np.array([filled_cells(c[block.first : block.last]) for c in block.sheet.columns[: block.right]])
    for left in range(block.left, block.right - 1):
        right = _end_of_run(block.headers, filled, left)
        if right - left > 1 and _is_structure(filled[left:right], np.delete(filled, slice(left, right), axis=0)):
            return _joined(block, table, stated, (left, right), filled[left:right])
    return block


def _end_of_run(headers: tuple[Header, ...], filled: NDArray[np.bool_], left: int) -> int:
    """Column after the last of those that share no row with each other, the first naming or ranking lines."""
    first = headers[left]
    if not (_OF_LEVEL.fullmatch(first.words) or max(first.score(n) for n in _NAMES) > 0):
        return left
    right, used = left + 1, filled[left].copy()
    while right < len(headers) and filled[right].any() and not (used & filled[right]).any():
        if headers[right].words and not _OF_LEVEL.fullmatch(headers[right].words):
            break
        used |= filled[right]
        right += 1
    return right


def _is_structure(run: NDArray[np.bool_], others: NDArray[np.bool_]) -> bool:
    named, more = np.asarray(run.any(axis=0)), np.asarray(others.sum(axis=0) > 1)
    depth = run.argmax(axis=0)[named]
    if len(depth) < _FEWEST or depth[0] != 0 or np.any(np.diff(depth) > 1):
        return False
    return bool(more[run[0]].mean() > 0.5 and more[named].mean() > 0.9 and named[more].mean() > 0.9)  # noqa: PLR2004


def _joined(
    block: Block, table: Table, stated: Mapping[str, str], span: tuple[int, int], run: NDArray[np.bool_]
) -> Block:
    (left, right), columns = span, list(block.sheet.columns)
    name, level = columns[left].copy(), columns[left + 1].copy()
    rows = np.arange(block.first, block.last)
    name[rows], level[rows] = "", ""
    for depth in range(right - left):
        at = rows[run[depth]]
        name[at], level[at] = columns[left + depth][at], float(depth + 1)
    p = profile(name[rows])
    marks = all(_MARK.fullmatch(str(c).strip()) for c in name[rows] if c != "")
    number = "part_no" not in block.mapped or left <= block.mapped["part_no"].column < right
    role = "part_no" if number or p.codes + p.long_numbers > 0.6 else "description"  # noqa: PLR2004
    columns[left : left + 2] = [name, level]
    for c in range(left if marks else left + 2, right):
        columns[c] = level if c == left + 1 else columns[c].copy()
        columns[c][rows] = level[rows] if c == left + 1 else ""
    own = {"level": letter(left + 1)} if marks else {"level": letter(left + 1), role: letter(left)}
    sheet = replace(block.sheet, columns=tuple(columns))
    said, wide = {**stated, **own}, (block.left, block.right)
    got = block_below(sheet, table, block.header_rows, stated=said, span=wide, last=block.last)
    if got is None:
        return block
    mapped = {n: replace(m, how="content") if n in own else m for n, m in got.mapped.items()}
    return replace(got, mapped=mapped, rival=block.rival, staggered=f"{letter(left)} to {letter(right - 1)}")
