"""All decisions together: what is worth it once, counted once.

Findings: ``D020`` two decisions remove the same part · ``D021`` decisions share a change.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from bomaudit.decide.register import Register, by_group
from bomaudit.findings import Finding, note

WORTH_IT = ("reopen", "review")


def add_up(register: Register, judged: pd.DataFrame, removed: pd.DataFrame) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    """Which decisions worth switching add to the total, and with how much.

    Parameters
    ----------
    register : Register
    judged : DataFrame, one row a decision
        decision, verdict, npv, change_cost. [currency]
    removed : DataFrame
        d, part_no: parts that each decision's switch takes out of the product.

    Returns
    -------
    portfolio : DataFrame
        decision, verdict, npv, counted (bool), npv_counted [currency], because; decisions worth switching, those to
        re-open before those to review, best first.
    findings : tuple of Finding

    Notes
    -----
    In that order a decision counts unless one before it already takes out one of its parts. Decisions that share a
    change (column ``change``) pay its cost once: each after the first gets its change cost back. Nobody may count yet
    on what waits for a review, so it neither pays for what is to be re-opened nor takes its place.
    """
    worth = judged[judged["verdict"].isin(WORTH_IT)]
    worth = worth.assign(_turn=worth["verdict"].map(WORTH_IT.index)).sort_values(
        ["_turn", "npv", "decision"], ascending=[True, False, True], kind="stable"
    )
    parts = by_group(removed["part_no"], removed["d"])
    taken: dict[str, str] = {}
    changes: dict[str, str] = {}
    rows, findings = [], []
    change = register.decisions["change"]
    for d, row in zip(worth.index, worth.to_dict("records"), strict=True):
        name = str(row["decision"])
        mine = parts.get(d, [])
        clash = sorted({p for p in mine if p in taken})
        if clash:
            because = f"{taken[clash[0]]} already takes out {', '.join(clash)}"
            rows.append({**_row(row), "counted": False, "npv_counted": 0.0, "because": because})
            message = f"decisions {taken[clash[0]]} and {name} take out the same part"
            findings.append(_once("D020", message, ", ".join(clash), f"the total counts {taken[clash[0]]} only"))
            continue
        taken |= dict.fromkeys(mine, name)
        shared = str(change.iloc[d])
        back = float(np.nan_to_num(row["change_cost"])) if shared and shared in changes else 0.0
        because = f"change {shared} is paid for by {changes[shared]}" if back else ""
        if back:
            findings.append(_once("D021", f"decisions {changes[shared]} and {name} share a change", shared,
                                  "the total counts its cost once"))  # fmt: skip
        if shared:
            changes.setdefault(shared, name)
        rows.append({**_row(row), "counted": True, "npv_counted": float(row["npv"]) + back, "because": because})
    names = ["decision", "verdict", "npv", "counted", "npv_counted", "because"]
    typed = {"counted": bool, "npv": float, "npv_counted": float}  # an empty table must be typed like a full one
    return pd.DataFrame(rows, columns=names).astype(typed), tuple(findings)


def _row(row: dict[object, object]) -> dict[str, object]:
    return {name: row[name] for name in ("decision", "verdict", "npv")}


def _once(code: str, message: str, found: str, assumed: str) -> Finding:
    return note(code, message, found=found, assumed=assumed, advice="decide them together")
