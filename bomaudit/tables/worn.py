"""What a sheet wears that bears on its lines: hidden rows, comments on cost, cells merged down a column."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bomaudit.findings import Finding, note, warning
from bomaudit.glossary import Table
from bomaudit.tables.block_read import Reading
from bomaudit.tables.locate import Block
from bomaudit.tables.sheets import letter

_ON_COST = re.compile(
    r"\b(?:vat|tax|mwst|ust|tva|iva|btw|moms|ндс|shipping|versand|incl|inkl|excl|exkl|net|netto|brutto|gross|per|pro|discount|"
    r"rabatt|moq|minimum)\b|税|\d\s*%",
    re.IGNORECASE,
)
"""Words in a comment that bear on what a price holds."""


def worn_findings(r: Reading, keep: NDArray[np.intp]) -> list[Finding]:
    """Say what the sheet wears that bears on the lines: hidden rows and columns, comments on cost, merged prices."""
    dress, findings = r.dress, []
    hidden = sorted(dress.hidden_rows.intersection((r.block.first + keep).tolist())) if dress.hidden_rows else []
    if hidden:
        findings.append(note("T015", "hidden rows are read like the others", **r.where, row=hidden[0] + 1,
                             found=f"{len(hidden)} hidden lines"))  # fmt: skip
    columns = sorted({m.column for m in r.block.mapped.values()} & dress.hidden_columns)
    if columns:
        findings.append(note("T016", "hidden columns are read like the others", **r.where,
                             found=", ".join(letter(c) for c in columns)))  # fmt: skip
    return findings + _comments(r) + _merged_prices(r)


def _comments(r: Reading) -> list[Finding]:
    return [warning("T017", "a comment may bear on the cost", **r.where, row=row + 1, column=letter(column),
                    found=repr(" ".join(text.split())[:100]), advice="see whether the price holds what the others hold")
            for (row, column), text in sorted(r.dress.comments.items()) if _ON_COST.search(text)]  # fmt: skip


def _merged_prices(r: Reading) -> list[Finding]:
    block = r.block
    money = {block.mapped[k].column for k in ("unit_cost", "extended_cost") if k in block.mapped}
    return [warning("T018", "a price merged over several rows is one price", **r.where, row=r1 + 1, column=letter(c1),
                    found=f"rows {r1 + 1} to {r2 + 1}", assumed="counted once, at the first of them")
            for r1, c1, r2, c2 in block.sheet.merged
            if c1 in money and c2 == c1 and r2 > r1 and block.first <= r1 < block.last]  # fmt: skip


_OF_EACH = frozenset({"level", "price_per", "annual_volume", "annual_qty"})
"""Numbers that hold for every row they stand beside; quantities and amounts are shared by them."""
_OF_ONE = {"bom": ("part_no", "description"), "decisions": ("part_no",)}


def held_down(block: Block, table: Table) -> tuple[Block, list[Finding]]:
    """Fill cells merged down a column into every row they stand beside, where they say something of each row.

    Parameters
    ----------
    block : Block
    table : Table
        What the columns of the block were looked for in.

    Returns
    -------
    block : Block
    findings : list of Finding
        ``T099``, one a column.
    """
    columns, findings = list(block.sheet.columns), []
    for name, mapped in block.mapped.items():
        kind, c = table.column(name).kind, mapped.column
        if (kind in ("money", "number") and name not in _OF_EACH) or name in _OF_ONE.get(table.name, ()):
            continue
        areas = [(r1, r2) for r1, c1, r2, _ in block.sheet.merged if c1 == c and block.first <= r1 < r2 < block.last]
        areas = sorted((a, b) for a, b in areas if columns[c][a] not in ("", None))
        if areas:
            columns[c] = columns[c].copy()
            for a, b in areas:
                columns[c][a : b + 1] = columns[c][a]
            findings.append(note("T099", f"{name} merged over several rows is that of each", file=block.sheet.file,
                                 sheet=block.sheet.name, row=areas[0][0] + 1, column=letter(c),
                                 found=f"{len(areas)} merged cell{'s' * (len(areas) > 1)}"))  # fmt: skip
    return replace(block, sheet=replace(block.sheet, columns=tuple(columns))), findings
