"""The poor man's register: each alternative part becomes a decision between two options.

Finding: ``A001`` an alternate is to a part that the BOM does not hold.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from bomaudit.decide.register import at, records
from bomaudit.findings import Finding, warning
from bomaudit.frames import conform
from bomaudit.glossary import ALTERNATES, DECISIONS, PLACE_COLUMNS

IN_USE, ALTERNATE = "in use", "alternate"


def as_decisions(rows: pd.DataFrame, lines: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """Two-option decisions from a table of alternative parts.

    Parameters
    ----------
    rows : DataFrame
        Table ``alternates`` of the glossary.
    lines : DataFrame
        Prepared lines: give the quantity per product.

    Returns
    -------
    register : DataFrame
        Rows of table ``decisions``: the part in use against the alternate, one for one, no one-time cost.
    findings : list of Finding
    """
    table = conform(rows, ALTERNATES)
    for name in PLACE_COLUMNS:
        table[name] = rows[name] if name in rows else ("" if name != "source_row" else range(1, len(rows) + 1))
    table = table[(table["part_no"] != "") & (table["alternate_part_no"] != "")].reset_index(drop=True)
    lines = lines[lines["part_no"].isin(table["part_no"])]
    qty = table["part_no"].map(lines.groupby("part_no")["qty_per"].sum())
    known = qty > 0
    findings = [
        at(r, warning, "A001", f"part {r['part_no']} should stand in the BOM", found="not there, or not built in",
           assumed="no price and one a product", advice="correct part_no") for r in records(table[~known])
    ]  # fmt: skip
    part = table["part_no"].map(lines.drop_duplicates("part_no").set_index("part_no")["description"]).fillna("")
    shared = {
        "decision": table["part_no"] + " or " + table["alternate_part_no"],
        "title": part.where(part != "", table["part_no"]) + " or " + table["description"].where(
            table["description"] != "", table["alternate_part_no"]),
        "kind": "part", "qty": qty.where(known, 1.0), "basis": "per_unit", "note": table["note"],
        **{c: table[c] for c in PLACE_COLUMNS},
    }  # fmt: skip
    volume = table["part_no"].map(lines.drop_duplicates("part_no").set_index("part_no")["annual_volume"])
    in_use = pd.DataFrame(
        shared | {"option": IN_USE, "chosen": True, "element": part.where(part != "", table["part_no"]),
                  "part_no": table["part_no"], "annual_volume": volume.astype(float)}
    )  # fmt: skip
    other = pd.DataFrame(
        shared | {"option": ALTERNATE, "chosen": False, "part_no": table["alternate_part_no"],
                  "element": table["description"].where(table["description"] != "", table["alternate_part_no"]),
                  "amount": table["unit_cost"], "currency": table["currency"], "date": table["cost_date"],
                  "commodity": table["commodity"], "annual_volume": np.nan}
    )  # fmt: skip
    both = pd.concat([in_use, other], ignore_index=True)
    both["chosen"] = both["chosen"].astype("boolean")
    return conform(both, DECISIONS), findings
