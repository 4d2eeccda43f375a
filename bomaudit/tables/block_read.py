"""What is read of a block before its rows are told apart: figures, names, formats."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bomaudit.settings import ReadSection
from bomaudit.tables.cells import Amounts, amounts, decimal_mark, texts, texts_in
from bomaudit.tables.convert import column_decimal
from bomaudit.tables.dress import Dress
from bomaudit.tables.locate import Block
from bomaudit.tables.rowkinds import View, make_view

FIGURES = ("qty", "unit_cost", "extended_cost")
DressOf = Callable[[Block, tuple[int, ...]], Dress]


@dataclass(frozen=True)
class Reading:
    """What is read of a block before its rows are told apart."""

    block: Block
    span: slice
    rows: NDArray[np.intp]
    reads: dict[str, Amounts | None]
    assumed: dict[str, bool]
    part_no: NDArray[np.object_]
    description: NDArray[np.object_]
    decimal: str
    dress: Dress

    @property
    def where(self) -> dict[str, Any]:
        """File and sheet, for findings."""
        return {"file": self.block.sheet.file, "sheet": self.block.sheet.name}

    def cells(self, name: str) -> NDArray[np.object_]:
        """Raw cells of a mapped column."""
        return self.block.sheet.columns[self.block.mapped[name].column][self.span]


def read_block(block: Block, read: ReadSection, dress_of: DressOf) -> Reading:
    """Read figures, names and formats of a block."""
    span, rows = slice(block.first, block.last), np.arange(block.first, block.last) + 1
    sheet = block.sheet
    wanted = tuple(sorted({m.column for n, m in block.mapped.items() if n in (*FIGURES, "description", "part_no")}))
    dress = dress_of(block, wanted)
    decimal = _pooled_decimal(block, span)
    reads: dict[str, Amounts | None] = dict.fromkeys(FIGURES)
    assumed: dict[str, bool] = {}
    for name in FIGURES:
        if name in block.mapped:
            at = block.mapped[name].column
            cells = sheet.columns[at][span]
            mark, assumed[name] = column_decimal(cells, read, decimal)
            got = amounts(cells, mark, money=name != "qty")
            if name != "qty":
                got = got.times(block.headers[at].scale)
            reads[name] = _with_errors(got, dress, at, block.first)
    blank = np.full(len(rows), "", dtype=object)
    names = {
        n: texts(sheet.columns[block.mapped[n].column][span]) if n in block.mapped else blank
        for n in ("part_no", "description")
    }
    if "part_no" in block.mapped:
        names["part_no"] = _with_zeros(
            names["part_no"], dress.zeros.get(block.mapped["part_no"].column, {}), block.first
        )
    return Reading(block, span, rows, reads, assumed, names["part_no"], names["description"], decimal, dress)


def _with_errors(got: Amounts, dress: Dress, column: int, first: int) -> Amounts:
    """Mark cells that hold an error value or a formula without a stored result: a reader of values shows them blank."""
    for kind, cells in (("error", dress.errors), ("uncalculated", dress.uncalculated)):
        for r, c in cells:
            if c == column and 0 <= r - first < len(got.state) and np.isnan(got.value[r - first]):
                got.state[r - first] = kind
    return got


def _with_zeros(numbers: NDArray[np.object_], zeros: dict[int, int], first: int) -> NDArray[np.object_]:
    """Part numbers typed as numbers and shown with leading zeros keep them."""
    for row, digits in zeros.items():
        i = row - first
        if 0 <= i < len(numbers) and numbers[i].isdigit():
            numbers[i] = numbers[i].zfill(digits)
    return numbers


def _pooled_decimal(block: Block, span: slice) -> str:
    """Decimal mark the money and quantity columns of the block prove together."""
    columns = (block.sheet.columns[block.mapped[name].column][span] for name in FIGURES if name in block.mapped)
    return decimal_mark([text for column in columns for text in texts_in(column)])[0]


def view_of(r: Reading) -> View:
    """What the kinds of rows are told from."""
    block = r.block
    across = np.zeros(len(r.rows), dtype=bool)
    for r1, c1, r2, c2 in block.sheet.merged:
        if r1 == r2 and c2 - c1 >= 1 and block.left <= c1 < block.right and 0 <= r1 - block.first < len(across):
            across[r1 - block.first] = True
    at = block.mapped["description" if "description" in block.mapped else "part_no"].column
    columns = [c[r.span] for c in block.sheet.columns[block.left : block.right]]
    return make_view(
        columns,
        part_no=r.part_no,
        description=r.description,
        qty=r.reads["qty"],
        unit=r.reads["unit_cost"],
        extended=r.reads["extended_cost"],
        at=at - block.left,
        across=across,
    )
