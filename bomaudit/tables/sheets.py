"""A sheet of raw cells, column by column: what every file type is opened to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

import numpy as np
from numpy.typing import NDArray

Cells = NDArray[np.object_]
"""One column of raw cells: str, float, int, bool, datetime, date, time, timedelta; "" is blank."""


@dataclass(frozen=True)
class Sheet:
    """One sheet of raw cells.

    Attributes
    ----------
    file, name : str
        File name and sheet name (empty for text files).
    columns : tuple of object arrays, each of length n_rows
        Raw cells, column by column.
    n_rows : int
        Rows from the first of the sheet to the last used one.
    visible : bool
        False for a hidden sheet.
    merged : tuple of (first row, first column, last row, last column)
        0-based.
    turned : bool
        Rows and columns were exchanged: the table runs across in the file.
    """

    file: str
    name: str
    columns: tuple[Cells, ...]
    n_rows: int
    visible: bool = True
    merged: tuple[tuple[int, int, int, int], ...] = ()
    turned: bool = False

    def row(self, index: int) -> list[Any]:
        """Cells of a row by 0-based index."""
        return [column[index] for column in self.columns]


def letter(index: int) -> str:
    """Spreadsheet letter of a 0-based column: 0 → A, 26 → AA."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(65 + rest) + text
    return text


def sheet_from_rows(file: str, name: str, rows: Sequence[Sequence[Any]], *, visible: bool = True) -> Sheet:
    """Turn rows (of equal or unequal length) into a :class:`Sheet`."""
    return Sheet(file, name, columns_of(rows), len(rows), visible)


def columns_of(rows: Sequence[Sequence[Any]]) -> tuple[Cells, ...]:
    """Turn rows of equal or unequal length into columns."""
    even = len({len(r) for r in rows}) < 2  # noqa: PLR2004
    across = zip(*rows, strict=True) if even else zip_longest(*rows, fillvalue="")
    return tuple(_column(values) for values in across)


def _column(values: Sequence[Any]) -> Cells:
    column = np.empty(len(values), dtype=object)
    column[:] = values
    return column
