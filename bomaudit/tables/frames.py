"""Frames of the canonical tables: every column present, typed by its kind, missing where the file has none."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from bomaudit.glossary import PLACE_COLUMNS, Column, Table

LINE_COLUMNS = (
    "row_kind", "unit_cost_low", "unit_cost_high", "qty_negative", "not_fitted", "parent_row", "exploded_row",
)  # fmt: skip
"""Columns a BOM frame has beside the canonical ones: kind of row, ends of a price range, whether the quantity, which is
then missing, is stated below 0, whether the line is not fitted, position of the parent, position of the row beneath
which the same assembly is broken down where it is not broken down beneath the row itself."""


def empty_frame(table: Table) -> pd.DataFrame:
    """Frame of a table without rows, every column present and typed."""
    extra: dict[str, Any] = {}
    if table.name == "bom":
        extra = {"row_kind": np.empty(0, dtype=object), "unit_cost_low": np.empty(0), "unit_cost_high": np.empty(0),
                 "qty_negative": np.empty(0, dtype=bool), "not_fitted": np.empty(0, dtype=bool),
                 "parent_row": np.empty(0, dtype=np.intp), "exploded_row": np.empty(0, dtype=np.intp)}  # fmt: skip
    return typed_frame(table, extra, 0)


def typed_frame(table: Table, data: Mapping[str, Any], n: int) -> pd.DataFrame:
    """Frame of ``n`` rows: canonical columns, place columns, then whatever else ``data`` holds."""
    columns: dict[str, Any] = {c.name: data[c.name] if c.name in data else missing(c, n) for c in table.columns}
    for name in PLACE_COLUMNS:
        number = name == "source_row"
        columns[name] = data.get(name, np.zeros(n, dtype=np.int64) if number else same_text("", n))
    columns.update({name: values for name, values in data.items() if name not in columns})
    return pd.DataFrame(columns, index=pd.RangeIndex(n))


def same_text(text: str, n: int) -> Any:
    """Column that says the same in every row: far cheaper than from as many cells."""
    return pd.array([text], dtype="str").repeat(n)


def missing(column: Column, n: int) -> Any:
    """Missing values of a column's kind: "" for texts and codes, NaN, NaT, or NA."""
    if column.kind in ("text", "code"):
        return same_text("", n)
    if column.kind in ("money", "number", "share"):
        return np.full(n, np.nan)
    if column.kind in ("date", "period"):
        return np.full(n, np.datetime64("NaT", "us"), dtype="datetime64[us]")
    return pd.array([None] * n, dtype="boolean")
