"""Finance's reconciliation: standard, booked, last paid, agreed and today's cost, and what a new standard would do.

Not accounting advice: group policy, the accounting standards and the auditor decide.

Findings: ``K011`` rows that should carry a cost and have none: their standard is rolled up, or nothing, ``K012`` parts
of which no purchase price variance is known, ``K013`` standards proposed on an estimate that the price last paid
contradicts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pandas as pd

from bomaudit.finance.ageing import ageing
from bomaudit.finance.approvals import lost_approvals
from bomaudit.finance.bridge import CAUSES, part_bridge, year_bridge
from bomaudit.finance.parts import about_parts, looked_up, part_costs, standards_in_audit_currency, with_newest_purchase
from bomaudit.finance.policy import propose, propose_assemblies, with_approvals
from bomaudit.finance.revalue import journal, revaluation
from bomaudit.finance.rolled import Structure, rolled_bridge, rolled_costs, structure_of
from bomaudit.finance.variance import prices_paid, purchase_variance
from bomaudit.findings import Finding, in_order, note, warning
from bomaudit.prepare.currency import Fx
from bomaudit.prepare.exact import round_money
from bomaudit.prepare.quotes import committed_prices
from bomaudit.settings import FinanceSection, Settings

if TYPE_CHECKING:
    from bomaudit.audit import Audit

CAUTIONS = (
    "This is not accounting advice: group policy, the accounting standards and the auditor decide.",
    "An estimate is not a quote: a standard proposed on one needs a buyer's confirmation before it is set.",
    "Purchase price variance assumes that purchases are even over the year.",
    "Net realisable value is not known here; a fallen price of a material is a sign to look, not a write-down.",
)
GIVEN = "All of it rests on what was given for this run only, which no file holds: {given}."


@dataclass(frozen=True)
class Reconciled:
    """A reconciliation, whole; amounts are in audit currency.

    Attributes
    ----------
    parts : DataFrame
        One row a part: costs by basis (:func:`bomaudit.finance.parts.part_costs`) and purchase price variance
        (:func:`bomaudit.finance.variance.purchase_variance`).
    rolled : DataFrame
        One row an assembly and the product (:func:`bomaudit.finance.rolled.rolled_costs`).
    bridge : DataFrame of Decimal
        ``starts_at`` (standard, booked), ``scope`` (part, assembly, product, year), ``part_no``, ``start``, the
        causes, ``end``. Every row adds up exactly. ``year``: the parts × their annual quantities.
    proposed : DataFrame
        New standards, with what people approved (:mod:`bomaudit.finance.policy`).
    revalued : DataFrame
        Effect on stock (:func:`bomaudit.finance.revalue.revaluation`).
    journal : DataFrame
        :func:`bomaudit.finance.revalue.journal`.
    ageing : DataFrame
        :func:`bomaudit.finance.ageing.ageing`.
    totals : dict of str to Decimal or None
        ppv_realised, ppv_expected, ppv_at_estimate, revaluation, revaluation_approved, value_at_risk, over the parts
        of which they are known, and ppv_year, the sum of the first two; None where they are known of none.
    currency : str
    as_of : date
    findings : tuple of Finding
    cautions : tuple of str
    """

    parts: pd.DataFrame
    rolled: pd.DataFrame
    bridge: pd.DataFrame
    proposed: pd.DataFrame
    revalued: pd.DataFrame
    journal: pd.DataFrame
    ageing: pd.DataFrame
    totals: dict[str, Decimal | None]
    currency: str
    as_of: date
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...] = CAUTIONS


@dataclass(frozen=True)
class NewStandards:
    """What each part costs by every basis, and the standards that are proposed; frames as in :class:`Reconciled`.

    Attributes
    ----------
    parts, proposed, revalued : DataFrame
        ``parts`` with purchase price variance.
    standards : DataFrame
        One row a standard, in audit currency.
    structure : Structure
    findings : list of Finding
    """

    parts: pd.DataFrame
    proposed: pd.DataFrame
    revalued: pd.DataFrame
    standards: pd.DataFrame
    structure: Structure
    findings: list[Finding]


def reconcile_audit(audit: Audit, *, approvals: pd.DataFrame | None = None) -> Reconciled:
    """Reconcile the standards of an audit; see :func:`reconcile`. What was given for this run is among the findings."""
    result = reconcile(bom=audit.inputs.tables["bom"], **_of_audit(audit), approvals=approvals)
    given = [f for f in audit.opened.findings if f.code == "S013"]
    if not given:
        return result
    caution = GIVEN.format(given="; ".join(f.found for f in given))
    return replace(result, findings=tuple(in_order([*given, *result.findings])), cautions=(caution, *result.cautions))


def new_standards_of(audit: Audit) -> NewStandards:
    """Propose new standards from an audit; see :func:`new_standards`."""
    return new_standards(**_of_audit(audit))


def _of_audit(audit: Audit) -> dict[str, Any]:
    return {
        "standards": audit.inputs.tables["standards"], "lines": audit.prepared, "audited": audit.lines,
        "quotes": audit.quotes, "settings": audit.settings, "as_of": audit.as_of, "fx": audit.opened.fx,
    }  # fmt: skip


def new_standards(
    *,
    standards: pd.DataFrame,
    lines: pd.DataFrame,
    audited: pd.DataFrame,
    quotes: pd.DataFrame,
    settings: Settings,
    as_of: date,
    fx: Fx,
    approvals: pd.DataFrame | None = None,
) -> NewStandards:
    """Compare the costs of each part and propose its new standard; parameters as of :func:`reconcile`."""
    finance = settings.finance
    lines, audited = (frame.reset_index(drop=True) for frame in (lines, audited))
    one_each, found = standards_in_audit_currency(standards, fx=fx, as_of=as_of)
    parts = part_costs(lines=lines, audited=audited, standards=one_each)
    paid = prices_paid(parts, quotes, fx=fx, as_of=as_of)
    parts = with_newest_purchase(parts, paid)
    structure = structure_of(lines)
    committed = committed_prices(quotes, fx=fx, as_of=as_of)
    variance = purchase_variance(parts, paid=paid, committed=committed, as_of=as_of, finance=finance)
    new_parts = propose(parts, committed=committed, as_of=as_of, finance=finance)
    proposed = _with_assemblies(
        with_approvals(new_parts, approvals), parts, lines=lines, audited=audited, structure=structure,
        finance=finance, approvals=approvals,
    )  # fmt: skip
    revalued = revaluation(proposed, parts, finance=finance)
    return NewStandards(pd.concat([parts, variance], axis=1), proposed, revalued, one_each, structure, found)


def reconcile(
    *,
    standards: pd.DataFrame,
    bom: pd.DataFrame,
    lines: pd.DataFrame,
    audited: pd.DataFrame,
    quotes: pd.DataFrame,
    settings: Settings,
    as_of: date,
    fx: Fx,
    approvals: pd.DataFrame | None = None,
) -> Reconciled:
    """Reconcile standard costs with booked, paid, agreed and today's costs.

    Parameters
    ----------
    standards : DataFrame
        Table ``standards`` of the glossary, with places; may be empty.
    bom : DataFrame
        Table ``bom`` as read, with ``parent_row`` and ``row_kind``; rows as ``lines``.
    lines : DataFrame
        Prepared lines.
    audited : DataFrame
        The same rows, columns of glossary ``LINES``.
    quotes : DataFrame
        Usable quotes; kind ``purchase`` are prices paid, ``firm`` ones still valid are committed.
    settings : Settings
        ``finance``: the policy; ``read.scrap``: the convention.
    as_of : date
    fx : Fx
    approvals : DataFrame, optional
        From :func:`bomaudit.finance.approvals.read_approvals`.

    Returns
    -------
    Reconciled
    """
    finance = settings.finance
    bom, lines, audited = (frame.reset_index(drop=True) for frame in (bom, lines, audited))
    made = new_standards(
        standards=standards, lines=lines, audited=audited, quotes=quotes, settings=settings, as_of=as_of, fx=fx,
        approvals=approvals,
    )  # fmt: skip
    parts, proposed = made.parts, made.proposed
    rolled, unlike = rolled_costs(
        bom=bom, audited=audited, parts=parts, standards=made.standards, structure=made.structure,
        finance=finance, read=settings.read,
    )  # fmt: skip
    file = str(bom["source_file"].iloc[0]) if len(bom) else ""
    findings = [*made.findings, *unlike, *about_parts(parts, lines, file=file)]
    findings += _unpriced(audited, parts, made.structure, file=file)
    if approvals is not None:
        findings += lost_approvals(approvals, proposed, file="standards_proposed.csv")
    of_standards = str(standards["source_file"].iloc[0]) if len(standards) else ""
    findings += _uncounted(parts, file=of_standards)
    findings += _unlike_paid(parts, proposed, finance, file=of_standards, as_of=as_of)
    return Reconciled(
        parts=parts,
        rolled=rolled,
        bridge=_bridges(parts, rolled, finance),
        proposed=_with_lost(proposed, approvals),
        revalued=made.revalued,
        journal=journal(made.revalued, currency=fx.currency, as_of=as_of, finance=finance),
        ageing=_aged(bom, audited, parts, as_of=as_of),
        totals=_totals(parts, made.revalued, finance),
        currency=fx.currency,
        as_of=as_of,
        findings=tuple(in_order(findings)),
    )


def _aged(bom: pd.DataFrame, audited: pd.DataFrame, parts: pd.DataFrame, *, as_of: date) -> pd.DataFrame:
    on_hand = looked_up(audited["part_no"], parts.set_index("part_no")["on_hand_qty"])
    return ageing(audited.assign(owner=bom["owner"]) if "owner" in bom else audited, as_of=as_of, on_hand_qty=on_hand)


def _with_assemblies(
    new_parts: pd.DataFrame,
    parts: pd.DataFrame,
    *,
    lines: pd.DataFrame,
    audited: pd.DataFrame,
    structure: Structure,
    finance: FinanceSection,
    approvals: pd.DataFrame | None,
) -> pd.DataFrame:
    """New standards of parts, and of the assemblies that follow from them."""
    assemblies = propose_assemblies(
        parts, new_parts, lines=lines, booked=audited["booked_cost"], structure=structure, finance=finance
    )
    both = [f for f in (new_parts, with_approvals(assemblies, approvals)) if len(f)]
    return pd.concat(both or [new_parts], ignore_index=True)


def _bridges(parts: pd.DataFrame, rolled: pd.DataFrame, finance: FinanceSection) -> pd.DataFrame:
    pieces = []
    last = len(rolled) - 1
    for start in ("standard", "booked"):
        of_parts = part_bridge(parts, start=start, places=finance.places)
        of_rolled = rolled_bridge(rolled, start=start, places=finance.places)
        of_year = year_bridge(parts, start=start, places=finance.money_places)
        scope = pd.Series("assembly", index=of_rolled.index).where(of_rolled.index < last, "product")
        pieces += [
            of_parts.assign(scope="part", starts_at=start),
            of_rolled.assign(scope=scope, starts_at=start),
            of_year.assign(scope="year", starts_at=start, part_no=""),
        ]
    order = ["starts_at", "scope", "part_no", "start", *CAUSES, "end"]
    return pd.concat([p[order] for p in pieces if len(p)], ignore_index=True)


def _with_lost(proposed: pd.DataFrame, approvals: pd.DataFrame | None) -> pd.DataFrame:
    """Rows that people approved and that are proposed no more: kept, so that nothing they wrote is lost."""
    if approvals is None:
        return proposed
    gone = approvals[approvals["approved"].notna() & ~approvals["part_no"].isin(proposed["part_no"])]
    if gone.empty:
        return proposed
    rest = gone.assign(rule="no standard any more: kept for its approval", state="approved, without effect")
    rows = [*proposed.to_dict("records"), *rest.to_dict("records")]
    return pd.DataFrame(rows, columns=proposed.columns, dtype=object)


def _unpriced(audited: pd.DataFrame, parts: pd.DataFrame, structure: Structure, *, file: str) -> list[Finding]:
    held = structure.built & ~structure.is_assembly & audited["booked_cost"].isna()
    standard = looked_up(audited["part_no"], parts.set_index("part_no")["standard_cost"])
    cases = ((held & standard.notna(), "the standard stands for it"), (held & standard.isna(), "counted as 0"))
    return [
        warning("K011", "every row that is built in needs a cost to roll up", file=file, column="unit_cost",
                found=f"{len(rows)} without: {', '.join(rows.head(5))}", assumed=assumed,
                advice="fill in the costs")
        for rows, assumed in ((audited.loc[mask, "line_id"], assumed) for mask, assumed in cases)
        if len(rows)
    ]  # fmt: skip


def _totals(parts: pd.DataFrame, revalued: pd.DataFrame, finance: FinanceSection) -> dict[str, Decimal | None]:
    """Sums over the parts of which the amount is known; None where it is known of none."""

    def total(name: str) -> Decimal | None:
        return round_money(float(parts[name].sum()), finance.money_places) if parts[name].notna().any() else None

    so_far, ahead = total("ppv_realised"), total("ppv_expected")
    known = [amount for amount in (so_far, ahead) if amount is not None]
    ppv = {
        "ppv_realised": so_far, "ppv_expected": ahead, "ppv_year": sum(known, Decimal(0)) if known else None,
        "ppv_at_estimate": total("ppv_at_estimate"),
    }  # fmt: skip
    if parts["standard_cost"].isna().all():
        return ppv | dict.fromkeys(("revaluation", "revaluation_approved", "value_at_risk"))
    approved = revalued[revalued["state"].str.startswith("approved")]
    zero = round_money(Decimal(0), finance.money_places)
    return {
        **ppv,
        "revaluation": sum(revalued["revaluation"], zero),
        "revaluation_approved": sum(approved["revaluation"], zero),
        "value_at_risk": round_money(float(revalued["value_at_risk"].sum()), finance.money_places),
    }


def _uncounted(parts: pd.DataFrame, *, file: str) -> list[Finding]:
    """Parts with a standard of which no purchase price variance is known (``K012``)."""
    bought = parts[(parts["kind"] == "part") & parts["standard_cost"].notna()]
    cases = (
        ("annual_qty", bought["annual_qty"].isna(), "an annual quantity", "left out of the sums"),
        ("last_purchase_price", bought["annual_qty"].notna() & bought["ppv_realised"].isna(), "a recent price paid",
         "left out of the sum so far"),
    )  # fmt: skip
    return [
        note("K012", f"purchase price variance needs {what} of every part", file=file, column=column,
             found=f"{int(without.sum())} of {len(bought)} parts without", assumed=assumed)
        for column, without, what, assumed in cases
        if without.any()
    ]  # fmt: skip


def _unlike_paid(
    parts: pd.DataFrame, proposed: pd.DataFrame, finance: FinanceSection, *, file: str, as_of: date
) -> list[Finding]:
    """Standards proposed on an estimate that the price last paid contradicts (``K013``)."""
    known = parts.drop_duplicates("part_no").set_index("part_no")[["last_purchase_price", "last_purchase_date"]]
    rows = proposed[proposed["target_basis"] == "estimate"].join(known, on="part_no")
    rows = rows[rows["last_purchase_date"] >= pd.Timestamp(as_of) - pd.DateOffset(months=finance.fresh_months)]
    away = (rows["proposed"].astype(float) / rows["last_purchase_price"] - 1.0).sort_values(key=abs, ascending=False)
    away = away[away.abs() > finance.threshold]
    if away.empty:
        return []
    row = rows.loc[away.index[0]]
    furthest = (
        f"{row['part_no']} proposed at {row['proposed']}, paid {row['last_purchase_price']:.12g} on "
        f"{row['last_purchase_date']:%Y-%m-%d}"
    )
    return [
        warning("K013", "a standard proposed on an estimate should be near the price last paid", file=file,
                column="last_purchase_price", assumed="the estimate is proposed all the same",
                found=f"{len(away)} of {len(rows)} more than {100 * finance.threshold:g} % away, furthest {furthest}",
                advice="have a buyer confirm them, or give the purchases as quotes too: estimates follow those")
    ]  # fmt: skip
