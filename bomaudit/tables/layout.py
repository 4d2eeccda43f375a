"""Several tables on one sheet: beside each other, below each other, or one that runs across instead of down."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from bomaudit.glossary import Table
from bomaudit.tables.assign import telling_columns
from bomaudit.tables.distinct import each
from bomaudit.tables.headers import fold
from bomaudit.tables.locate import MOST_COLUMNS, Block, block_below, find_block, header_score, is_bom
from bomaudit.tables.sheets import Sheet
from bomaudit.tables.staggered import unstaggered

_MOST_BLOCKS = 50
"""Tables below each other that are looked for on one sheet."""
_FULL_LOOK_ROWS = 5000
"""Sheets up to this length are looked through row by row for further headers; longer ones where a figure is missing."""
_TRANSPOSED_COLUMNS = 400


def find_blocks(sheet: Sheet, table: Table, *, stated: Mapping[str, str]) -> list[Block]:
    """Find all tables of the wanted kind on a sheet, in reading order; none, one, or several."""
    if not sheet.n_rows:
        return []
    first = find_block(sheet, table, stated=stated)
    if table.name == "bom" and (first is None or not is_bom(first)):
        first = transposed(sheet, table, stated) or first
    if first is None or table.name != "bom" or not is_bom(first) or first.sheet.turned:
        return [first] if first is not None else []
    first = unstaggered(first, table, stated)
    found: list[Block] = []
    for block in beside(first, table, stated):
        found += below(block, table, stated)
    return found


def beside(block: Block, table: Table, stated: Mapping[str, str]) -> list[Block]:
    """Split a block whose header says the same columns twice, with an empty column or the same order between."""
    groups = _column_groups(block)
    if len(groups) < 2 or not block.header_rows:  # noqa: PLR2004
        return [block]
    parts = [
        block_below(block.sheet, table, block.header_rows, stated=stated, span=(a, b), last=block.last)
        for a, b in groups
    ]
    good = [p for p in parts if p is not None and is_bom(p)]
    if len(good) < 2 or not _alike(good[0], good[1]):  # noqa: PLR2004
        return [block]
    return good


def _column_groups(block: Block) -> list[tuple[int, int]]:
    """Runs of columns between columns that are empty from the header down."""
    start = block.header_rows[-1] if block.header_rows else block.first
    groups, left = [], None
    end = min(len(block.sheet.columns), MOST_COLUMNS)
    for c in range(block.left, end):
        used = any(cell not in ("", None) for cell in block.sheet.columns[c][start : min(block.last, start + 200)])
        if used and left is None:
            left = c
        if not used and left is not None:
            groups.append((left, c))
            left = None
    if left is not None:
        groups.append((left, end))
    return groups


def _alike(a: Block, b: Block) -> bool:
    """Whether the second table has the columns of the first that matter, under the same headers."""

    def words(block: Block) -> set[str]:
        return {block.headers[c].words for c in telling_columns(block.mapped)}

    return bool(words(b)) and len(words(a) & words(b)) >= 0.6 * len(words(b))


def below(block: Block, table: Table, stated: Mapping[str, str]) -> list[Block]:
    """Split a block at further headers below it that are not the same header again."""
    found = []
    for _ in range(_MOST_BLOCKS):
        cut = _next_header(block, table)
        if cut is None:
            break
        rows, first = cut
        further = block_below(block.sheet, table, rows, stated=stated, span=(block.left, block.right), last=block.last)
        if further is None or not is_bom(further):
            break
        found.append(replace(block, last=first))
        block = further
    found.append(block)
    return found


def _next_header(block: Block, table: Table) -> tuple[tuple[int, ...], int] | None:
    own = header_score(block.sheet, table, block.header_rows[-1], block.left, block.right) if block.header_rows else 3.0
    known = {h.words for h in block.headers if h.words}
    for row in _suspects(block):
        texts = [c[row] for c in block.sheet.columns[block.left : block.right]]
        words = [fold(t) for t in texts if isinstance(t, str) and t.strip()]
        if len(words) < 2 or any(isinstance(t, (int, float)) and not isinstance(t, bool) for t in texts):  # noqa: PLR2004
            continue
        if len(set(words) & known) >= 0.6 * len(words):
            continue
        if header_score(block.sheet, table, row, block.left, block.right) >= max(1.8, 0.5 * own):
            return (row,), row
    return None


def _suspects(block: Block) -> list[int]:
    """Rows in which a further header may stand."""
    rows = range(block.first, block.last)
    if len(rows) <= _FULL_LOOK_ROWS:
        return list(rows)
    suspect = np.zeros(len(rows), dtype=bool)
    for name in ("qty", "unit_cost", "extended_cost"):
        if name in block.mapped:
            cells = block.sheet.columns[block.mapped[name].column][block.first : block.last]
            suspect |= each(cells, lambda c: isinstance(c, str) and c[:1].isalpha(), bool)
    return [block.first + int(i) for i in np.flatnonzero(suspect)[:1000]]


def transposed(sheet: Sheet, table: Table, stated: Mapping[str, str]) -> Block | None:
    """Find a table whose headers stand in a column and whose lines run across."""
    if not 2 <= len(sheet.columns) <= _TRANSPOSED_COLUMNS or not 2 <= sheet.n_rows <= _TRANSPOSED_COLUMNS:  # noqa: PLR2004
        return None
    grid = np.empty((len(sheet.columns), sheet.n_rows), dtype=object)
    for c, column in enumerate(sheet.columns):
        grid[c, :] = column
    turned = Sheet(
        sheet.file,
        sheet.name,
        tuple(grid[:, r] for r in range(sheet.n_rows)),
        len(sheet.columns),
        sheet.visible,
        turned=True,
    )
    block = find_block(turned, table, stated=stated)
    return block if block is not None and is_bom(block) and len(block.header_rows) > 0 else None


def title_of(block: Block) -> str:
    """What a table is called: the sheet, and the text above its header."""
    sheet, top = block.sheet, block.header_rows[0] if block.header_rows else block.first
    for row in range(top - 1, max(-1, top - 3), -1):
        texts = [c[row] for c in sheet.columns[block.left : block.right] if isinstance(c[row], str) and c[row].strip()]
        if texts:
            return f"{sheet.name} {texts[0]}" if len(texts[0]) < 80 else sheet.name  # noqa: PLR2004  (a sentence is no title)
    return sheet.name
