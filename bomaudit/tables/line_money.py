"""Money of the lines of a block: quantity, unit cost, currency."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bomaudit.findings import Finding, warning
from bomaudit.settings import ReadSection
from bomaudit.tables import currencies
from bomaudit.tables.block_read import FIGURES, Reading
from bomaudit.tables.cells import Amounts
from bomaudit.tables.convert import Place, cell_findings, extension_findings
from bomaudit.tables.locate import Block
from bomaudit.tables.pricing import price_lines
from bomaudit.tables.rowkinds import RowKinds


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
    per = data.pop("price_per", None)
    uom = data.get("uom", np.full(len(keep), "", dtype=object))
    priced = price_lines(qty, unit, extended, per=per, uom=uom, rows=rows, where=where)
    data.update(qty=priced.qty, unit_cost=priced.unit_cost, unit_cost_low=priced.low, unit_cost_high=priced.high,
                extended_cost=priced.extended, price_per=priced.per, uom=priced.uom)  # fmt: skip
    findings = list(priced.findings)
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


def _stated_currency(r: Reading, keep: NDArray[np.intp]) -> tuple[NDArray[np.object_] | None, list[Finding]]:
    """Codes of the currency column, None where there is none."""
    if "currency" not in r.block.mapped:
        return None, []
    cells = r.cells("currency")[keep]
    codes, odd = currencies.stated_codes(cells)
    place = Place(r.block.sheet, r.block.mapped["currency"].column, "currency", r.rows[keep])
    template = warning("T061", "currency must be an ISO 4217 code such as EUR", assumed="not known")
    return codes, cell_findings(place, [int(i) for i in np.flatnonzero(odd)], cells, template)


def take(read: Amounts | None, keep: NDArray[np.intp]) -> Amounts | None:
    """Amounts of some rows."""
    if read is None:
        return None
    return Amounts(
        *(getattr(read, f)[keep] for f in ("value", "low", "high", "currency", "mark", "per", "unit", "state"))
    )


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
    return [
        c[row] for row in rows[:400] for c in block.sheet.columns[: block.right] if isinstance(c[row], str) and c[row]
    ]
