"""A partition of the dataset, batch by batch: texts as codes, figures as arrays, whatever types the file stores."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
from pyarrow import parquet

from bomaudit.findings import BadInput, error
from bomaudit.glossary import BOM, PLACE_COLUMNS, ROW_KINDS
from bomaudit.screen.schema import DATASET
from bomaudit.screen.sums import Names
from bomaudit.tables.frames import LINE_COLUMNS, typed_frame

ROWS = 200_000
"""Lines held at a time, whatever the partitions: bounds the memory of a task. [lines]"""

_TEXTS = frozenset({"text", "code"})
_DATES = frozenset({"date", "period"})
_DEFAULT_KIND = "part"

Codes = npt.NDArray[np.int64]
Column = Names | npt.NDArray[np.float64] | npt.NDArray[np.datetime64]


@dataclass(frozen=True)
class Batch:
    """Some neighbouring lines of a partition.

    Attributes
    ----------
    first : int
        1-based row of the first line in the partition.
    size : int
    columns : dict of str to Names, float array or datetime64[us] array
        By the names of :data:`bomaudit.screen.schema.DATASET`; missing values "", NaN and NaT.
    """

    first: int
    size: int
    columns: dict[str, Column]

    def texts(self, name: str) -> Names:
        """Return a column of texts."""
        column = self.columns[name]
        assert isinstance(column, Names)  # noqa: S101  (by the schema)
        return column

    def figures(self, name: str) -> npt.NDArray[np.float64]:
        """Return a column of figures."""
        return np.asarray(self.columns[name], dtype=float)


def read_batches(path: Path, names: Iterable[str] = DATASET.names) -> Iterator[Batch]:
    """Read a partition batch by batch.

    Parameters
    ----------
    path : Path
    names : iterable of str
        Columns to read; those that the file does not have are missing throughout.

    Yields
    ------
    Batch

    Raises
    ------
    BadInput
        ``N002`` for a file that is no whole Parquet file, ``N003`` if it lacks a required column, ``N004`` for a column
        of the wrong type.
    """
    wanted = [c for c in DATASET.columns if c.name in set(names)]
    try:
        with parquet.ParquetFile(path) as file:
            schema = file.schema_arrow
            _check(path, schema.names)
            texts = [c.name for c in wanted if c.kind in _TEXTS and c.name in schema.names]
            coded = [n for n in texts if pa.types.is_string(schema.field(n).type)]
        first = 1
        with parquet.ParquetFile(path, read_dictionary=coded) as file:
            present = [c.name for c in wanted if c.name in schema.names]
            for rows in file.iter_batches(batch_size=ROWS, columns=present, use_threads=False):
                columns = {c.name: _column(path, rows, c.name, c.kind) for c in wanted}
                yield Batch(first, rows.num_rows, columns)
                first += rows.num_rows
    except (pa.ArrowException, OSError) as problem:
        if isinstance(problem, OSError) and problem.errno is not None and not isinstance(problem, pa.ArrowException):
            raise
        raise BadInput(
            error("N002", "a partition must be a whole Parquet file", file=path.name, found=_first_line(problem),
                  assumed="passed over", advice="write the partition again")
        ) from None  # fmt: skip


def _first_line(problem: Exception) -> str:
    return str(problem).splitlines()[0] if str(problem) else type(problem).__name__


def _check(path: Path, present: Iterable[str]) -> None:
    missing = [c.name for c in DATASET.columns if c.required and c.name not in present]
    if missing:
        raise BadInput(
            error("N003", f"a partition needs the column {missing[0]}", file=path.name, column=missing[0],
                  assumed="passed over", advice="see the columns of a dataset in README.md")
        )  # fmt: skip


def _column(path: Path, rows: pa.RecordBatch, name: str, kind: str) -> Column:
    if name not in rows.schema.names:
        return _missing(kind, rows.num_rows)
    values = rows.column(name)
    try:
        if kind in _TEXTS:
            return _names(values)
        if kind in _DATES:
            return np.asarray(values.cast(pa.timestamp("us")).to_numpy(zero_copy_only=False), dtype="datetime64[us]")
        return np.asarray(values.cast(pa.float64()).to_numpy(zero_copy_only=False), dtype=float)
    except pa.ArrowException as problem:
        raise BadInput(
            error("N004", f"{name} must hold a {kind}", file=path.name, column=name, found=_first_line(problem),
                  assumed="partition passed over", advice="store the column in its type")
        ) from None  # fmt: skip


def _missing(kind: str, size: int) -> Column:
    if kind in _TEXTS:
        return Names(np.zeros(size, dtype=np.int64), np.array([""], dtype=object))
    if kind in _DATES:
        return np.full(size, np.datetime64("NaT", "us"), dtype="datetime64[us]")
    return np.full(size, np.nan)


def _names(values: pa.Array) -> Names:
    """Texts as codes of distinct names; missing is ""."""
    if not pa.types.is_dictionary(values.type):
        values = values.cast(pa.string()).dictionary_encode()
    listed = values.dictionary.cast(pa.string()).to_pylist()
    unique, names = pd.factorize(np.array(["", *("" if n is None else n for n in listed)], dtype=object))
    at = values.indices.cast(pa.int64()).fill_null(-1).to_numpy(zero_copy_only=False)
    return Names(unique[at + 1].astype(np.int64), np.asarray(names, dtype=object))


def distinct(batch: Batch, columns: Iterable[str | npt.NDArray[np.bool_]]) -> tuple[Codes, Codes]:
    """Lines that agree in some columns, once.

    Parameters
    ----------
    batch : Batch
    columns : iterable of str or bool array
        Names of columns, or a mark of each line.

    Returns
    -------
    first : array of int, shape (distinct,)
        Position of the first line of each.
    inverse : array of int, shape (lines,)
        Which of them each line is.
    """
    whole = np.zeros(batch.size, dtype=np.int64)
    for name in columns:
        column = batch.columns[name] if isinstance(name, str) else name.astype(float)
        codes = column.codes if isinstance(column, Names) else pd.factorize(column, use_na_sentinel=False)[0]
        if len(codes):
            whole = pd.factorize(whole * (int(codes.max()) + 1) + codes)[0].astype(np.int64)
    seen = np.maximum.accumulate(whole) if len(whole) else whole
    fresh = np.concatenate([[True], seen[1:] > seen[:-1]])[: len(whole)]
    return np.flatnonzero(fresh).astype(np.int64), whole


def is_credit(batch: Batch) -> npt.NDArray[np.bool_]:
    """Lines whose quantity is stated below 0: a credit or a correction, nothing that is built in."""
    return np.asarray(batch.figures("qty_per") < 0)


def quantity_per(batch: Batch) -> npt.NDArray[np.float64]:
    """Quantity per product that each line counts with: 1 where none is stated, 0 for a credit. [uom]"""  # noqa: D400
    return np.asarray(np.where(is_credit(batch), 0.0, np.nan_to_num(batch.figures("qty_per"), nan=1.0)))


def row_kinds(batch: Batch) -> Names:
    """Kinds of the lines; what is no kind is a part."""
    kinds = batch.texts("row_kind")
    told = [str(n).strip().lower() for n in kinds.names]
    codes, names = pd.factorize(np.array([n if n in ROW_KINDS else _DEFAULT_KIND for n in told], dtype=object))
    return Names(codes[kinds.codes].astype(np.int64), np.asarray(names, dtype=object))


def as_bom(batch: Batch, rows: Codes) -> pd.DataFrame:
    """Some lines in the shape of a bill without structure, as :func:`bomaudit.prepare.lines.prepare_lines` takes it."""
    kinds = row_kinds(batch)
    known = {c.name for c in BOM.columns}
    data: dict[str, object] = {}
    for name, column in batch.columns.items():
        if name in known:
            data[name] = column.names[column.codes[rows]] if isinstance(column, Names) else column[rows]
    places = {n: np.full(len(rows), "", dtype=object) for n in PLACE_COLUMNS[:2]}
    bare = {n: np.full(len(rows), np.nan) for n in LINE_COLUMNS if n.startswith("unit_cost")}
    data |= places | bare | {
        "qty": np.where(is_credit(batch)[rows], -1.0, 1.0), "row_kind": kinds.names[kinds.codes[rows]],
        "parent_row": np.full(len(rows), -1, dtype=np.intp),
    }  # fmt: skip
    data.pop("annual_volume", None)
    return typed_frame(BOM, data, len(rows))
