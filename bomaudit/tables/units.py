"""Units of quantity: trade words to one spelling (``units.csv``), conversion within a dimension only."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray


@cache
def _tables() -> tuple[dict[str, str], dict[str, str]]:
    """Word → unit, and unit → its name in the units library where it measures."""
    text = resources.files("bomaudit.tables").joinpath("units.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    words = {word: row["unit"] for row in rows for word in row["words"].split(";")}
    return words, {row["unit"]: row["pint"] for row in rows if row["pint"]}


def spelling(word: str) -> str:
    """One spelling of a unit word: "Stk." → pcs; "" for a word that is no unit known here."""
    return _tables()[0].get(word.strip().lower(), "")


def is_measure(unit: str) -> bool:
    """Whether a unit measures (length, mass, volume, area, time) and does not count."""
    return unit in _tables()[1]


@cache
def factor(unit: str, target: str) -> float:
    """Units of ``target`` in one ``unit``; NaN across dimensions or for counts."""
    if unit == target:
        return 1.0
    measures = _tables()[1]
    if unit not in measures or target not in measures:
        return float("nan")
    import pint  # noqa: PLC0415  (only where a file mixes units)

    registry: Any = pint.UnitRegistry()
    try:
        return float((1 * registry(measures[unit])).to(measures[target]).magnitude)
    except pint.DimensionalityError:
        return float("nan")


def in_column_units(
    value: NDArray[np.float64], words: NDArray[np.object_], column: NDArray[np.object_]
) -> tuple[NDArray[np.float64], NDArray[np.object_], NDArray[np.bool_]]:
    """Bring quantities with a unit in the cell to the unit of their line.

    Parameters
    ----------
    value, words : arrays
        Number and unit word of each quantity cell.
    column : object array
        Unit of the line as its own column states it, "" where it does not.

    Returns
    -------
    value : float array
        Converted where the two differ within a dimension.
    unit : object array
        Unit of the line: its column's, else the cell's.
    clash : bool array
        Lines whose two units do not convert; the number is left as it is.
    """
    value, unit = value.copy(), column.astype(object).copy()
    clash = np.zeros(len(value), dtype=bool)
    for i in np.flatnonzero(words != ""):
        inside = spelling(words[i])
        if not inside:
            continue
        if not column[i]:
            unit[i] = inside
            continue
        own = spelling(column[i])
        if own and own != inside:
            rate = factor(inside, own)
            clash[i] = not np.isfinite(rate)
            value[i] *= rate if np.isfinite(rate) else 1.0
    return value, unit, clash
