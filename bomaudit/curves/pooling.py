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
    counted : array, shape (changes,)
        Years between the two, as far as the part gets its industry's learning. [year]
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
    counted: Floats
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
        Columns commodity, part_no, date, log_price, log_experience and, if known, noise (sd of one quote) and learned
        (share of its industry's learning that the part gets, which ``log_experience`` holds already; 1 if not given).
        [-, -, day, ln, ln, ln, -]
    commodities : tuple of str
        Commodities to keep, in the order of the result.

    Returns
    -------
    Changes
    """
    table = _one_a_day(observations, commodities)
    code, part = table["code"].to_numpy(), table["part"].to_numpy()
    pair = np.flatnonzero((np.diff(code) == 0) & (np.diff(part) == 0))
    time, price, experience, noise, share = (table[c].to_numpy(dtype=float) for c in ("time", "y", "x", "v", "s"))
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
        counted=(time[pair + 1] - time[pair]) * share[pair],
        start_variance=noise[pair],
        end_variance=noise[pair + 1],
        parts=np.bincount(code[fresh], minlength=size).astype(np.int64),
        quotes=np.bincount(code, minlength=size).astype(np.int64),
        latest=latest,
    )


def _one_a_day(observations: pd.DataFrame, commodities: tuple[str, ...]) -> pd.DataFrame:
    noise = observations["noise"].to_numpy(dtype=float) if "noise" in observations else np.zeros(len(observations))
    table = pd.DataFrame(
        {
            "code": pd.Index(commodities).get_indexer(pd.Index(observations["commodity"].astype("str"))),
            "part": pd.factorize(observations["part_no"], sort=True)[0].astype(np.int64),
            "time": years_since_2000(observations["date"].to_numpy()),
            "y": observations["log_price"].to_numpy(dtype=float),
            "x": observations["log_experience"].to_numpy(dtype=float),
            "v": noise**2,
            "s": observations["learned"].to_numpy(dtype=float) if "learned" in observations else 1.0,
        }
    )
    usable = (table["code"] >= 0) & np.isfinite(table["y"]) & np.isfinite(table["time"])
    return pd.DataFrame(table[usable].groupby(["code", "part", "time"], as_index=False, sort=True).mean())


@dataclass(frozen=True)
class Series:
    """Changes of one commodity, ready to fit: those of its one part, or of the index of its many.

    Attributes
    ----------
    start, end : array, shape (changes,)
        [years since 2000]
    log_price, log_experience : array, shape (changes,)
        Finite; experience 0 where there is no index. [ln]
    counted : array, shape (changes,)
        Years that a yearly change counts over, as in :class:`Changes`. [year]
    error : array, shape (changes, changes)
        Covariance that quotes, and where there are many parts their own movements, add. [ln²]
    own : float
        Variance of a part's own yearly movement about the market; 0 for a single part, whose movement is the market's.
        [ln²]
    outliers : int
        Changes whose weight was taken off because the other parts contradict them.
    latest : float
        Date of the newest quote. [years since 2000]
    """

    start: Floats
    end: Floats
    log_price: Floats
    log_experience: Floats
    counted: Floats
    error: Floats
    own: float
    outliers: int
    latest: float


SHARED_WANDER = 0.5
"""Share of a part's yearly movement that its whole market makes, before own quotes tell. Engineering judgement."""

MOST_SPANS = 40
"""An index of many parts, or a long series, is put on at most so many spans: a fit stays linear in quotes. Of a long
series those quotes are left out that lie between, so that the newest stays what it is."""

FAR = 3.5
"""Standard deviations from which a change loses weight: one honest change in two thousand is that far."""

_OWN_DOF = 4.0  # weight of the prior of a part's own movement, in changes
_ROUNDING = 1e-6  # prices are rounded: squared ln of 0.1 %


def series_of(changes: Changes, commodity: int, *, noise: Noise, indexed: bool) -> Series:
    """Changes of one commodity as a fit takes them.

    Parameters
    ----------
    changes : Changes
    commodity : int
        Position of the commodity.
    noise : Noise
        Prior of how a part's price moves about its course.
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
    many = len(rows) > 0 and bool(np.any(changes.part[rows] != changes.part[rows[0]]))
    latest = float(changes.latest[commodity])
    if many or (len(rows) > MOST_SPANS and bool(np.any(changes.start[rows[1:]] != changes.end[rows[:-1]]))):
        return _index(_Flat.of(changes, rows, experience), noise, many=many, latest=latest)
    every = np.linspace(0, len(rows), min(len(rows), MOST_SPANS) + 1).round().astype(np.int64)
    first, last = rows[every[:-1]], rows[every[1:] - 1]
    price, grown, counted = (
        np.add.reduceat(v, every[:-1]) for v in (changes.log_price[rows], experience, changes.counted[rows])
    )
    error = _quote_error(changes, first, last)
    return Series(changes.start[first], changes.end[last], price, grown, counted, error, 0.0, 0, latest)


@dataclass(frozen=True)
class Noise:
    """How a price moves about its course: squared scale [ln²], share that stays, memory of the rest [year]."""

    squared_scale: float
    level_share: float
    memory: float

    def variance(self, years: Floats) -> Floats:
        """Variance of a change over so many years. [ln²]."""
        passing = -2 * (1 - self.level_share) * np.expm1(-years / self.memory)
        return np.asarray(self.squared_scale * (self.level_share * years + passing))


def _quote_error(changes: Changes, first: Ints, last: Ints) -> Floats:
    """Covariance from the quotes' own noise: neighbouring changes of a part share a quote with opposite signs."""
    error = np.diag(changes.start_variance[first] + changes.end_variance[last])
    follows = np.flatnonzero(first[1:] - last[:-1] == 1)
    error[follows, follows + 1] = error[follows + 1, follows] = -changes.end_variance[last[follows]]
    return error


@dataclass(frozen=True)
class _Flat:
    start: Floats
    end: Floats
    log_price: Floats
    log_experience: Floats
    counted: Floats
    quoted: Floats

    @classmethod
    def of(cls, changes: Changes, rows: Ints, experience: Floats) -> _Flat:
        quoted = changes.start_variance[rows] + changes.end_variance[rows]
        return cls(
            changes.start[rows], changes.end[rows], changes.log_price[rows], experience, changes.counted[rows], quoted
        )


def _index(flat: _Flat, noise: Noise, *, many: bool, latest: float) -> Series:
    """Index of a market from the changes of its parts, by weighted least squares over a grid of dates.

    The market is taken to move evenly between neighbouring dates of the grid. What is left says how much parts move on
    their own; that is weighed against its prior. Changes that the others contradict lose weight.
    """
    dates = np.unique(np.concatenate([flat.start, flat.end]))
    knots = np.unique(dates[np.linspace(0, len(dates) - 1, MOST_SPANS + 1).round().astype(np.int64)])
    shared = np.minimum.outer(flat.end, knots[1:]) - np.maximum.outer(flat.start, knots[:-1])
    cover = np.maximum(shared, 0.0) / np.diff(knots)
    expected = (1 - SHARED_WANDER) * many * noise.variance(flat.end - flat.start)
    weight = 1.0 / (expected + flat.quoted + _ROUNDING)
    loose = 1e-3 / noise.squared_scale  # a span that no change covers stays unknown
    first = _least_squares(cover, flat.log_price, weight, loose)
    far = np.maximum(np.abs(first.residual) * np.sqrt(weight / first.spread) / FAR, 1.0)
    found = _least_squares(cover, flat.log_price, weight / far**2, loose) if np.any(far > 1) else first
    grown = _least_squares(cover, flat.log_experience, weight, loose).slope
    spared = _least_squares(cover, flat.end - flat.start - flat.counted, weight, loose).slope
    own = (1 - SHARED_WANDER) * many * float(noise.variance(np.ones(1))[0]) * found.spread
    return Series(
        knots[:-1], knots[1:], found.slope, grown, np.diff(knots) - spared, found.spread * found.covariance, own,
        int(np.sum(far > 1)), latest,
    )  # fmt: skip


@dataclass(frozen=True)
class _LeastSquares:
    slope: Floats
    covariance: Floats  # for the weights as given
    residual: Floats
    spread: float  # mean squared weighted residual, weighed against 1


def _least_squares(cover: Floats, change: Floats, weight: Floats, loose: float) -> _LeastSquares:
    information = cover.T @ (cover * weight[:, None])
    information[np.diag_indices_from(information)] += loose
    covariance = np.asarray(np.linalg.inv(information), dtype=np.float64)
    slope = covariance @ (cover.T @ (weight * change))
    residual = change - cover @ slope
    free = len(change) - float(np.sum((cover @ covariance) * cover * weight[:, None]))
    spread = (_OWN_DOF + float(weight @ residual**2)) / (_OWN_DOF + max(free, 0.0))
    return _LeastSquares(slope, covariance, residual, spread)
