"""The library that travels with the package: learning curves, commodity catalogue, starter volumes and input prices."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from bomaudit.findings import BadInput, Finding, error, warning
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

HOW_OBTAINED = ("read", "from memory", "fitted", "class prior")
CLASS_MARK = "class:"
_SHARE_TOLERANCE = 1e-6
_RATE_TOLERANCE = 2e-3  # learning rates are written with four decimals, class means are means of rates


@dataclass(frozen=True)
class Library:
    """Learning curves and what belongs to them.

    Attributes
    ----------
    curves, commodities : DataFrame
        Columns of :data:`CURVES` and :data:`COMMODITIES`.
    volumes, input_prices : DataFrame
        Starter series, columns of the glossary's ``volumes`` and ``input_prices``.
    """

    curves: pd.DataFrame
    commodities: pd.DataFrame
    volumes: pd.DataFrame
    input_prices: pd.DataFrame


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
        If a file is missing, or a row breaks a rule of :func:`check_library`.
    """
    where = folder or data_folder("learning_curves")
    tables = (("curves", CURVES), ("commodities", COMMODITIES), ("volumes", VOLUMES), ("input_prices", INPUT_PRICES))
    library = Library(**{name: _read(where / f"{name}.csv", table) for name, table in tables})
    bad = [f for f in check_library(library) if f.severity == "error"]
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


def class_curve(library: Library, name: str) -> pd.Series | None:
    """Pooled prior of a class: the curve ``class_NAME``; None where the class has none."""
    rows = library.curves[library.curves["curve_id"] == f"class_{name}"]
    return None if rows.empty else rows.iloc[0]


def parse_basket(text: str) -> dict[str, float]:
    """Shares of a basket written as ``copper:0.6;steel:0.4``; empty for "".

    Raises
    ------
    ValueError
        If an entry is not ``name:share``.
    """
    entries = [e.split(":") for e in text.split(";") if e.strip()]
    if any(len(e) != 2 for e in entries):  # noqa: PLR2004  (a name and a share)
        raise ValueError(f"basket entries are name:share, found {text!r}")
    return {name.strip(): float(share) for name, share in entries}


def check_library(library: Library) -> list[Finding]:
    """Find what breaks a rule of the library.

    Parameters
    ----------
    library : Library

    Returns
    -------
    list of Finding
        Errors: a name twice, no source, an unknown code, a share out of range, a basket that does not add up, a rate
        that does not match its exponent, an unknown commodity or class. Warnings: a series that no starter gives.
    """
    return [*_check_curves(library), *_check_commodities(library), *_check_series(library)]


def _rows(frame: pd.DataFrame, bad: pd.Series, file: str, code: str, rule: str, column: str) -> Iterator[Finding]:
    for position in np.flatnonzero(bad.to_numpy(dtype=bool)):
        value = frame[column].iloc[position]
        yield error(code, rule, file=file, row=int(position) + 2, column=column, found=repr(value), advice="correct it")


def _check_curves(library: Library) -> Iterator[Finding]:
    c, file = library.curves, "curves.csv"
    known = set(library.commodities["commodity"]) | {CLASS_MARK + n for n in library.commodities["class"]}
    known |= {CLASS_MARK + i.removeprefix("class_") for i in c["curve_id"] if i.startswith("class_")}
    rate = 1 - 2 ** -c["exponent"]
    class_mean = c["curve_id"].str.startswith("class_") | (c["how_obtained"] == "class prior")
    yield from _rows(
        c,
        c["curve_id"].duplicated() | (c["curve_id"] == ""),
        file,
        "L101",
        "curve_id must be one of its kind",
        "curve_id",
    )
    yield from _rows(c, ~c["commodity"].isin(known), file, "L102", "commodity must be in the catalogue", "commodity")
    yield from _rows(c, c["source"].str.strip() == "", file, "L103", "every curve needs a source", "source")
    yield from _rows(
        c,
        ~c["how_obtained"].isin(HOW_OBTAINED),
        file,
        "L104",
        f"how_obtained is one of {', '.join(HOW_OBTAINED)}",
        "how_obtained",
    )
    yield from _rows(
        c, ~c["price_basis"].isin(["real", "nominal"]), file, "L105", "price_basis is real or nominal", "price_basis"
    )
    yield from _rows(
        c, ~c["measured_on"].isin(["price", "cost"]), file, "L106", "measured_on is price or cost", "measured_on"
    )
    yield from _rows(
        c,
        ~c["applies_to"].isin(["whole_price", "conversion"]),
        file,
        "L107",
        "applies_to is whole_price or conversion",
        "applies_to",
    )
    yield from _rows(
        c,
        ~(c["exponent_sd"] >= 0) | ~np.isfinite(c["exponent"]),
        file,
        "L108",
        "exponent and its sd must be numbers, sd not negative",
        "exponent_sd",
    )
    off = (rate - c["learning_rate"]).abs() > _RATE_TOLERANCE
    yield from _rows(c, off & ~class_mean, file, "L109", "learning_rate must be 1 - 2^-exponent", "learning_rate")


def _check_commodities(library: Library) -> Iterator[Finding]:
    c, file = library.commodities, "commodities.csv"
    classes = {i.removeprefix("class_") for i in library.curves["curve_id"] if i.startswith("class_")}
    yield from _rows(
        c,
        c["commodity"].duplicated() | (c["commodity"] == ""),
        file,
        "L201",
        "commodity must be named once",
        "commodity",
    )
    yield from _rows(
        c, ~c["class"].isin(classes), file, "L202", "class must have a pooled prior in curves.csv", "class"
    )
    yield from _rows(c, c["source"].str.strip() == "", file, "L203", "every commodity needs a source", "source")
    yield from _rows(c, c["keywords"].str.strip() == "", file, "L204", "every commodity needs keywords", "keywords")
    for share in ("materials_share", "labour_share", "energy_share"):
        yield from _rows(c, ~c[share].between(0, 1), file, "L205", f"{share} must be between 0 and 1", share)
    conversion = c["labour_share"] + c["energy_share"]
    yield from _rows(
        c,
        conversion > 1 + _SHARE_TOLERANCE,
        file,
        "L206",
        "labour and energy are shares of the conversion",
        "labour_share",
    )
    yield from _rows(c, ~(c["process_noise"] > 0), file, "L207", "process_noise must be > 0", "process_noise")
    yield from _rows(
        c,
        ~(c["markup_mature"] >= 1) | ~(c["markup_early"] >= c["markup_mature"]),
        file,
        "L208",
        "markup_early ≥ markup_mature ≥ 1",
        "markup_early",
    )
    yield from _rows(c, ~(c["elasticity"] > 1), file, "L209", "elasticity must be > 1", "elasticity")
    yield from _rows(
        c,
        ~c["price_break_slope"].between(-1, 0),
        file,
        "L210",
        "price_break_slope must be between -1 and 0",
        "price_break_slope",
    )
    yield from _rows(
        c, c["basket"].map(_bad_basket), file, "L211", "basket shares must be > 0 and add up to 1", "basket"
    )
    learns = (c["class"] == "raw_material") & (c["trend"] != 0)
    yield from _rows(c, learns, file, "L212", "a raw material carries no trend", "trend")


def _bad_basket(text: str) -> bool:
    try:
        shares = parse_basket(text)
    except ValueError:
        return True
    return bool(shares) and (min(shares.values()) <= 0 or abs(sum(shares.values()) - 1) > _SHARE_TOLERANCE)


def _check_series(library: Library) -> Iterator[Finding]:
    for frame, file, column in (
        (library.volumes, "volumes.csv", "commodity"),
        (library.input_prices, "input_prices.csv", "series"),
    ):
        yield from _rows(
            frame, frame["source"].str.strip() == "", file, "L301", "every figure needs a source", "source"
        )
        yield from _rows(frame, frame["period"].isna(), file, "L302", "period must be a period", "period")
        key = [column, "period"] + (["currency"] if column == "series" else [])
        yield from _rows(frame, frame.duplicated(key), file, "L303", "a period must be stated once", column)
    v = library.volumes
    yield from _rows(
        v,
        ~((v["volume"] > 0) | (v["cumulative_volume"] > 0)),
        "volumes.csv",
        "L304",
        "volume or cumulative_volume must be > 0",
        "volume",
    )
    yield from _rows(
        library.input_prices,
        ~(library.input_prices["value"] > 0),
        "input_prices.csv",
        "L305",
        "value must be > 0",
        "value",
    )
    given = set(library.input_prices["series"])
    wanted = sorted({s for text in library.commodities["basket"] if not _bad_basket(text) for s in parse_basket(text)})
    for name in wanted:
        if name not in given:
            yield warning(
                "L306",
                f"no starter series for {name}",
                file="input_prices.csv",
                assumed="general inflation stands in and the interval widens",
                advice=f"give {name} in input_prices",
            )
