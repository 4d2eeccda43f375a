"""A located block → BOM lines: rows told apart, money and quantities read, prices brought to one unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from bomaudit.findings import Finding, note, warning
from bomaudit.glossary import BOM, Table
from bomaudit.settings import ReadSection
from bomaudit.tables.assign import agrees
from bomaudit.tables.cells import Amounts, decimal_mark, texts
from bomaudit.tables.convert import Place, cell_findings, convert, read_amounts
from bomaudit.tables.files import Sheet, letter
from bomaudit.tables.locate import Block
from bomaudit.tables.rowkinds import RowKinds, classify, line_values, make_view

LINE_KINDS = ("part", "assembly", "charge", "alternative")


@dataclass(frozen=True)
class Lines:
    """Lines of one block: a frame with the canonical columns, the kinds of all its rows, findings."""

    frame: pd.DataFrame
    kinds: RowKinds
    texts: Any
    findings: tuple[Finding, ...]


def bom_lines(block: Block, read: ReadSection) -> Lines:
    """Read the lines of a BOM block; structure across lines is resolved later."""
    sheet, span = block.sheet, slice(block.first, block.last)
    rows = np.arange(block.first, block.last) + 1
    n = len(rows)
    columns = [c[span] for c in sheet.columns[block.left : block.right]]
    pooled = _pooled_decimal(block, span)
    findings: list[Finding] = []
    reads: dict[str, Amounts | None] = {"qty": None, "unit_cost": None, "extended_cost": None}
    quiet: dict[str, tuple[Place, list[Finding]]] = {}
    for name in reads:
        if name in block.mapped:
            at = block.mapped[name].column
            place = Place(sheet, at, name, rows)
            reads[name], made = read_amounts(sheet.columns[at][span], place, read, pooled)
            quiet[name] = (place, made)
    blank = np.full(n, "", dtype=object)
    part_no = texts(sheet.columns[block.mapped["part_no"].column][span]) if "part_no" in block.mapped else blank
    description = (
        texts(sheet.columns[block.mapped["description"].column][span]) if "description" in block.mapped else blank
    )
    at = block.mapped["description"].column if "description" in block.mapped else 0
    view = make_view(columns, part_no=part_no, description=description, qty=reads["qty"], unit=reads["unit_cost"],
                     extended=reads["extended_cost"], description_at=max(at - block.left, 0))  # fmt: skip
    kinds = classify(view, [h.text for h in block.headers[block.left : block.right]])
    keep = np.flatnonzero(np.isin(kinds.kind, LINE_KINDS))
    kept_rows = set(rows[keep].tolist())
    for _, made in quiet.values():
        findings += [f for f in made if f.row is None or f.row in kept_rows]
    data: dict[str, Any] = {"part_no": part_no[keep], "description": description[keep], "row_kind": kinds.kind[keep]}
    for name, mapped in block.mapped.items():
        if name in ("part_no", "description", *reads):
            continue
        cells = sheet.columns[mapped.column][span][keep]
        data[name], made = convert(BOM.column(name), cells, Place(sheet, mapped.column, name, rows[keep]), read, pooled)
        findings += made
    taken = {name: (_take(r, keep) if r is not None else None) for name, r in reads.items()}
    data["source_file"] = np.full(len(keep), sheet.file, dtype=object)
    data["source_sheet"] = np.full(len(keep), sheet.name, dtype=object)
    data["source_row"] = rows[keep]
    findings += _money(block, data, taken, rows[keep], read)
    return Lines(pd.DataFrame(data), kinds, _row_texts(view, kinds), tuple(findings))


def _take(read: Amounts, keep: Any) -> Amounts:
    return Amounts(*(getattr(read, f)[keep] for f in ("value", "low", "high", "currency", "per", "unit", "state")))


def _pooled_decimal(block: Block, span: slice) -> str:
    """Decimal mark the money and quantity columns of the block prove together."""
    cells = (
        c for name in ("unit_cost", "extended_cost", "qty") if name in block.mapped
        for c in block.sheet.columns[block.mapped[name].column][span] if isinstance(c, str)
    )  # fmt: skip
    return decimal_mark(cells)[0]


def _row_texts(view: Any, kinds: RowKinds) -> Any:
    text = np.where(view.description != "", view.description, view.part_no)
    for i in np.flatnonzero((text == "") & (kinds.kind != "blank")):
        text[i] = " | ".join(str(c[i]).strip() for c, f in zip(view.columns, view.filled[:, i], strict=True) if f)[:200]
    for i in np.flatnonzero(kinds.label != ""):
        text[i] = kinds.label[i]
    return text


def _money(
    block: Block, data: dict[str, Any], reads: dict[str, Amounts | None], rows: Any, read: ReadSection
) -> list[Finding]:
    """Quantity, unit cost, its range and currency; unit cost from the extended cost where only that is stated."""
    n = len(rows)
    nan = np.full(n, np.nan)
    qty, unit, extended = (reads[k] for k in ("qty", "unit_cost", "extended_cost"))
    findings: list[Finding] = []
    where = {"file": block.sheet.file, "sheet": block.sheet.name}
    data["qty"] = qty.value if qty is not None else np.ones(n)
    if qty is None:
        findings.append(
            warning(
                "T050", "a quantity should be stated", **where, found="no quantity column", assumed="one of each line"
            )
        )
    data["extended_cost"] = extended.value if extended is not None else nan
    cost = unit.value.copy() if unit is not None else nan.copy()
    data["unit_cost_low"] = unit.low.copy() if unit is not None else nan.copy()
    data["unit_cost_high"] = unit.high.copy() if unit is not None else nan.copy()
    if extended is not None:
        fill = np.isnan(cost) & ~np.isnan(extended.value) & (data["qty"] > 0)
        for target, source in (
            (cost, extended.value),
            (data["unit_cost_low"], extended.low),
            (data["unit_cost_high"], extended.high),
        ):
            target[fill] = source[fill] / data["qty"][fill]
        if fill.any():
            findings.append(note("T051", "unit cost is derived where only the extended cost is stated", **where,
                                 found=f"{int(fill.sum())} lines", assumed="unit cost = extended cost / quantity"))  # fmt: skip
    data["unit_cost"] = cost
    findings += _per(block, data, unit, rows)
    findings += _extension_check(block, data, rows)
    data["currency"], made = _currency(block, data, unit, extended, read)
    return findings + made


def _per(block: Block, data: dict[str, Any], unit: Amounts | None, rows: Any) -> list[Finding]:
    """Bring prices stated per 100 or per 1000 to one unit."""
    per = np.array(data["price_per"], dtype=float) if "price_per" in data else np.full(len(rows), np.nan)
    if unit is not None:
        per = np.where(np.isnan(per), unit.per, per)
    data["price_per"] = per
    scale = np.where(per > 0, per, 1.0)
    if not (scale != 1).any():
        return []
    for name in ("unit_cost", "unit_cost_low", "unit_cost_high"):
        data[name] = data[name] / scale
    where = np.flatnonzero(scale != 1)
    return [note("T052", "prices for more than one unit are brought to one", file=block.sheet.file, sheet=block.sheet.name,
                 found=f"{len(where)} lines, first in row {int(rows[where[0]])}",
                 assumed="unit cost = stated price / price_per")]  # fmt: skip


def _extension_check(block: Block, data: dict[str, Any], rows: Any) -> list[Finding]:
    stated = data["extended_cost"]
    product = data["unit_cost"] * data["qty"]
    off = ~np.isnan(product) & ~np.isnan(stated) & ~agrees(product, stated)
    if not off.any() or "extended_cost" not in block.mapped:
        return []
    column = block.mapped["extended_cost"].column
    shown = np.array(
        [f"{s:g} where {p:g} is quantity × unit cost" for s, p in zip(stated, product, strict=True)], dtype=object
    )
    return cell_findings(Place(block.sheet, column, "extended_cost", rows), list(np.flatnonzero(off)), shown, warning(
        "T053", "extended cost must be quantity × unit cost", assumed="unit cost and quantity are kept as stated",
        advice="correct the line; a pack price or a rounded piece price is the usual cause"))  # fmt: skip


def _currency(
    block: Block, data: dict[str, Any], unit: Amounts | None, extended: Amounts | None, read: ReadSection
) -> tuple[Any, list[Finding]]:
    n = len(data["unit_cost"])
    from bomaudit.tables.money import mark_in

    column = (
        np.array([mark_in(str(c))[0] for c in data["currency"]], dtype=object)
        if "currency" in data
        else np.full(n, "", dtype=object)
    )
    for got in (unit, extended):
        if got is not None:
            column = np.where(column == "", got.currency, column)
    headers = [block.headers[block.mapped[k].column] for k in ("unit_cost", "extended_cost") if k in block.mapped]
    from_header = next((h.currency for h in headers if h.currency), "")
    column = np.where(column == "", from_header or read.currency, column)
    return column.astype(object), []
