"""Booked value and spend by the age of the price behind them, like an aged ledger."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

MONTHS = (6, 12, 24, 36, 60)
BUCKETS = ("0-6", "6-12", "12-24", "24-36", "36-60", "> 60", "undated")
"""Age in months; a price exactly six months old is in 0-6."""


def bucket_of(basis_date: pd.Series, basis: pd.Series, *, as_of: date) -> pd.Series:
    """Age bucket of each line.

    Parameters
    ----------
    basis_date : Series of datetime, shape (lines,)
    basis : Series of str, shape (lines,)
        ``undated`` lines have an assumed date only and a bucket of their own; so have lines without a date.
    as_of : date

    Returns
    -------
    Series of categories, ordered as :data:`BUCKETS`

    Notes
    -----
    Calendar months: the limits are the as-of date less 6, 12 … months, not multiples of 30 days.
    """
    today = pd.Timestamp(as_of)
    limits = np.array([(today - pd.DateOffset(months=m)).to_datetime64() for m in MONTHS[::-1]])
    dates = basis_date.to_numpy(dtype=limits.dtype)
    code = len(MONTHS) - np.searchsorted(limits, dates, side="right")
    undated = np.isnat(dates) | (basis == "undated").to_numpy()
    names = np.array(BUCKETS, dtype=object)[np.where(undated, len(MONTHS) + 1, code)]
    return pd.Series(names, index=basis_date.index).astype(pd.CategoricalDtype(list(BUCKETS), ordered=True))


def ageing(
    lines: pd.DataFrame, *, as_of: date, by: tuple[str, ...] = ("commodity", "supplier", "owner"),
    on_hand_qty: pd.Series | None = None, annual_volume: float | None = None,
) -> pd.DataFrame:  # fmt: skip
    """Booked value, annual spend and stock by age of the basis.

    Parameters
    ----------
    lines : DataFrame
        ``row_kind``, ``part_no``, ``qty_per``, ``booked_cost``, ``booked_extended``, ``annual_volume``, ``basis``,
        ``basis_date`` and the columns named in ``by``; those it has not are passed over. Parts only are counted.
    as_of : date
    by : tuple of str
        Groupings; ``all`` is always there.
    on_hand_qty : Series, index as ``lines``, optional
        Stock of the part; counted once for each part number.
    annual_volume : float, optional
        Products a year, where the line does not say.

    Returns
    -------
    DataFrame
        ``by``, ``group`` (empty: not known), ``bucket``, ``lines``, ``booked_value`` (per product),
        ``annual_spend``, ``stock_value`` [audit currency], ``share`` of the group's booked value. Every bucket of
        every group, empty or not.
    """
    held = (lines["row_kind"] == "part") & lines["booked_cost"].notna()
    rows = lines[held]
    bucket = bucket_of(rows["basis_date"], rows["basis"], as_of=as_of)
    volume = rows["annual_volume"] if annual_volume is None else rows["annual_volume"].fillna(annual_volume)
    stock = pd.Series(np.nan, index=rows.index) if on_hand_qty is None else on_hand_qty[held]
    once = ~rows["part_no"].duplicated() | (rows["part_no"] == "")
    amounts = pd.DataFrame(
        {
            "bucket": bucket,
            "lines": 1,
            "booked_value": rows["booked_extended"],
            "annual_spend": rows["booked_extended"] * volume,
            "stock_value": (stock * rows["booked_cost"]).where(once),
        },
        index=rows.index,
    )
    groupings = {"all": pd.Series("all", index=rows.index)} | {n: rows[n] for n in by if n in rows}
    return pd.concat([_aged(amounts, name, group) for name, group in groupings.items()], ignore_index=True)


def _aged(amounts: pd.DataFrame, name: str, group: pd.Series) -> pd.DataFrame:
    sums = (
        amounts.assign(group=group.fillna("").astype("str"))
        .groupby(["group", "bucket"], observed=False, sort=True)[
            ["lines", "booked_value", "annual_spend", "stock_value"]
        ]
        .sum(min_count=0)
        .reset_index()
    )
    whole = sums.groupby("group")["booked_value"].transform("sum")
    sums["share"] = sums["booked_value"] / whole.where(whole != 0)
    sums["bucket"] = sums["bucket"].astype("str")
    sums.insert(0, "by", name)
    return sums.astype({"by": "str", "group": "str", "lines": "int64"})
