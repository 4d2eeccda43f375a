"""audit.toml as frozen settings: every default has a reason, every setting reaches the report."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from bomaudit.findings import BadInput, Finding, error
from bomaudit.glossary import QUOTE_KINDS, TABLES_IN

LAYOUT = 1
"""Version of the layout of audit.toml; it rises when a setting changes its meaning or its place."""

LONGEST_YEARS = 100.0
"""Years that a product is still made or in use, at most: a calendar year there is a slip, and costs memory."""


STEEPEST_GROWTH = 1.0
"""Growth of the products made from year to year, at most: more than a doubling every year is a slip. [1/year]"""


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class AuditSection(_Section):
    """[audit]: what is audited, and what counts as material."""

    title: str = Field("", description="name of the audit; default: the folder's name")
    as_of: date | None = Field(None, description="day the prices are estimated for; default: today, and said so")
    currency: str = Field(
        "", pattern=r"^([A-Z]{3})?$", description="audit currency; default: the BOM's main currency, and said so"
    )
    confidence: float = Field(
        0.80, gt=0, lt=1, description="coverage of every interval: 80 % is what a buyer plans with"
    )
    materiality: float = Field(0.10, gt=0, le=1, description="relative drift that matters")
    materiality_per_year: float = Field(5000, ge=0, description="money a year that matters whatever the relative drift")
    annual_volume: float | None = Field(None, gt=0, description="finished products a year, where the BOM does not say")
    programme_date: date | None = Field(None, description="date of the sourcing programme, for lines without a date")
    invented: bool = Field(False, description="the data are invented (samples); said in every output")


class FilesSection(_Section):
    """[files]: the tables of the audit; all but the BOM are optional."""

    bom: str
    quotes: str | None = None
    volumes: str | None = None
    input_prices: str | None = None
    decisions: str | None = None
    alternates: str | None = None
    standards: str | None = None
    fx: str | None = None


class ReadSection(_Section):
    """[read]: how cells are read where the file leaves it open."""

    currency: str = Field("", pattern=r"^([A-Z]{3})?$", description="currency of prices that state none")
    decimal: Literal["", ".", ","] = Field("", description="decimal mark where a column leaves it open")
    day_first: bool | None = Field(None, description="day before month where a date column leaves it open")
    scrap: Literal["divide", "multiply"] = Field(
        "divide", description="gross = net / (1 - scrap), or net × (1 + scrap)"
    )


class ModelSection(_Section):
    """[model]: stated assumptions of the estimate."""

    quote_tolerance: float = Field(
        0.02, ge=0, le=1, description="a quote is behind the booked cost if they agree within this share"
    )
    undated_range_years: tuple[float, float] = Field(
        (1.0, 10.0), description="age range assumed for a line with no date at all: between a year and a product's life"
    )
    quote_noise: dict[str, float] = Field(
        {"firm": 0.02, "purchase": 0.03, "budgetary": 0.08, "catalogue": 0.15},
        description="sd of a quote's log around the market price, by kind; engineering judgement, no published source",
    )
    booked_noise: float = Field(
        0.05, ge=0, le=1, description="the same for a booked cost with no quote behind it; engineering judgement"
    )
    spillover: float = Field(0.5, ge=0, le=1, description="share of the industry's learning that a custom part gets")
    material_floor: float = Field(
        0.9, ge=0, le=1, description="the price never falls below this share of its materials"
    )
    commodity_floor: float = Field(0.5, ge=0, le=1, description="below this confidence a guessed commodity is unknown")
    interval_width: float = Field(
        1.0,
        gt=0,
        le=10,
        description="every interval is so many times as wide as published series say; own quotes can teach it",
    )

    @field_validator("undated_range_years")
    @classmethod
    def _in_order(cls, years: tuple[float, float]) -> tuple[float, float]:
        if not 0 <= years[0] <= years[1] <= LONGEST_YEARS:
            raise ValueError(f"must be the least and the greatest age, from 0 to {LONGEST_YEARS:g} years")
        return years

    @field_validator("quote_noise")
    @classmethod
    def _of_every_kind(cls, stated: dict[str, float]) -> dict[str, float]:
        """Kinds that are not stated keep their default."""
        if not (set(stated) <= set(QUOTE_KINDS) and all(0 <= sd <= 1 for sd in stated.values())):
            raise ValueError(f"takes a number from 0 to 1 for each of {', '.join(QUOTE_KINDS)}")
        return {**cls.model_fields["quote_noise"].default, **stated}


class DecideSection(_Section):
    """[decide]: how decisions are accounted and judged."""

    discount_rate: float = Field(0.08, ge=0, le=1, description="discount rate a year; a usual industrial hurdle")
    rate_basis: Literal["nominal", "real"] = Field(
        "nominal", description="what discount_rate is; nominal is turned into real, because cash is in today's prices"
    )
    inflation: float = Field(
        0.02, gt=-0.5, le=1, description="general inflation expected: real rate = (1 + nominal) / (1 + inflation) - 1"
    )
    timing: Literal["mid_year", "year_end"] = Field("mid_year", description="when a year's cash falls")
    cost_of_asking: float = Field(150, ge=0, description="cost of one quote, in audit currency")
    worth_asking: float = Field(
        3.0, ge=1, description="a quote must be worth this many times its cost: a supplier asked in vain answers once"
    )
    gain_share: float = Field(
        0.5,
        ge=0,
        le=1,
        description="share of a gap below the booked cost that a new quote wins; half is a cautious guess",
    )
    gain_years: float = Field(
        1.0, gt=0, description="years a price won counts: the next price round would have found it anyway"
    )
    show_last_price: bool = Field(
        False, description="show the last known price in requests for quote; withheld, so that it anchors nobody"
    )
    years_left: float = Field(
        5, gt=0, le=LONGEST_YEARS, description="years the product is still made, where the decision does not say"
    )
    use_years: float = Field(
        8, gt=0, le=LONGEST_YEARS, description="years a product is in use, where an energy element does not say"
    )
    spread: Literal["pert", "triangular"] = Field(
        "pert", description="distribution of low / most likely / high; low and high are the ends of the range"
    )
    what_if_volume: float = Field(
        0.25,
        ge=0,
        lt=1,
        description="the tornado moves the annual volume by this share: planned volumes err by about that",
    )
    draws: int = Field(
        4096, ge=256, le=65536, description="quasi-random draws per decision, rounded up to a power of 2"
    )
    standard_error: float = Field(
        0.005, gt=0, description="largest standard error of a probability; draws are added until it holds"
    )
    seed: int = Field(20260630, ge=0, description="seed of the scrambling")
    reopen_probability: float = Field(
        0.80, gt=0.5, lt=1,
        description="probability of paying back that is enough to re-open; of not paying back, to let a choice stand",
    )  # fmt: skip
    reopen_npv: float = Field(
        5000, ge=0, description="net present value that switching must reach to be worth an engineering change at all"
    )


class FinanceSection(_Section):
    """[finance]: the stated policy for new standards, and names of accounts; group policy and the auditor decide."""

    threshold: float = Field(
        0.05,
        ge=0,
        le=1,
        description="a standard stays while the target is within this share of it: re-rolling costs too",
    )
    places: int = Field(4, ge=2, le=8, description="decimal places of a standard: small parts cost fractions of a cent")
    money_places: int = Field(2, ge=0, le=4, description="decimal places of totals and journal lines")
    freeze_firm: bool = Field(
        True, description="a part under a firm quote still valid takes that price: it is what will be paid"
    )
    floor_committed: bool = Field(
        True, description="a part with an agreed reduction is never set below the price agreed for the as-of date"
    )
    assembly_rest: Literal["keep", "drop"] = Field(
        "keep", description="what an assembly's standard holds beyond its parts: labour not listed, mostly, so kept"
    )
    fresh_months: int = Field(
        12, ge=1, description="a last purchase older than this does not tell what is paid now: one standard-cost year"
    )
    year_starts: int = Field(1, ge=1, le=12, description="first month of the financial year")
    effective_on: date | None = Field(None, description="day the new standards take effect; default: the as-of date")
    inventory_account: str = Field("Inventory", min_length=1, description="account of stock on hand, for journal lines")
    revaluation_account: str = Field(
        "Inventory revaluation", min_length=1, description="account that takes the revaluation, for journal lines"
    )


class ReportSection(_Section):
    """[report]: how results are shown."""

    language: Literal["en", "de", "fr"] = Field("en", description="number format of page and workbook")
    keep: bool = Field(True, description="keep each audit in history/ of its folder, to compare the next one with")


class Settings(_Section):
    """The whole of audit.toml."""

    layout: int = Field(LAYOUT, ge=1, description="version of the layout of audit.toml")
    audit: AuditSection = Field(default_factory=AuditSection)
    files: FilesSection
    sheets: dict[str, str] = Field(
        default_factory=dict, description="table = sheet to read, where the choice was wrong"
    )
    columns: dict[str, dict[str, str]] = Field(default_factory=dict, description="table.canonical = header in the file")
    read: ReadSection = Field(default_factory=ReadSection)
    model: ModelSection = Field(default_factory=ModelSection)
    decide: DecideSection = Field(default_factory=DecideSection)
    finance: FinanceSection = Field(default_factory=FinanceSection)
    report: ReportSection = Field(default_factory=ReportSection)


def load(path: Path) -> Settings:
    """Read and validate an ``audit.toml``.

    Raises
    ------
    BadInput
        One finding for each setting that is unknown, of the wrong type or out of range; or for a file that is no TOML.
    """
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise BadInput(
            error("S001", "the audit folder must hold an audit.toml", file=str(path),
                  advice="run 'bomaudit init FOLDER --bom FILE' to write one")
        ) from None  # fmt: skip
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise BadInput(error("S002", "audit.toml must be valid TOML", file=path.name, found=str(problem))) from None
    return from_dict(raw, name=path.name)


def from_dict(raw: dict[str, Any], *, name: str = "audit.toml") -> Settings:
    """Validate settings given as nested dictionaries; raises :class:`BadInput` as :func:`load` does."""
    layout = raw.get("layout", LAYOUT)
    if isinstance(layout, int) and layout > LAYOUT:
        raise BadInput(
            error("S016", "audit.toml must not be newer than the program", file=name,
                  found=f"layout {layout}, this version knows {LAYOUT}", advice="install a newer version of bomaudit")
        )  # fmt: skip
    try:
        settings = Settings.model_validate(raw)
    except ValidationError as problem:
        raise BadInput(*(_setting_error(e, name) for e in problem.errors())) from None
    bad = [*_unknown_columns(settings, name)]
    if bad:
        raise BadInput(*bad)
    return settings


def _setting_error(problem: Any, name: str) -> Finding:
    where = ".".join(str(p) for p in problem["loc"])
    if problem["type"] == "extra_forbidden":
        return error("S003", f"{where} is not a setting", file=name, advice="see the list in README.md, or remove it")
    said = problem["msg"].removeprefix("Value error, ")
    return error("S004", f"{where}: {said}", file=name, found=repr(problem["input"]))


def _unknown_columns(settings: Settings, name: str) -> list[Finding]:
    found = []
    for table, mapping in settings.columns.items():
        if table not in TABLES_IN:
            found.append(
                error("S005", f"columns.{table} names no table", file=name, advice=f"one of {', '.join(TABLES_IN)}")
            )
            continue
        found += [
            error("S006", f"columns.{table}.{column} is no column of {table}", file=name,
                  advice=f"one of {', '.join(TABLES_IN[table].names)}")
            for column in mapping if column not in TABLES_IN[table].names
        ]  # fmt: skip
    return found + [
        error("S005", f"sheets.{table} names no table", file=name, advice=f"one of {', '.join(TABLES_IN)}")
        for table in settings.sheets if table not in TABLES_IN
    ]  # fmt: skip


def overridden(settings: Settings, changes: list[str]) -> Settings:
    """Settings with overrides from the command line.

    Parameters
    ----------
    settings : Settings
    changes : list of str
        ``section.name=value``, the value written as in TOML or as a bare word.

    Returns
    -------
    Settings
        Overridden values count as stated.

    Raises
    ------
    BadInput
        For an override that is no ``name=value``, names no setting, or has a value out of range.
    """
    raw = settings.model_dump(exclude_unset=True)
    for change in changes:
        name, equals, value = change.partition("=")
        section, dot, key = name.strip().partition(".")
        if not equals or not dot:
            raise BadInput(error("S012", "--set takes section.name=value", found=repr(change)))
        part = raw.setdefault(section, {})
        if not isinstance(part, dict):
            raise BadInput(error("S003", f"{section} is not a setting", found=repr(change)))
        part[key] = _toml_value(value.strip())
    return from_dict(raw, name="--set")


def _toml_value(text: str) -> object:
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text
