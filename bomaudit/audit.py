"""The main job: read → prepare → estimate → decide, from an audit folder to findings a report can show."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pandas as pd

from bomaudit import settings as settings_
from bomaudit.assumptions import list_assumptions
from bomaudit.curves.fit import fit_curves
from bomaudit.curves.fitted import Curves
from bomaudit.curves.library import Library, load_library
from bomaudit.decide import Decided, decide
from bomaudit.estimate import Estimates, estimate
from bomaudit.findings import BadInput, Finding, error, in_order, note, warning
from bomaudit.invariants import broken_invariants
from bomaudit.prepare.currency import Fx, reference_rates
from bomaudit.prepare.lines import prepare_lines
from bomaudit.prepare.quotes import prepare_quotes
from bomaudit.settings import Settings
from bomaudit.status import judge_lines
from bomaudit.tables import Inputs, read_audit
from bomaudit.what_if import Change, World, apply

SETTINGS_FILE = "audit.toml"


@dataclass(frozen=True)
class Opened:
    """An audit folder read and validated, before anything is estimated.

    Attributes
    ----------
    inputs : Inputs
    as_of : date
    fx : Fx
        Rates into the audit currency.
    findings : tuple of Finding
        Everything found so far, worst first.
    library : Library, optional
        Instead of the one that travels with the package.
    """

    inputs: Inputs
    as_of: date
    fx: Fx
    findings: tuple[Finding, ...]
    library: Library | None = None

    @property
    def settings(self) -> Settings:
        """Settings of the audit."""
        return self.inputs.settings

    @property
    def title(self) -> str:
        """Name of the audit: stated, or the folder's."""
        return self.settings.audit.title or self.inputs.folder.resolve().name


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


def open_audit(
    folder: Path,
    *,
    settings: Settings | None = None,
    as_of: date | None = None,
    changes: tuple[Change, ...] = (),
) -> Opened:
    """Read and validate an audit folder.

    Parameters
    ----------
    folder : Path
        Holds ``audit.toml`` and the tables it names.
    settings : Settings, optional
        Instead of the folder's ``audit.toml``.
    as_of : date, optional
        Day to estimate for where the settings state none.
    changes : tuple of Change
        Values of the inputs that are given for this run.

    Returns
    -------
    Opened

    Raises
    ------
    BadInput
        If the settings or the BOM cannot be used, no day is given, no currency is stated anywhere, or a change names
        nothing in the inputs.
    """
    settings = settings or settings_.load(folder / SETTINGS_FILE)
    inputs = read_audit(folder, settings)
    day = settings.audit.as_of or as_of
    if day is None:
        raise BadInput(error("S007", "as_of must be given", file=SETTINGS_FILE, advice="set as_of under [audit]"))
    findings = list(inputs.findings)
    if settings.audit.as_of is None:
        findings.append(note("S008", "as_of is not stated", file=SETTINGS_FILE, assumed=f"{day} is used"))
    currency, found = _audit_currency(inputs)
    own = inputs.tables["fx"]
    try:
        fx = reference_rates(currency, own if len(own) else None)
    except ValueError as problem:
        raise BadInput(
            error("S010", "the audit currency needs exchange rates", file=SETTINGS_FILE, found=str(problem),
                  advice="add an fx table or choose another currency under [audit]")
        ) from None  # fmt: skip
    opened = Opened(inputs, day, fx, tuple(in_order([*findings, *found])))
    return changed(opened, changes) if changes else opened


def changed(opened: Opened, changes: tuple[Change, ...]) -> Opened:
    """The same folder with some values of the inputs given; raises :class:`BadInput` as :func:`open_audit`."""
    inputs = opened.inputs
    world = World(inputs.tables, opened.library or load_library(), opened.as_of, opened.fx.currency)
    world, said = apply(world, changes)
    findings = tuple(in_order([*opened.findings, *said]))
    return replace(opened, inputs=replace(inputs, tables=dict(world.tables)), findings=findings, library=world.library)


def _audit_currency(inputs: Inputs) -> tuple[str, list[Finding]]:
    stated = inputs.settings.audit.currency or inputs.settings.read.currency
    if stated:
        return stated, []
    bom = inputs.tables["bom"]
    counted = bom["currency"][bom["currency"] != ""].str.upper().value_counts()
    if counted.empty:
        raise BadInput(
            error("S009", "a currency must be stated somewhere", file=inputs.settings.files.bom,
                  advice="set currency under [read] (of the file) or under [audit] in audit.toml")
        )  # fmt: skip
    currency = str(counted.sort_index(kind="stable").idxmax())
    return currency, [
        warning("S011", "the audit currency is not stated", file=SETTINGS_FILE,
                assumed=f"{currency} is used, the BOM's main currency")
    ]  # fmt: skip


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
    quotes, of_quotes = prepare_quotes(tables["quotes"], fx=opened.fx, as_of=opened.as_of)
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
