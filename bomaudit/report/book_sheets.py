"""Columns of each sheet: what is entered, what is given, what follows by formula; and the frames behind them."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pandas as pd

from bomaudit.glossary import LINES, REQUOTES, Column
from bomaudit.report.book import Address, Col
from bomaudit.report.content import FLAGGED, Content, known_sum

_WIDE = {"description": 34, "title": 40, "reason": 60, "part_no": 16, "supplier": 20, "commodity": 20, "line_id": 9}
_ENTERED = ("booked_cost", "estimate", "qty_per", "annual_volume")
_STYLES = {"money": "price", "number": "number", "share": "share", "date": "day"}
_YEARLY = ("exposure_per_year", "value_of_asking", "cost_of_asking", "npv", "npv_low", "npv_high", "npv_mean", "evpi",
           "change_cost", "regret_of_waiting")  # fmt: skip
_CHANCES = ("p_stale", "p_flip", "p_pays_back")


def col(column: Column, currency: str, **more: object) -> Col:
    """Column of a sheet as the glossary has it, its unit and meaning as a note."""
    style = "signed_share" if column.name == "drift" else _STYLES.get(column.kind, "text")
    if column.name in _YEARLY:
        style = "money"
    if column.name in _CHANCES:
        style = "chance"
    unit = "" if column.unit in ("-", "") else f" [{column.unit.replace('currency', currency)}]"
    made = {"style": style, "note": f"{column.meaning}{unit}", "width": _WIDE.get(column.name, 12)} | more
    return Col(column.name, **made)  # type: ignore[arg-type]


_LINE_ORDER = (
    "line_id", "part_no", "description", "supplier", "commodity", "status", "booked_cost", "estimate", "estimate_low",
    "estimate_high", "drift", "p_stale", "qty_per", "uom", "annual_volume", "booked_extended", "exposure_per_year",
    "age_years", "basis_date", "basis", "stage",
)  # fmt: skip


def line_columns(content: Content) -> list[Col]:
    """Every column of glossary ``LINES``: those that a reader needs first in front, then the others in their order."""
    formulas: dict[str, Callable[[Address], str]] = {
        "drift": lambda at: f"={at('estimate')}/{at('booked_cost')}-1",
        "booked_extended": lambda at: f"={at('booked_cost')}*{at('qty_per')}",
        "exposure_per_year": lambda at: (
            f"=({at('booked_cost')}-{at('estimate')})*{at('qty_per')}*{at('annual_volume')}"
        ),
    }
    names = [*_LINE_ORDER, *(n for n in LINES.names if n not in _LINE_ORDER)]
    columns = []
    for name in names:
        role = "worked_out" if name in formulas else "entered" if name in _ENTERED else "given"
        columns.append(col(LINES.column(name), content.currency, role=role, formula=formulas.get(name)))
    return columns


def requote_columns(content: Content) -> list[Col]:
    """Columns of the sheet ``Re-quotes``."""
    return [col(c, content.currency) for c in REQUOTES.columns]


def market_frame(content: Content) -> pd.DataFrame:
    """One row a market: lines, flagged lines, money at stake, learning and what it rests on."""
    lines = content.lines[(content.lines["commodity"] != "") & (content.lines["status"] != "")]
    flagged = lines["status"].isin(FLAGGED)
    grouped = lines.assign(flagged=flagged).groupby("commodity").agg(
        lines=("flagged", "size"), flagged=("flagged", "sum"), exposure_per_year=("exposure_per_year", known_sum)
    )  # fmt: skip
    frame = content.curves.join(grouped, how="inner").rename_axis("commodity").reset_index()
    rate = 1 - np.exp2(-frame["exponent"])
    return frame.assign(learning_rate=rate, learning_rate_sd=math.log(2) * (1 - rate) * frame["exponent_sd"])


def market_columns(content: Content) -> list[Col]:
    """Columns of the sheet ``Markets``."""
    return [
        Col("commodity", width=22), Col("lines", "count"), Col("flagged", "count", note="lines stale or drifting"),
        Col("exposure_per_year", "signed", note=f"booked above estimate [{content.currency}/year]", width=14),
        Col("exponent", "log", note="experience exponent: ln price falls by this per ln cumulative volume"),
        Col("exponent_sd", "log", note="its standard deviation"),
        Col("learning_rate", "share", "worked_out", "fall of the price with each doubling of cumulative volume",
            formula=lambda at: f"=1-2^-{at('exponent')}"),
        Col("learning_rate_sd", "share", "worked_out", "its standard deviation",
            formula=lambda at: f"=LN(2)*2^-{at('exponent')}*{at('exponent_sd')}"),
        Col("trend", "signed_share", note="trend a year where there is no volume index [ln/year]"),
        Col("trend_sd", "share", note="its standard deviation"),
        Col("n_quotes", "count", note="own quotes"), Col("n_parts", "count", note="parts they are of"),
        Col("data_weight", "share", note="weight of the own quotes against the prior"),
        Col("process_noise", "log", note="what no curve explains [ln/sqrt(year)]"),
        Col("source", width=40), Col("warnings", width=40),
    ]  # fmt: skip


def assumption_frame(content: Content) -> pd.DataFrame:
    """Assumptions, figures as numbers so that formulas can use them."""
    return content.assumptions.assign(value=[_figure(str(v)) for v in content.assumptions["value"]])


def _figure(value: str) -> str | float:
    try:
        number = float(value)
    except ValueError:
        return value
    return number if math.isfinite(number) else value


def assumption_columns() -> list[Col]:
    """Columns of the sheet ``Assumptions``."""
    return [Col("name", width=34), Col("value", "number", "entered", width=20), Col("stated", width=14),
            Col("source", width=90)]  # fmt: skip


def finding_columns() -> list[Col]:
    """Columns of the sheet ``Findings``."""
    return [Col("severity"), Col("code"), Col("message", width=50), Col("file", width=18), Col("sheet"),
            Col("row", "count"), Col("column"), Col("found", width=28), Col("assumed", width=36),
            Col("advice", width=50)]  # fmt: skip
