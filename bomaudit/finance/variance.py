"""Variances against the standard, positive when they cost: of price, of quantity, and of purchases over the year."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from bomaudit.finance.parts import looked_up
from bomaudit.prepare.currency import Fx
from bomaudit.settings import FinanceSection

Floats = NDArray[np.float64]


def price_variance(*, quantity: ArrayLike, actual_price: ArrayLike, standard_price: ArrayLike) -> Floats:
    r"""Purchase price variance: quantity bought × (actual - standard price), positive: unfavourable.

    Parameters
    ----------
    quantity : array
        Quantity bought. [uom]
    actual_price, standard_price : array
        [currency/uom]

    Returns
    -------
    array
        [currency]

    Notes
    -----
    :math:`AQ (AP - SP)`.

    References
    ----------
    .. [1] C. S. Warren, J. M. Reeve, J. Duchac, "Managerial Accounting", chapter on standard costs.
    """
    return np.asarray(quantity, np.float64) * (
        np.asarray(actual_price, np.float64) - np.asarray(standard_price, np.float64)
    )


def quantity_variance(*, actual: ArrayLike, standard: ArrayLike, standard_price: ArrayLike) -> Floats:
    r"""Usage variance: standard price × (actual - standard quantity), positive: unfavourable.

    Notes
    -----
    :math:`SP (AQ - SQ)`; with :func:`price_variance` on the same quantity it adds up to :math:`AQ AP - SQ SP`.
    """
    return np.asarray(standard_price, np.float64) * (np.asarray(actual, np.float64) - np.asarray(standard, np.float64))


def purchase_variance(
    parts: pd.DataFrame, *, paid: pd.DataFrame, committed: pd.Series, as_of: date, finance: FinanceSection
) -> pd.DataFrame:
    """Purchase price variance of the financial year: realised to the as-of date, expected for the rest.

    Parameters
    ----------
    parts : DataFrame
        From :func:`bomaudit.finance.parts.part_costs`.
    paid : DataFrame
        From :func:`prices_paid`.
    committed : Series
        From :func:`bomaudit.prepare.quotes.committed_prices`.
    as_of : date
    finance : FinanceSection
        year_starts, fresh_months, freeze_firm.

    Returns
    -------
    DataFrame, index as ``parts``
        ``year_gone`` (share of the year to the as-of date), ``paid_price`` (mean over that time), ``ppv_realised``,
        ``expected_price`` and ``expected_basis`` (the first that is known of firm quote, contract, last purchase,
        estimate; or empty), ``ppv_expected``,
        ``ppv_year``, ``ppv_at_estimate`` (rest of the year, if bought at today's estimate), ``one_sided`` (newest
        purchases in a row on the same side of the standard). Money in audit currency, positive: dearer than standard.

    Notes
    -----
    Purchases are taken as even over the year, at the last price paid until the next one. A price paid before the year
    is in force at its start; without one, the first of the year is. A part for which nothing was paid this year, nor
    within ``fresh_months``, has no realised variance. A run of purchases on one side of the standard is
    evidence that the standard is out of date.
    """
    start, end = financial_year(as_of, starts=finance.year_starts)
    today = pd.Timestamp(as_of)
    gone = (today - start).days / (end - start).days
    fresh_since = today - pd.DateOffset(months=finance.fresh_months)
    in_force = _mean_in_force(paid, start=start, today=today, fresh_since=min(start, fresh_since))
    price = looked_up(parts["part_no"], in_force).to_numpy(np.float64)
    newest = paid.drop_duplicates("part_no", keep="last").set_index("part_no")
    fresh = newest.loc[newest["date"] >= fresh_since, "price"]
    last, contract = (
        looked_up(parts["part_no"], fresh).to_numpy(np.float64),
        parts["contract_price"].to_numpy(np.float64),
    )
    trusted = parts["estimate"].where(parts["status"] != "unknown").to_numpy(np.float64)
    firm = looked_up(parts["part_no"], committed).to_numpy(np.float64)
    prices = [firm, contract, last, trusted]
    choices = [np.isfinite(firm) & finance.freeze_firm, *(np.isfinite(p) for p in prices[1:])]
    expected = np.select(choices, prices, default=np.nan)
    basis = np.select(choices, ["firm quote", "contract", "last purchase", "estimate"], default="")
    standard, annual = parts["standard_cost"].to_numpy(np.float64), parts["annual_qty"].to_numpy(np.float64)
    standard_of = parts.set_index("part_no")["standard_cost"]
    realised = price_variance(quantity=annual * gone, actual_price=price, standard_price=standard)
    ahead = price_variance(quantity=annual * (1 - gone), actual_price=expected, standard_price=standard)
    return pd.DataFrame(
        {
            "year_gone": gone,
            "paid_price": price,
            "ppv_realised": realised,
            "expected_price": expected,
            "expected_basis": pd.Series(basis, index=parts.index, dtype="str"),
            "ppv_expected": ahead,
            "ppv_year": realised + ahead,
            "ppv_at_estimate": price_variance(
                quantity=annual * (1 - gone), actual_price=parts["estimate"], standard_price=standard
            ),
            "one_sided": looked_up(parts["part_no"], _one_sided(paid, standard_of)).fillna(0).astype("int64"),
        },
        index=parts.index,
    )


def financial_year(as_of: date, *, starts: int) -> tuple[pd.Timestamp, pd.Timestamp]:
    """First day of the financial year that holds a day, and of the next one; ``starts`` is its first month."""
    first = pd.Timestamp(as_of.year if as_of.month >= starts else as_of.year - 1, starts, 1)
    return first, first + pd.DateOffset(years=1)


def prices_paid(parts: pd.DataFrame, quotes: pd.DataFrame, *, fx: Fx, as_of: date) -> pd.DataFrame:
    """Every price paid up to a day, from the quotes and from the last purchases of the standards.

    Parameters
    ----------
    parts : DataFrame
        From :func:`bomaudit.finance.parts.part_costs`.
    quotes : DataFrame
        Usable quotes; those of kind ``purchase`` are prices paid.
    fx : Fx
    as_of : date

    Returns
    -------
    DataFrame
        ``part_no``, ``date``, ``price`` (audit currency at the day's rate), by part and date; of several lots of a
        day the smallest counts, which is the most that was paid. [currency/uom]
    """
    bought = quotes[quotes["kind"] == "purchase"].sort_values("min_qty", kind="stable")
    rate = fx.rate(bought["currency"].to_numpy(), bought["quote_date"].to_numpy())
    paid = pd.concat(
        [
            pd.DataFrame(
                {"part_no": bought["part_no"], "date": bought["quote_date"], "price": bought["unit_price"] * rate}
            ),
            parts.loc[
                parts["last_purchase_price"].notna() & parts["last_purchase_date"].notna(),
                ["part_no", "last_purchase_date", "last_purchase_price"],
            ].set_axis(["part_no", "date", "price"], axis=1),
        ],
        ignore_index=True,
    ).dropna()
    paid = paid[paid["date"] <= pd.Timestamp(as_of)].drop_duplicates(["part_no", "date"], keep="first")
    return paid.sort_values(["part_no", "date"], kind="stable", ignore_index=True)


def _mean_in_force(
    paid: pd.DataFrame, *, start: pd.Timestamp, today: pd.Timestamp, fresh_since: pd.Timestamp
) -> dict[str, float]:
    """Mean price over the year to date by part, each price in force until the next; none where all are too old.

    A price from before the year counts from the year's start; a first price within the year is taken back to it.
    """
    known = paid.loc[paid["date"] >= fresh_since, "part_no"]
    paid = paid[paid["part_no"].isin(known)]
    first = ~paid["part_no"].duplicated()
    begins = paid["date"].where((paid["date"] > start) & ~first, start)
    following = begins.shift(-1).where(paid["part_no"].duplicated(keep="last"), today)
    days = (following - begins).dt.days.astype(float)
    # on the first day of the year nothing has been in force yet: the newest price is
    days = days if today > start else (~paid["part_no"].duplicated(keep="last")).astype(float)
    sums = pd.DataFrame({"part_no": paid["part_no"], "days": days, "amount": paid["price"] * days})
    sums = sums.groupby("part_no")[["days", "amount"]].sum()
    return dict(zip(sums.index.astype(str), (sums["amount"] / sums["days"]).tolist(), strict=True))


def _one_sided(paid: pd.DataFrame, standard: pd.Series) -> dict[str, int]:
    """How many of the newest purchases in a row are on the same side of the standard, by part."""
    newest_first = paid.iloc[::-1]
    part = newest_first["part_no"]
    side = pd.Series(np.sign(newest_first["price"] - looked_up(part, standard)), index=part.index).fillna(0.0)
    same = (side == side.groupby(part).transform("first")) & (side != 0)
    runs = same.astype(int).groupby(part).cumprod().groupby(part).sum()
    return dict(zip(runs.index.astype(str), runs.astype(int).tolist(), strict=True))
