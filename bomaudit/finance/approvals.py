"""The file of proposed standards comes back from people with approvals in it: read it as they left it.

Findings: ``K021`` the file cannot be read as the list it was, ``K022`` an approved standard that is no amount,
``K023`` an approval without a name or date, ``K024`` an approval of a part that is no longer proposed.
"""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from pathlib import Path

import pandas as pd

from bomaudit.edited import read_edited
from bomaudit.finance.policy import APPROVAL, WRITTEN
from bomaudit.findings import BadInput, Finding, error, note, warning

_YES = frozenset({"y", "yes", "x", "ok", "approved", "true", "1"})
"""Instead of an amount: the proposed standard is approved as it stands."""


def read_approvals(path: Path) -> tuple[pd.DataFrame, list[Finding]]:
    """Approvals in an earlier file of proposed standards.

    Parameters
    ----------
    path : Path
        ``standards_proposed.csv`` of an earlier run, as edited and saved by any spreadsheet: comma or semicolon,
        decimal point or comma. A file that is not there holds no approvals.

    Returns
    -------
    approvals : DataFrame
        ``part_no``, ``proposed`` and ``approved`` and ``proposed_when_approved`` (Decimal or None), ``approved_by``,
        ``approved_on`` (text as written), and the columns that people added, as text.
    findings : list of Finding

    Raises
    ------
    BadInput
        ``K021``: to go on would write over approvals that could not be read.

    Notes
    -----
    ``approved`` may be an amount or a word of consent (yes, x, ok), which approves the proposed amount.
    """
    empty = pd.DataFrame(columns=["part_no", "proposed", *APPROVAL])
    if not path.exists():
        return empty, []
    edited = read_edited(path.read_bytes())
    missing = [c for c in ("part_no", "proposed", "approved") if c not in edited.header]
    if missing:
        raise BadInput(
            error("K021", "a file of proposed standards must have its columns", file=str(path),
                  found=f"no {', '.join(missing)}", assumed="the file is left as it is",
                  advice="put the header row back, or move the file away")
        )  # fmt: skip
    added = [name for name in edited.header if name and name not in WRITTEN]
    findings: list[Finding] = []
    kept = [
        _approval(cells, comma=edited.decimal_comma, file=path.name, row=row, findings=findings)
        | {name: cells.get(name, "") for name in added}
        for row, cells in edited.rows
        if cells.get("part_no")
    ]
    return pd.DataFrame(kept, columns=[*empty.columns, *added], dtype=object), findings


def lost_approvals(approvals: pd.DataFrame, proposed: pd.DataFrame, *, file: str) -> list[Finding]:
    """Name approvals of parts that are no longer proposed (``K024``)."""
    gone = approvals[approvals["approved"].notna() & ~approvals["part_no"].isin(proposed["part_no"])]
    return [
        warning("K024", "an approval should be of a part that has a standard", file=file, column="part_no",
                found=str(part_no), assumed="kept in the file, without effect")
        for part_no in gone["part_no"]
    ]  # fmt: skip


def _approval(
    cells: dict[str, str], *, comma: bool, file: str, row: int, findings: list[Finding]
) -> dict[str, Decimal | str | None]:
    proposed = _amount(cells.get("proposed", ""), comma=comma)
    then = _amount(cells.get("proposed_when_approved", ""), comma=comma)
    text = cells.get("approved", "")
    approved = proposed if text.lower() in _YES else _amount(text, comma=comma)
    if text and (approved is None or approved < 0):
        findings.append(
            error("K022", "approved must be an amount or yes", file=file, row=row, column="approved", found=repr(text),
                  assumed="not approved", advice="write the approved standard")
        )  # fmt: skip
        approved = None
    if approved is not None and not (cells.get("approved_by") and cells.get("approved_on")):
        findings.append(
            note("K023", "an approval should name who approved it and when", file=file, row=row, column="approved_by",
                 found=f"{cells['part_no']} without", assumed="taken as approved")
        )  # fmt: skip
    return {
        "part_no": cells["part_no"],
        "proposed": proposed,
        "approved": approved,
        "approved_by": cells.get("approved_by", ""),
        "approved_on": cells.get("approved_on", ""),
        "proposed_when_approved": then if then is not None else (proposed if approved is not None else None),
    }


def _amount(text: str, *, comma: bool) -> Decimal | None:
    plain = text.replace(" ", "").replace("\u00a0", "")
    if comma and "," in plain:
        plain = plain.replace(".", "").replace(",", ".")
    try:
        value = Decimal(plain)
    except InvalidOperation:
        return None
    return value if value.is_finite() else None
