"""From quotes to changes: what the quotes of a commodity's parts say of its market, in a form that a fit can weigh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

DAYS_PER_YEAR = 365.25
"""Mean length of a Julian year. [d]"""

_EPOCH = 10957  # days from 1970 to 2000; times are years since 2000


@dataclass(frozen=True)
class Changes:
    """Changes between neighbouring quotes of one part, sorted by commodity, part and date, in flat arrays.

    Attributes
    ----------
    first : array of int, shape (commodities + 1,)
        Where the changes of each commodity begin.
    part : array of int, shape (changes,)
    start, end : array, shape (changes,)
        Dates of the two quotes. [years since 2000]
    log_price, log_experience : array, shape (changes,)
        Change of ln real price, and of ln cumulative volume (NaN: no index at either date). [ln]
    start_variance, end_variance : array, shape (changes,)
        Variance that the quotes themselves add. [ln²]
    parts, quotes : array of int, shape (commodities,)
        How many there are.
    latest : array, shape (commodities,)
        Date of the newest quote; NaN without any. [years since 2000]
    """

    first: Ints
    part: Ints
    start: Floats
    end: Floats
    log_price: Floats
    log_experience: Floats
    start_variance: Floats
    end_variance: Floats
    parts: Ints
    quotes: Ints
    latest: Floats


def years_since_2000(dates: npt.ArrayLike) -> Floats:
    """Dates as years since the start of 2000, NaT as NaN. [year]."""
    days = np.asarray(dates).astype("datetime64[D]")
    number = np.where(np.isnat(days), np.nan, days.astype(np.int64).astype(float))
    return np.asarray((number - _EPOCH) / DAYS_PER_YEAR)


def within_part_changes(observations: pd.DataFrame, commodities: tuple[str, ...]) -> Changes:
    """Difference the quotes of each part; quotes of one part on one day count as their mean.

    Parameters
    ----------
    observations : DataFrame
        Columns commodity, part_no, date, log_price, log_experience and, if known, noise (sd of one quote).
        [-, -, day, ln, ln, ln]
    commodities : tuple of str
        Commodities to keep, in the order of the result.

    Returns
    -------
    Changes
    """
    table = _one_a_day(observations, commodities)
    code, part = table["code"].to_numpy(), table["part"].to_numpy()
    pair = np.flatnonzero((np.diff(code) == 0) & (np.diff(part) == 0))
    time, price, experience, noise = (table[c].to_numpy(dtype=float) for c in ("time", "y", "x", "v"))
    size = len(commodities)
    latest = np.full(size, np.nan)
    np.fmax.at(latest, code, time)
    fresh = np.concatenate([[True], (np.diff(code) != 0) | (np.diff(part) != 0)])[: len(code)]
    return Changes(
        first=np.searchsorted(code[pair], np.arange(size + 1)).astype(np.int64),
        part=part[pair],
        start=time[pair],
        end=time[pair + 1],
        log_price=price[pair + 1] - price[pair],
        log_experience=experience[pair + 1] - experience[pair],
        start_variance=noise[pair],
        end_variance=noise[pair + 1],
        parts=np.bincount(code[fresh], minlength=size).astype(np.int64),
        quotes=np.bincount(code, minlength=size).astype(np.int64),
        latest=latest,
    )


def _one_a_day(observations: pd.DataFrame, commodities: tuple[str, ...]) -> pd.DataFrame:
    known = pd.Categorical(observations["commodity"], categories=list(commodities))
    noise = observations["noise"].to_numpy(dtype=float) if "noise" in observations else np.zeros(len(observations))
    table = pd.DataFrame(
        {
            "code": known.codes.astype(np.int64),
            "part": pd.factorize(observations["part_no"], sort=True)[0].astype(np.int64),
            "time": years_since_2000(observations["date"].to_numpy()),
            "y": observations["log_price"].to_numpy(dtype=float),
            "x": observations["log_experience"].to_numpy(dtype=float),
            "v": noise**2,
        }
    )
    usable = (table["code"] >= 0) & np.isfinite(table["y"]) & np.isfinite(table["time"])
    return pd.DataFrame(table[usable].groupby(["code", "part", "time"], as_index=False, sort=True).mean())


@dataclass(frozen=True)
class Series:
    """Changes of one commodity, ready to fit.

    Attributes
    ----------
    start, end : array, shape (changes,)
        [years since 2000]
    log_price, log_experience : array, shape (changes,)
        Finite; experience 0 where there is no index. [ln]
    quote_covariance : array, shape (changes, changes)
        What the quotes themselves add. [ln²]
    own_covariance : array, shape (changes, changes)
        What parts move on their own, where many parts are put together; in squared noise scales. [-]
    shared : array, shape (changes, changes)
        Share of the noise that two changes have in common: 1 within a part, :data:`SHARED_WANDER` between parts. [-]
    latest : float
        Date of the newest quote. [years since 2000]
    """

    start: Floats
    end: Floats
    log_price: Floats
    log_experience: Floats
    quote_covariance: Floats
    own_covariance: Floats
    shared: Floats
    latest: float


SHARED_WANDER = 0.5
"""Share of a market's wandering that all its parts have in common; the rest is each part's own. Engineering
judgement."""

MOST_CHANGES = 60
"""Above this many changes a commodity is put together into an index on a grid of dates; fits stay linear in quotes."""

_GRID = 40  # spans of that grid


def series_of(changes: Changes, commodity: int, *, own_rate: float, noise: float, indexed: bool) -> Series:
    """Changes of one commodity as a fit takes them.

    Parameters
    ----------
    changes : Changes
    commodity : int
        Position of the commodity.
    own_rate : float
        Variance of a part's yearly movement, in squared noise scales; its own share weighs parts. [1/year]
    noise : float
        Noise scale to weigh quotes and own movement by when many parts are put together. [ln]
    indexed : bool
        Only changes with a volume index at both ends; else all, without experience.

    Returns
    -------
    Series
    """
    rows = np.arange(changes.first[commodity], changes.first[commodity + 1])
    if indexed:
        rows = rows[np.isfinite(changes.log_experience[rows])]
    experience = changes.log_experience[rows] if indexed else np.zeros(len(rows))
    part, latest = changes.part[rows], float(changes.latest[commodity])
    if len(rows) > MOST_CHANGES:
        own = own_rate * (1 - SHARED_WANDER) if changes.parts[commodity] > 1 else 0.0
        return _index(changes, rows, experience, own_rate=own, noise=noise, latest=latest)
    return Series(
        changes.start[rows], changes.end[rows], changes.log_price[rows], experience, _quote_covariance(changes, rows),
        np.zeros((len(rows), len(rows))), np.where(np.equal.outer(part, part), 1.0, SHARED_WANDER), latest,
    )  # fmt: skip


def _quote_covariance(changes: Changes, rows: Ints) -> Floats:
    covariance = np.diag(changes.start_variance[rows] + changes.end_variance[rows])
    follows = np.flatnonzero((np.diff(rows) == 1) & (np.diff(changes.part[rows]) == 0))
    covariance[follows, follows + 1] = covariance[follows + 1, follows] = -changes.end_variance[rows[follows]]
    return covariance


def _index(changes: Changes, rows: Ints, experience: Floats, *, own_rate: float, noise: float, latest: float) -> Series:
    """Put many parts together: the changes of their common market over a grid of dates, by weighted least squares.

    Between neighbouring dates of the grid the market is taken to move evenly; what a part moves on its own and what a
    quote is off are the weights.
    """
    start, end = changes.start[rows], changes.end[rows]
    dates = np.unique(np.concatenate([start, end]))
    knots = np.unique(dates[np.linspace(0, len(dates) - 1, _GRID + 1).round().astype(np.int64)])
    shared = np.minimum.outer(end, knots[1:]) - np.maximum.outer(start, knots[:-1])
    cover = np.maximum(shared, 0.0) / np.diff(knots)
    quoted = changes.start_variance[rows] + changes.end_variance[rows]
    weight = 1.0 / (own_rate * noise**2 * (end - start) + quoted + _ROUNDING)
    information = cover.T @ (cover * weight[:, None])
    information[np.diag_indices_from(information)] += 1e-3 / noise**2  # a span that no change covers stays unknown
    covariance = np.linalg.inv(information)
    moved, grown = (covariance @ (cover.T @ (weight * change)) for change in (changes.log_price[rows], experience))
    none = np.zeros_like(covariance)
    return Series(knots[:-1], knots[1:], moved, grown, none, covariance / noise**2, none + SHARED_WANDER, latest)


_ROUNDING = 1e-6
"""Squared ln of 0.1 %: prices are rounded, and two quotes of one price are not two proofs. [ln²]"""
