"""Decide: from the register and today's prices to verdicts, and what to ask first."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from bomaudit.curves.fitted import Curves
from bomaudit.curves.input_shares import input_shares
from bomaudit.curves.library import Library
from bomaudit.decide.alternates import as_decisions
from bomaudit.decide.candidates import headroom, look_alikes
from bomaudit.decide.case import Case, build_case
from bomaudit.decide.elements import find_sources, lines_needed
from bomaudit.decide.judged import Decided, judge_case
from bomaudit.decide.market import Market, log_escalation
from bomaudit.decide.register import Register, missing_volume, read_register
from bomaudit.decide.timing import days_looked_at
from bomaudit.estimate import Estimates
from bomaudit.findings import Finding, warning
from bomaudit.prepare.currency import Fx
from bomaudit.prepare.lines import prepare_lines
from bomaudit.prepare.quotes import committed_prices
from bomaudit.settings import Settings

_PASSED_ON = ("B102", "B103", "B104")
"""Findings of preparing an outside part that the user can act on: no commodity, no usable price, no date."""


def decide(
    *,
    decisions: pd.DataFrame,
    alternates: pd.DataFrame,
    lines: pd.DataFrame,
    audited: pd.DataFrame,
    curves: Curves,
    estimates: Estimates,
    quotes: pd.DataFrame,
    library: Library,
    fx: Fx,
    settings: Settings,
    as_of: date,
) -> Decided:
    """Judge every decision of the register at today's prices, and rank what to ask.

    Parameters
    ----------
    decisions, alternates : DataFrame
        Tables of the glossary; either may be empty.
    lines : DataFrame
        Prepared lines of the BOM.
    audited : DataFrame, columns of glossary ``LINES``
    curves : Curves
    estimates : Estimates
        Of ``lines`` at ``as_of``.
    quotes : DataFrame
        Usable quotes, also of parts that the BOM does not hold.
    library : Library
    fx : Fx
    settings : Settings
    as_of : date

    Returns
    -------
    Decided

    Notes
    -----
    Prices are held at today's in real money over the years left; forecasts only say when the balance passes. Findings
    ``D001`` to ``D026`` and ``A001`` are described in the modules of this package; ``D023``: no row of BOM or register
    bears on safety.
    """
    as_rows, found = as_decisions(alternates, lines)
    rows = pd.concat([f for f in (decisions, as_rows) if len(f)] or [decisions], ignore_index=True)
    opened = open_case(
        rows, lines=lines, curves=curves, estimates=estimates, quotes=quotes, library=library, fx=fx, settings=settings,
        as_of=as_of,
    )  # fmt: skip
    decided = judge_case(
        opened.case,
        opened.market.along(days_looked_at(opened.case.register, as_of)),
        lines=lines,
        audited=audited,
        findings=(*found, *opened.findings),
        settings=settings,
        currency=fx.currency,
        as_of=as_of,
        shares=input_shares(opened.market.parts, curves, as_of=as_of, also_in=_stated_in(opened.case, fx)),
        committed=committed_prices(quotes, fx=fx, as_of=as_of),
    )
    held = frozenset(rows["part_no"]) | frozenset(lines["part_no"].iloc[opened.market.rows])
    others = look_alikes(lines, estimates, curves, decided=held, as_of=as_of, confidence=settings.audit.confidence)
    decided = replace(decided, findings=(*decided.findings, *_nothing_on_safety(decided.decisions, lines)))
    return replace(decided, headroom=headroom(audited, curves, as_of=as_of), candidates=others)


def _stated_in(case: Case, fx: Fx) -> frozenset[str]:
    """Currencies, with rates, of the stated amounts and of the costs of change."""
    stated = case.costed.elements.loc[case.costed.elements["mode"].notna(), "currency"]
    named = np.unique(np.concatenate([stated, case.register.options["change_currency"]]).astype(object))
    return frozenset(named[fx.known(named)])


def _nothing_on_safety(decisions: pd.DataFrame, lines: pd.DataFrame) -> list[Finding]:
    """``D023``: decisions are judged and nobody said which of them bear on safety; silence is not an answer."""
    if decisions.empty or decisions["safety_relevant"].any() or lines["safety_relevant"].any():
        return []
    return [warning("D023", "parts and decisions that bear on safety must be marked", found="none that is",
                    assumed="no decision is held for an engineering review",
                    advice="fill in safety_relevant, or make sure that none of them does")]  # fmt: skip


@dataclass(frozen=True)
class Opened:
    """A register read, priced and accounted, before it is judged.

    Attributes
    ----------
    case : Case
    market : Market
        Prices of its parts on any day.
    findings : tuple of Finding
        Of reading the register and preparing the parts that the BOM does not hold.
    """

    case: Case
    market: Market
    findings: tuple[Finding, ...]


def open_case(
    rows: pd.DataFrame,
    *,
    lines: pd.DataFrame,
    curves: Curves,
    estimates: Estimates,
    quotes: pd.DataFrame,
    library: Library,
    fx: Fx,
    settings: Settings,
    as_of: date,
) -> Opened:
    """Read a register and price it on the market.

    Parameters
    ----------
    rows : DataFrame
        Table ``decisions`` of the glossary.
    lines, curves, estimates, quotes, library, fx, settings, as_of
        As in :func:`decide`.

    Returns
    -------
    Opened
    """
    register = _with_volume(read_register(rows, settings=settings, as_of=as_of), lines, settings)
    sources = find_sources(register, lines)
    outside, more = sources.outside, list[Finding]()
    if len(outside):
        outside, more = prepare_lines(
            outside, quotes=quotes, commodities=library.commodities, fx=fx, settings=settings, as_of=as_of
        )
    rows_needed = lines_needed(sources, lines)
    market = Market.of(lines, rows_needed, outside, curves, confidence=settings.audit.confidence)
    growth = log_escalation(sources.elements, curves, as_of=as_of)
    prices = market.today(lines, estimates, as_of)
    case = build_case(
        register, sources, lines=lines, prices=prices, growth=growth, fx=fx, rules=settings.decide, as_of=as_of
    )
    return Opened(case, market, (*register.findings, *(f for f in more if f.code in _PASSED_ON)))


def _with_volume(register: Register, lines: pd.DataFrame, settings: Settings) -> Register:
    """Annual volume of decisions that state none: the audit's, or the BOM's where it states one for all lines."""
    stated = lines["annual_volume"].dropna().unique()
    of_bom = float(stated[0]) if len(stated) == 1 else np.nan
    default = settings.audit.annual_volume or of_bom
    heads = register.decisions.assign(annual_volume=register.decisions["annual_volume"].fillna(default))
    return Register(heads, register.options, register.elements, (*register.findings, *missing_volume(heads)))
