"""Values over time for many named series at once: one sorted lookup instead of a loop over series."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.pooling import DAYS_PER_YEAR, Floats

Codes = npt.NDArray[np.int64]

_EPOCH = np.datetime64("2000-01-01", "D")
_FEW = 64  # values that are looked up one by one faster than all at once
_SPAN = 10_000.0  # years between the keys of two series: no date in a file lies further from the epoch than half of it


def years_of(dates: npt.ArrayLike) -> Floats:
    """Dates as years since 2000-01-01, 365.25 days each; NaT gives NaN.

    Parameters
    ----------
    dates : array of datetime64, shape (n,)

    Returns
    -------
    array, shape (n,)
        [year]
    """
    days = np.asarray(dates).astype("datetime64[D]")
    result = (days - _EPOCH).astype(np.float64) / DAYS_PER_YEAR
    return np.where(np.isnat(days), np.nan, result)


def codes_of(values: npt.ArrayLike | pd.Series, names: tuple[str, ...]) -> Codes:
    """Position of each value in ``names``, -1 where it is not among them.

    Parameters
    ----------
    values : array or Series of str, shape (n,)
    names : tuple of str

    Returns
    -------
    array of int, shape (n,)
    """
    words = values if isinstance(values, pd.Series) else np.asarray(values, dtype=object)
    if len(words) <= _FEW:
        position = {name: k for k, name in enumerate(names)}
        return np.array([position.get(w, -1) for w in words], dtype=np.int64)
    labels, found = pd.factorize(words)
    where = pd.Index(names, dtype=object).get_indexer(pd.Index(found, dtype=object))
    return np.asarray(np.append(where, -1)[labels], dtype=np.int64)


@dataclass(frozen=True)
class Place:
    """Places in time among the points of series.

    Attributes
    ----------
    codes : array of int, shape (n,)
        Series, -1 for none.
    left, right : array of int, shape (n,)
        Neighbouring points.
    share : array, shape (n,)
        How far from the left point to the right one. [-]
    early, late : array, shape (n,)
        Time before the first point (negative) and after the last one. [year]
    """

    codes: Codes
    left: Codes
    right: Codes
    share: Floats
    early: Floats
    late: Floats

    def take(self, codes: Codes) -> Place:
        """Places of many spans from those of every series."""
        series = np.maximum(codes, 0)
        return Place(
            codes, self.left[series], self.right[series], self.share[series], self.early[series], self.late[series]
        )


@dataclass(frozen=True)
class Timelines:
    """Named series, linear between their points and along a given slope outside them.

    Attributes
    ----------
    names : tuple of str
        The series; arguments called ``codes`` are positions in it, -1 for no series.
    start, count : array of int, shape (series,)
        Where each series' points stand in the flat arrays.
    time : array, shape (points,)
        Rising within a series. [years since 2000]
    value : array, shape (points,)
    before, after : array, shape (series,)
        Slope outside the points. [value/year]
    """

    names: tuple[str, ...]
    start: Codes
    count: Codes
    time: Floats
    value: Floats
    before: Floats
    after: Floats

    @classmethod
    def of(cls, names: npt.ArrayLike, time: npt.ArrayLike, value: npt.ArrayLike) -> Timelines:
        """Series from long columns; not finite points are dropped, the last of several at one time counts.

        Parameters
        ----------
        names : array of str, shape (points,)
        time : array, shape (points,)
            [years since 2000]
        value : array, shape (points,)

        Returns
        -------
        Timelines
            Flat outside their points, names sorted.
        """
        table = pd.DataFrame({"name": np.asarray(names, dtype=object), "time": time, "value": value})
        table = table[np.isfinite(table["time"]) & np.isfinite(table["value"])]
        table = table.sort_values(["name", "time"], kind="stable").drop_duplicates(["name", "time"], keep="last")
        kept, start, count = np.unique(table["name"].to_numpy(dtype=str), return_index=True, return_counts=True)
        flat = np.zeros(len(kept))
        return cls(
            names=tuple(str(k) for k in kept),
            start=start.astype(np.int64),
            count=count.astype(np.int64),
            time=table["time"].to_numpy(dtype=float),
            value=table["value"].to_numpy(dtype=float),
            before=flat,
            after=flat,
        )

    def codes(self, values: npt.ArrayLike) -> Codes:
        """Position of each name, -1 where there is no such series."""
        return codes_of(values, self.names)

    @property
    def first(self) -> Floats:
        """Time of the first point of each series, in years since 2000."""
        return self.time[self.start]

    @property
    def last(self) -> Floats:
        """Time of the last point of each series, in years since 2000."""
        return np.asarray(self.time[self.start + self.count - 1])

    def locate(self, codes: Codes, time: npt.ArrayLike) -> Place:
        """Where each time falls among the points of its series, for :meth:`read`.

        Parameters
        ----------
        codes : array of int, shape (n,)
            -1 for no series.
        time : array, shape (n,) or scalar
            [years since 2000]

        Returns
        -------
        Place
        """
        t, series = np.asarray(time, dtype=float), np.maximum(codes, 0)
        if t.ndim == 0 and len(codes) > len(self.names):
            return self.locate(np.arange(len(self.names)), t).take(codes)
        keys = np.repeat(np.arange(len(self.names)) * _SPAN, self.count) + self.time
        low, high = self.start[series], self.start[series] + self.count[series] - 1
        right = np.minimum(np.maximum(np.searchsorted(keys, series * _SPAN + t), low + 1), high)
        left = np.maximum(right - 1, low)
        first, last = self.time[low], self.time[high]
        width = self.time[right] - self.time[left]
        share = (np.clip(t, first, last) - self.time[left]) / np.where(width > 0, width, 1.0)
        return Place(codes, left, right, share, np.minimum(t - first, 0.0), np.maximum(t - last, 0.0))

    def read(self, place: Place, value: Floats, before: Floats, after: Floats) -> Floats:
        """Values at places: ``value`` per point, slopes ``before`` and ``after`` per series; NaN without a series."""
        series = np.maximum(place.codes, 0)
        found = value[place.left] + place.share * (value[place.right] - value[place.left])
        found = found + before[series] * place.early + after[series] * place.late
        return np.where(place.codes >= 0, found, np.nan)

    def at(self, codes: Codes, time: npt.ArrayLike) -> Floats:
        """Value of each series at each time; NaN for -1.

        Parameters
        ----------
        codes : array of int, shape (n,)
        time : array, shape (n,) or scalar
            [years since 2000]

        Returns
        -------
        array, shape (n,)
        """
        if not len(self.names):
            return np.full(codes.shape, np.nan)
        return self.read(self.locate(codes, time), self.value, self.before, self.after)

    def outside(self, codes: Codes, time: npt.ArrayLike) -> Floats:
        """Years between each time and the nearest point of its series, 0 within them; NaN for -1.

        Parameters
        ----------
        codes : array of int, shape (n,)
        time : array, shape (n,) or scalar
            [years since 2000]

        Returns
        -------
        array, shape (n,)
            [year]
        """
        if not len(self.names):
            return np.full(codes.shape, np.nan)
        t, series = np.asarray(time, dtype=float), np.maximum(codes, 0)
        if t.ndim == 0 and len(codes) > len(self.names):
            return np.where(codes >= 0, self.outside(np.arange(len(self.names)), t)[series], np.nan)
        gap = np.maximum(np.maximum(self.first[series] - t, t - self.last[series]), 0.0)
        return np.where(codes >= 0, gap, np.nan)
