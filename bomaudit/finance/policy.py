"""Proposed new standards under the policy of ``[finance]``: threshold, firm prices, agreed prices, rounding."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import numpy as np
import pandas as pd

from bomaudit.finance.parts import looked_up
from bomaudit.finance.rolled import Structure
from bomaudit.prepare.exact import round_money, to_decimal
from bomaudit.settings import FinanceSection

APPROVAL = ("approved", "approved_by", "approved_on", "proposed_when_approved")
"""Columns of people: the approved standard, who approved it, when, and what was proposed at that time."""

WRITTEN = (
    "part_no", "kind", "description", "standard_cost", "target", "target_basis", "proposed", "rule", *APPROVAL,
    "new_standard", "state",
)  # fmt: skip
"""Columns that the program writes; others in the file were added by people and are kept behind them."""


def propose(parts: pd.DataFrame, *, committed: pd.Series, as_of: date, finance: FinanceSection) -> pd.DataFrame:
    """New standard of each bought part that has a standard.

    Parameters
    ----------
    parts : DataFrame
        From :func:`bomaudit.finance.parts.part_costs`.
    committed : Series
        From :func:`bomaudit.prepare.quotes.committed_prices`.
    as_of : date
    finance : FinanceSection

    Returns
    -------
    DataFrame
        ``part_no``, ``kind``, ``description``, ``standard_cost`` (Decimal), ``target``, ``target_basis`` (firm quote,
        estimate, last purchase, none), ``proposed`` (Decimal), ``rule`` in words.

    Notes
    -----
    In this order: a firm quote still valid is taken as it is; else today's estimate, where the part has a market, or
    else a last purchase that is fresh; never below the price agreed for the as-of date; a target within the threshold
    of the standard leaves it; what is left is rounded, halves away from zero.
    """
    rows = parts[parts["standard_cost"].notna() & (parts["kind"] == "part")]
    old = rows["standard_cost"].to_numpy(np.float64)
    firm = looked_up(rows["part_no"], committed).to_numpy(np.float64)
    estimate = rows["estimate"].where(rows["status"] != "unknown").to_numpy(np.float64)
    fresh = pd.Timestamp(as_of) - pd.DateOffset(months=finance.fresh_months)
    paid = rows["last_purchase_price"].where(rows["last_purchase_date"] >= fresh)
    agreed = rows["contract_price"].to_numpy(np.float64)
    is_firm = np.isfinite(firm) & finance.freeze_firm
    choices = [is_firm, np.isfinite(estimate), paid.notna().to_numpy()]
    target = np.select(choices, [firm, estimate, paid.to_numpy(np.float64)], default=np.nan)
    basis = np.select(choices, ["firm quote", "estimate", "last purchase"], default="none")
    floored = ~is_firm & finance.floor_committed & (agreed > target)
    target = np.where(floored, agreed, target)
    within = np.abs(np.divide(target, old, out=np.full(len(rows), np.inf), where=old != 0) - 1.0) <= finance.threshold
    kept = within | ~np.isfinite(target)
    proposed = [
        to_decimal(o) if keep else round_money(t, finance.places) for o, t, keep in zip(old, target, kept, strict=True)
    ]
    rule = np.select(
        [basis == "none", within, is_firm, floored],
        [
            "kept: no firm quote, estimate or recent purchase",
            f"kept: target within {100 * finance.threshold:g} % of the standard",
            "firm quote still valid: the price that will be paid",
            "estimate is below the agreed price: the agreed price",
        ],
        default=np.where(basis == "estimate", "today's estimate", "last purchase price: no market to follow"),
    )
    return pd.DataFrame(
        {
            **{c: rows[c].to_numpy() for c in ("part_no", "kind", "description")},
            "standard_cost": pd.Series([to_decimal(o) for o in old], dtype=object),
            "target": target,
            "target_basis": pd.Series(basis, dtype="str"),
            "proposed": pd.Series(proposed, dtype=object),
            "rule": pd.Series(rule, dtype="str"),
        }
    )


def propose_assemblies(
    parts: pd.DataFrame,
    new_parts: pd.DataFrame,
    *,
    lines: pd.DataFrame,
    booked: pd.Series,
    structure: Structure,
    finance: FinanceSection,
) -> pd.DataFrame:
    """New standard of each assembly that has one, rolled up from the new standards of its parts.

    Parameters
    ----------
    parts : DataFrame
        From :func:`bomaudit.finance.parts.part_costs`.
    new_parts : DataFrame
        ``part_no``, ``standard_cost`` and ``new_standard`` of the parts: approved where approved, else proposed.
    lines : DataFrame
        Prepared lines.
    booked : Series
        Booked cost of each line, for rows without a standard.
    structure : Structure
    finance : FinanceSection
        assembly_rest, places.

    Returns
    -------
    DataFrame
        Columns as :func:`propose`.

    Notes
    -----
    keep: old standard + Σ quantity × (new - old) of the parts, so what it held beyond them stays. drop:
    Σ quantity × new. No threshold: a parent that did not follow its parts would no longer be their sum.
    """
    held = parts["standard_cost"].notna() & (parts["kind"] == "assembly")
    rows = parts[held]
    by_part = new_parts.set_index("part_no")
    new, old = (looked_up(lines["part_no"], by_part[c]).to_numpy(np.float64) for c in ("new_standard", "standard_cost"))
    moved = structure.roll_up(np.nan_to_num(new - old))
    whole = structure.roll_up(np.nan_to_num(np.where(np.isnan(new), booked.to_numpy(np.float64), new)))
    # an earlier position of the same assembly may hold no more, or be bought whole: nothing is rolled up there
    order = np.argsort(~(structure.built & structure.is_assembly), kind="stable")
    first = pd.Series(order, index=lines["part_no"].iloc[order])
    at = first[~first.index.duplicated()].reindex(rows["part_no"]).to_numpy(np.int64)
    before = rows["standard_cost"].to_numpy(np.float64)
    keep = finance.assembly_rest == "keep"
    target = before + moved[at] if keep else whole[at]
    rule = "roll-up of the new standards of its parts" + (", what it held beyond them kept" if keep else "")
    same = moved[at] == 0 if keep else np.zeros(len(rows), dtype=bool)
    proposed = [
        to_decimal(b) if s else round_money(t, finance.places) for b, t, s in zip(before, target, same, strict=True)
    ]
    return pd.DataFrame(
        {
            **{c: rows[c].to_numpy() for c in ("part_no", "kind", "description")},
            "standard_cost": pd.Series([to_decimal(b) for b in before], dtype=object),
            "target": target,
            "target_basis": pd.Series("roll-up", index=range(len(rows)), dtype="str"),
            "proposed": pd.Series(proposed, dtype=object),
            "rule": pd.Series(np.where(same, "kept: no part of it changes", rule), dtype="str"),
        }
    )


def with_approvals(proposed: pd.DataFrame, approvals: pd.DataFrame | None) -> pd.DataFrame:
    """Bring what people have approved into a new proposal; nothing they wrote is lost.

    Parameters
    ----------
    proposed : DataFrame
        From :func:`propose` or :func:`propose_assemblies`.
    approvals : DataFrame, optional
        From :func:`bomaudit.finance.approvals.read_approvals`: ``part_no``, ``proposed``, the columns of
        :data:`APPROVAL` and those that people added.

    Returns
    -------
    DataFrame
        ``proposed`` with the columns of :data:`APPROVAL`, ``new_standard`` (approved where approved, else proposed) and
        ``state``: approved, approved before the proposal changed, proposed; then what people added.
    """
    none = pd.DataFrame(columns=["part_no", "proposed", *APPROVAL])
    known = (none if approvals is None else approvals).drop_duplicates("part_no", keep="last").set_index("part_no")
    joined = proposed.copy()
    for name in APPROVAL:
        values = joined["part_no"].map(known[name])
        joined[name] = values.astype(object).where(
            values.notna(), "" if name in ("approved_by", "approved_on") else None
        )
    is_approved = joined["approved"].notna()
    earlier = joined["part_no"].map(known["proposed"])
    joined["proposed_when_approved"] = joined["proposed_when_approved"].where(
        joined["proposed_when_approved"].notna(), earlier.where(is_approved, None)
    )
    joined["new_standard"] = joined["approved"].where(is_approved, joined["proposed"])
    moved = [
        bool(ok) and isinstance(then, Decimal) and then != now
        for ok, then, now in zip(is_approved, joined["proposed_when_approved"], joined["proposed"], strict=True)
    ]
    state = np.select(
        [np.array(moved, dtype=bool), is_approved.to_numpy(bool)],
        ["approved before the proposal changed", "approved"],
        default="proposed",
    )
    joined["state"] = pd.Series(state, index=joined.index, dtype="str")
    for added in [c for c in known if c not in ("proposed", *APPROVAL)]:
        joined[added] = joined["part_no"].map(known[added]).astype(object).fillna("").astype("str")
    return joined
