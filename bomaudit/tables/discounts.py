"""Discounts that a column states beside list prices: what is paid is the price less its discount."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bomaudit.findings import Finding, warning
from bomaudit.tables.block_read import Reading
from bomaudit.tables.cells import Amounts, amounts
from bomaudit.tables.columns import LEAST
from bomaudit.tables.distinct import each
from bomaudit.tables.evidence import agrees
from bomaudit.tables.sheets import letter

Floats = NDArray[np.float64]
_PRICES = ("unit_cost", "extended_cost", "~price_net", "~price_gross", "~price_other", "~cost")


def less_discount(
    r: Reading, keep: NDArray[np.intp], unit: Amounts, qty: Amounts | None, extended: Amounts | None
) -> tuple[Amounts, list[Finding]]:
    """Unit costs less the discount that a column of percentages states; ``T108`` says so.

    Notes
    -----
    Not where quantity × price is the extended cost, nor where the price is another column's less the discount: then it
    is net already, or the user named its column.
    """
    taken = {m.column for m in r.block.mapped.values()}
    free = [(c, h) for c, h in enumerate(r.block.headers) if c >= r.block.left and c not in taken]
    column = next((c for c, h in free if h.score("~discount") > LEAST and not h.currency), None)
    if column is None or r.block.mapped["unit_cost"].how == "stated":
        return unit, []
    header, cells = r.block.headers[column], r.block.sheet.columns[column][r.span][keep]
    share, marked = _shares(cells, r.decimal, in_header="%" in header.text)
    priced = (share > 0) & (share < 1) & np.isfinite(unit.value)
    if not priced.any():
        return unit, []
    stated = [amounts(r.block.sheet.columns[c][r.span][keep], r.decimal).value for c, h in free
              if max(h.score(n) for n in _PRICES) > LEAST]  # fmt: skip
    net = [agrees(other * (1 - share), unit.value) for other in stated]
    if qty is not None and extended is not None:
        net.append(agrees(qty.value * unit.value, extended.value))
    if any(2 * (found & priced).sum() > priced.sum() for found in net):
        return unit, []
    said = {**r.where, "column": letter(column), "found": f"{header.text[:40]!r} on {int(priced.sum())} lines"}
    if not marked:
        return unit, [warning("T108", "a discount must show that it is in per cent", **said, assumed="not taken off",
                              advice="write 20 %, or state net prices")]  # fmt: skip
    less = np.where(priced, 1 - share, 1.0)
    unit = replace(unit, value=unit.value * less, low=unit.low * less, high=unit.high * less)
    return unit, [warning("T108", "unit_cost should be net of discounts", **said, assumed="price × (1 - discount)",
                          advice="name the price in [columns.bom] as unit_cost if it is net already")]  # fmt: skip


def _shares(cells: NDArray[np.object_], decimal: str, *, in_header: bool) -> tuple[Floats, bool]:
    """Shares taken off, and whether they are in per cent for sure: by a mark, or as fractions."""
    signed = each(cells, lambda c: isinstance(c, str) and "%" in c, bool)
    value = np.abs(amounts(cells, decimal, money=False).value)
    large = ~signed & (value > 1)
    share = np.where(~signed & large.any(), value / 100, value)
    return share, bool(in_header or signed.any() or not large.any())
