"""What every task is given: settings, rates and the small tables, and for a dataset the curves fitted to all of it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.metadata import version
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.fit import fit_curves
from bomaudit.curves.fitted import Curves
from bomaudit.curves.library import Library, load_library
from bomaudit.findings import BadInput, Finding, error, note
from bomaudit.glossary import FX, TABLES_IN
from bomaudit.opened import unset_money
from bomaudit.prepare.currency import Fx, reference_rates, usable_rates
from bomaudit.prepare.lines import prepare_lines
from bomaudit.prepare.quotes import prepare_quotes
from bomaudit.screen.sources import hash_of_files
from bomaudit.settings import AuditSection, FilesSection, Settings, overridden
from bomaudit.tables import TableRead, read_table
from bomaudit.tables.frames import empty_frame

LAYOUT = "bomaudit-screen/3"
"""Name and version of what a screening writes: another one makes everything be done again."""

_FITTED_TO = (
    "part_no", "commodity", "sourcing", "auditable", "basis", "basis_date", "price_at_basis", "price_currency",
    "annual_qty_then", "annual_qty_now",
)  # fmt: skip
"""Columns of prepared lines that a fit looks at: a change in others leaves the curves as they are."""

CURRENCY = "EUR"
"""Currency of the rankings where none is given: that of the bundled exchange rates."""

COMPANY_TABLES = ("quotes", "volumes", "input_prices", "fx")
"""Tables that may be given to a screening, for loose workbooks and datasets; audit folders have their own."""


@dataclass(frozen=True)
class Plan:
    """What is asked for.

    Attributes
    ----------
    as_of : date
        Day to estimate for, where an audit folder does not state one of its own.
    currency : str
        Of the rankings; audits in other currencies are converted at the last rate before ``as_of``.
    overrides : tuple of str
        Settings for this run, ``section.name=value``.
    tables : tuple of (str, Path)
        Company tables: name and absolute path.
    fixed : str
        Hash of all this and of the tables' contents.
    said : tuple of Finding
        What was assumed or set for this run, for the report.
    """

    as_of: date
    currency: str
    overrides: tuple[str, ...]
    tables: tuple[tuple[str, Path], ...]
    fixed: str
    said: tuple[Finding, ...] = ()

    def settings(self, bom: str) -> Settings:
        """Settings of a bill that has no ``audit.toml`` of its own; given rates are into the screening's currency."""
        files = FilesSection(bom=bom, **{name: str(path) for name, path in self.tables})
        audit = AuditSection(currency=self.currency) if "fx" in dict(self.tables) else AuditSection()
        return overridden(Settings(files=files, audit=audit), list(self.overrides))


def make_plan(
    *,
    as_of: date,
    currency: str = "",
    overrides: tuple[str, ...] = (),
    tables: Mapping[str, Path] | None = None,
    said: tuple[Finding, ...] = (),
) -> Plan:
    """Settle what is asked for.

    Parameters
    ----------
    as_of, currency, overrides, said
        As in :class:`Plan`; without a currency :data:`CURRENCY` is taken, and said so.
    tables : mapping of str to Path, optional
        Company tables by name.

    Returns
    -------
    Plan

    Raises
    ------
    BadInput
        If an override names no setting, or the currency has no exchange rates that can be used.
    """
    if not currency:
        currency = CURRENCY
        said = (*said, note("N012", "the currency of the rankings is not stated", assumed=f"{currency} is used",
                            advice="give --currency"))  # fmt: skip
    given = tuple((name, path.resolve()) for name, path in sorted((tables or {}).items()))
    contents = hash_of_files(path for _, path in given)
    told = (LAYOUT, version("bomaudit"), as_of.isoformat(), currency, *overrides, *(n for n, _ in given), contents)
    plan = Plan(as_of, currency, overrides, given, hashlib.sha256("\x00".join(told).encode()).hexdigest(), said)
    plan.settings("")
    _needs_rates(plan)
    return plan


def _needs_rates(plan: Plan) -> None:
    try:
        rates_into(plan)
    except ValueError as problem:
        raise BadInput(
            error("S010", "the currency of the rankings needs exchange rates", found=str(problem),
                  advice="give a table with --fx, or another --currency")
        ) from None  # fmt: skip


@dataclass(frozen=True)
class Company:
    """The company's tables, read once, and what goes with them: all that a dataset is estimated by but the curves.

    Attributes
    ----------
    settings : Settings
    as_of : date
    fx : Fx
    library : Library
    quotes : DataFrame
        Usable quotes.
    volumes, input_prices : DataFrame
    findings : tuple of Finding
    """

    settings: Settings
    as_of: date
    fx: Fx
    library: Library
    quotes: pd.DataFrame
    volumes: pd.DataFrame
    input_prices: pd.DataFrame
    findings: tuple[Finding, ...]


def read_company(plan: Plan) -> Company:
    """Read the company's tables.

    Raises
    ------
    BadInput
        All findings of every table that cannot be used, together.
    """
    settings = plan.settings("dataset")
    frames = {name: empty_frame(TABLES_IN[name]) for name in COMPANY_TABLES}
    findings: list[Finding] = []
    failed: list[Finding] = []
    for name, path in plan.tables:
        try:
            read = _read_table(name, path, settings)
        except BadInput as problem:
            failed += problem.findings
            continue
        frames[name] = read.frame
        findings += read.findings
    if failed:
        raise BadInput(*failed)
    own, odd = usable_rates(frames["fx"], plan.currency)
    fx = reference_rates(plan.currency, own if len(own) else None)
    quotes, found = prepare_quotes(frames["quotes"], fx=fx, as_of=plan.as_of)
    unset = unset_money(settings, fx, plan.as_of, names=("audit.materiality_per_year",), file="")
    return Company(settings, plan.as_of, fx, load_library(), quotes, frames["volumes"], frames["input_prices"],
                   (*findings, *odd, *found, *unset))  # fmt: skip


def _read_table(name: str, path: Path, settings: Settings) -> TableRead:
    return read_table(
        path, TABLES_IN[name], sheet=settings.sheets.get(name, ""), columns=settings.columns.get(name, {}),
        read=settings.read,
    )  # fmt: skip


@cache
def rates_into(plan: Plan) -> Fx:
    """Rates into the currency of the screening: the company's own go before the bundled ones, as for its dataset.

    Raises
    ------
    BadInput
        If the company's exchange rates cannot be read.
    """
    own = [_read_table(name, path, plan.settings("rates")).frame for name, path in plan.tables if name == "fx"]
    usable = usable_rates(own[0], plan.currency)[0] if own else empty_frame(FX)
    return reference_rates(plan.currency, usable if len(usable) else None)


@dataclass(frozen=True)
class Fitted:
    """What a partition is estimated by: small, the same for all, sent to every worker once.

    Attributes
    ----------
    company : Company
    curves : Curves
    parts : Index of str
        Parts that the quotes name.
    need : array, shape (parts,)
        What all lines of the dataset use of each a year, NaN where unknown. [uom/year]
    fixed : str
        Hash of what the curves were fitted to.
    """

    company: Company
    curves: Curves
    parts: pd.Index
    need: npt.NDArray[np.float64]
    fixed: str


def fit_dataset(company: Company, bills: pd.DataFrame, need: pd.Series, *, fixed: str) -> Fitted:
    """Fit the curves of a dataset.

    Parameters
    ----------
    company : Company
    bills : DataFrame
        Distinct lines of quoted parts and a stand-in for each market, from :mod:`bomaudit.screen.digest`, as a bill.
    need : Series of float
        Annual need by part. [uom/year]
    fixed : str
        Hash of the plan.

    Returns
    -------
    Fitted
    """
    lines, _ = prepare_lines(
        bills, quotes=company.quotes, commodities=company.library.commodities, fx=company.fx,
        settings=company.settings, as_of=company.as_of,
    )  # fmt: skip
    breaks = company.quotes.loc[company.quotes["min_qty"] > 0, "part_no"]
    chosen_by = need[need.index.isin(breaks)]  # of price breaks the fit takes the one that is bought; others: no matter
    seen = _what_the_fit_sees(lines.assign(annual_qty_now=lines["part_no"].map(chosen_by).astype(float)))
    curves = fit_curves(
        quotes=company.quotes, volumes=company.volumes, input_prices=company.input_prices, lines=seen,
        library=company.library, fx=company.fx, settings=company.settings, as_of=company.as_of,
    )  # fmt: skip
    own = pd.util.hash_pandas_object(seen[list(_FITTED_TO)].astype("str"), index=False).to_numpy()
    whole = hashlib.sha256(fixed.encode() + own.tobytes()).hexdigest()
    parts = pd.Index(np.unique(company.quotes["part_no"].to_numpy(dtype=object)), dtype=object)
    return Fitted(company, curves, parts, need.reindex(parts).to_numpy(dtype=float), whole)


def _what_the_fit_sees(lines: pd.DataFrame) -> pd.DataFrame:
    """Of each part the line that names its market and the one whose booked cost counts: further ones change nothing."""
    usable = lines[lines["auditable"]]
    own = usable[(usable["basis"] == "cost_date") & (usable["commodity"] != "")]
    kept = [usable.drop_duplicates("part_no").index, own.drop_duplicates("part_no").index]
    rows = kept[0].union(kept[1]).sort_values()
    return lines.loc[rows].drop(columns="line_id").reset_index(drop=True)
