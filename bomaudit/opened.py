"""Open an audit folder: settings, tables, day, currency and rates, before anything is estimated."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np

from bomaudit import settings as settings_
from bomaudit.curves.library import Library, load_library
from bomaudit.findings import BadInput, Finding, error, in_order, note, warning
from bomaudit.prepare.currency import Fx, reference_rates, usable_rates
from bomaudit.settings import Settings
from bomaudit.tables import Inputs, read_audit
from bomaudit.what_if import Change, World, apply

SETTINGS_FILE = "audit.toml"
MONEY_SETTINGS = ("audit.materiality_per_year", "decide.cost_of_asking", "decide.reopen_npv")
"""Settings that are money; their defaults are amounts that make sense in euros."""
_FAR = 3.0
"""A currency worth so many times more or less than the euro makes those defaults other amounts: what they are is a
matter of judgement, and the dollar, the franc or the pound would be judged alike."""


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
    own, odd = usable_rates(inputs.tables["fx"], currency)
    try:
        fx = reference_rates(currency, own if len(own) else None)
    except ValueError as problem:
        raise BadInput(
            error("S010", "the audit currency needs exchange rates", file=SETTINGS_FILE, found=str(problem),
                  advice="add an fx table or choose another currency under [audit]")
        ) from None  # fmt: skip
    unset = unset_money(settings, fx, day)
    opened = Opened(inputs, day, fx, tuple(in_order([*findings, *found, *odd, *unset])))
    return changed(opened, changes) if changes else opened


def changed(opened: Opened, changes: tuple[Change, ...]) -> Opened:
    """The same folder with some values of the inputs given; raises :class:`BadInput` as :func:`open_audit`."""
    inputs = opened.inputs
    world = World(inputs.tables, opened.library or load_library(), opened.as_of, opened.fx)
    world, said = apply(world, changes)
    findings = tuple(in_order([*opened.findings, *said]))
    return replace(opened, inputs=replace(inputs, tables=dict(world.tables)), findings=findings, library=world.library)


def unset_money(
    settings: Settings, fx: Fx, day: date, *, names: tuple[str, ...] = MONEY_SETTINGS, file: str = SETTINGS_FILE
) -> list[Finding]:
    """Say which amounts nobody set, where they are in a currency that is worth far more or less than the euro.

    Parameters
    ----------
    settings : Settings
    fx : Fx
        Rates into the audit currency.
    day : date
        Day of the rate.
    names : tuple of str
        Settings that bear on the result.
    file : str
        Where they would be set.

    Returns
    -------
    list of Finding
        One that names each of them, or none.
    """
    parts = ((name, getattr(settings, name.partition(".")[0]), name.partition(".")[2]) for name in names)
    unset = [(name, getattr(part, key)) for name, part, key in parts if key not in part.model_fields_set]
    rate = float(fx.rate(["EUR"], [np.datetime64(day)])[0])
    if not unset or 1 / _FAR <= rate <= _FAR:
        return []
    known = rate > 0
    found = f"{rate:,.6g} {fx.currency} for one EUR" if known else f"no rate of {fx.currency} to EUR"
    amounts = ", ".join(f"{n} = {x:g} {fx.currency}" + (f" ({x / rate:,.2f} EUR)" if known else "") for n, x in unset)
    return [
        warning("S019", "amounts in the settings count in the audit currency, and their defaults are made for euros",
                file=file, found=found, assumed=amounts,
                advice="set each of them to what it is in the audit's currency")
    ]  # fmt: skip


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
