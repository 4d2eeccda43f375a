"""Sheet ``Reconciliation``: standard, booked, paid and today's cost of each part, and what a new standard would do."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from bomaudit.finance.reconcile import new_standards_of
from bomaudit.report.book import Col

if TYPE_CHECKING:
    from bomaudit.audit import Audit

COLUMNS = (
    "part_no", "kind", "description", "standard_cost", "booked_cost", "last_purchase_price", "estimate", "target_basis",
    "rule", "state", "new_standard", "on_hand_qty", "annual_qty", "old_value", "revaluation", "effect_per_year",
)  # fmt: skip


_GUARD_PLACES = 6
"""Places kept before the last rounding: more than money has, fewer than a binary number is sure of."""


def reconciliation(audit: Audit) -> pd.DataFrame | None:
    """One row a part or assembly that has a standard; None where no standards were given.

    Returns
    -------
    DataFrame, columns :data:`COLUMNS`, or None
        Amounts as numbers; ``old_value`` and ``revaluation`` rounded to money as finance has them.
    """
    if "standards" not in audit.inputs.present:
        return None
    made = new_standards_of(audit)
    stock = made.revalued[["part_no", "old_value", "revaluation"]]
    known = made.parts[["part_no", "booked_cost", "last_purchase_price", "estimate", "on_hand_qty", "annual_qty"]]
    frame = made.proposed.merge(stock, on="part_no", how="left")
    frame = frame.merge(known.drop_duplicates("part_no"), on="part_no", how="left")
    for name in ("standard_cost", "new_standard", "old_value", "revaluation"):
        frame[name] = pd.to_numeric(frame[name].astype("float64"))
    change = frame["new_standard"] - frame["standard_cost"]
    return frame.assign(effect_per_year=change * frame["annual_qty"])[list(COLUMNS)]


def reconciliation_columns(currency: str, places: int) -> list[Col]:
    """Columns of the sheet.

    Parameters
    ----------
    currency : str
    places : int
        Decimal places that money is rounded to.
    """
    each, money = f"[{currency}/uom]", f"[{currency}]"

    def rounded(product: str) -> str:
        """Formula that rounds as decimals do: a half that binary numbers just miss is made whole first."""
        return f"=ROUND(ROUND({product},{places + _GUARD_PLACES}),{places})"

    return [
        Col("part_no", width=16), Col("kind"), Col("description", width=34),
        Col("standard_cost", "price", note=f"standard in force {each}"),
        Col("booked_cost", "price", note=f"cost that the BOM books {each}"),
        Col("last_purchase_price", "price", note=f"last price paid {each}"),
        Col("estimate", "price", note=f"median estimate of today's price {each}"),
        Col("target_basis", width=14, note="what the new standard follows"), Col("rule", width=24), Col("state"),
        Col("new_standard", "price", "entered", f"proposed, or approved {each}"),
        Col("on_hand_qty", "number", "entered", "stock on hand"),
        Col("annual_qty", "number", "entered", "bought a year"),
        Col("old_value", "money", "worked_out", f"stock at the standard in force {money}",
            formula=lambda at: rounded(f"{at('on_hand_qty')}*{at('standard_cost')}")),
        Col("revaluation", "signed", "worked_out", f"stock gains (+) or loses {money}",
            formula=lambda at: rounded(f"{at('on_hand_qty')}*({at('new_standard')}-{at('standard_cost')})")),
        Col("effect_per_year", "signed", "worked_out", f"a year's purchases at the new standard less the old {money}",
            formula=lambda at: f"=({at('new_standard')}-{at('standard_cost')})*{at('annual_qty')}"),
    ]  # fmt: skip
