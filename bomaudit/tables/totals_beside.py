"""Totals that stand above or beside the table: a label, and a number next to it or under it."""

from __future__ import annotations

from typing import Any

import numpy as np

from bomaudit.tables.cells import amounts
from bomaudit.tables.locate import MOST_COLUMNS, Block
from bomaudit.tables.sheets import Sheet, letter
from bomaudit.tables.words import label_kind

_ROWS_ABOVE = 12
_ROWS_UNDER = 5


def labelled_figures(block: Block) -> list[tuple[int, str, float]]:
    """Find figures labelled as a total above the header, or in header cells beyond the mapped columns.

    Returns
    -------
    list of (1-based row, column letter, figure)
    """
    sheet, found = block.sheet, []
    top = block.header_rows[0] if block.header_rows else block.first
    last_mapped = max(m.column for m in block.mapped.values())
    for row in range(max(0, top - _ROWS_ABOVE), top):
        for column, cells in enumerate(sheet.columns[:MOST_COLUMNS]):
            if isinstance(cells[row], str) and label_kind(cells[row].strip()) == "total":
                figure = _right_of(sheet, row, column)
                if figure is not None:
                    found.append(figure)
                break
    for column in range(last_mapped + 2, min(len(sheet.columns), MOST_COLUMNS)):
        for row in block.header_rows:
            cell = sheet.columns[column][row]
            if (
                isinstance(cell, str)
                and label_kind(cell.strip()) == "total"
                and not _runs_on(sheet, column, block.first)
            ):
                figure = _under(sheet, row, column)
                if figure is not None:
                    found.append(figure)
    return found


def _runs_on(sheet: Sheet, column: int, first: int) -> bool:
    """Whether a column holds a figure on most lines: then it is a column, not a total."""
    cells = sheet.columns[column][first : first + 40]
    return sum(_number(c) is not None for c in cells) > max(2, len(cells) // 4)


def _right_of(sheet: Sheet, row: int, column: int) -> tuple[int, str, float] | None:
    for c in range(column + 1, min(len(sheet.columns), MOST_COLUMNS)):
        value = _number(sheet.columns[c][row])
        if value is not None:
            return row + 1, letter(c), value
    return None


def _under(sheet: Sheet, row: int, column: int) -> tuple[int, str, float] | None:
    for r in range(row + 1, min(sheet.n_rows, row + 1 + _ROWS_UNDER)):
        value = _number(sheet.columns[column][r])
        if value is not None:
            return r + 1, letter(column), value
    return None


def _number(cell: Any) -> float | None:
    if cell in ("", None) or isinstance(cell, bool):
        return None
    one = np.empty(1, dtype=object)
    one[0] = cell
    value = float(amounts(one).value[0])
    return value if np.isfinite(value) else None
