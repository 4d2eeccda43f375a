"""What a user would do without a model: four simple rules that the estimate has to beat."""

from __future__ import annotations

import numpy as np
import pandas as pd

from bomaudit.curves.fitted import Curves
from bomaudit.curves.inputs import escalate
from bomaudit.curves.pooling import DAYS_PER_YEAR, Floats
from bomaudit.curves.spans import Spans

RIVALS = ("unchanged", "inflation", "price_down", "trend")
"""Booked cost unchanged; general inflation of the audit currency; a constant price-down a year; the past trend of the
commodity's quotes."""


def rival_prices(cases: pd.DataFrame, known: pd.DataFrame, curves: Curves, *, price_down: float) -> dict[str, Floats]:
    """Prices by the four rules, in audit currency.

    Parameters
    ----------
    cases : DataFrame
        commodity, basis_date, quote_date, age_years, booked_cost.
    known : DataFrame
        Quotes known at the origin, one a part and day: part_no, commodity, quote_date, unit_price, currency.
    curves : Curves
    price_down : float
        [1/year]

    Returns
    -------
    dict of array, shape (cases,)
        Keys :data:`RIVALS`.
    """
    booked, years = cases["booked_cost"].to_numpy(dtype=float), cases["age_years"].to_numpy(dtype=float)
    return {
        "unchanged": booked,
        "inflation": booked * _general(cases, curves),
        "price_down": booked * (1 - price_down) ** years,
        "trend": booked * np.exp(_trends(cases, known, curves) * years),
    }


def _general(cases: pd.DataFrame, curves: Curves) -> Floats:
    """Ratio of general inflation in the audit currency, which booked costs are in."""
    nothing = np.zeros(len(cases), dtype=np.int64)
    spans = Spans(
        nothing, nothing, (curves.fx.currency,), np.zeros(len(cases), dtype=bool),
        cases["basis_date"].to_numpy().astype("datetime64[D]"), cases["quote_date"].to_numpy().astype("datetime64[D]"),
    )  # fmt: skip
    return np.broadcast_to(escalate(curves.inputs, spans, curves.fx).general, len(cases)).astype(float)


def _trends(cases: pd.DataFrame, known: pd.DataFrame, curves: Curves) -> Floats:
    """Yearly change of ln price over the quotes of each commodity known at the origin; over all where it has none.

    From the first to the last quote of each part, parts weighed by their years.
    """
    day = known["quote_date"].to_numpy()
    price = known["unit_price"].to_numpy(dtype=float) * curves.fx.rate(known["currency"].to_numpy(dtype=object), day)
    table = known.assign(log_price=np.log(price)).sort_values(["part_no", "quote_date"], kind="stable")
    ends = table.groupby("part_no").agg(
        commodity=("commodity", "last"), began=("quote_date", "first"), ended=("quote_date", "last"),
        low=("log_price", "first"), high=("log_price", "last"),
    )  # fmt: skip
    ends = ends.assign(moved=ends["high"] - ends["low"], years=(ends["ended"] - ends["began"]).dt.days / DAYS_PER_YEAR)
    total = ends[["moved", "years"]].sum()
    overall = float(total["moved"] / total["years"]) if total["years"] > 0 else 0.0
    by = ends.groupby("commodity")[["moved", "years"]].sum()
    rate = (by["moved"] / by["years"]).where(by["years"] > 0)
    return np.asarray(cases["commodity"].map(rate).fillna(overall).to_numpy(dtype=float))
