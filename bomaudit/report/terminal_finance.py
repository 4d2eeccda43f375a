"""A reconciliation on the terminal."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pandas as pd
from rich.console import Console
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from bomaudit.findings import to_frame
from bomaudit.report.numbers import Numbers
from bomaudit.report.pieces import heading, put, section, table
from bomaudit.report.terminal_inputs import finding_lines

if TYPE_CHECKING:
    from bomaudit.finance.reconcile import Reconciled

_TOTALS = {
    "ppv_realised": "purchase price variance so far this year",
    "ppv_expected": "expected for the rest of the year",
    "ppv_year": "the whole year, both together",
    "ppv_at_estimate": "the rest of the year at today's estimates",
    "revaluation": "revaluation of stock at the proposed standards",
    "revaluation_approved": "of which approved",
    "value_at_risk": "stock whose materials fell: look at net realisable value",
}
_CAUSES = {"price": "booked against standard", "end": "today"}
_MOST = 10  # rows of a table on the terminal; the files hold all
_MOST_FINDINGS = 5
_NO_STANDARDS = (
    "No standard cost was given, so there is none to reconcile: name a table under standards in [files] of audit.toml. "
    "Until then the booked costs stand in."
)


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
    given = reconciled.parts["standard_cost"].notna().any()
    put(console, heading("Standard costs reconciled", f"{title}, {n.day(reconciled.as_of)}, {reconciled.currency}"))
    if given:
        put(console, section("Money, positive where it costs more than the standard"), _money(reconciled, n))
    else:
        put(console, Text(_NO_STANDARDS))
    bridges = reconciled.bridge if given else reconciled.bridge[reconciled.bridge["starts_at"] == "booked"]
    for scope, unit in (("product", "per product"), ("year", "a year")):
        of_scope = bridges[bridges["scope"] == scope]
        for row in of_scope.drop_duplicates(of_scope.columns.difference(["starts_at"]).to_list()).to_dict("records"):
            named = f"From {row['starts_at']} to today, {reconciled.currency} {unit}"
            put(console, section(named), _bridge({str(k): v for k, v in row.items()}, n))
    if given:
        _show_proposed(reconciled, n, console)
    if reconciled.findings:
        put(console, section("Findings"), finding_lines(to_frame(reconciled.findings), _MOST_FINDINGS))
    put(console, section("Cautions"), *(Text(f"- {c}") for c in reconciled.cautions))


def _money(reconciled: Reconciled, n: Numbers) -> Table:
    """Totals and of how many parts each is the sum, which differ: not of every part a price was paid."""
    revalued, result = reconciled.revalued, table("", reconciled.currency, "parts")
    counts = {name: int(reconciled.parts[name].notna().sum()) for name in _TOTALS if name.startswith("ppv")}
    counts["ppv_year"] = int(reconciled.parts[["ppv_realised", "ppv_expected"]].notna().any(axis=1).sum())
    counts |= {
        "revaluation": len(revalued),
        "revaluation_approved": int(revalued["state"].str.startswith("approved").sum()),
        "value_at_risk": int((revalued["value_at_risk"] > 0).sum()),
    }
    result.columns[1].justify = result.columns[2].justify = "right"
    for name, words in _TOTALS.items():
        result.add_row(words, _amount(reconciled.totals[name], n), n.plain(counts[name]))
    return result


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
    n = Numbers("en", minus="-")
    result = table("goes into", "how many in one", f"moves its cost by, {currency}")
    for row in reach.to_dict("records"):
        result.add_row(str(row["part_no"]), f"{row['qty']:g}", n.price(row["cost_change"], signed=True))
    put(console, section("Where it is used"), result)


def _show_proposed(reconciled: Reconciled, n: Numbers, console: Console) -> None:
    proposed = reconciled.proposed
    changed = proposed[proposed["proposed"] != proposed["standard_cost"]]
    by_change = (changed["proposed"].astype(float) - changed["standard_cost"].astype(float)).abs()
    shown = changed.loc[by_change.sort_values(ascending=False, kind="stable").index].head(_MOST)
    put(console, section("Proposed standards"))
    if changed.empty:
        put(console, Text("none differs from the standard in force by more than the threshold"))
        return
    paid = reconciled.parts.drop_duplicates("part_no").set_index("part_no")
    places = max((-int(d.as_tuple().exponent) for d in shown["proposed"]), default=0)
    result = table("part", "standard", "proposed", "last paid", "rule")
    for row in shown.to_dict("records"):
        result.add_row(
            f"[b]{escape(row['part_no'])}[/b] {escape(row['description'])}",
            *(n.plain(float(row[c]), places) for c in ("standard_cost", "proposed")),
            _last_paid(paid.loc[row["part_no"]], n, places) if row["part_no"] in paid.index else "",
            escape(row["rule"]),
        )
    put(console, result)
    if len(changed) > _MOST:
        put(console, Text(f"  and {len(changed) - _MOST} more in standards_proposed.csv", style="dim"))


def _last_paid(part: pd.Series, n: Numbers, places: int) -> str:
    price, day = part["last_purchase_price"], part["last_purchase_date"]
    return f"{n.plain(price, places)}\n{n.day(day)}" if pd.notna(price) else ""


def _bridge(row: dict[str, Decimal], n: Numbers) -> Table:
    """Steps from start to end; steps of nought are left out."""
    result = table()
    result.add_column()
    result.add_column(justify="right")
    for name, value in row.items():
        end = name in ("start", "end")
        if name in ("starts_at", "scope", "part_no") or not (end or round(value, 2)):
            continue
        label = str(row["starts_at"]) if name == "start" else _CAUSES.get(name, name.replace("_", " "))
        result.add_row(label, n.plain(float(value), 2, signed=not end))
    return result


def _amount(value: Decimal | None, n: Numbers) -> str:
    return "not known" if value is None else n.plain(float(value), 2)
