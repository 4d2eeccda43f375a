"""What a sheet wears that bears on its lines, as findings: hidden rows, comments on cost, merged prices."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from bomaudit.findings import Finding, note, warning
from bomaudit.tables.block_read import Reading
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
