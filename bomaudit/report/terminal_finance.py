"""A reconciliation on the terminal."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pandas as pd
from rich.console import Console
from rich.table import Table
from rich.text import Text

from bomaudit.report.numbers import Numbers
from bomaudit.report.pieces import heading, put, section, table, table_of

if TYPE_CHECKING:
    from bomaudit.finance.reconcile import Reconciled

_TOTALS = {
    "ppv_realised": "purchase price variance so far this year",
    "ppv_expected": "expected for the rest of the year",
    "ppv_year": "the whole year",
    "ppv_at_estimate": "the rest of the year at today's estimates",
    "revaluation": "revaluation of stock at the proposed standards",
    "revaluation_approved": "of which approved",
    "value_at_risk": "stock whose materials fell: look at net realisable value",
}
_MOST = 10  # rows of a table on the terminal; the files hold all


def show_reconciled(reconciled: Reconciled, title: str, console: Console) -> None:
    """Show totals, the bridge of the product, the largest proposed standards, and the cautions.

    Parameters
    ----------
    reconciled : Reconciled
    title : str
        Name of the audit.
    console : Console
    """
    n = Numbers("en", minus="-")
    put(console, heading("Standard costs reconciled", f"{title}, {n.day(reconciled.as_of)}, {reconciled.currency}"))
    totals = pd.DataFrame(
        [(words, _amount(reconciled.totals[name])) for name, words in _TOTALS.items()],
        columns=["what", "amount"],
    )
    put(console, section("Money"), table_of(totals, {"what": "", "amount": reconciled.currency}))
    for scope in ("product", "year"):
        of_scope = reconciled.bridge[reconciled.bridge["scope"] == scope]
        for row in of_scope.drop_duplicates(of_scope.columns.difference(["starts_at"]).to_list()).to_dict("records"):
            put(
                console,
                section(f"From {row['starts_at']} to today, per {scope}"),
                _bridge({str(k): v for k, v in row.items()}),
            )
    _show_proposed(reconciled, console)
    put(console, section("Cautions"), *(Text(f"- {c}") for c in reconciled.cautions))


def show_where_used(reach: pd.DataFrame, currency: str, console: Console) -> None:
    """Show what a part goes into, and what its move to today's estimate does to each.

    Parameters
    ----------
    reach : DataFrame
        From :func:`bomaudit.prepare.where_used.reach_of`; nothing is shown where it is empty.
    currency : str
    console : Console
    """
    if reach.empty:
        return
    result = table("goes into", "how many in one", f"moves its cost by, {currency}")
    for row in reach.to_dict("records"):
        result.add_row(str(row["part_no"]), f"{row['qty']:g}", f"{row['cost_change']:+,.2f}")
    put(console, section("Where it is used"), result)


def _show_proposed(reconciled: Reconciled, console: Console) -> None:
    proposed = reconciled.proposed
    changed = proposed[proposed["proposed"] != proposed["standard_cost"]]
    by_change = (changed["proposed"].astype(float) - changed["standard_cost"].astype(float)).abs()
    largest = by_change.sort_values(ascending=False, kind="stable").index
    shown = changed.loc[largest].head(_MOST).astype("str")
    put(console, section("Proposed standards"))
    if changed.empty:
        put(console, Text("none differs from the standard in force by more than the threshold"))
        return
    names = {"part_no": "part", "description": "", "standard_cost": "standard", "proposed": "proposed", "rule": "rule"}
    put(console, table_of(shown, names))
    if len(changed) > _MOST:
        put(console, Text(f"  and {len(changed) - _MOST} more in standards_proposed.csv", style="dim"))


def _bridge(row: dict[str, Decimal]) -> Table:
    result = table("", "")
    result.columns[1].justify = "right"
    for name, value in row.items():
        if name not in ("starts_at", "scope", "part_no"):
            result.add_row(str(name).replace("_", " "), _amount(value))
    return result


def _amount(value: Decimal | float | object) -> str:
    return f"{value:,.2f}" if isinstance(value, (Decimal, float)) else "not known"
