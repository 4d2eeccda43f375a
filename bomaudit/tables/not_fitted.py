"""Lines that are not fitted, and lines whose part is obsolete: by a mark, a remark, the quantity, the name."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.findings import Finding, warning
from bomaudit.tables.block_read import Reading
from bomaudit.tables.cells import flags
from bomaudit.tables.distinct import each
from bomaudit.tables.headers import fold
from bomaudit.tables.rowkinds import View
from bomaudit.tables.sheets import Cells
from bomaudit.tables.words import is_word

Rows = NDArray[np.intp]
_LONGEST = 40
"""A longer remark says more than that [letters]."""
_ENDS_SO = re.compile(r"^(?:.*[\s,;(\[])?(?:DNP|DNF|DNI)[)\]]?$|[(\[](?:not fitted|do not fit|not populated)[)\]]$")
"""Names that end with the mark: "resistor 10k DNP"."""
_REASON = re.compile(r"[,;:(]|\s[-–—]\s")


def unfitted(r: Reading, view: View, keep: Rows) -> NDArray[np.bool_]:
    """Lines that are not fitted.

    Notes
    -----
    A line is one if a cell of a column taken for nothing, or a note, says so ("DNP", "not fitted"), if its
    quantity does or its name ends so, if a column headed so says yes, or one headed "fitted" says no. Where all lines
    are, none is.
    """
    found = each(view.description[keep], lambda t: _ENDS_SO.search(t) is not None, bool)
    for words, cells in _remarks(r, view, keep, "qty"):
        found |= each(cells, lambda c: _says(c, "not fitted"), bool)
        for kind, answer in (("not fitted", True), ("fitted column", False)):
            if is_word(kind, words):
                found |= np.asarray(flags(cells)[0] == answer, dtype=bool)
    return found & (not found.all())


def _remarks(r: Reading, view: View, keep: Rows, *also: str) -> Iterator[tuple[str, Cells]]:
    """Header and cells of the columns that are taken for nothing, of notes, and of those named."""
    taken = {m.column for m in r.block.mapped.values() if m.name not in ("note", *also)}
    for c, column in enumerate(view.columns, start=r.block.left):
        if c not in taken:
            yield r.block.headers[c].words, column[keep]


def _says(cell: object, kind: str) -> bool:
    """Whether a cell says so, alone or before a reason: "DNP - option"."""
    if not isinstance(cell, str) or not 2 <= len(cell) <= _LONGEST:  # noqa: PLR2004  (a word or a few)
        return False
    return is_word(kind, fold(cell)) or is_word(kind, fold(_REASON.split(cell, maxsplit=1)[0]))


def take_as_none(r: Reading, out: NDArray[np.bool_], keep: Rows) -> None:
    """Read the quantity of lines that are not fitted as 0 where it is not stated; changed in place."""
    qty = r.reads["qty"]
    if qty is None or not out.any():
        return
    value, state, rows = qty.value.copy(), qty.state.copy(), keep[out]
    rows = rows[np.isnan(value[rows])]
    value[rows], state[rows] = 0.0, ""
    r.reads["qty"] = replace(qty, value=value, state=state)


def count_nothing(
    r: Reading, view: View, keep: Rows, frame: pd.DataFrame, out: NDArray[np.bool_]
) -> tuple[pd.DataFrame, list[Finding]]:
    """Lines with quantity 0, and marked, where they are not fitted; ``T097`` names them, ``T098`` obsolete parts."""
    frame = frame.assign(
        **{n: frame[n].mask(out & frame[n].notna(), 0.0) for n in ("qty", "extended_cost")}, not_fitted=out
    )
    old = np.zeros(len(keep), dtype=bool)
    for _, cells in _remarks(r, view, keep):
        old |= each(cells, lambda c: _says(c, "obsolete"), bool)
    findings = []
    if out.any():
        findings.append(warning("T097", "a line that is not fitted costs nothing", **_place(r, keep[out]),
                                assumed="quantity 0", advice="remove the mark from what is built in"))  # fmt: skip
    if old.any():
        findings.append(warning("T098", "the price of an obsolete part may not be quoted any more",
                                **_place(r, keep[old]), assumed="counted and estimated like the others",
                                advice="name what replaces it"))  # fmt: skip
    return frame, findings


def _place(r: Reading, rows: Rows) -> dict[str, Any]:
    """Place of the first row, and all rows."""
    numbers = ", ".join(str(n) for n in r.rows[rows[:20]]) + (" …" if len(rows) > 20 else "")  # noqa: PLR2004
    found = f"{len(rows)} line{'' if len(rows) == 1 else 's'}: row{'' if len(rows) == 1 else 's'} {numbers}"
    return {**r.where, "row": int(r.rows[rows[0]]), "found": found}
