"""Sums that come out the same in any order: amounts as whole ticks, grouped, added and merged without rounding."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from bomaudit.screen.schema import AMOUNTS, COUNTS

Ticks = npt.NDArray[np.int64]

TICKS_PER_UNIT = 10_000
"""An amount is counted in ten-thousandths: sums of whole numbers do not depend on their order, sums of floats do."""
LARGEST = 1e11
"""Amounts of one line above this are not added up: a slip of the unit or currency is likelier, and the sum of ten
thousand of them would not fit. Engineering judgement. [currency/year]"""
QUANTITY_TICKS, LARGEST_QUANTITY = 1_000_000, 1e9
"""The same for quantities: millionths, and what one line may use a year. [uom/year]"""

KEYS = ("by", "name", "description")
FIGURES = (*COUNTS, *AMOUNTS)
SCHEMA = pa.schema([*((k, pa.string()) for k in KEYS), *((f, pa.int64()) for f in FIGURES)])
_MERGE_FROM = 2_000_000  # rows that wait before they are merged: merging each small table anew would cost most


def ticks(
    amounts: npt.ArrayLike, *, per_unit: int = TICKS_PER_UNIT, largest: float = LARGEST
) -> tuple[Ticks, npt.NDArray[np.bool_]]:
    """Amounts as whole ticks, and which of them are too large to be added.

    Parameters
    ----------
    amounts : array, shape (lines,)
        NaN counts as nothing.
    per_unit : int
        Ticks of one unit.
    largest : float
        Most that one line may add.

    Returns
    -------
    ticks : array of int64, shape (lines,)
    too_large : array of bool, shape (lines,)
        These count 0.
    """
    values = np.asarray(amounts, dtype=float)
    too_large = np.abs(values) > largest
    return np.rint(np.where(too_large | np.isnan(values), 0.0, values) * per_unit).astype(np.int64), too_large


@dataclass(frozen=True)
class Names:
    """Names of lines: one of ``names`` each."""

    codes: npt.NDArray[np.int64]
    names: npt.NDArray[np.object_]

    @classmethod
    def of(cls, values: npt.ArrayLike) -> Names:
        """Names as they stand in a column of texts."""
        codes, names = pd.factorize(np.asarray(values, dtype=object))
        return cls(codes.astype(np.int64), np.asarray(names, dtype=object))

    def beside(self, other: Names) -> Names:
        """Pairs of two names, separated by a character that no text holds."""
        joined = self.codes * max(len(other.names), 1) + other.codes
        codes, pairs = pd.factorize(joined)
        first, second = np.divmod(pairs, max(len(other.names), 1))
        texts = [f"{a}\x00{b}" for a, b in zip(self.names[first], other.names[second], strict=True)]
        return Names(codes.astype(np.int64), np.array(texts, dtype=object))


def group(by: str, names: Names, figures: Mapping[str, Ticks]) -> pa.Table:
    """Sum the figures of lines by name.

    Parameters
    ----------
    by : str
        What the names are: "bom", "part", …
    names : Names
        Of each line; those of parts are pairs of part number and description.
    figures : mapping of str to array of int64, shape (lines,)

    Returns
    -------
    pyarrow Table, columns :data:`SCHEMA`
    """
    order = np.argsort(names.codes, kind="stable")
    codes = names.codes[order]
    starts = np.flatnonzero(np.concatenate([[True], codes[1:] != codes[:-1]])) if len(codes) else np.zeros(0, np.int64)
    texts = [str(t).partition("\x00") for t in names.names[codes[starts]]] if len(codes) else []
    sums = [np.add.reduceat(figures[f][order], starts) if len(starts) else np.zeros(0, np.int64) for f in FIGURES]
    keys = [pa.array([by] * len(starts), pa.string()), pa.array([t[0] for t in texts], pa.string()),
            pa.array([t[2] for t in texts], pa.string())]  # fmt: skip
    return pa.Table.from_arrays([*keys, *(pa.array(s, pa.int64()) for s in sums)], schema=SCHEMA)


def merge(tables: Iterable[pa.Table]) -> pa.Table:
    """Add up grouped sums; memory grows with the distinct names, not with the tables.

    Parameters
    ----------
    tables : iterable of pyarrow Table, columns :data:`SCHEMA`

    Returns
    -------
    pyarrow Table
        One row a name, sorted by :data:`KEYS`.
    """
    waiting: list[pa.Table] = []
    rows = 0
    for table in tables:
        waiting.append(table)
        rows += len(table)
        if rows > _MERGE_FROM and len(waiting) > 1:
            waiting = [_added(waiting)]
            rows = len(waiting[0]) // 2  # so that a table of many names is not merged anew for every small one
    return _added(waiting).sort_by([(k, "ascending") for k in KEYS])


def _added(tables: list[pa.Table]) -> pa.Table:
    whole = pa.concat_tables(tables) if tables else SCHEMA.empty_table()
    summed = whole.group_by(list(KEYS)).aggregate([(f, "sum") for f in FIGURES])
    return pa.Table.from_arrays([summed[k] for k in KEYS] + [summed[f"{f}_sum"] for f in FIGURES], schema=SCHEMA)
