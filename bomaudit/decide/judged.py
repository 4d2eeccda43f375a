"""Judge the case: draws, days, sensitivities, verdicts, and what to ask first."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date

import pandas as pd

from bomaudit.curves.input_shares import InputShares, no_shares
from bomaudit.decide.case import Case
from bomaudit.decide.facts import bears_on_safety, gather, name_known, without_what_is_not_known
from bomaudit.decide.input_prices import COLUMNS, by_input, input_bars
from bomaudit.decide.outcome import simulate
from bomaudit.decide.portfolio import add_up
from bomaudit.decide.register import silent_on_change_cost
from bomaudit.decide.requotes import rank_requotes
from bomaudit.decide.sensitivity import break_evens, range_variance, tornado, variance_shares
from bomaudit.decide.shown import (
    outside_parts,
    removed_parts,
    savings,
    show_break_evens,
    show_drivers,
    show_elements,
    show_options,
)
from bomaudit.decide.timing import PricesAt, look_around
from bomaudit.decide.verdict import judge, say_why
from bomaudit.findings import Finding
from bomaudit.glossary import DECISIONS_OUT
from bomaudit.settings import Settings


@dataclass(frozen=True)
class Decided:
    """All decisions, judged.

    Attributes
    ----------
    decisions : DataFrame, columns of glossary ``DECISIONS_OUT``
    options : DataFrame
        decision, option, chosen, cost_booked, cost_today [currency/product], switch_cost, npv of switching to it
        [currency].
    elements : DataFrame
        decision, option, element, kind, part_no, qty, basis, spent (bool), booked_per_unit, today_per_unit, low, high
        [currency/product], moved (the largest steps of the cost walk, in words), walk_* [currency/product].
    requotes : DataFrame, columns of glossary ``REQUOTES``
    tornado : DataFrame
        decision, driver, kind, at_low, at_high, low, high (net present value, [currency]).
    inputs : DataFrame, columns of ``input_prices.COLUMNS``
        What the price of each input does to each decision.
    savings : DataFrame
        decision, quantile [-], saving (the choice against the target at that quantile of the draws,
        [currency/product]).
    drivers : DataFrame
        decision, driver, kind (factor, part, element), variance_share [-], evpi, evsi [currency].
    break_evens : DataFrame
        decision, part_no, estimate, break_even_price [currency/uom], distance [-], distance_sd, p_beyond [-].
    paths : DataFrame
        decision, option, date, cost_per_unit [currency/product].
    portfolio : DataFrame
        decision, verdict, npv, counted, npv_counted [currency], because.
    growth : Series of float, index the decision
        Change of the annual volume from year to year that was counted with. [1/year]
    silent : frozenset of str
        Decisions of which nobody says what a switch costs.
    findings : tuple of Finding
    headroom : DataFrame, columns of ``candidates.HEADROOM``
        Lines by how large a booked saving their drift alone would wipe out.
    candidates : DataFrame, columns of ``candidates.LOOK_ALIKES``
        Lines in no decision, and another market that does the same and got cheaper against them.
    """

    decisions: pd.DataFrame
    options: pd.DataFrame
    elements: pd.DataFrame
    requotes: pd.DataFrame
    tornado: pd.DataFrame
    inputs: pd.DataFrame
    savings: pd.DataFrame
    drivers: pd.DataFrame
    break_evens: pd.DataFrame
    paths: pd.DataFrame
    portfolio: pd.DataFrame
    growth: pd.Series
    silent: frozenset[str]
    findings: tuple[Finding, ...]
    headroom: pd.DataFrame = field(default_factory=pd.DataFrame)
    candidates: pd.DataFrame = field(default_factory=pd.DataFrame)


def judge_case(
    case: Case,
    prices_at: PricesAt,
    *,
    lines: pd.DataFrame,
    audited: pd.DataFrame,
    findings: tuple[Finding, ...],
    settings: Settings,
    currency: str,
    as_of: date,
    shares: InputShares | None = None,
    committed: pd.Series | None = None,
) -> Decided:
    """Judge all decisions of a case.

    Parameters
    ----------
    case : Case
    prices_at : callable
        Prices of the same parts on another day.
    lines, audited : DataFrame
        Prepared and audited lines of the BOM.
    findings : tuple of Finding
        Made before the case; they go in front.
    settings : Settings
    currency : str
        Audit currency.
    as_of : date
    shares : InputShares, optional
        What inputs carry of the parts' prices; without it nothing is said of input prices.
    committed : Series of float, index part_no, optional
        Prices of firm quotes that are still valid; without it none is in hand. [currency/uom]

    Returns
    -------
    Decided
    """
    rules, confidence = settings.decide, settings.audit.confidence
    noise = settings.model.quote_noise["firm"]
    outcomes = simulate(case.model, case.target, rules=rules, confidence=confidence, quote_noise=noise)
    variance = range_variance(case)
    timing = look_around(case, prices_at, range_variance=variance, rules=rules, confidence=confidence, as_of=as_of)
    evens = break_evens(case)
    known = name_known(case, outcomes)
    facts = gather(case, outcomes, timing.tips, evens, known)
    facts = facts.assign(safety_relevant=bears_on_safety(case, lines))
    facts = facts.assign(**judge(facts, rules))
    facts = facts.assign(reason=say_why(facts, rules, currency=currency, confidence=confidence))
    portfolio, more = add_up(case.register, facts, removed_parts(case))
    compared = facts.loc[facts["priced"], "decision"]
    known = known[known["decision"].isin(compared)]
    of_parts = known[known["kind"] == "part"]
    shares = shares or no_shares(len(case.model.prices.parts))
    in_hand = pd.Series(dtype=float) if committed is None else committed
    effects = by_input(case, shares)
    bars = input_bars(case, shares, effects, confidence=confidence)
    decided = Decided(
        decisions=without_what_is_not_known(facts)[list(DECISIONS_OUT.names)],
        options=show_options(case),
        elements=show_elements(case, confidence),
        requotes=rank_requotes(
            audited, outside_parts(case, confidence), of_parts, committed=in_hand, rules=rules, currency=currency
        ),
        tornado=tornado(case, rules=rules, confidence=confidence, as_of=as_of, inputs=bars),
        inputs=effects[COLUMNS],
        savings=savings(case, outcomes),
        drivers=show_drivers(variance_shares(case), known),
        break_evens=show_break_evens(case, evens),
        paths=timing.paths,
        portfolio=portfolio,
        growth=case.register.decisions.set_index("decision")["volume_growth"],
        silent=silent_on_change_cost(case.register),
        findings=(*findings, *case.findings, *more),
    )
    return replace(decided, **{t: getattr(decided, t).loc[lambda f: f["decision"].isin(compared)] for t in _COMPARED})


_COMPARED = ("tornado", "inputs", "savings", "drivers", "break_evens", "paths")
"""Tables of decisions whose elements all have a price: without one nothing can be compared."""
