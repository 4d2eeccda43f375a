"""A located block → BOM lines: rows told apart, figures read, totals checked, structure columns kept for later."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.findings import Finding, note, warning
from bomaudit.glossary import BOM
from bomaudit.settings import ReadSection
from bomaudit.tables import currencies, structure, totals
from bomaudit.tables.alternatives import choices
from bomaudit.tables.cells import Amounts, amounts, decimal_mark, texts
from bomaudit.tables.convert import Place, amount_findings, column_decimal, convert, extension_findings
from bomaudit.tables.dress import Dress
from bomaudit.tables.files import letter
from bomaudit.tables.indents import level_cells, levels_by_indent
from bomaudit.tables.locate import Block
from bomaudit.tables.pricing import price_lines
from bomaudit.tables.totals_beside import labelled_figures
from bomaudit.tables.rowkinds import RowKinds, View, classify, has_letter, line_values, make_view

LINE_KINDS = ("part", "assembly", "charge", "alternative")
_FIGURES = ("qty", "unit_cost", "extended_cost")
DressOf = Callable[[Block, tuple[int, ...]], Dress]


@dataclass(frozen=True)
class Lines:
    """Lines of one block: a frame, kinds and texts of all rows below the header, findings."""

    frame: pd.DataFrame
    kind: NDArray[np.object_]
    text: NDArray[np.object_]
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class _Reading:
    """What is read of a block before its rows are told apart."""

    block: Block
    span: slice
    rows: NDArray[np.intp]
    reads: dict[str, Amounts | None]
    part_no: NDArray[np.object_]
    description: NDArray[np.object_]
    decimal: str
    dress: Dress

    @property
    def where(self) -> dict[str, Any]:
        return {"file": self.block.sheet.file, "sheet": self.block.sheet.name}

    def cells(self, name: str) -> NDArray[np.object_]:
        return self.block.sheet.columns[self.block.mapped[name].column][self.span]


def bom_lines(block: Block, read: ReadSection, dress_of: DressOf) -> Lines:
    """Read the lines of a BOM block; parents and assemblies are resolved later, over all blocks.

    Parameters
    ----------
    block : Block
    read : ReadSection
    dress_of : function (block, columns) → Dress
        Looks up number formats, indents, hidden rows and comments.
    """
    r = _read(block, read, dress_of)
    view = _view(r)
    kinds = classify(view, [h.text for h in block.headers[block.left : block.right]])
    kinds, findings = _settled(r, view, kinds)
    keep = np.flatnonzero(np.isin(kinds.kind, LINE_KINDS))
    frame, made = _frame(r, kinds, keep, read)
    findings += made + _checked_totals(r, kinds, keep, frame) + _dressed(r, keep)
    return Lines(frame, kinds.kind, _texts(view, kinds), tuple(findings))


def _read(block: Block, read: ReadSection, dress_of: DressOf) -> _Reading:
    span, rows = slice(block.first, block.last), np.arange(block.first, block.last) + 1
    sheet = block.sheet
    wanted = tuple(sorted({m.column for n, m in block.mapped.items() if n in (*_FIGURES, "description", "part_no")}))
    dress = dress_of(block, wanted)
    decimal = _pooled_decimal(block, span)
    reads: dict[str, Amounts | None] = dict.fromkeys(_FIGURES)
    for name in _FIGURES:
        if name in block.mapped:
            at = block.mapped[name].column
            cells = sheet.columns[at][span]
            got = amounts(cells, column_decimal(cells, read, decimal)[0], money=name != "qty")
            reads[name] = _with_errors(got, dress, at, block.first)
    blank = np.full(len(rows), "", dtype=object)
    names = {n: texts(sheet.columns[block.mapped[n].column][span]) if n in block.mapped else blank for n in ("part_no", "description")}
    if "part_no" in block.mapped:
        names["part_no"] = _with_zeros(names["part_no"], dress.zeros.get(block.mapped["part_no"].column, {}), block.first)
    return _Reading(block, span, rows, reads, names["part_no"], names["description"], decimal, dress)


def _with_errors(got: Amounts, dress: Dress, column: int, first: int) -> Amounts:
    """Mark cells that hold an error value or a formula without a stored result: a reader of values shows them blank."""
    for kind, cells in (("error", dress.errors), ("uncalculated", dress.uncalculated)):
        for r, c in cells:
            if c == column and 0 <= r - first < len(got.state) and np.isnan(got.value[r - first]):
                got.state[r - first] = kind
    return got


def _with_zeros(numbers: NDArray[np.object_], zeros: dict[int, int], first: int) -> NDArray[np.object_]:
    """Part numbers typed as numbers and shown with leading zeros keep them."""
    for row, digits in zeros.items():
        i = row - first
        if 0 <= i < len(numbers) and numbers[i].isdigit():
            numbers[i] = numbers[i].zfill(digits)
    return numbers


def _pooled_decimal(block: Block, span: slice) -> str:
    """Decimal mark the money and quantity columns of the block prove together."""
    columns = (block.sheet.columns[block.mapped[name].column][span] for name in _FIGURES if name in block.mapped)
    return decimal_mark([c for column in columns for c in column if c.__class__ is str])[0]


def _view(r: _Reading) -> View:
    block = r.block
    across = np.zeros(len(r.rows), dtype=bool)
    for r1, c1, r2, c2 in block.sheet.merged:
        if r1 == r2 and c2 - c1 >= 1 and block.left <= c1 < block.right and 0 <= r1 - block.first < len(across):
            across[r1 - block.first] = True
    at = block.mapped["description" if "description" in block.mapped else "part_no"].column
    columns = [c[r.span] for c in block.sheet.columns[block.left : block.right]]
    return make_view(columns, part_no=r.part_no, description=r.description, qty=r.reads["qty"], unit=r.reads["unit_cost"],
                     extended=r.reads["extended_cost"], at=at - block.left, across=across)  # fmt: skip


def _settled(r: _Reading, view: View, kinds: RowKinds) -> tuple[RowKinds, list[Finding]]:
    """Second look at the rows, with sums: lines below the total, alternatives, and the totals held against the lines."""
    block, n = r.block, len(r.rows)
    value = line_values(view.qty, view.unit, view.extended, n)
    nan = np.full(n, np.nan)
    unit = view.unit.value if view.unit is not None else nan
    product = unit * (view.qty.value if view.qty is not None else 1.0)
    named = np.array([any(map(str.isdigit, p)) or has_letter(d) for p, d in zip(view.part_no, view.description, strict=True)], dtype=bool)
    findings: list[Finding] = []
    kind, outside = totals.settle(totals.Figures(kinds.kind, kinds.label, kinds.stated, value, unit, product, named))
    if outside:
        findings.append(warning("T072", "lines below the total are not in it", **r.where, row=int(r.rows[outside[0]]),
                                found=f"{len(outside)} lines", assumed="left out of sums, kept as alternatives",
                                advice="move them above the total if they belong to the product"))  # fmt: skip
    others = choices(block, view, kind)
    if len(others):
        kind = kind.copy()
        kind[others] = "alternative"
        findings.append(warning("T073", "lines that stand in for another line are not added", **r.where, row=int(r.rows[others[0]]),
                                found=f"{len(others)} alternatives", assumed="left out of sums"))  # fmt: skip
    return RowKinds(kind, kinds.stated, kinds.label), findings


def _checked_totals(r: _Reading, kinds: RowKinds, keep: NDArray[np.intp], frame: pd.DataFrame) -> list[Finding]:
    """Hold the stated totals against the lines; in a structure only its ends count, at their rolled-up quantity."""
    n, block = len(r.rows), r.block
    value, unit, product = (np.full(n, np.nan) for _ in range(3))
    qty, cost, extended = (frame[k].to_numpy(dtype=float) for k in ("qty", "unit_cost", "extended_cost"))
    parent, _ = structure.parents_of(part_no=r.part_no[keep], dotted=frame["dotted"].to_numpy(), level=frame["level"].to_numpy(dtype=float),
                                     parent_no=frame["parent_no"].to_numpy() if "parent_no" in frame else np.full(len(frame), ""))  # fmt: skip
    if (parent >= 0).any():
        ends = ~np.isin(np.arange(len(parent)), parent)
        extended = np.full(len(parent), np.nan)
        product[keep] = np.where(ends, cost * structure.rolled_quantity(parent, qty), np.nan)
    else:
        product[keep] = cost * qty
    unit[keep] = cost
    value[keep] = np.where(np.isnan(extended), product[keep], extended)
    figures = totals.Figures(kinds.kind, kinds.label, kinds.stated, value, unit, product, np.ones(n, dtype=bool))
    beside = labelled_figures(block)
    codes = {c for c in frame["currency"] if c}
    if len(codes) > 1:
        stated = [int(r.rows[i]) for i in np.flatnonzero(~np.isnan(kinds.stated))] + [row for row, _, _ in beside]
        return [note("T074", "totals over several currencies are not checked", **r.where, row=stated[0], found=", ".join(sorted(codes)))] if stated else []
    money = next((block.mapped[k].column for k in ("extended_cost", "unit_cost") if k in block.mapped), 0)
    return totals.check(figures, r.where, r.rows, letter(money)) + totals.check_above(figures, beside, r.where)


def _frame(r: _Reading, kinds: RowKinds, keep: NDArray[np.intp], read: ReadSection) -> tuple[pd.DataFrame, list[Finding]]:
    block, rows = r.block, r.rows[keep]
    findings: list[Finding] = []
    for name in _FIGURES:
        got = _take(r.reads[name], keep)
        if got is not None:
            place = Place(block.sheet, block.mapped[name].column, name, rows)
            findings += amount_findings(got, r.cells(name)[keep], place, read, r.decimal)
    data: dict[str, Any] = {"part_no": r.part_no[keep], "description": r.description[keep], "row_kind": kinds.kind[keep]}
    for name, mapped in block.mapped.items():
        if name in ("part_no", "description", "level", "currency", *_FIGURES):
            continue
        data[name], made = convert(BOM.column(name), r.cells(name)[keep], Place(block.sheet, mapped.column, name, rows), read, r.decimal)
        findings += made
    data["level"], dotted, made = _levels(r, keep)
    findings += made + _money(r, data, keep, kinds, read)
    data["source_file"] = np.full(len(keep), block.sheet.file, dtype=object)
    data["source_sheet"] = np.full(len(keep), block.sheet.name, dtype=object)
    data["source_row"] = rows
    frame = pd.DataFrame(data)
    frame["dotted"] = dotted
    return frame, findings


def _levels(r: _Reading, keep: NDArray[np.intp]) -> tuple[NDArray[np.float64], NDArray[np.object_], list[Finding]]:
    """Levels of the lines: numbers, dotted numbers, or indentation where there is neither column nor parent."""
    blank = np.full(len(keep), "", dtype=object)
    if "level" in r.block.mapped:
        level, dotted = level_cells(r.cells("level")[keep])
        return level, dotted, []
    if "parent_no" in r.block.mapped or "description" not in r.block.mapped:
        return np.full(len(keep), np.nan), blank, []
    column = r.block.mapped["description"].column
    worn = {row - r.block.first: n for row, n in r.dress.indents.get(column, {}).items()}
    level = levels_by_indent(r.cells("description"), worn, keep)
    if not np.isfinite(level).any():
        return level, blank, []
    return level, blank, [note("T064", "the structure is taken from indentation", **r.where, column=letter(column),
                               found=f"{int(np.nanmax(level))} levels")]  # fmt: skip


def _money(r: _Reading, data: dict[str, Any], keep: NDArray[np.intp], kinds: RowKinds, read: ReadSection) -> list[Finding]:
    block, rows, where = r.block, r.rows[keep], r.where
    qty, unit, extended = (_take(r.reads[k], keep) for k in _FIGURES)
    if extended is not None and unit is not None:
        _charges(kinds.kind[keep], qty, unit, extended)
    per = data.pop("price_per", None)
    uom = data.get("uom", np.full(len(keep), "", dtype=object))
    priced = price_lines(qty, unit, extended, per=per, uom=uom, rows=rows, where=where)
    data.update(qty=priced.qty, unit_cost=priced.unit_cost, unit_cost_low=priced.low, unit_cost_high=priced.high,
                extended_cost=priced.extended, price_per=priced.per, uom=priced.uom)  # fmt: skip
    findings = list(priced.findings)
    if "extended_cost" in block.mapped:
        place = Place(block.sheet, block.mapped["extended_cost"].column, "extended_cost", rows)
        findings += extension_findings(place, priced.unit_cost * priced.qty, priced.extended)
    column = None
    if "currency" in block.mapped:
        column, odd = currencies.stated_codes(r.cells("currency")[keep])
        if odd.any():
            first = int(rows[np.flatnonzero(odd)[0]])
            findings.append(warning("T061", "currency must be an ISO 4217 code such as EUR", **where, row=first,
                                    column=letter(block.mapped["currency"].column), found=repr(str(r.cells("currency")[keep][odd][0])),
                                    assumed="not known"))  # fmt: skip
    at = [block.mapped[k].column for k in ("unit_cost", "extended_cost") if k in block.mapped]
    codes, made = currencies.resolve(
        column=column, reads=[unit, extended], headers=[block.headers[c] for c in at],
        formats=[r.dress.currencies.get(c, {}) for c in at], rows=rows, notes=_notes(block, kinds), setting=read.currency,
        where=where, priced=~np.isnan(priced.unit_cost),
    )  # fmt: skip
    data["currency"] = codes
    return findings + made


def _take(read: Amounts | None, keep: NDArray[np.intp]) -> Amounts | None:
    if read is None:
        return None
    return Amounts(*(getattr(read, f)[keep] for f in ("value", "low", "high", "currency", "mark", "per", "unit", "state")))


def _charges(kind: NDArray[np.object_], qty: Amounts | None, unit: Amounts, extended: Amounts) -> None:
    """A charge with an amount and no quantity is one charge."""
    for i in np.flatnonzero(kind == "charge"):
        if qty is not None and np.isnan(qty.value[i]):
            qty.value[i] = 1.0
        if np.isnan(extended.value[i]) and not np.isnan(unit.value[i]):
            extended.value[i] = unit.value[i]


def _notes(block: Block, kinds: RowKinds) -> list[str]:
    """Titles above the table and texts in rows that are no lines."""
    rows = [*range(block.first), *(block.first + int(i) for i in np.flatnonzero(np.isin(kinds.kind, ("note", "heading", "total", "subtotal"))))]
    return [c[row] for row in rows[:400] for c in block.sheet.columns[: block.right] if isinstance(c[row], str) and c[row]]


def _texts(view: View, kinds: RowKinds) -> NDArray[np.object_]:
    text = np.where(view.description != "", view.description, view.part_no).astype(object)
    for i in np.flatnonzero((text == "") & (kinds.kind != "blank")):
        text[i] = " | ".join(str(c[i]).strip() for c, f in zip(view.columns, view.filled[:, i], strict=True) if f)[:200]
    for i in np.flatnonzero(kinds.label != ""):
        text[i] = kinds.label[i]
    return text


_COST_WORDS = ("vat", "tax", "mwst", "ust", "tva", "iva", "btw", "moms", "ndc", "ндс", "税", "shipping", "versand", "incl", "inkl", "excl",
               "net", "netto", "brutto", "per ", "pro ", "discount", "rabatt", "moq", "minimum")  # fmt: skip


def _dressed(r: _Reading, keep: NDArray[np.intp]) -> list[Finding]:
    """Say what the sheet wears that bears on the lines: hidden rows, hidden columns, comments on cost, merged prices."""
    dress, block, findings = r.dress, r.block, []
    lines = {block.first + int(i) for i in keep}
    hidden = sorted(lines & dress.hidden_rows)
    if hidden:
        findings.append(note("T015", "hidden rows are read like the others", **r.where, row=hidden[0] + 1, found=f"{len(hidden)} hidden lines"))
    columns = sorted({m.column for m in block.mapped.values()} & dress.hidden_columns)
    if columns:
        findings.append(note("T016", "hidden columns are read like the others", **r.where, found=", ".join(letter(c) for c in columns)))
    for (row, column), text in sorted(dress.comments.items()):
        if any(w in text.lower() for w in _COST_WORDS):
            findings.append(warning("T017", "a comment may bear on the cost", **r.where, row=row + 1, column=letter(column),
                                    found=repr(" ".join(text.split())[:100]), advice="see whether the price holds what the others hold"))  # fmt: skip
    money = {block.mapped[k].column for k in ("unit_cost", "extended_cost") if k in block.mapped}
    for r1, c1, r2, c2 in block.sheet.merged:
        if c1 in money and c2 == c1 and r2 > r1 and block.first <= r1 < block.last:
            findings.append(warning("T018", "a price merged over several rows is one price", **r.where, row=r1 + 1, column=letter(c1),
                                    found=f"rows {r1 + 1} to {r2 + 1}", assumed="counted once, at the first of them"))  # fmt: skip
    return findings
