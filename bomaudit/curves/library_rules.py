"""What the rows of the library must hold, one rule a line."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from bomaudit.findings import Finding, error, warning

CLASS_MARK = "class:"
HOW_OBTAINED = ("read", "from memory", "fitted", "class prior")

_SHARE_TOLERANCE = 1e-6
_RATE_TOLERANCE = 2e-3  # learning rates are written with four decimals

_Rule = tuple[str, str, str, pd.Series]  # code, column, what must hold, rows that break it


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


def find_broken_rules(
    curves: pd.DataFrame, commodities: pd.DataFrame, volumes: pd.DataFrame, input_prices: pd.DataFrame
) -> list[Finding]:
    """Check the tables of a library.

    Parameters
    ----------
    curves, commodities, volumes, input_prices : DataFrame
        As in :class:`bomaudit.curves.library.Library`.

    Returns
    -------
    list of Finding
    """
    tables = (
        (curves, "curves.csv", _curve_rules(curves, commodities)),
        (commodities, "commodities.csv", _commodity_rules(curves, commodities)),
        (volumes, "volumes.csv", _volume_rules(volumes)),
        (input_prices, "input_prices.csv", _price_rules(input_prices)),
    )
    broken = [f for frame, file, rules in tables for rule in rules for f in _broken(frame, file, rule)]
    return [*broken, *_without_series(commodities, input_prices)]


def _broken(frame: pd.DataFrame, file: str, rule: _Rule) -> Iterator[Finding]:
    code, column, text, bad = rule
    for position in np.flatnonzero(bad.to_numpy(dtype=bool)):
        value = frame[column].iloc[position]
        yield error(code, text, file=file, row=int(position) + 2, column=column, found=repr(value), advice="correct it")


def _empty(texts: pd.Series) -> pd.Series:
    return texts.str.strip() == ""


def _twice(codes: pd.Series) -> pd.Series:
    return codes.duplicated() | (codes == "")


def _curve_rules(c: pd.DataFrame, commodities: pd.DataFrame) -> list[_Rule]:
    pooled = c["curve_id"].str.startswith("class_")
    known = set(commodities["commodity"]) | {CLASS_MARK + n for n in commodities["class"]}
    known |= {CLASS_MARK + i.removeprefix("class_") for i in c.loc[pooled, "curve_id"]}
    one_figure = ~pooled & (c["how_obtained"] != "class prior")  # means of rates are not rates of means
    off = (1 - 2 ** -c["exponent"] - c["learning_rate"]).abs() > _RATE_TOLERANCE
    raw = set(commodities.loc[commodities["class"] == "raw_material", "commodity"])
    figures = (c["exponent_sd"] >= 0) & np.isfinite(c["exponent"])
    return [
        ("L101", "curve_id", "curve_id must be one of its kind", _twice(c["curve_id"])),
        ("L102", "commodity", "commodity must be in the catalogue", ~c["commodity"].isin(known)),
        ("L103", "source", "every curve needs a source", _empty(c["source"])),
        ("L104", "how_obtained", f"how_obtained is one of {', '.join(HOW_OBTAINED)}",
         ~c["how_obtained"].isin(HOW_OBTAINED)),
        ("L105", "price_basis", "price_basis is real or nominal", ~c["price_basis"].isin(["real", "nominal"])),
        ("L106", "measured_on", "measured_on is price or cost", ~c["measured_on"].isin(["price", "cost"])),
        ("L107", "applies_to", "applies_to is whole_price or conversion",
         ~c["applies_to"].isin(["whole_price", "conversion"])),
        ("L108", "exponent_sd", "exponent and its sd must be numbers, the sd not negative", ~figures),
        ("L109", "learning_rate", "learning_rate must be 1 - 2^-exponent", off & one_figure),
        ("L110", "exponent", "a raw material carries no learning", c["commodity"].isin(raw) & (c["exponent"] != 0)),
    ]  # fmt: skip


def _commodity_rules(curves: pd.DataFrame, c: pd.DataFrame) -> list[_Rule]:
    classes = {i.removeprefix("class_") for i in curves["curve_id"] if i.startswith("class_")}
    markups = (c["markup_mature"] >= 1) & (c["markup_early"] >= c["markup_mature"])
    shares = [
        ("L205", name, f"{name} must be between 0 and 1", ~c[name].between(0, 1))
        for name in ("materials_share", "labour_share", "energy_share")
    ]
    return [
        *shares,
        ("L201", "commodity", "commodity must be named once", _twice(c["commodity"])),
        ("L202", "class", "class must have a pooled prior in curves.csv", ~c["class"].isin(classes)),
        ("L203", "source", "every commodity needs a source", _empty(c["source"])),
        ("L204", "keywords", "every commodity needs keywords", _empty(c["keywords"])),
        ("L206", "labour_share", "labour and energy are shares of the conversion",
         c["labour_share"] + c["energy_share"] > 1 + _SHARE_TOLERANCE),
        ("L207", "process_noise", "process_noise must be > 0", ~(c["process_noise"] > 0)),
        ("L208", "markup_early", "markup_early ≥ markup_mature ≥ 1 must hold", ~markups),
        ("L209", "elasticity", "elasticity must be > 1", ~(c["elasticity"] > 1)),
        ("L210", "price_break_slope", "price_break_slope must be between -1 and 0",
         ~c["price_break_slope"].between(-1, 0)),
        ("L211", "basket", "basket shares must be > 0 and add up to 1", c["basket"].map(_bad_basket)),
        ("L212", "trend", "a raw material carries no trend", (c["class"] == "raw_material") & (c["trend"] != 0)),
    ]  # fmt: skip


def _bad_basket(text: str) -> bool:
    try:
        shares = parse_basket(text)
    except ValueError:
        return True
    return bool(shares) and (min(shares.values()) <= 0 or abs(sum(shares.values()) - 1) > _SHARE_TOLERANCE)


def _volume_rules(v: pd.DataFrame) -> list[_Rule]:
    stated = (v["volume"] > 0) | (v["cumulative_volume"] > 0)
    return [
        ("L301", "source", "every figure needs a source", _empty(v["source"])),
        ("L302", "period", "period must be a period", v["period"].isna()),
        ("L303", "period", "a period must be stated once", v.duplicated(["commodity", "period"])),
        ("L304", "volume", "volume or cumulative_volume must be > 0", ~stated),
    ]


def _price_rules(p: pd.DataFrame) -> list[_Rule]:
    return [
        ("L301", "source", "every figure needs a source", _empty(p["source"])),
        ("L302", "period", "period must be a period", p["period"].isna()),
        ("L303", "period", "a period must be stated once", p.duplicated(["series", "currency", "period"])),
        ("L305", "value", "value must be > 0", ~(p["value"] > 0)),
        ("L306", "currency", "every starter series states its currency", p["currency"] == ""),
    ]


def _without_series(commodities: pd.DataFrame, input_prices: pd.DataFrame) -> Iterator[Finding]:
    given = set(input_prices["series"])
    baskets = [text for text in commodities["basket"] if not _bad_basket(text)]
    for name in sorted({s for text in baskets for s in parse_basket(text)} - given):
        yield warning(
            "L307", f"no starter series for {name}", file="input_prices.csv",
            assumed="general inflation stands in and the interval widens", advice=f"give {name} in input_prices",
        )  # fmt: skip
