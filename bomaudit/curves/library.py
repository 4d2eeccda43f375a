"""The library that travels with the package: learning curves, commodity catalogue, starter volumes and input prices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from bomaudit.curves.library_rules import find_broken_rules
from bomaudit.findings import BadInput, Finding, Severity, error
from bomaudit.frames import conform
from bomaudit.glossary import INPUT_PRICES, VOLUMES, Column, Table
from bomaudit.resources import data_folder

CURVES = Table(
    "curves",
    "a learning curve and its source",
    (
        Column("curve_id", "code", "short name of the curve"),
        Column("commodity", "code", "commodity of the catalogue, or class:NAME"),
        Column("learning_rate", "share", "fall of the price per doubling of experience"),
        Column("learning_rate_sd", "share", "standard deviation of the learning rate"),
        Column("exponent", "number", "experience exponent, positive where the price falls"),
        Column("exponent_sd", "number", "standard deviation of the exponent"),
        Column("experience_metric", "text", "what was counted as experience"),
        Column("price_basis", "code", "real or nominal money"),
        Column("measured_on", "code", "price or cost"),
        Column("applies_to", "code", "whole_price or conversion"),
        Column("period", "text", "years the data cover"),
        Column("source", "text", "where the figure comes from"),
        Column("how_obtained", "code", "read, from memory, fitted or class prior"),
    ),
)

COMMODITIES = Table(
    "commodities",
    "a commodity that BOMs hold",
    (
        Column("commodity", "code", "name"),
        Column("class", "code", "class whose pooled prior stands in"),
        Column("keywords", "text", "words of descriptions, several languages, separated by ';'"),
        Column("materials_share", "share", "share of materials in the price when sourced"),
        Column("basket", "text", "shares of the materials, 'copper:0.6;steel:0.4'"),
        Column("labour_share", "share", "share of labour in the conversion"),
        Column("energy_share", "share", "share of energy in the conversion"),
        Column("process_noise", "number", "wandering of the market price", "ln/sqrt(year)"),
        Column("markup_early", "number", "price over cost under a price umbrella"),
        Column("markup_mature", "number", "price over cost in a mature market"),
        Column("elasticity", "number", "size of the market's price elasticity"),
        Column("price_break_slope", "number", "ln price on ln quantity"),
        Column("price_break_sd", "number", "standard deviation of that slope"),
        Column("trend", "number", "real price change without a volume index", "ln/year"),
        Column("trend_sd", "number", "standard deviation of the trend", "ln/year"),
        Column("source", "text", "where the figures come from"),
    ),
)


@dataclass(frozen=True)
class Library:
    """Learning curves and what belongs to them.

    Attributes
    ----------
    curves, commodities : DataFrame
        Columns of :data:`CURVES` and :data:`COMMODITIES`.
    volumes, input_prices : DataFrame
        Starter series, columns of the glossary's ``volumes`` and ``input_prices``.
    exponents, trends : mapping of str to float
        Of commodities whose exponent or real trend is given, not estimated. [-, ln/year]
    """

    curves: pd.DataFrame
    commodities: pd.DataFrame
    volumes: pd.DataFrame
    input_prices: pd.DataFrame
    exponents: Mapping[str, float] = field(default_factory=dict)
    trends: Mapping[str, float] = field(default_factory=dict)


def load_library(folder: Path | None = None) -> Library:
    """Read the library.

    Parameters
    ----------
    folder : Path, optional
        Holds curves.csv, commodities.csv, volumes.csv and input_prices.csv; default: the bundled one.

    Returns
    -------
    Library

    Raises
    ------
    BadInput
        If a file or a column is missing, a number is no number, or a row breaks a rule of :func:`check_library`.
    """
    where = folder or data_folder("learning_curves")
    tables = (("curves", CURVES), ("commodities", COMMODITIES), ("volumes", VOLUMES), ("input_prices", INPUT_PRICES))
    curves, commodities, volumes, input_prices = (_read(where / f"{name}.csv", table) for name, table in tables)
    library = Library(curves, commodities, volumes, input_prices)
    bad = [f for f in check_library(library) if f.severity is Severity.ERROR]
    if bad:
        raise BadInput(*bad)
    return library


def _read(path: Path, table: Table) -> pd.DataFrame:
    if not path.is_file():
        raise BadInput(
            error("L001", "the library must hold this file", file=str(path), advice="install bomaudit again")
        )
    raw = pd.read_csv(path, dtype="str", keep_default_na=False, encoding="utf-8")
    missing = [c for c in table.names if c not in raw.columns]
    if missing:
        raise BadInput(error("L002", "a library file must have every column", file=path.name, found=", ".join(missing)))
    numeric = [c.name for c in table.columns if c.kind in ("money", "number", "share")]
    try:
        parsed = raw.assign(**{c: pd.to_numeric(raw[c].where(raw[c] != "", None)) for c in numeric})
    except ValueError as problem:
        raise BadInput(error("L003", "numbers must be numbers", file=path.name, found=str(problem))) from None
    return conform(parsed, table)


def check_library(library: Library) -> list[Finding]:
    """Find what breaks a rule of the library.

    Parameters
    ----------
    library : Library

    Returns
    -------
    list of Finding
        Errors: a name twice, no source, an unknown code, a share out of range, a basket that does not add up, a rate
        that does not match its exponent, an unknown commodity or class, a raw material that learns. Warnings: a series
        that a basket names and no starter gives.
    """
    return find_broken_rules(library.curves, library.commodities, library.volumes, library.input_prices)
