"""Before newer quotes: lines as plain arrays, carried to the as-of date, and what is unsure about each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.carry import Carried, carry
from bomaudit.curves.fitted import Curves
from bomaudit.curves.offers import Asked
from bomaudit.curves.own_volume import log_quantity_change
from bomaudit.curves.pooling import DAYS_PER_YEAR, Floats
from bomaudit.curves.spans import Days, Rates, Spans, log_rate
from bomaudit.curves.timelines import Codes, codes_of

# columns of loadings: the shared factors as in curves.carry.factor_codes, then two that are each line's own
EXPONENT, VOLUME, PROCESS, OWN_VOLUME, FIRST_INPUT = range(5)
CURRENCY, CLASSIFICATION, MARKUP = -3, -2, -1
OWN_COLUMNS = 2

_UNKNOWN = 0  # code of the commodity that is not known


@dataclass(frozen=True)
class Priced:
    """Auditable lines as plain arrays.

    Attributes
    ----------
    spans : Spans
        From the basis date to the as-of date.
    part, supplier : array of int, shape (lines,)
        Codes of :class:`bomaudit.curves.offers.Offers`.
    price, booked : array, shape (lines,)
        Booked price in the price currency, and in the audit currency at the basis date. [currency/uom]
    noise, date_sd, sure : array, shape (lines,)
        Standard deviation of the booked price around the market [ln], of the basis date [year], and confidence in the
        commodity [-].
    quantity_then, quantity_now : array, shape (lines,)
        Annual quantities, NaN where unknown. [uom/year]
    reduction : array, shape (lines,)
        Agreed yearly reduction, NaN where none. [1/year]
    reduced_until : array of datetime64[D], shape (lines,)
        NaT: for good.
    """

    spans: Spans
    part: Codes
    supplier: Codes
    price: Floats
    booked: Floats
    noise: Floats
    date_sd: Floats
    sure: Floats
    quantity_then: Floats
    quantity_now: Floats
    reduction: Floats
    reduced_until: npt.NDArray[np.datetime64]

    def __len__(self) -> int:
        """Count the lines."""
        return len(self.price)

    def asked(self, fx: Rates) -> Asked:
        """What the lines ask the quotes for."""
        log_booked = np.log(self.price) + log_rate(fx, self.spans, self.spans.then)
        return Asked(self.part, self.supplier, self.spans.then, log_booked, self.quantity_now)

    def some(self, rows: slice) -> Priced:
        """Some of the lines."""
        s = self.spans
        now = s.now[rows] if s.now.ndim else s.now
        spans = Spans(s.commodity[rows], s.currency[rows], s.currencies, s.custom[rows], s.then[rows], now)
        return Priced(
            spans, self.part[rows], self.supplier[rows], self.price[rows], self.booked[rows], self.noise[rows],
            self.date_sd[rows], self.sure[rows],
            self.quantity_then[rows], self.quantity_now[rows], self.reduction[rows], self.reduced_until[rows],
        )  # fmt: skip


def usable_rows(lines: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Rows that can be estimated: auditable, with a price above zero and a basis date; shape (lines,)."""
    usable = lines["auditable"].to_numpy(dtype=bool) & (lines["price_at_basis"] > 0).to_numpy(dtype=bool)
    return np.asarray(usable & lines["basis_date"].notna().to_numpy(dtype=bool))


def as_arrays(known: pd.DataFrame, curves: Curves, today: Days) -> Priced:
    """Lines as plain arrays.

    Parameters
    ----------
    known : DataFrame
        Prepared lines that are auditable.
    curves : Curves
    today : array of datetime64[D], shape (lines,) or ()

    Returns
    -------
    Priced
    """
    money = known["price_currency"]
    currencies = tuple(sorted(str(c) for c in pd.unique(money)))
    commodity = np.maximum(codes_of(known["commodity"], curves.catalogue.names), _UNKNOWN)
    spans = Spans(
        commodity=commodity,
        currency=codes_of(money, currencies),
        currencies=currencies,
        custom=(known["sourcing"] == "custom").to_numpy(dtype=bool),
        then=known["basis_date"].to_numpy().astype("datetime64[D]"),
        now=today,
    )
    sure = np.clip(np.nan_to_num(_floats(known, "commodity_confidence"), nan=1.0), 0.0, 1.0)
    return Priced(
        spans, curves.offers.part_codes(known["part_no"]), curves.offers.supplier_codes(known["supplier"]),
        _floats(known, "price_at_basis"), _floats(known, "booked_cost"), _floats(known, "basis_noise"),
        np.nan_to_num(_floats(known, "basis_date_sd")), np.where(commodity == _UNKNOWN, 0.0, sure),
        _floats(known, "annual_qty_then"), _floats(known, "annual_qty_now"), _floats(known, "agreed_reduction"),
        known["agreed_until"].to_numpy().astype("datetime64[D]"),
    )  # fmt: skip


def _floats(frame: pd.DataFrame, column: str) -> Floats:
    return frame[column].to_numpy(dtype=float)


@dataclass(frozen=True)
class Level:
    """ln price at the as-of date before newer quotes, relative to the booked price, and what is unsure about it.

    Attributes
    ----------
    carried : Carried
    quantity : array, shape (lines,)
        Step of own volume. [ln]
    slope, slope_sd : array, shape (lines,)
        Price-break slope. [ln price / ln quantity]
    quantity_change : array, shape (lines,)
        ln annual quantity now over then, 0 where unknown. [ln]
    basis, date : array, shape (lines,)
        Variance of the starting level: of the booked price around the market, and from not knowing its date. [ln²]
    loadings : array, shape (lines, factors + 2)
        Shared factors, then the line's own doubt about commodity and mark-up. Wandering is 0 here, it is kept as a
        variance in ``carried.process``. [ln]
    """

    carried: Carried
    quantity: Floats
    slope: Floats
    slope_sd: Floats
    quantity_change: Floats
    basis: Floats
    date: Floats
    loadings: Floats


@dataclass(frozen=True)
class Newer:
    """What newer quotes change about the level.

    Attributes
    ----------
    shift : array, shape (lines,)
        Step of newer quotes. [ln]
    noise, wander : array, shape (lines,)
        Variance from the quotes' own noise, and of the wandering that is left. [ln²]
    left : array, shape (lines,)
        Weight left to the booked cost. [-]
    loadings : array, shape (lines, factors + 2)
        As :class:`Level`, after the quotes. [ln]
    """

    shift: Floats
    noise: Floats
    left: Floats
    loadings: Floats
    wander: Floats


def find_level(lines: Priced, curves: Curves) -> Level:
    """Carry the lines to the as-of date.

    Parameters
    ----------
    lines : Priced
    curves : Curves

    Returns
    -------
    Level
    """
    carried = carry(curves, lines.spans)
    slope, sd = (curves.own_volume[c].to_numpy(dtype=float)[lines.spans.commodity] for c in ("slope", "slope_sd"))
    change = log_quantity_change(lines.quantity_then, lines.quantity_now)
    loadings = with_own_columns(carried, doubt_per_year(lines, curves) * np.abs(carried.years))
    loadings[:, OWN_VOLUME] = sd * change
    return Level(
        carried, slope * change, slope, sd, change, lines.noise**2, _date_variance(lines, curves), loadings
    )  # fmt: skip


def with_own_columns(carried: Carried, classification: Floats) -> Floats:
    """Loadings of the shared factors, and behind them the doubts about commodity and mark-up."""
    return np.column_stack([carried.loadings, classification, carried.markup])


def doubt_per_year(lines: Priced, curves: Curves) -> Floats:
    r"""Standard deviation of yearly price change from not being sure of the commodity.

    Parameters
    ----------
    lines : Priced
    curves : Curves

    Returns
    -------
    array, shape (lines,)
        :math:`\sqrt{1 - c} \, d` with the confidence :math:`c` and the spread :math:`d` of yearly price changes over
        all commodities. [ln/year]
    """
    return np.asarray(np.sqrt(1 - lines.sure) * np.hypot(*curves.classification))


def _date_variance(lines: Priced, curves: Curves) -> Floats:
    """Variance from not knowing the basis date: how far the price moves within the date's standard deviation."""
    result, rows = np.zeros(len(lines)), np.flatnonzero(lines.date_sd > 0)
    if len(rows):
        step = np.round(lines.date_sd[rows] * DAYS_PER_YEAR).astype("timedelta64[D]")
        now = lines.spans.now
        some = lines.spans.take(rows, now=now[rows] if now.ndim else now)
        early, late = carry(curves, some.since(some.then - step)), carry(curves, some.since(some.then + step))
        result[rows] = ((early.total - late.total) / 2) ** 2 + np.abs(early.process - late.process) / 2
    return result
