"""Frames by the glossary: every canonical column present, typed by its kind, missing values told apart from zero."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import numpy as np
import pandas as pd

from bomaudit.glossary import Kind, Table

_TEXTS: frozenset[Kind] = frozenset({"text", "code"})
_NUMBERS: frozenset[Kind] = frozenset({"money", "number", "share"})
_DATES: frozenset[Kind] = frozenset({"date", "period"})


def conform(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Copy of a frame with every column of the table, typed by kind; other columns are kept behind them.

    Parameters
    ----------
    frame : DataFrame
        Any subset of the table's columns, values already parsed.
    table : Table

    Returns
    -------
    DataFrame, shape (rows, columns)
        Texts and codes as str with "" for missing, money, numbers and shares as float64 with NaN, dates and periods as
        datetime64[us] with NaT, flags as nullable boolean with NA.

    Raises
    ------
    ValueError
        If a column holds values that are not of its kind: reading must have parsed them.
    """
    columns = {c.name: _typed(frame[c.name] if c.name in frame else _missing(frame), c.kind) for c in table.columns}
    others = {name: frame[name] for name in frame.columns if name not in columns}
    return pd.DataFrame(columns | others, index=frame.index)


def _missing(frame: pd.DataFrame) -> pd.Series:
    return pd.Series(None, index=frame.index, dtype=object)


def _typed(values: pd.Series, kind: Kind) -> pd.Series:
    if kind in _TEXTS:
        return values.astype("str").where(values.notna(), "").astype("str")
    if kind in _NUMBERS:
        return pd.to_numeric(values).astype("float64")
    if kind in _DATES:
        return pd.to_datetime(values).astype("datetime64[us]")
    return values.astype("boolean")


def most_stated(values: pd.Series, by: pd.Series) -> dict[str, str]:
    """Text that most rows of each group state, the first in the alphabet of equally many; "" states nothing."""
    stated = pd.DataFrame({"by": by, "value": values})[values != ""]
    count = stated.groupby(["by", "value"], sort=True).size().rename("rows").reset_index()
    most = count.sort_values("rows", ascending=False, kind="stable").drop_duplicates("by")
    return dict(zip(most["by"], most["value"], strict=True))


def texts_in_arrow(frame: pd.DataFrame) -> pd.DataFrame:
    """The same frame with its texts held by Arrow, which works on whole columns, however pandas holds them."""
    texts = [c for c, kind in frame.dtypes.items() if isinstance(kind, pd.StringDtype)]
    return frame.astype(dict.fromkeys(texts, pd.StringDtype("pyarrow", na_value=np.nan)))


def write_parquet(frame: pd.DataFrame, to: Path | BytesIO) -> None:
    """Write a frame as parquet; the same bytes however pandas holds its texts."""
    texts_in_arrow(frame).to_parquet(to, index=False)
