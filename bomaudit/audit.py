"""The main job: read → prepare → estimate → decide, from an audit folder to findings a report can show."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from bomaudit.assumptions import list_assumptions
from bomaudit.curves.fit import fit_curves
from bomaudit.curves.fitted import Curves
from bomaudit.curves.library import Library, load_library
from bomaudit.decide import Decided, decide
from bomaudit.estimate import Estimates, estimate
from bomaudit.findings import Finding, in_order
from bomaudit.invariants import broken_invariants
from bomaudit.opened import Opened, open_audit
from bomaudit.prepare.lines import prepare_lines
from bomaudit.prepare.quotes import prepare_quotes
from bomaudit.settings import Settings
from bomaudit.status import judge_lines
from bomaudit.tables import Inputs


@dataclass(frozen=True)
class Audit:
    """One audit, whole.

    Attributes
    ----------
    opened : Opened
        What was read.
    library : Library
    quotes : DataFrame
        Usable quotes.
    prepared : DataFrame
        One row a BOM line, before the estimate.
    curves : Curves
    estimates : Estimates
    lines : DataFrame, columns of glossary ``LINES``
    decided : Decided
    findings : tuple of Finding
    assumptions : DataFrame, columns name, value, unit, source
    broken : tuple of Finding
        What does not hold together; a result with any is not to be used (:mod:`bomaudit.invariants`).
    """

    opened: Opened
    library: Library
    quotes: pd.DataFrame
    prepared: pd.DataFrame
    curves: Curves
    estimates: Estimates
    lines: pd.DataFrame
    decided: Decided
    findings: tuple[Finding, ...]
    assumptions: pd.DataFrame
    broken: tuple[Finding, ...] = ()

    @property
    def settings(self) -> Settings:
        """Settings of the audit."""
        return self.opened.settings

    @property
    def inputs(self) -> Inputs:
        """What was read."""
        return self.opened.inputs

    @property
    def title(self) -> str:
        """Name of the audit."""
        return self.opened.title

    @property
    def as_of(self) -> date:
        """Day the prices are estimated for."""
        return self.opened.as_of

    @property
    def currency(self) -> str:
        """Audit currency, ISO 4217."""
        return self.opened.fx.currency


def audit(folder: Path, *, settings: Settings | None = None, as_of: date | None = None) -> Audit:
    """Audit a BOM: estimate today's price of each line and judge the decisions that rest on it.

    Parameters
    ----------
    folder, settings, as_of
        As in :func:`open_audit`.

    Returns
    -------
    Audit

    Raises
    ------
    BadInput
        As :func:`open_audit`.
    """
    return run(open_audit(folder, settings=settings, as_of=as_of))


def prepare(opened: Opened) -> tuple[Library, pd.DataFrame, pd.DataFrame, list[Finding]]:
    """Make what was read ready to estimate.

    Parameters
    ----------
    opened : Opened

    Returns
    -------
    library : Library
    quotes : DataFrame
        Usable quotes.
    lines : DataFrame
        Prepared lines, one row a BOM line.
    findings : list of Finding
    """
    tables, library = opened.inputs.tables, opened.library or load_library()
    measured = tables["bom"][tables["bom"]["uom"] != ""].drop_duplicates("part_no").set_index("part_no")["uom"]
    quotes, of_quotes = prepare_quotes(tables["quotes"], fx=opened.fx, as_of=opened.as_of, uom=measured)
    lines, of_lines = prepare_lines(
        tables["bom"],
        quotes=quotes,
        commodities=library.commodities,
        fx=opened.fx,
        settings=opened.settings,
        as_of=opened.as_of,
    )
    return library, quotes, lines, [*of_quotes, *of_lines]


def run(opened: Opened) -> Audit:
    """Estimate and decide on what was read; pure, the same for the same input.

    Parameters
    ----------
    opened : Opened

    Returns
    -------
    Audit
    """
    settings, tables, fx, as_of = opened.settings, opened.inputs.tables, opened.fx, opened.as_of
    library, quotes, prepared, found = prepare(opened)
    curves = fit_curves(
        quotes=quotes,
        volumes=tables["volumes"],
        input_prices=tables["input_prices"],
        lines=prepared,
        library=library,
        fx=fx,
        settings=settings,
        as_of=as_of,
    )
    estimates = estimate(prepared, curves, as_of=as_of, confidence=settings.audit.confidence)
    lines = judge_lines(prepared, estimates.frame, settings.audit)
    decided = decide(
        decisions=tables["decisions"],
        alternates=tables["alternates"],
        lines=prepared,
        audited=lines,
        curves=curves,
        estimates=estimates,
        quotes=quotes,
        library=library,
        fx=fx,
        settings=settings,
        as_of=as_of,
    )
    broken = broken_invariants(inputs=opened.inputs, lines=lines, estimates=estimates, decided=decided)
    findings = in_order([*opened.findings, *found, *curves.findings, *decided.findings, *broken])
    assumptions = list_assumptions(settings, prepared, curves, fx, given=opened.findings)
    return Audit(
        opened, library, quotes, prepared, curves, estimates, lines, decided, tuple(findings), assumptions, broken
    )
