"""Work on the distinct texts of a column instead of on every cell: a column of a million cells has few of them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.tables.sheets import Cells


def all_texts(cells: Cells) -> bool:
    """Whether every cell is a text."""
    return bool(pd.api.types.infer_dtype(cells, skipna=False) == "string") if len(cells) else True


def distinct(cells: Cells) -> tuple[NDArray[np.intp], Cells]:
    """Return the place of each cell among the distinct ones, and those, for a column of one type only."""
    codes, values = pd.factorize(cells, use_na_sentinel=False)
    return codes, np.asarray(values, dtype=object)


def each(cells: Cells, function: Callable[[Any], Any], dtype: Any = object) -> NDArray[Any]:
    """Apply a function to every cell, for a column of texts or of numbers once to each distinct one.

    Parameters
    ----------
    cells : object array
    function : callable of one cell
    dtype : dtype of the result
    """
    if pd.api.types.infer_dtype(cells, skipna=False) in {"string", "floating"}:  # of one type: equal ones are the same
        codes, values = distinct(cells)
        return _filled([function(v) for v in values], dtype)[codes]
    return _filled([function(c) for c in cells], dtype)


def _filled(values: list[Any], dtype: Any) -> NDArray[Any]:
    array = np.empty(len(values), dtype=dtype)
    array[:] = values
    return array
