"""A located block → BOM lines: rows told apart, figures read, totals checked, structure columns kept for later."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.findings import Finding, note, warning
from bomaudit.glossary import BOM
from bomaudit.settings import ReadSection
from bomaudit.tables import totals
from bomaudit.tables.alternatives import choices
from bomaudit.tables.block_read import FIGURES, DressOf, Reading, read_block, view_of
from bomaudit.tables.convert import Place, amount_findings, clean_words, convert
from bomaudit.tables.designators import designator_findings
from bomaudit.tables.distinct import each
from bomaudit.tables.frames import same_text, typed_frame
from bomaudit.tables.indents import level_cells, levels_by_indent
from bomaudit.tables.line_money import line_money, take
from bomaudit.tables.line_totals import checked_totals, in_one_parent
from bomaudit.tables.locate import Block
from bomaudit.tables.not_fitted import count_nothing, take_as_none, unfitted
from bomaudit.tables.rowkinds import RowKinds, View, classify, has_letter, line_values
from bomaudit.tables.sheets import letter
from bomaudit.tables.worn import worn_findings

LINE_KINDS = ("part", "assembly", "charge", "alternative")


@dataclass(frozen=True)
class Lines:
    """Lines of one block: a frame, kinds and texts of all rows below the header, findings."""

    frame: pd.DataFrame
    kind: NDArray[np.object_]
    text: NDArray[np.object_]
    findings: tuple[Finding, ...]


def bom_lines(block: Block, read: ReadSection, dress_of: DressOf) -> Lines:
    """Read the lines of a BOM block; parents and assemblies are resolved later, over all blocks.

    Parameters
    ----------
    block : Block
    read : ReadSection
    dress_of : function (block, columns) → Dress
        Looks up number formats, indents, hidden rows and comments.
    """
    r = read_block(block, read, dress_of)
    view = view_of(r)
    kinds = classify(view, [h.text for h in block.headers[block.left : block.right]])
    kinds, findings = _settled(r, view, kinds)
    keep = np.flatnonzero(np.isin(kinds.kind, LINE_KINDS))
    out = unfitted(r, view, keep)
    take_as_none(r, out, keep)
    frame, made = _frame(r, kinds, keep, read)
    frame, said = in_one_parent(r, keep, frame)
    frame, also = count_nothing(r, view, keep, frame, out)
    also += designator_findings(r, keep, frame)
    findings += made + said + also + checked_totals(r, kinds, keep, frame) + worn_findings(r, keep)
    return Lines(frame, kinds.kind, _texts(view, kinds), tuple(findings))


def _settled(r: Reading, view: View, kinds: RowKinds) -> tuple[RowKinds, list[Finding]]:
    """Second look at the rows once sums are known: lines below the total, alternatives."""
    block, n = r.block, len(r.rows)
    value = line_values(view.qty, view.unit, view.extended, n)
    nan = np.full(n, np.nan)
    unit = view.unit.value if view.unit is not None else nan
    product = unit * (view.qty.value if view.qty is not None else 1.0)
    named = np.ones(n, dtype=bool)
    if np.isin(kinds.kind, totals.LABELS).any():
        named = each(view.part_no, lambda t: any(map(str.isdigit, t)), bool) | each(view.description, has_letter, bool)
    findings: list[Finding] = []
    kind, outside = totals.settle(totals.Figures(kinds.kind, kinds.label, kinds.stated, value, unit, product, named))
    if outside:
        findings.append(warning("T072", "lines below the total are not in it", **r.where, row=int(r.rows[outside[0]]),
                                found=f"{len(outside)} lines", assumed="left out of sums, kept as alternatives",
                                advice="move them above the total if they belong to the product"))  # fmt: skip
    others, needed = choices(block, view, kind)
    if len(needed):
        which = ", ".join(view.part_no[needed[:5]]) + (" …" if len(needed) > 5 else "")  # noqa: PLR2004
        findings.append(warning("T105", "an alternate needed in another quantity is a part too", **r.where,
                                row=int(r.rows[needed[0]]), found=which, assumed="counted beside the part it is for",
                                advice="mark its line as an alternate if it only stands in"))  # fmt: skip
    if len(others):
        kind = kind.copy()
        kind[others] = "alternative"
        findings.append(
            warning(
                "T073",
                "lines that stand in for another line are not added",
                **r.where,
                row=int(r.rows[others[0]]),
                found=f"{len(others)} alternative{'s' if len(others) > 1 else ''}",
                assumed="left out of sums",
            )
        )
    return RowKinds(kind, kinds.stated, kinds.label), findings


def _frame(
    r: Reading, kinds: RowKinds, keep: NDArray[np.intp], read: ReadSection
) -> tuple[pd.DataFrame, list[Finding]]:
    block, rows = r.block, r.rows[keep]
    findings: list[Finding] = []
    for name in FIGURES:
        got = take(r.reads[name], keep)
        if got is not None:
            place = Place(block.sheet, block.mapped[name].column, name, rows)
            findings += amount_findings(got, r.cells(name)[keep], place, assumed=r.assumed[name])
    data: dict[str, Any] = {"row_kind": kinds.kind[keep]}
    for name, words in (("part_no", r.part_no[keep]), ("description", r.description[keep])):
        if name in block.mapped:
            place = Place(block.sheet, block.mapped[name].column, name, rows)
            words, made = clean_words(words, r.cells(name)[keep], place)  # noqa: PLW2901
            findings += made
        data[name] = words
    for name, mapped in block.mapped.items():
        if name in ("part_no", "description", "level", "currency", "price_per", *FIGURES):
            continue
        data[name], made = convert(
            BOM.column(name), r.cells(name)[keep], Place(block.sheet, mapped.column, name, rows), read, r.decimal
        )
        findings += made
    data["level"], dotted, made = _levels(r, keep)
    findings += made + line_money(r, data, keep, kinds, read)
    data["source_file"] = same_text(block.sheet.file, len(keep))
    data["source_sheet"] = same_text(block.sheet.name, len(keep))
    data["source_row"] = rows
    data["dotted"] = dotted
    return typed_frame(BOM, data, len(keep)), findings


def _levels(r: Reading, keep: NDArray[np.intp]) -> tuple[NDArray[np.float64], NDArray[np.object_], list[Finding]]:
    """Levels of the lines: numbers, dotted numbers, or indentation where there is neither column nor parent."""
    blank = np.full(len(keep), "", dtype=object)
    if "level" in r.block.mapped:
        level, dotted = level_cells(r.cells("level")[keep])
        return level, dotted, []
    level = np.full(len(keep), np.nan)
    if "parent_no" in r.block.mapped:
        return level, blank, []
    for name in ("description", "part_no"):
        if name not in r.block.mapped:
            continue
        column = r.block.mapped[name].column
        worn = {row - r.block.first: n for row, n in r.dress.indents.get(column, {}).items()}
        level = levels_by_indent(r.cells(name), worn, keep)
        if np.isfinite(level).any():
            return level, blank, [note("T064", "the structure is taken from indentation", **r.where,
                                       column=letter(column), found=f"{int(np.nanmax(level))} levels")]  # fmt: skip
    return level, blank, []


def _texts(view: View, kinds: RowKinds) -> NDArray[np.object_]:
    text = np.where(view.description != "", view.description, view.part_no).astype(object)
    for i in np.flatnonzero((text == "") & (kinds.kind != "blank")):
        text[i] = " | ".join(str(c[i]).strip() for c, f in zip(view.columns, view.filled[:, i], strict=True) if f)[:200]
    for i in np.flatnonzero(kinds.label != ""):
        text[i] = kinds.label[i]
    return text
