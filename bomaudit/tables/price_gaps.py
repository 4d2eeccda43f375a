"""Prices in several currencies beside each other: each line has that of the column that states one."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from bomaudit.findings import Finding, warning
from bomaudit.tables.block_read import Reading
from bomaudit.tables.cells import Amounts, amounts
from bomaudit.tables.headers import Header, fold
from bomaudit.tables.money import MARK
from bomaudit.tables.sheets import letter


def with_gaps_filled(r: Reading, keep: NDArray[np.intp], unit: Amounts) -> tuple[Amounts, list[Finding]]:
    """Unit costs that their column lacks from the columns headed alike in another currency; ``T103`` says so."""
    own = r.block.headers[r.block.mapped["unit_cost"].column]
    taken = {m.column for m in r.block.mapped.values()}
    findings = []
    for column, header in enumerate(r.block.headers):
        alike = header.currency not in ("", own.currency) and own.currency and _plain(header) == _plain(own)
        if column in taken or column < r.block.left or not alike:
            continue
        other = amounts(r.block.sheet.columns[column][r.span][keep], r.decimal).times(header.scale)
        marked = other.currency != ""
        other = replace(other, currency=np.where(marked, other.currency, header.currency).astype(object),
                        mark=np.where(marked, other.mark, header.currency_mark).astype(object))  # fmt: skip
        gaps = np.isnan(unit.value) & np.isfinite(other.value)
        if not gaps.any():
            continue
        found, first = f"{int(gaps.sum())} lines by {header.text[:40]!r} alone", keep[np.flatnonzero(gaps)[0]]
        unit = Amounts(*(np.where(gaps, getattr(other, f.name), getattr(unit, f.name)) for f in fields(Amounts)))
        findings.append(warning(
            "T103", "a line has the price of the column that states one", **r.where, column=letter(column),
            row=int(r.rows[first]), found=found, assumed=f"booked in {header.currency}",
            advice="state one price a line, and its currency"))  # fmt: skip
    return unit, findings


def _plain(header: Header) -> str:
    """Header without its currency."""
    return fold(MARK.sub(" ", header.text).replace("()", " ").replace("[]", " "))
