"""The words of the trade, once: every table and column that comes in or goes out.

Reading, templates, documentation and ``lines.csv`` all take names, kinds and units from here, so that a column means
the same everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "code", "money", "number", "share", "date", "period", "flag"]
"""text: free words · code: an identifier, kept letter by letter · money: an amount, its currency in another column ·
number: a quantity · share: a fraction (0.12; "12 %" is read as 0.12) · date: a day · period: a year, quarter or month,
stored as its last day · flag: yes or no."""


@dataclass(frozen=True)
class Column:
    """A canonical column: its name, kind, unit and meaning."""

    name: str
    kind: Kind
    meaning: str
    unit: str = "-"
    required: bool = False


@dataclass(frozen=True)
class Table:
    """A canonical table: what one row is, and its columns."""

    name: str
    one_row_is: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Column names in order."""
        return tuple(c.name for c in self.columns)

    def column(self, name: str) -> Column:
        """Return the column of that name; KeyError where there is none."""
        for c in self.columns:
            if c.name == name:
                return c
        raise KeyError(f"{self.name} has no column {name}")


def _req(name: str, kind: Kind, meaning: str, unit: str = "-") -> Column:
    return Column(name, kind, meaning, unit, required=True)


BOM = Table(
    "bom",
    "a BOM line",
    (
        _req("part_no", "code", "part number, letter by letter"),
        Column("description", "text", "what the part is"),
        Column("qty", "number", "quantity per parent", "uom"),
        Column("uom", "code", "unit of measure of qty"),
        Column("unit_cost", "money", "booked cost of one unit (see price_per)", "currency/uom"),
        Column("currency", "code", "ISO 4217 code of unit_cost and extended_cost"),
        Column("cost_date", "date", "date of the booked cost"),
        Column("level", "number", "depth in the structure, 0 or 1 at the top"),
        Column("parent_no", "code", "part number of the parent assembly"),
        Column("extended_cost", "money", "unit_cost × qty as the file states it", "currency"),
        Column("price_per", "number", "unit_cost is for this many units (1, 100, 1000, a pack)", "uom"),
        Column("commodity", "code", "market the part is bought from; name as in learning_curves or volumes"),
        Column("supplier", "text", "who sells it"),
        Column("make_buy", "code", "make or buy"),
        Column("sourcing", "code", "custom or standard"),
        Column("annual_qty", "number", "demand a year for the part itself, not for the product", "uom/year"),
        Column("annual_volume", "number", "finished products a year that use this line", "1/year"),
        Column("scrap_rate", "share", "share of the quantity lost; gross = net / (1 - scrap)"),
        Column("on_hand_qty", "number", "stock on hand", "uom"),
        Column("safety_relevant", "flag", "the part bears on safety"),
        Column("agreed_reduction", "share", "price reduction agreed by contract", "1/year"),
        Column("agreed_until", "date", "last day of the agreed reductions"),
        Column("owner", "text", "who answers for the price: buyer or engineer"),
        Column("effective_from", "date", "first day the row is built in; empty: always was"),
        Column("effective_to", "date", "last day the row is built in; empty: still is"),
        Column("note", "text", "free note"),
    ),
)

QUOTES = Table(
    "quotes",
    "a price somebody stated",
    (
        _req("part_no", "code", "part number"),
        _req("quote_date", "date", "date of the quote"),
        _req("unit_price", "money", "price of one unit", "currency/uom"),
        Column("currency", "code", "ISO 4217 code: the supplier's price currency"),
        Column("price_per", "number", "unit_price is for this many units (1, 100, 1000, a pack)", "uom"),
        Column("uom", "code", "unit of the price and the quantities; empty: that of the part in the BOM"),
        Column("min_qty", "number", "price break: smallest quantity at this price", "uom"),
        Column("annual_qty", "number", "annual quantity the quote is for", "uom/year"),
        Column("supplier", "text", "who quoted"),
        Column("kind", "code", "firm, purchase, budgetary or catalogue"),
        Column("valid_until", "date", "last day of validity"),
        Column("one_time_cost", "money", "tooling or set-up quoted with it", "currency"),
        Column("commodity", "code", "market, where the BOM does not say"),
    ),
)

VOLUMES = Table(
    "volumes",
    "a commodity in a period",
    (
        _req("commodity", "code", "market"),
        _req("period", "period", "year, quarter or month; counts at its end"),
        Column("volume", "number", "units made in the period, world", "unit"),
        Column("cumulative_volume", "number", "units made to the end of the period, world", "unit"),
        Column("unit", "code", "what is counted"),
        Column("suppliers", "number", "makers in the market"),
        Column("top_share", "share", "market share of the largest maker"),
        Column("source", "text", "where the figure comes from"),
    ),
)

INPUT_PRICES = Table(
    "input_prices",
    "an index value",
    (
        _req("series", "code", "free name; general_inflation, labour and energy are reserved"),
        _req("period", "period", "year, quarter or month"),
        _req("value", "number", "index or price; only ratios are used"),
        Column("unit", "code", "unit of value"),
        Column("currency", "code", "currency the series is stated in; empty: the audit currency"),
        Column("source", "text", "where the figure comes from"),
    ),
)

DECISIONS = Table(
    "decisions",
    "an element of an option of a decision",
    (
        _req("decision", "code", "short name of the decision"),
        Column("title", "text", "the decision in words"),
        _req("option", "code", "short name of the option"),
        Column("chosen", "flag", "this option was chosen"),
        _req("element", "text", "what the element is"),
        _req("kind", "code", "one of ELEMENT_KINDS"),
        Column("part_no", "code", "part or assembly the element prices"),
        Column("qty", "number", "quantity per product", "uom"),
        Column("amount", "money", "most likely amount; for a part the price booked when decided", "currency"),
        Column("currency", "code", "ISO 4217 code of the amounts"),
        Column("basis", "code", "per_unit, per_year or once"),
        Column("low", "money", "low end of the amount", "currency"),
        Column("high", "money", "high end of the amount", "currency"),
        Column("sd", "money", "standard deviation of the amount, where low and high are not stated", "currency"),
        Column("date", "date", "date of the amount"),
        Column("power", "number", "energy in use: power drawn at this operating point", "W"),
        Column("time_share", "share", "energy in use: share of the hours at this operating point"),
        Column("hours_per_year", "number", "energy in use: hours of use a year", "h/year"),
        Column("price_per_kwh", "money", "energy in use: price of a kWh", "currency/kWh"),
        Column("use_years", "number", "energy in use: years a product is used", "year"),
        Column("commodity", "code", "market of a part that the BOM does not hold"),
        Column("sourcing", "code", "custom or standard, of a part that the BOM does not hold"),
        Column("decided_on", "date", "when the decision was taken"),
        Column("annual_volume", "number", "products a year", "1/year"),
        Column("volume_growth", "share", "change of the annual volume from year to year: ramp-up or run-out", "1/year"),
        Column("years_left", "number", "years the product is still made", "year"),
        Column("change_cost", "money", "one-time cost of switching now", "currency"),
        Column("change", "code", "name of the change, where decisions share one: its cost is then paid once"),
        Column("safety_relevant", "flag", "the decision bears on safety"),
        Column("note", "text", "free note"),
    ),
)

ALTERNATES = Table(
    "alternates",
    "an alternative part",
    (
        _req("part_no", "code", "part in the BOM"),
        _req("alternate_part_no", "code", "the alternative"),
        Column("description", "text", "what the alternative is"),
        Column("unit_cost", "money", "price of the alternative when it was compared", "currency/uom"),
        Column("currency", "code", "ISO 4217 code"),
        Column("cost_date", "date", "date of that price"),
        Column("commodity", "code", "market of the alternative"),
        Column("note", "text", "free note"),
    ),
)

STANDARDS = Table(
    "standards",
    "a standard cost",
    (
        _req("part_no", "code", "part or assembly"),
        _req("standard_cost", "money", "standard cost of one unit", "currency/uom"),
        Column("currency", "code", "ISO 4217 code"),
        Column("price_per", "number", "standard_cost and last_purchase_price are for this many units", "uom"),
        Column("set_on", "date", "when the standard was set"),
        Column("on_hand_qty", "number", "stock on hand", "uom"),
        Column("annual_qty", "number", "annual quantity bought", "uom/year"),
        Column("last_purchase_price", "money", "last price paid", "currency/uom"),
        Column("last_purchase_date", "date", "when it was paid"),
    ),
)

FX = Table(
    "fx",
    "an exchange rate",
    (
        _req("date", "date", "day of the rate"),
        _req("currency", "code", "ISO 4217 code"),
        _req("per_base", "number", "units of the currency for one unit of the audit currency"),
    ),
)

PRICE_SERIES = Table(
    "price_series",
    "a price and volume of one market in a period",
    (
        _req("period", "period", "year, quarter or month; counts at its end"),
        _req("price", "money", "price of one unit; real money for a real exponent", "currency/unit"),
        Column("volume", "number", "units made in the period", "unit"),
        Column("cumulative_volume", "number", "units made to the end of the period", "unit"),
    ),
)
"""A table to fit a curve to with ``bomaudit curves fit``; not part of an audit folder."""

TABLES_IN: dict[str, Table] = {
    t.name: t for t in (BOM, QUOTES, VOLUMES, INPUT_PRICES, DECISIONS, ALTERNATES, STANDARDS, FX)
}

PLACE_COLUMNS = ("source_file", "source_sheet", "source_row")
"""Where a row stood: file name, sheet name (empty for text files), 1-based row. Present in every table read."""

ROW_KINDS = ("part", "assembly", "charge", "alternative")
QUOTE_KINDS = ("firm", "purchase", "budgetary", "catalogue")
BASES = ("per_unit", "per_year", "once")
ELEMENT_KINDS = (
    "part", "labour", "overhead", "logistics", "tooling", "engineering", "validation", "capital", "energy_in_use",
    "weight", "warranty", "quality", "scrap", "other",
)  # fmt: skip
STATUSES = ("current", "drifting", "stale", "unknown")
VERDICTS = ("reopen", "review", "requote", "watch", "stands")
"""reopen: worth it even at the cautious end · review: would be reopen, but engineering must review a safety-relevant
part first · requote: knowing is worth more than asking · watch: tips later · stands."""

WALK_STEPS = ("currency", "input_prices", "experience", "maturity", "own_volume", "newer_quotes")
"""Steps of the cost walk, in the order they are taken; columns ``walk_<step>``."""

VARIANCE_PARTS = (
    "basis", "exponent", "volume_index", "input_prices", "process", "currency", "own_volume", "date", "classification",
)  # fmt: skip
"""Parts of the variance of the log price today, after newer quotes; columns ``var_<part>``, shares that sum to 1."""

LINES = Table(
    "lines",
    "a row of the BOM: audited, or the reason why not",
    (
        Column("line_id", "code", "L0001…, in the order of the file"),
        Column("source_file", "text", "file the row stands in"),
        Column("source_sheet", "text", "sheet the row stands in"),
        Column("source_row", "number", "1-based row"),
        Column("row_kind", "code", "part, assembly, charge or alternative"),
        Column("part_no", "code", "part number"),
        Column("description", "text", "what the part is"),
        Column("supplier", "text", "who sells it"),
        Column("commodity", "code", "market the part is bought from"),
        Column("commodity_basis", "code", "stated, quotes, keywords or unknown"),
        Column("commodity_confidence", "share", "how sure the commodity is"),
        Column("sourcing", "code", "custom or standard"),
        Column("safety_relevant", "flag", "the part bears on safety"),
        Column("qty_per", "number", "quantity per finished product, scrap included", "uom"),
        Column("uom", "code", "unit of measure"),
        Column("annual_volume", "number", "finished products a year", "1/year"),
        Column("booked_price", "money", "booked cost as the BOM states it, per one unit", "booked_currency/uom"),
        Column("booked_currency", "code", "currency of booked_price"),
        Column("booked_cost", "money", "booked cost in audit currency at the basis date's rate", "currency/uom"),
        Column("booked_extended", "money", "booked_cost × qty_per", "currency"),
        Column("currency", "code", "audit currency: of every amount in the row but booked_price"),
        Column("price_currency", "code", "currency the supplier prices in"),
        Column("basis_date", "date", "date of the quote behind the booked cost"),
        Column("basis", "code", "quote, cost_date, programme or undated"),
        Column("age_years", "number", "basis date to as-of date", "year"),
        Column("estimate", "money", "median estimate of today's price", "currency/uom"),
        Column("estimate_low", "money", "low end of the interval", "currency/uom"),
        Column("estimate_high", "money", "high end of the interval", "currency/uom"),
        Column("contract_price", "money", "booked cost along the agreed reductions; empty where none", "currency/uom"),
        Column("drift", "share", "estimate / booked_cost - 1"),
        Column("p_stale", "share", "probability that the drift is material"),
        Column("status", "code", "current, drifting, stale or unknown"),
        Column("exposure_per_year", "money", "(booked_cost - estimate) × qty_per × annual_volume", "currency/year"),
        Column(
            "stage", "code", "stage of the market: emerging, growth, shake-out, mature, declining; empty: not known"
        ),
        *(Column(f"walk_{s}", "money", f"step of the cost walk: {s}", "currency/uom") for s in WALK_STEPS),
        Column("sd_log", "number", "standard deviation of the log of today's price", "ln"),
        Column("dof", "number", "degrees of freedom of the interval's Student t"),
        *(Column(f"var_{v}", "share", f"share of the variance due to: {v}") for v in VARIANCE_PARTS),
        Column("reason", "text", "why this status, or why the line was not audited"),
    ),
)

DECISIONS_OUT = Table(
    "decisions",
    "a decision",
    (
        Column("decision", "code", "short name"),
        Column("title", "text", "in words"),
        Column("chosen", "code", "the option that was chosen"),
        Column("best_today", "code", "the option that is cheapest fully accounted at today's estimates"),
        Column("switch_to", "code", "the alternative with the best net present value: what switching means here"),
        Column("annual_volume", "number", "products a year", "1/year"),
        Column("years_left", "number", "years the product is still made", "year"),
        Column("change_cost", "money", "one-time cost of switching", "currency"),
        Column("piece_saving_booked", "money", "saving_booked from part prices alone", "currency/unit"),
        Column("piece_saving_today", "money", "saving_today from part prices alone", "currency/unit"),
        Column(
            "saving_booked",
            "money",
            "chosen against best alternative, as booked; positive: the choice saves",
            "currency/unit",
        ),
        Column("saving_today", "money", "the same at today's estimates", "currency/unit"),
        Column("saving_low", "money", "low end of the interval", "currency/unit"),
        Column("saving_high", "money", "high end of the interval", "currency/unit"),
        Column("p_flip", "share", "probability that the cheapest option today is not the chosen one"),
        Column("npv", "money", "net present value of switching, change cost paid", "currency"),
        Column("npv_low", "money", "low end of the interval", "currency"),
        Column("npv_high", "money", "high end of the interval", "currency"),
        Column("npv_mean", "money", "mean of the net present value over the draws", "currency"),
        Column("p_pays_back", "share", "probability that switching pays back within the years left"),
        Column("p_error", "share", "largest standard error of the two probabilities (quasi-random draws)"),
        Column("payback_years", "number", "change cost / saving a year; empty: never", "year"),
        Column("break_even_part", "code", "the pivotal part"),
        Column("break_even_price", "money", "its price at which switching breaks even", "currency/uom"),
        Column("tipped_on", "date", "when today's estimate passed the balance"),
        Column("tips_on", "date", "when the forecast passes it; empty: not within the years left"),
        Column("tips_early", "date", "tips_on at the favourable end of the interval"),
        Column("tips_late", "date", "tips_on at the unfavourable end; empty: not within the years left"),
        Column(
            "regret_of_waiting", "money", "what a quarter's delay of the switch costs; negative: it pays", "currency"
        ),
        Column("evpi", "money", "expected value of perfect information on all parts", "currency"),
        Column("ask_first", "code", "the part whose quote is worth most here"),
        Column("value_of_asking", "money", "expected value of that quote, its noise considered", "currency"),
        Column("safety_relevant", "flag", "a line or the decision bears on safety"),
        Column("verdict", "code", "reopen, review, requote, watch or stands"),
        Column("rule", "code", "short name of the rule that fired"),
        Column("reason", "text", "the rule that fired, in words"),
    ),
)

REQUOTES = Table(
    "requotes",
    "a part worth asking a new quote for",
    (
        Column("rank", "number", "1: ask first"),
        Column("part_no", "code", "part number"),
        Column("description", "text", "what the part is"),
        Column("supplier", "text", "who sells it"),
        Column("commodity", "code", "market"),
        Column("decisions", "text", "decisions it bears on"),
        Column("booked_cost", "money", "booked cost", "currency/uom"),
        Column("estimate", "money", "median estimate", "currency/uom"),
        Column("estimate_low", "money", "low end", "currency/uom"),
        Column("estimate_high", "money", "high end", "currency/uom"),
        Column("exposure_per_year", "money", "booked minus estimate, a year", "currency/year"),
        Column("value_of_asking", "money", "expected value of knowing its price", "currency"),
        Column("cost_of_asking", "money", "cost of one quote", "currency"),
        Column("reason", "text", "why ask"),
    ),
)
