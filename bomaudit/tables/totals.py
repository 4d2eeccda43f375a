"""Stated totals as checks: which sum of the lines each one is, and why it differs where it is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bomaudit.findings import Finding, note, warning
from bomaudit.tables.evidence import same_sum

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]
_COUNTED = ("part", "charge")
LABELS = ("total", "subtotal")


@dataclass(frozen=True)
class Figures:
    """What totals are checked against: all arrays have one entry a row below the header.

    Attributes
    ----------
    kind, label : object arrays of str
    stated : float array
        Figure of each total row.
    value : float array
        Money of each row: extended cost, else quantity × unit cost.
    unit, product : float arrays
        Unit cost, and quantity × unit cost, for causes.
    named : bool array
        Rows with a part number that has a digit, or a name with a letter.
    """

    kind: Texts
    label: Texts
    stated: Floats
    value: Floats
    unit: Floats
    product: Floats
    named: NDArray[np.bool_]


def _at(mask: NDArray[np.bool_]) -> list[int]:
    return [int(i) for i in np.flatnonzero(mask)]


def _sum(f: Figures, rows: Any, kinds: Sequence[str] = _COUNTED) -> tuple[float, int]:
    chosen = np.isin(f.kind[rows], kinds) & ~np.isnan(f.value[rows])
    return float(f.value[rows][chosen].sum()), int(chosen.sum())


def settle(f: Figures) -> tuple[Texts, list[int]]:
    """Second look at kinds once sums are known.

    Returns
    -------
    kind : object array
        Rows without a quantity that stand below the last complete line become charge or subtotal, whichever makes the
        stated total right; complete lines below a grand total that no later total covers become alternative.
    outside : list of int
        Those lines below the total.
    """
    kind = f.kind.copy()
    totals = [i for i in _at(np.isin(kind, LABELS)) if not np.isnan(f.stated[i])]
    matched = [i for i in totals if _matches(f, i, kind)]
    outside: list[int] = []
    _settle_footer(f, kind, totals)
    if matched and not any(i > matched[-1] and f.label[i] for i in totals):
        last = matched[-1]
        rest = [i for i in _at(kind == "part") if i > last]
        total, _ = _sum(f, np.arange(len(kind)) < last)
        before = int((kind[:last] == "part").sum())
        if rest and same_sum(f.stated[last], total, before) and len(rest) <= max(3, before // 4):
            outside = rest
            kind[rest] = "alternative"
    return kind, outside


def _settle_footer(f: Figures, kind: Texts, totals: Sequence[int]) -> None:
    """Rows below the last priced line and its total: without figures no line; a charge larger than the sum a total."""
    priced = np.flatnonzero((kind == "part") & ~np.isnan(f.value) & f.named)
    last = int(priced[-1]) if len(priced) else -1
    footer = [i for i in totals if i > last]
    if not footer:
        return
    below = np.arange(len(kind)) > footer[0]
    kind[below & (kind == "part") & (np.isnan(f.value) | ~f.named)] = "note"
    for i in _at(below & (kind == "charge")):
        lines, _ = _sum(replace(f, kind=kind), np.arange(len(kind)) < i, ("part",))
        if f.value[i] >= lines > 0:
            kind[i] = "subtotal"


def _matches(f: Figures, i: int, kind: Texts) -> bool:
    return bool(_explained(f, i, kind))


def _explained(f: Figures, i: int, kind: Texts) -> str:
    """Which sum of the lines above a stated figure is; "" where none is."""
    stated = float(f.stated[i])
    above = np.arange(len(kind)) < i
    labels = [j for j in _at(np.isin(kind, LABELS)) if j < i]
    for start, words in ((0, "all lines above"), *((j + 1, "the lines of its section") for j in reversed(labels))):
        rows = above & (np.arange(len(kind)) >= start)
        for kinds, also in (
            (_COUNTED, ""),
            (("part",), " without charges"),
            (("part", "charge", "alternative"), " with alternatives"),
        ):
            total, lines = _sum(replace(f, kind=kind), rows, kinds)
            if lines and same_sum(stated, total, lines):
                return words + also
    figures = [float(f.stated[j]) for j in labels if not np.isnan(f.stated[j])]
    charges = float(np.nansum(f.value[above & (kind == "charge")]))
    return _sum_of_figures(stated, figures, charges)


def _sum_of_figures(stated: float, figures: list[float], charges: float) -> str:
    """Whether a total adds earlier subtotals: all of them, the last few, or one of them with the charges."""
    for count in range(1, len(figures) + 1):
        some = figures[-count:]
        if count > 1 and same_sum(stated, sum(some), count):
            return f"the sum of the {count} totals before it"
        if charges and same_sum(stated, some[0] + charges, 1):
            return "an earlier total with the charges"
    if any(same_sum(stated, x, 1) for x in figures):
        return "an earlier total again"
    return ""


def check(f: Figures, where: dict[str, Any], rows: NDArray[np.intp], column: str) -> list[Finding]:
    """Hold each stated total against the lines: T070 agrees (note), T071 differs (warning with the likely cause)."""
    findings = []
    for i in _at(np.isin(f.kind, LABELS) & ~np.isnan(f.stated)):
        place = {**where, "row": int(rows[i]), "column": column}
        explained = _explained(f, i, f.kind)
        name = f.label[i] or "the figure without a label"
        if explained:
            findings.append(
                note("T070", f"{name} agrees with what was read", **place, found=f"{f.stated[i]:.12g}, {explained}")
            )
        elif f.stated[i] != 0:
            total, _ = _sum(f, np.arange(len(f.kind)) < i)
            findings.append(
                warning(
                    "T071",
                    f"{name} should be the sum of lines above it",
                    **place,
                    found=f"{f.stated[i]:.12g} where the lines add up to {total:.12g}",
                    assumed="the lines count",
                    advice=_cause(f, i),
                )
            )
    return findings


def check_above(f: Figures, loose: list[tuple[int, str, float]], where: dict[str, Any]) -> list[Finding]:
    """Hold a labelled figure above or beside the table against all lines: T070 or T071."""
    total, lines = _sum(f, np.ones(len(f.kind), dtype=bool))
    findings = []
    for row, column, stated in loose:
        place = {**where, "row": row, "column": column}
        if same_sum(stated, total, lines):
            findings.append(
                note(
                    "T070",
                    "the total beside the table agrees with what was read",
                    **place,
                    found=f"{stated:.12g}, all lines",
                )
            )
        else:
            findings.append(warning("T071", "the total beside the table should be the sum of the lines", **place,
                                    found=f"{stated:.12g} where the lines add up to {total:.12g}",
                                    assumed="the lines count",
                                    advice=_cause_of(f, stated, np.ones(len(f.kind), dtype=bool))))  # fmt: skip
    return findings


def _cause(f: Figures, i: int) -> str:
    return _cause_of(f, float(f.stated[i]), np.arange(len(f.kind)) < i)


def _cause_of(f: Figures, stated: float, rows: NDArray[np.bool_]) -> str:
    """Likely cause of a difference, in the order of how often it is met in published bills."""
    lines = rows & np.isin(f.kind, _COUNTED) & ~np.isnan(f.value)
    values = f.value[lines]
    if not len(values):
        return "no line above has a price"
    return _range_cause(stated, values) or _other_cause(f, stated, lines)


def _range_cause(stated: float, values: Floats) -> str:
    """Whether the sum leaves out the first or the last lines."""
    running = np.cumsum(values)
    total = float(running[-1])
    short = [k for k in range(1, len(values)) if same_sum(stated, float(running[-1 - k]), len(values))]
    if short:
        return f"likely cause: the range of the sum stops {short[0]} lines early"
    late = [k for k in range(1, len(values)) if same_sum(stated, total - float(running[k - 1]), len(values))]
    if late:
        return f"likely cause: the range of the sum starts {late[0]} lines late"
    return ""


def _other_cause(f: Figures, stated: float, lines: NDArray[np.bool_]) -> str:
    values = f.value[lines]
    total = float(values.sum())
    units = f.unit[lines]
    if np.isfinite(units).any() and same_sum(stated, float(np.nansum(units)), len(values)):
        return "likely cause: the quantity is ignored, unit costs are added"
    products = f.product[lines]
    if np.isfinite(products).any() and same_sum(stated, float(np.nansum(products)), len(values)):
        return "likely cause: quantity × unit cost was added where extended costs differ from it"
    single = np.flatnonzero(np.abs(np.abs(total - stated) - np.abs(values)) <= 0.006)  # noqa: PLR2004  (half a cent)
    if len(single) and abs(total - stated) > 0.01:  # noqa: PLR2004  (more than a cent)
        return f"likely cause: a line of {values[single[0]]:.12g} is left out or counted twice"
    return "likely cause: a stale typed figure, or lines added later; check the sum in the file"
