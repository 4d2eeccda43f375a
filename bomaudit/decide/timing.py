"""When the balance tipped, and when it will: the same accounts at the prices of other days."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri

from bomaudit.decide.accounted import DAYS_PER_YEAR, Accounts, account, per_part
from bomaudit.decide.case import Case
from bomaudit.decide.elements import Costed
from bomaudit.decide.pricing import Prices
from bomaudit.decide.register import Register
from bomaudit.decide.time_value import rate_of
from bomaudit.progress import told
from bomaudit.settings import DecideSection

Floats = npt.NDArray[np.float64]
PricesAt = Callable[[date], Prices]

_BEHIND = (*np.arange(0.5, 5.0, 0.5), *np.arange(5.0, 20.5, 1.0))
_AHEAD = (*np.arange(0.25, 2.0, 0.25), *np.arange(2.0, 4.0, 0.5), *np.arange(4.0, 10.5, 1.0))
"""Years from today of the days looked at: the same for every decision, so that none moves the dates of another.
Closer together where the forecast is worth more; beyond ten years it is no better than a guess."""


@dataclass(frozen=True)
class Timing:
    """Costs of the options on other days and the days on which the balance passes.

    Attributes
    ----------
    tips : DataFrame, one row a decision
        tipped_on, tips_on, tips_early, tips_late (dates, NaT: not within the years looked at), npv_later (the best net
        present value of a later switch, at that day's prices), npv_in_a_quarter (of a switch then, seen from today)
        [currency].
    paths : DataFrame
        decision, option, date, cost_per_unit [currency/product].
    """

    tips: pd.DataFrame
    paths: pd.DataFrame


def days_looked_at(register: Register, as_of: date) -> list[date]:
    """Days of one grid from before the earliest decision to the end of the longest programme; today is among them."""
    heads = register.decisions
    if heads.empty:
        return [as_of]
    past = float((pd.Timestamp(as_of) - heads["decided_on"]).dt.days.max()) / DAYS_PER_YEAR  # NaN: nobody states a day
    back = _BEHIND[: int(np.searchsorted(_BEHIND, past)) + 1] if past > 0 else ()
    ahead = _AHEAD[: int(np.searchsorted(_AHEAD, float(heads["years_left"].max()))) + 1]
    years = (*(-y for y in reversed(back)), 0.0, *ahead)
    return [as_of + timedelta(days=round(float(y) * DAYS_PER_YEAR)) for y in years]


def look_around(
    case: Case,
    prices_at: PricesAt,
    *,
    range_variance: Floats,
    rules: DecideSection,
    confidence: float,
    as_of: date,
) -> Timing:
    """Account all decisions on other days.

    Parameters
    ----------
    case : Case
    prices_at : callable
        Prices of the same parts on another day.
    range_variance : array, shape (decisions,)
        Variance per product of the stated ranges, chosen against alternative. [currency²/product²]
    rules : DecideSection
    confidence : float
        Coverage of the band of the date to come. [-]
    as_of : date

    Returns
    -------
    Timing

    Notes
    -----
    On day t the years left are those from t to the end of the programme, and an alternative's one-time costs are
    spread over the products of those years. tipped_on: the last day from which on an alternative has been cheaper per
    product up to today, where it is known when the decision was taken. tips_on: the first day to come on which
    switching pays, change cost and all. Between the days looked at the balance is taken as linear. The band moves the
    net present value by its normal interval, from the variances of that day.
    """
    register, costed = case.register, case.costed
    days = days_looked_at(register, as_of)
    margin = ndtri((1.0 + confidence) / 2.0)
    saved, central, favourable, cautious, costs = [], [], [], [], []
    for day in told("looking at other days", days, len(days)):
        prices = costed.prices if day == as_of else prices_at(day)
        accounts = account(register, costed, switch_cost=case.switch_cost, rules=rules, as_of=as_of, day=day)
        cost = accounts.per_option(costed.priced_at(prices.median))
        worth = np.where(accounts.products[accounts.decision_of] > 0, accounts.switching(cost), np.nan)
        best = accounts.best_alternative(worth)
        cheapest = accounts.best_alternative(-cost)
        sd = _spread(accounts, costed, prices, best, range_variance)
        saved.append(cost[accounts.chosen_option] - cost[cheapest])
        central.append(worth[best])
        favourable.append(worth[best] + margin * sd)
        cautious.append(worth[best] - margin * sd)
        costs.append(cost)
    balance = _Balance(*(np.stack(x, axis=1) for x in (saved, central, favourable, cautious)))
    tips = _tips(register, days, balance, as_of, rate=rate_of(rules))
    return Timing(tips, _paths(register, days, np.stack(costs), as_of))


def _spread(accounts: Accounts, costed: Costed, prices: Prices, best: npt.NDArray[np.int64], ranges: Floats) -> Floats:
    """Standard deviation of the net present value of switching, linear in the log prices. [currency]."""
    use = per_part(accounts, costed.coefficients)
    net = (use[accounts.chosen_option] - use[best]).multiply(prices.median[None, :]).tocsr()
    shared = net @ prices.loadings
    own = net.multiply(np.nan_to_num(prices.sd_own)[None, :])
    variance = (
        np.asarray(shared.multiply(shared).sum(axis=1)).ravel() + np.asarray(own.multiply(own).sum(axis=1)).ravel()
    )
    return np.asarray(accounts.products * np.sqrt(variance + ranges))


@dataclass(frozen=True)
class _Balance:
    """Balance of each decision on each day, shape (decisions, days)."""

    saved: Floats  # what the cheapest alternative saves per product
    central: Floats  # net present value of switching then
    favourable: Floats  # at the ends of its interval
    cautious: Floats


def _tips(register: Register, days: list[date], balance: _Balance, as_of: date, *, rate: float) -> pd.DataFrame:
    at = np.array([(d - as_of).days for d in days], dtype=float)
    today = int(np.searchsorted(at, 0.0))
    begun = np.asarray((register.decisions["decided_on"] - pd.Timestamp(as_of)).dt.days, dtype=np.float64)
    quarter = int(np.argmin(np.abs(at - DAYS_PER_YEAR / 4)))
    in_a_quarter = balance.central[:, quarter] * (1.0 + rate) ** -(at[quarter] / DAYS_PER_YEAR)
    ahead = balance.central[:, today + 1 :]
    later = np.where(np.isnan(ahead), -np.inf, ahead).max(axis=1, initial=-np.inf)
    dates = {
        "tips_on": _first_above(at[today:], balance.central[:, today:]),
        "tips_early": _first_above(at[today:], balance.favourable[:, today:]),
        "tips_late": _first_above(at[today:], balance.cautious[:, today:]),
    }
    open_yet = ~(balance.central[:, today] > 0) & np.isfinite(dates["tips_on"])
    dates = {name: np.where(open_yet, value, np.nan) for name, value in dates.items()}
    dates["tipped_on"] = _since(at[: today + 1], balance.saved[:, : today + 1], begun)
    stamps = {k: pd.Timestamp(as_of) + pd.to_timedelta(np.round(v), unit="D") for k, v in dates.items()}
    return (
        pd.DataFrame(stamps)
        .astype("datetime64[us]")
        .assign(npv_later=np.where(np.isfinite(later), later, np.nan), npv_in_a_quarter=in_a_quarter)
    )


def _first_above(at: Floats, value: Floats) -> Floats:
    """First time at which each row passes 0 upwards, linear between the times; NaN where it never does."""
    above = value > 0
    first = np.argmax(above, axis=1)
    found = above[np.arange(len(value)), first]
    before = np.maximum(first - 1, 0)
    rows = np.arange(len(value))
    low, high = value[rows, before], value[rows, first]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where((first == 0) | ~np.isfinite(low), 1.0, -low / (high - low))
    return np.where(found, at[before] + part * (at[first] - at[before]), np.nan)


def _since(at: Floats, saved: Floats, begun: Floats) -> Floats:
    """Time since which each row has been above 0 up to its end; the decision's own day at the earliest, if known."""
    below = ~(saved > 0)
    n = saved.shape[1]
    last = n - 1 - np.argmax(below[:, ::-1], axis=1)
    ever = below.any(axis=1)
    now = saved[:, -1] > 0
    rows, after = np.arange(len(saved)), np.minimum(last + 1, n - 1)
    low, high = saved[rows, last], saved[rows, after]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(np.isfinite(low) & (high > low), -low / (high - low), 1.0)
    crossed = at[last] + part * (at[after] - at[last])
    day = np.where(ever, crossed, np.nan)
    return np.where(now & np.isfinite(begun), np.fmax(day, begun), np.nan)


def _paths(register: Register, days: list[date], costs: Floats, as_of: date) -> pd.DataFrame:
    heads, options = register.decisions, register.options
    d = options["d"].to_numpy()
    stamps = np.array([np.datetime64(day) for day in days])
    start = heads["decided_on"].to_numpy().astype("datetime64[D]")[d]
    start = np.where(np.isnat(start), np.datetime64(as_of), start)
    end = np.datetime64(as_of) + (heads["years_left"].to_numpy() * DAYS_PER_YEAR).astype("timedelta64[D]")[d]
    shown = (stamps[:, None] >= start) & (stamps[:, None] < end) & np.isfinite(costs)
    t, o = np.nonzero(shown.T)[::-1]
    return pd.DataFrame(
        {
            "decision": heads["decision"].to_numpy()[d[o]],
            "option": options["option"].to_numpy()[o],
            "date": stamps[t].astype("datetime64[us]"),
            "cost_per_unit": costs[t, o],
        }
    )
