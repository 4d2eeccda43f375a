"""Fixed codes of the glossary in the words people use for them: "verbindlich" → firm (``codes.csv``)."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from bomaudit.tables.headers import fold


@cache
def _table() -> dict[str, dict[str, str]]:
    text = resources.files("bomaudit.tables").joinpath("codes.csv").read_text(encoding="utf-8")
    table: dict[str, dict[str, str]] = {}
    for row in csv.DictReader(text.splitlines()):
        words = table.setdefault(row["column"], {})
        words[fold(row["code"])] = row["code"]
        words.update({fold(w): row["code"] for w in row["words"].split(";")})
    return table


def has_codes(column: str) -> bool:
    """Whether a column takes one of a fixed set of codes."""
    return column in _table()


def to_codes(column: str, texts: NDArray[np.object_]) -> tuple[NDArray[np.object_], NDArray[np.bool_]]:
    """Return the codes of a column's texts, and where a text is none of them (it is kept as it is)."""
    words = _table()[column]
    known = {t: words.get(fold(t), "") if t else "" for t in set(texts)}
    codes = np.array([known[t] or t for t in texts], dtype=object)
    return codes, np.array([bool(t) and not known[t] for t in texts], dtype=bool)


def codes_of(column: str) -> tuple[str, ...]:
    """Codes a column may take."""
    return tuple(dict.fromkeys(_table()[column].values()))
