"""What each row of a table is: part, charge, heading, subtotal, total, repeated header, note or blank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bomaudit.tables.cells import Amounts, amounts
from bomaudit.tables.files import Cells
from bomaudit.tables.headers import fold
from bomaudit.tables.words import label_kind

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]
_PLACEHOLDER_STATES = ("dash", "words", "extra", "approx", "range", "date", "error")
_CLOSE = 0.006
"""A stated total equals the lines if it agrees within this share, or half a cent a line."""


@dataclass(frozen=True)
class RowKinds:
    """Kind of each row below the header, and the figure of each total row (NaN elsewhere)."""

    kind: Texts
    stated: Floats
    label: Texts


@dataclass(frozen=True)
class _View:
    """The parts of a block that tell what a row is."""

    columns: Sequence[Cells]
    filled: NDArray[np.bool_]
    words: NDArray[np.bool_]
    part_no: Texts
    description: Texts
    qty: Amounts | None
    unit: Amounts | None
    extended: Amounts | None
    description_at: int

    def number(self, which: str, i: int) -> float:
        read = getattr(self, which)
        return float(read.value[i]) if read is not None else np.nan

    def state(self, which: str, i: int) -> str:
        read = getattr(self, which)
        return str(read.state[i]) if read is not None else "blank"


def line_values(qty: Amounts | None, unit: Amounts | None, extended: Amounts | None, n: int) -> Floats:
    """Money of each row: extended where stated, else quantity (1 where there is no such column) × unit cost."""
    value = np.full(n, np.nan)
    if unit is not None:
        value = unit.value * (np.ones(n) if qty is None else qty.value)
    if extended is not None:
        value = np.where(np.isnan(extended.value), value, extended.value)
    return value


def classify(view: _View, header_texts: Sequence[str]) -> RowKinds:
    """Tell what each row is.

    Parameters
    ----------
    view : _View
        Columns and readings of the rows below the header.
    header_texts : sequence of str
        Header of each column of the view.
    """
    n = len(view.part_no)
    kind = np.full(n, "", dtype=object)
    stated, label = np.full(n, np.nan), np.full(n, "", dtype=object)
    has_id = (view.part_no != "") | (view.description != "")
    numbers = [~np.isnan(r.value) for r in (view.qty, view.unit, view.extended) if r is not None]
    priced = [~np.isnan(r.value) for r in (view.unit, view.extended) if r is not None]
    any_price = np.any(priced, axis=0) if priced else np.zeros(n, dtype=bool)
    counted = ~np.isnan(view.qty.value) if view.qty is not None else np.ones(n, dtype=bool)
    regular = has_id & counted & (any_price | (not priced) | (view.qty is not None))
    if not numbers:
        regular &= view.filled.sum(axis=0) > 1
    kind[regular] = "part"
    kind[view.filled.sum(axis=0) == 0] = "blank"
    repeated = _repeats(view.columns, header_texts)
    kind[repeated] = "header"
    for i in np.flatnonzero(~repeated & (kind != "blank")):
        text = _label(view, i)
        if text:
            label[i] = text
            stated[i] = _figure(view, i)
            kind[i] = label_kind(text)
    values = line_values(view.qty, view.unit, view.extended, n)
    for i in np.flatnonzero(kind == ""):
        kind[i], stated[i] = _irregular(view, i, kind, values)
    _settle_headings(view, kind)
    return RowKinds(kind, stated, label)


def _repeats(columns: Sequence[Cells], header_texts: Sequence[str]) -> NDArray[np.bool_]:
    n = len(columns[0]) if columns else 0
    same, wanted = np.zeros(n, dtype=int), 0
    for column, text in zip(columns, header_texts, strict=True):
        if text:
            wanted += 1
            folded = fold(text)
            same += np.fromiter(
                (isinstance(c, str) and (c == text or (len(c) < 80 and fold(c) == folded)) for c in column), bool, n
            )  # noqa: PLR2004
    return np.asarray(same >= max(2, 0.6 * wanted))


def _label(view: _View, i: int) -> str:
    """Text of the row that labels it as a total, a subtotal or a charge; "" for any other row."""
    description, part_no = view.description[i], view.part_no[i]
    full_line = description and not np.isnan(view.number("qty", i)) and not np.isnan(view.number("unit", i))
    for column, filled in zip(view.columns, view.words[:, i], strict=True):
        if not filled or not isinstance(column[i], str):
            continue
        text = column[i].strip()
        kind = label_kind(text)
        if not kind:
            continue
        if full_line and text not in (description, part_no):
            continue
        if full_line and kind != "charge" and view.number("qty", i) == 1:
            continue
        if kind == "charge" and text not in (description, part_no) and description:
            continue
        return text
    return ""


def _figure(view: _View, i: int) -> float:
    """Figure of a total row: in the extended column, else the unit column, else the last number of the row."""
    for which in ("extended", "unit"):
        value = view.number(which, i)
        if not np.isnan(value):
            return value
    found = [a.value[0] for a in (amounts(column[i : i + 1]) for column in view.columns) if not np.isnan(a.value[0])]
    return float(found[-1]) if found else np.nan


def _irregular(view: _View, i: int, kind: Texts, values: Floats) -> tuple[str, float]:
    has_id = bool(view.part_no[i] or view.description[i])
    qty, unit, extended = (view.number(w, i) for w in ("qty", "unit", "extended"))
    money = extended if not np.isnan(extended) else unit
    others = int(view.words[:, i].sum())
    if has_id:
        if not (np.isnan(qty) and np.isnan(money)):
            return "part", np.nan
        placeholder = any(view.state(w, i) in _PLACEHOLDER_STATES for w in ("qty", "unit", "extended"))
        return ("part", np.nan) if placeholder or others > 1 else ("heading", np.nan)
    if not np.isnan(money) and money != 0:
        if not np.isnan(qty) and not np.isnan(unit) and others:
            return "part", np.nan
        return _unlabelled_total(i, kind, values, money)
    if view.words[:, i].any():
        return ("note", np.nan) if not view.words[: view.description_at + 1, i].any() else ("heading", np.nan)
    return "blank", np.nan


def _unlabelled_total(i: int, kind: Texts, values: Floats, money: float) -> tuple[str, float]:
    return ("total" if not (kind[i + 1 :] == "part").any() else "subtotal"), money


def _settle_headings(view: _View, kind: Texts) -> None:
    """Text-only rows after the last line are notes; runs of single names among lines are lines without figures."""
    lines = np.flatnonzero(kind == "part")
    last = lines[-1] if len(lines) else -1
    for i in np.flatnonzero(kind == "heading"):
        if i > last:
            kind[i] = "note"
    single = (kind == "heading") & (view.description != "") & (view.filled.sum(axis=0) == 1)
    run: list[int] = []
    for i in range(len(kind) + 1):
        if i < len(kind) and single[i]:
            run.append(i)
            continue
        if len(run) > 1 and run[0] > 0 and kind[run[0] - 1] == "part":
            kind[run] = "part"
        run = []


def make_view(columns: Sequence[Cells], *, part_no: Texts, description: Texts, qty: Amounts | None, unit: Amounts | None,
              extended: Amounts | None, description_at: int) -> _View:  # fmt: skip
    """Gather what :func:`classify` looks at."""
    n = len(part_no)
    filled = np.array([[_is_filled(c) for c in column] for column in columns], dtype=bool).reshape(len(columns), n)
    words = np.array(
        [[isinstance(c, str) and any(ch.isalpha() for ch in c) for c in column] for column in columns], dtype=bool
    )
    return _View(
        columns, filled, words.reshape(len(columns), n), part_no, description, qty, unit, extended, description_at
    )


def _is_filled(cell: Any) -> bool:
    return cell is not None and cell != "" and not (isinstance(cell, str) and not cell.strip())
