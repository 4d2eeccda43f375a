"""The prices of the parts that decisions rest on, today and on any other day.

Prices of other days are in today's money, as all that decisions add up with them is: a balance does not tip because
everything rises.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.fitted import Curves
from bomaudit.curves.timelines import years_of
from bomaudit.decide.pricing import Prices, joined, prices_of
from bomaudit.estimate import Estimates, estimate

_LINES_AT_ONCE = 20_000
"""Parts × days estimated together: a few MB a column."""


@dataclass(frozen=True)
class Market:
    """The parts that decisions rest on, with the curves that price them.

    Attributes
    ----------
    rows : array of int, shape (lines,)
        Positions of the BOM lines that decisions rest on.
    parts : DataFrame
        Those lines, then the prepared parts that the BOM does not hold: one frame, so that a day takes one estimate.
    curves : Curves
    confidence : float
    """

    rows: npt.NDArray[np.int64]
    parts: pd.DataFrame
    curves: Curves
    confidence: float

    @classmethod
    def of(
        cls,
        lines: pd.DataFrame,
        rows: npt.NDArray[np.int64],
        outside: pd.DataFrame,
        curves: Curves,
        *,
        confidence: float,
    ) -> Market:
        """Market of some BOM lines and of the outside parts that can be estimated."""
        used = lines.iloc[rows]
        held = outside[outside["auditable"].to_numpy(dtype=bool)] if len(outside) else outside
        parts = pd.concat([used, held[used.columns]], ignore_index=True) if len(held) else used.reset_index(drop=True)
        return cls(rows, parts, curves, confidence)

    def today(self, lines: pd.DataFrame, estimates: Estimates, as_of: date) -> Prices:
        """Prices today: the BOM lines' own estimates, the outside parts estimated now."""
        prices = prices_of(lines, estimates, self.rows)
        outside = self.parts.iloc[len(self.rows) :].reset_index(drop=True)
        if outside.empty:
            return prices
        found = estimate(outside, self.curves, as_of=as_of, confidence=self.confidence)
        others = prices_of(outside, found, np.arange(len(outside)))
        return joined(prices, replace(others, parts=others.parts.assign(line=-1)))

    def along(self, days: Sequence[date]) -> Callable[[date], Prices]:
        """Prices on any of some days, in today's money, asked for in their order; as many days at once as fit."""
        at_once = max(_LINES_AT_ONCE // max(len(self.parts), 1), 1)
        held: dict[date, Prices] = {}

        def on(day: date) -> Prices:
            if day not in held:
                first = days.index(day)
                held.clear()
                held.update(self._on_days(days[first : first + at_once]))
            return held[day]

        return on

    def on(self, day: date) -> Prices:
        """Prices of the same parts, in the same order, on another day, in today's money."""
        return self._on_days([day])[day]

    def _on_days(self, days: Sequence[date]) -> dict[date, Prices]:
        """Prices on some days in one estimate: of few parts, most of the time goes into starting one."""
        size = len(self.parts)
        lines = self.parts.iloc[np.tile(np.arange(size), len(days))].reset_index(drop=True)
        each = np.repeat(np.array(days, dtype="datetime64[D]"), size)
        found = estimate(lines, self.curves, as_of=each, confidence=self.confidence)
        all_days = prices_of(lines, found, np.arange(len(lines)))
        price = all_days.parts["estimate"] * np.exp(self._log_inflation_to_today(each))
        all_days = replace(all_days, parts=all_days.parts.assign(estimate=price))
        line = np.concatenate([self.rows, np.full(size - len(self.rows), -1)])
        prices = {}
        for k, day in enumerate(days):
            rows = slice(k * size, (k + 1) * size)
            parts = all_days.parts.iloc[rows].reset_index(drop=True).assign(line=line)
            prices[day] = Prices(parts, all_days.factors, all_days.loadings[rows], all_days.sd_own[rows])
        return prices

    def _log_inflation_to_today(self, days: npt.NDArray[np.datetime64]) -> npt.NDArray[np.float64]:
        """Growth of the general price level from each day to today; 0 where no index of the currency is known. [ln]."""
        money = np.full(len(days), self.curves.fx.currency, dtype=object)
        today = np.full(len(days), np.datetime64(self.curves.as_of, "D"))
        return np.nan_to_num(self.curves.inputs.log_inflation(money, days, today))


_LABOUR_KINDS = ("labour", "overhead", "engineering", "validation")
_ENERGY_KINDS = ("energy_in_use",)


def log_escalation(elements: pd.DataFrame, curves: Curves, *, as_of: date) -> npt.NDArray[np.float64]:
    """Growth of the stated amounts that have a date, from that day to today.

    Parameters
    ----------
    elements : DataFrame
        kind, currency, date of each element.
    curves : Curves
    as_of : date

    Returns
    -------
    array, shape (elements,)
        By the labour index for labour, overhead, engineering and validation, the energy index for energy in use,
        general inflation for the rest and where those are not given. 0 where an amount has no date (it is in today's
        money) or one to come; NaN where no index of its currency is known. [ln]
    """
    inputs, fx = curves.inputs, curves.fx
    dated = (elements["date"] < pd.Timestamp(as_of)).to_numpy()
    currency = elements["currency"].where(elements["currency"] != "", fx.currency).to_numpy(dtype=object)
    then = elements["date"].fillna(pd.Timestamp(as_of)).to_numpy().astype("datetime64[D]")
    now = np.full(len(elements), np.datetime64(as_of, "D"))
    growth = inputs.log_inflation(currency, then, now)
    for kinds, series in ((_LABOUR_KINDS, inputs.labour), (_ENERGY_KINDS, inputs.energy)):
        codes = series.codes(currency)
        own = series.at(codes, years_of(now)) - series.at(codes, years_of(then))
        use = elements["kind"].isin(kinds).to_numpy() & np.isfinite(own)
        growth = np.where(use, own, growth)
    return np.where(dated, growth, 0.0)
