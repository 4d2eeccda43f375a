"""What each row of a table is: part, charge, alternative, heading, subtotal, total, repeated header, note or blank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bomaudit.tables.cells import Amounts, amounts
from bomaudit.tables.distinct import each
from bomaudit.tables.sheets import Cells
from bomaudit.tables.words import label_kind, may_be_label

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]
Flags = NDArray[np.bool_]
_PLACEHOLDER_STATES = ("dash", "words", "extra", "approx", "range", "date", "error")
_LONGEST_LABEL = 60
_USUAL_LENGTH = 5000


@dataclass(frozen=True)
class View:
    """The parts of a block that tell what a row is.

    Attributes
    ----------
    columns : sequence of object arrays
        Cells of the block, column by column, rows below the header only.
    filled : bool array, shape (columns, rows)
        Whether a cell holds something.
    part_no, description : object arrays of str
    qty, unit, extended : Amounts or None
    at : int
        Position of the description among the columns.
    across : bool array, shape (rows,)
        Rows with a cell merged over several columns.
    """

    columns: Sequence[Cells]
    filled: Flags
    part_no: Texts
    description: Texts
    qty: Amounts | None
    unit: Amounts | None
    extended: Amounts | None
    at: int
    across: Flags

    def words(self, i: int, stop: int | None = None) -> list[bool]:
        """Whether each cell of a row (up to column ``stop``) is a text with a letter."""
        return [isinstance(c[i], str) and has_letter(c[i]) for c in self.columns[:stop]]

    def number(self, which: str, i: int) -> float:
        """Number of a row in the qty, unit or extended column; NaN where there is none."""
        read = getattr(self, which)
        return float(read.value[i]) if read is not None else np.nan

    def state(self, which: str, i: int) -> str:
        """How that cell was read."""
        read = getattr(self, which)
        return str(read.state[i]) if read is not None else "blank"


@dataclass(frozen=True)
class RowKinds:
    """Kind of each row below the header, the figure and label of each total row (NaN and "" elsewhere)."""

    kind: Texts
    stated: Floats
    label: Texts


def make_view(
    columns: Sequence[Cells], *, part_no: Texts, description: Texts, qty: Amounts | None, unit: Amounts | None,
    extended: Amounts | None, at: int, across: Flags,
) -> View:  # fmt: skip
    """Gather what :func:`classify` looks at."""
    n = len(part_no)
    filled = np.array([filled_cells(column) for column in columns], dtype=bool).reshape(len(columns), n)
    return View(columns, filled, part_no, description, qty, unit, extended, at, across)


def filled_cells(column: Cells) -> Flags:
    """Whether each cell holds something; spaces alone are nothing."""
    filled = np.asarray(column != "", dtype=bool)
    if len(column) > _USUAL_LENGTH:
        filled &= np.asarray(column != " ", dtype=bool)
    else:
        filled &= ~np.array([c is None or (c.__class__ is str and c.isspace()) for c in column], dtype=bool)
    return filled


def has_letter(text: str) -> bool:
    """Whether a text holds a letter of any script."""
    return text.isalpha() or not text.isascii() or text.upper() != text.lower()


def line_values(qty: Amounts | None, unit: Amounts | None, extended: Amounts | None, n: int) -> Floats:
    """Money of each row: extended where stated, else quantity (1 where there is no such column) × unit cost."""
    value = np.full(n, np.nan)
    if unit is not None:
        value = unit.value * (np.ones(n) if qty is None else qty.value)
    if extended is not None:
        value = np.where(np.isnan(extended.value), value, extended.value)
    return value


def classify(view: View, header_texts: Sequence[str]) -> RowKinds:
    """Tell what each row is, by its own cells and its neighbours.

    Parameters
    ----------
    view : View
    header_texts : sequence of str
        Header of each column of the view.
    """
    n = len(view.part_no)
    kind = np.full(n, "", dtype=object)
    stated, label = np.full(n, np.nan), np.full(n, "", dtype=object)
    count = view.filled.sum(axis=0)
    kind[_regular(view, count)] = "part"
    kind[count == 0] = "blank"
    repeated = _repeats(view.columns, header_texts)
    kind[repeated] = "header"
    for i in _maybe_labelled(view, kind):
        text = _label(view, i)
        if text:
            label[i], stated[i], kind[i] = (
                text,
                _figure(view, i),
                label_kind(text, loose=bool(np.isnan(view.number("qty", i)))),
            )
    for i in map(int, np.flatnonzero(kind == "")):
        kind[i], stated[i] = _irregular(view, i, kind)
    _settle_headings(view, kind)
    return RowKinds(kind, stated, label)


def _numbers(view: View) -> tuple[Flags, Flags, Flags]:
    """Whether each row has a quantity, a price, either."""
    n = len(view.part_no)
    none = np.zeros(n, dtype=bool)
    qty = ~np.isnan(view.qty.value) if view.qty is not None else none
    price = none.copy()
    for read in (view.unit, view.extended):
        if read is not None:
            price |= ~np.isnan(read.value)
    return qty, price, qty | price


def has_identity(view: View) -> Flags:
    """Rows that name a part: a part number, a text, or a bare number beside a quantity or price."""
    _, _, any_number = _numbers(view)
    named = (view.part_no != "") | ((view.description != "") & any_number)
    rest = np.flatnonzero(~named)
    named[rest] = [t != "" and has_letter(t) for t in view.description[rest]]
    return np.asarray(named)


def _regular(view: View, count: NDArray[np.int_]) -> Flags:
    qty, price, _ = _numbers(view)
    identity = has_identity(view)
    if view.qty is not None:
        return identity & qty
    if view.unit is not None or view.extended is not None:
        return identity & price
    return identity & (count > 1)


def _repeats(columns: Sequence[Cells], header_texts: Sequence[str]) -> Flags:
    """Rows that say the header again."""
    n = len(columns[0]) if columns else 0
    same, wanted = np.zeros(n, dtype=int), 0
    for column, text in zip(columns, header_texts, strict=True):
        if text:
            wanted += 1
            same += _equal_texts(column, text)
    return np.asarray((same >= max(2, 0.6 * wanted)) if wanted > 1 else np.zeros(n, dtype=bool))


def _equal_texts(column: Cells, text: str) -> Flags:
    """Cells that hold the header's text; in tables of usual length, in any spelling."""
    same = np.asarray(column == text, dtype=bool)
    if len(column) <= _USUAL_LENGTH:
        wanted = " ".join(text.split()).casefold()
        same |= np.array([c.__class__ is str and " ".join(c.split()).casefold() == wanted for c in column], dtype=bool)
    return same


# ---------------------------------------------------------------- labels of totals and charges


def _maybe_labelled(view: View, kind: Texts) -> NDArray[np.intp]:
    """Rows in which a label of a total or charge may stand: any cell of an irregular row, the name of a regular one."""
    n = len(kind)
    maybe = np.zeros(n, dtype=bool)
    names = np.where(view.description == "", view.part_no, view.description)
    maybe |= each(names, lambda t: t != "" and len(t) <= _LONGEST_LABEL and may_be_label(t), bool)
    irregular = np.flatnonzero(kind == "")
    for i in irregular:
        maybe[i] = maybe[i] or any(
            isinstance(c[i], str) and len(c[i]) <= _LONGEST_LABEL and may_be_label(c[i]) for c in view.columns
        )
    return np.flatnonzero(maybe & (kind != "blank") & (kind != "header"))


def _label(view: View, i: int) -> str:
    """Text of the row that labels it as a total, a subtotal or a charge; "" for any other row."""
    names = (view.description[i], view.part_no[i])
    qty, unit = view.number("qty", i), view.number("unit", i)
    for column, filled in zip(view.columns, view.words(i), strict=True):
        if not filled:
            continue
        text = column[i].strip()
        kind = label_kind(text, loose=bool(np.isnan(qty)))
        if not kind:
            continue
        is_name = text in names
        if not is_name and any(names) and (kind == "charge" or not np.isnan(qty)):
            continue
        if is_name and kind != "charge" and not np.isnan(qty) and not np.isnan(unit) and qty == 1:
            continue  # one piece of something that happens to be called so
        return str(text)
    return ""


def _figure(view: View, i: int) -> float:
    """Figure of a total row: in the extended column, else the unit column, else the last number of the row."""
    for which in ("extended", "unit"):
        value = view.number(which, i)
        if not np.isnan(value):
            return value
    found = [a.value[0] for a in (amounts(column[i : i + 1]) for column in view.columns) if not np.isnan(a.value[0])]
    return float(found[-1]) if found else np.nan


# ---------------------------------------------------------------- rows that are not complete lines


def _irregular(view: View, i: int, kind: Texts) -> tuple[str, float]:
    qty, unit, extended = (view.number(w, i) for w in ("qty", "unit", "extended"))
    money = extended if not np.isnan(extended) else unit
    if view.part_no[i] or view.description[i]:
        return _named_row(view, i, qty, money), np.nan
    if not np.isnan(money) and money != 0:
        if not np.isnan(qty) and any(view.words(i)):
            return "part", np.nan
        return ("total" if not (kind[i + 1 :] == "part").any() else "subtotal"), money
    if any(view.words(i)):
        return ("heading" if any(view.words(i, view.at + 1)) else "note"), np.nan
    return "blank", np.nan


def _named_row(view: View, i: int, qty: float, money: float) -> str:
    """A row that names something but is no complete line: a line without figures, a heading, a note."""
    named = bool(view.part_no[i]) or has_letter(view.description[i])
    if not np.isnan(qty) or not np.isnan(money):
        return "part" if named or not (np.isnan(qty) or np.isnan(money)) else "note"
    if not named:
        open_figures = sum(view.state(w, i) in _PLACEHOLDER_STATES for w in ("qty", "unit", "extended"))
        return "part" if open_figures > 1 and any(view.words(i)) else "note"
    if view.across[i]:
        return "heading"
    right_of_it = view.filled[view.at + 1 :, i].any()
    placeholders = sum(view.state(w, i) in _PLACEHOLDER_STATES for w in ("qty", "unit", "extended"))
    both = bool(view.part_no[i]) and bool(view.description[i]) and view.part_no[i] != view.description[i]
    return "part" if placeholders or right_of_it or both else "heading"


def _settle_headings(view: View, kind: Texts) -> None:
    """Text-only rows after the last line are notes; runs of single names among lines are lines without figures."""
    lines = np.flatnonzero(kind == "part")
    last = lines[-1] if len(lines) else -1
    kind[(kind == "heading") & (np.arange(len(kind)) > last)] = "note"
    single = (kind == "heading") & (view.description != "") & (view.filled.sum(axis=0) == 1) & ~view.across
    elsewhere = (kind == "heading") & (view.across | (view.description == ""))
    if elsewhere.sum() > 1:  # headings stand in another place: a name alone is a line
        kind[single & (np.arange(len(kind)) > np.flatnonzero(elsewhere)[0])] = "part"
        return
    alone = np.flatnonzero(single)
    for run in np.split(alone, np.flatnonzero(np.diff(alone) > 1) + 1):
        if len(run) > 1 and run[0] > 0 and kind[run[0] - 1] == "part":
            kind[run] = "part"
