"""Money of the lines of a block: quantity, unit cost, currency; and price breaks it states in columns, as quotes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.findings import Finding, note, warning
from bomaudit.glossary import QUOTES, Table
from bomaudit.settings import ReadSection
from bomaudit.tables import currencies, units
from bomaudit.tables.block_read import FIGURES, DressOf, Reading
from bomaudit.tables.cells import Amounts, amounts, pieces
from bomaudit.tables.columns import LEAST
from bomaudit.tables.convert import (
    Place,
    amount_findings,
    cell_findings,
    column_decimal,
    extension_findings,
    read_amounts,
)
from bomaudit.tables.discounts import less_discount
from bomaudit.tables.distinct import each
from bomaudit.tables.dress import Dress
from bomaudit.tables.evidence import agrees
from bomaudit.tables.frames import typed_frame
from bomaudit.tables.headers import Header
from bomaudit.tables.locate import Block
from bomaudit.tables.price_gaps import with_gaps_filled
from bomaudit.tables.pricing import pieces_in_line_units, price_lines, price_units
from bomaudit.tables.rowkinds import RowKinds
from bomaudit.tables.sheets import Cells, letter
from bomaudit.tables.tally import Tally

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]
_FEWEST = 2
"""Columns that make price breaks: one column with a quantity in its header is a price."""


def line_money(
    r: Reading, data: dict[str, Any], keep: NDArray[np.intp], kinds: RowKinds, read: ReadSection
) -> list[Finding]:
    """Add quantity, unit cost, its range, and currency to the data of the lines; returns what is to say about them.

    Parameters
    ----------
    r : Reading
    data : dict name → array
        Columns of the lines so far; changed in place.
    keep : int array
        Rows of the block that are lines.
    kinds : RowKinds
    read : ReadSection
    """
    block, rows, where = r.block, r.rows[keep], r.where
    qty, unit, extended = (take(r.reads[k], keep) for k in FIGURES)
    if extended is not None and unit is not None:
        _charges(kinds.kind[keep], qty, unit, extended)
    per, per_unit, findings = None, None, list[Finding]()
    if "price_per" in block.mapped:
        place = Place(block.sheet, block.mapped["price_per"].column, "price_per", rows)
        per, per_unit, findings = _stated_pieces(r.cells("price_per")[keep], place, read, r.decimal)
    uom = data.get("uom", np.full(len(keep), "", dtype=object))
    if unit is not None:
        unit, said = with_gaps_filled(r, keep, unit)
        findings += said
        unit = _as_headed(unit, block.headers[block.mapped["unit_cost"].column], qty, extended)
        unit, said = less_discount(r, keep, unit, qty, extended)
        findings += said
    priced = price_lines(qty, unit, extended, per=per, per_unit=per_unit, uom=uom, rows=rows, where=where)
    data.update(qty=priced.qty, unit_cost=priced.unit_cost, unit_cost_low=priced.low, unit_cost_high=priced.high,
                extended_cost=priced.extended, price_per=priced.per, uom=priced.uom,
                qty_negative=priced.negative)  # fmt: skip
    findings += priced.findings
    for name in ("unit_cost", "extended_cost"):
        if name in block.mapped:
            priced_in = Place(block.sheet, block.mapped[name].column, name, rows)
            findings += scale_findings(block.headers[priced_in.column], priced_in)
    if "extended_cost" in block.mapped:
        place = Place(block.sheet, block.mapped["extended_cost"].column, "extended_cost", rows)
        findings += extension_findings(place, priced.unit_cost * priced.qty, priced.extended)
    column, made = _stated_currency(r, keep)
    at = [block.mapped[k].column for k in ("unit_cost", "extended_cost") if k in block.mapped]
    codes, said = currencies.resolve(
        column=column, reads=[unit, extended], headers=[block.headers[c] for c in at],
        formats=[r.dress.currencies.get(c, {}) for c in at], rows=rows, notes=_notes(block, kinds),
        setting=read.currency, where=where, priced=~np.isnan(priced.unit_cost),
    )  # fmt: skip
    data["currency"] = codes
    return findings + made + said


def _as_headed(unit: Amounts, header: Header, qty: Amounts | None = None, extended: Amounts | None = None) -> Amounts:
    """Prices for as many pieces, or for the measure, that their header names, where neither cell nor arithmetic denies.

    A header "price per 100" beside an extended cost that is quantity × price names the order, not the price.
    """
    if not header.per > 1 and not header.per_unit:
        return unit
    if qty is not None and extended is not None:
        whole = agrees(qty.value * unit.value, extended.value) & (unit.value != 0)
        if whole.sum() * 2 > np.isfinite(qty.value * unit.value * extended.value).sum():
            return unit
    return replace(unit, per=np.where(np.isnan(unit.per), header.per, unit.per),
                   per_unit=np.where(unit.per_unit == "", header.per_unit, unit.per_unit).astype(object))  # fmt: skip


def scale_findings(header: Header, place: Place) -> list[Finding]:
    """Say where a header states thousands or hundredths of a currency."""
    if header.scale == 1:
        return []
    return [
        warning("T092", f"{place.name} is headed in {'thousands' if header.scale > 1 else 'hundredths'} of a currency",
                file=place.sheet.file, sheet=place.sheet.name, column=letter(place.column), found=repr(header.text),
                assumed=f"multiplied by {header.scale:g}")
    ]  # fmt: skip


def _stated_pieces(cells: Cells, place: Place, read: ReadSection, pooled: str) -> tuple[Floats, Texts, list[Finding]]:
    """Pieces that prices are for, as a column of their own states them, and the unit beside the number."""
    numbers = pieces(cells)
    mark, assumed = column_decimal(numbers, read, pooled)
    got = amounts(numbers, mark, money=False)
    alone = (got.state == "words") & each(got.unit, lambda word: bool(units.spelling(word)), bool)
    got = replace(got, state=np.where(alone, "", got.state).astype(object))
    return got.value, got.unit, amount_findings(got, cells, place, assumed=assumed)


def _stated_currency(r: Reading, keep: NDArray[np.intp]) -> tuple[NDArray[np.object_] | None, list[Finding]]:
    """Codes of the currency column, None where there is none."""
    if "currency" not in r.block.mapped:
        return None, []
    cells = r.cells("currency")[keep]
    codes, odd = currencies.stated_codes(cells)
    place = Place(r.block.sheet, r.block.mapped["currency"].column, "currency", r.rows[keep])
    template = warning(
        "T061", "currency must be an ISO 4217 code such as EUR", assumed="left out; taken as a line without one"
    )
    return codes, cell_findings(place, [int(i) for i in np.flatnonzero(odd)], cells, template)


def take(read: Amounts | None, keep: NDArray[np.intp]) -> Amounts | None:
    """Amounts of some rows."""
    if read is None or len(keep) == len(read.value):
        return read
    return Amounts(*(getattr(read, f.name)[keep] for f in fields(Amounts)))


def table_money(
    table: Table, block: Block, keep: NDArray[np.intp], data: dict[str, Any], *, read: ReadSection, dress_of: DressOf
) -> list[Finding]:
    """Add money, for one unit, and its currency to the rows of a table that is no BOM; returns what is to say.

    Parameters
    ----------
    table : Table
    block : Block
    keep : int array
        0-based rows of the sheet.
    data : dict name → array
        Columns of the rows so far, uom and currency among them where the table has them; changed in place.
    read : ReadSection
    dress_of : function (block, columns) → Dress
        Looks up number formats: asked only where nothing else states a currency.
    """
    names = [c.name for c in table.columns if c.kind == "money" and c.name in block.mapped]
    place = {n: Place(block.sheet, block.mapped[n].column, n, keep + 1)
             for n in (*names, "price_per") if n in block.mapped}  # fmt: skip
    cells = {n: block.sheet.columns[p.column][keep] for n, p in place.items()}
    tally = Tally(keep + 1, {"file": block.sheet.file, "sheet": block.sheet.name})
    reads, per, stated, findings = dict[str, Amounts](), None, None, list[Finding]()
    if "price_per" in place:
        per, stated, findings = _stated_pieces(cells["price_per"], place["price_per"], read, "")
        data["price_per"] = per
    own = np.asarray(data.get("uom", np.full(len(keep), "", dtype=object)), dtype=object)
    for name in names:
        got, said = read_amounts(cells[name], place[name], read, "")
        header = block.headers[block.mapped[name].column]
        got, said = _as_headed(got.times(header.scale), header), said + scale_findings(header, place[name])
        reads[name], findings, data[name] = got, findings + said, got.value
        if table.column(name).unit != "currency/uom":
            continue
        many = pieces_in_line_units(per, stated, got, own, tally)
        many = np.where((many > 0) & ~np.isnan(got.value), many, 1.0)
        data[name] = got.value / many
        findings += cell_findings(place[name], np.flatnonzero(many != 1).tolist(), cells[name], _TO_ONE)
        if "uom" in table.names:
            data["uom"] = np.where(own == "", price_units(stated, got, len(keep)), own)
    findings += tally.findings + _table_currency(block, reads, keep, data, read=read, dress_of=dress_of)
    untold = {"quotes": ("T056",), "price_series": ("T055", "T056")}  # Q004 says it; which one moves no slope
    return [f for f in findings if f.code not in untold.get(table.name, ())]


_TO_ONE = note("T052", "prices for more than one unit are brought to one", assumed="price / pieces it is for")


def _table_currency(
    block: Block,
    reads: dict[str, Amounts],
    keep: NDArray[np.intp],
    data: dict[str, Any],
    *,
    read: ReadSection,
    dress_of: DressOf,
) -> list[Finding]:
    """Currency of the rows of a table that is no BOM, by the rules of one; what no rule knows stays as it is stated."""
    if not reads:
        return []
    said = np.asarray(data.get("currency", np.full(len(keep), "", dtype=object)), dtype=object)
    codes, _ = currencies.stated_codes(said)
    codes = np.where(codes == "", said, codes)
    priced = ~np.isnan(np.array([got.value for got in reads.values()])).all(axis=0)
    at = [block.mapped[n].column for n in reads]
    named = (codes != "") | np.logical_or.reduce([got.currency != "" for got in reads.values()])
    worn = Dress() if named[priced].all() or any(block.headers[c].currency for c in at) else dress_of(block, tuple(at))
    data["currency"], findings = currencies.resolve(
        column=codes, reads=list(reads.values()), headers=[block.headers[c] for c in at],
        formats=[worn.currencies.get(c, {}) for c in at], rows=keep + 1, notes=_texts_in(block, range(block.first)),
        setting=read.currency, where={"file": block.sheet.file, "sheet": block.sheet.name}, priced=priced,
    )  # fmt: skip
    return findings


def _charges(kind: NDArray[np.object_], qty: Amounts | None, unit: Amounts, extended: Amounts) -> None:
    """A charge with an amount and no quantity is one charge."""
    for i in np.flatnonzero(kind == "charge"):
        if qty is not None and np.isnan(qty.value[i]):
            qty.value[i] = 1.0
        if np.isnan(extended.value[i]) and not np.isnan(unit.value[i]):
            extended.value[i] = unit.value[i]


def _notes(block: Block, kinds: RowKinds) -> list[str]:
    """Titles above the table and texts in rows that are no lines."""
    rows = [
        *range(block.first),
        *(block.first + int(i) for i in np.flatnonzero(np.isin(kinds.kind, ("note", "heading", "total", "subtotal")))),
    ]
    return _texts_in(block, rows[:400])


def _texts_in(block: Block, rows: Iterable[int]) -> list[str]:
    columns = block.sheet.columns[: block.right]
    return [c[row] for row in rows for c in columns if isinstance(c[row], str) and c[row]]


def price_breaks(block: Block, lines: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """Quotes from the price-break columns of a block.

    Parameters
    ----------
    block : Block
    lines : DataFrame
        Lines of the block, with source_row, part_no, uom, currency, cost_date, supplier.

    Returns
    -------
    quotes : DataFrame
        Columns of ``glossary.QUOTES``; kind catalogue, min_qty from the header, quote_date the line's cost_date.
    findings : list
        T086: how many were found, and how many lack the part number or the date without which a quote says nothing.
        T092: columns in thousands or hundredths of a currency.
    """
    columns = [c for c, h in enumerate(block.headers) if c >= block.left and _is_break(h)]
    if len(columns) < _FEWEST or not len(lines):
        return typed_frame(QUOTES, {}, 0), []
    at = lines["source_row"].to_numpy() - 1
    parts = [_column(block, lines, column, at) for column in columns]
    quotes = pd.concat(parts, ignore_index=True)
    usable = (quotes["part_no"] != "") & quotes["quote_date"].notna() & (quotes["currency"] != "")
    finding = note("T086", "price breaks are taken for catalogue quotes", file=block.sheet.file, sheet=block.sheet.name,
                   column=letter(columns[0]), found=f"{len(quotes)} prices in {len(columns)} columns",
                   assumed=f"{int(usable.sum())} used, the rest lack part number, date or currency")  # fmt: skip
    scaled = [f for c in columns for f in scale_findings(block.headers[c], Place(block.sheet, c, "unit_price", at + 1))]
    return quotes[usable].reset_index(drop=True), [finding, *scaled]


def _is_break(header: Header) -> bool:
    priced = max(header.score("~price_break"), header.score("unit_cost")) > LEAST
    return priced and (np.isfinite(header.at_quantity) or "piece price" in header.words)


def _column(block: Block, lines: pd.DataFrame, column: int, at: Any) -> pd.DataFrame:
    """Quotes of one price-break column."""
    header = block.headers[column]
    price = amounts(block.sheet.columns[column][at]).times(header.scale).value
    have = np.flatnonzero(price > 0)
    chosen = lines.iloc[have]
    stated = chosen["currency"].to_numpy(dtype=object)
    quantity = header.at_quantity
    data: dict[str, Any] = {
        "part_no": chosen["part_no"].to_numpy(dtype=object), "quote_date": chosen["cost_date"].to_numpy(),
        "unit_price": price[have], "currency": np.where(stated == "", header.currency, stated).astype(object),
        "min_qty": np.full(len(have), quantity if np.isfinite(quantity) else 1.0),
        "supplier": chosen["supplier"].to_numpy(dtype=object), "kind": np.full(len(have), "catalogue", dtype=object),
        "uom": chosen["uom"].to_numpy(dtype=object),
        **{c: chosen[c].to_numpy() for c in ("source_file", "source_sheet", "source_row")},
    }  # fmt: skip
    return typed_frame(QUOTES, data, len(have))
