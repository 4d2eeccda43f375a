"""The prices of the parts that decisions rest on, today and on any other day."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.fitted import Curves
from bomaudit.curves.timelines import years_of
from bomaudit.decide.pricing import Prices, joined, prices_of
from bomaudit.estimate import Estimates, estimate


@dataclass(frozen=True)
class Market:
    """Lines and outside parts with the curves that price them.

    Attributes
    ----------
    lines : DataFrame
        Prepared lines of the BOM.
    rows : array of int
        Positions of the lines that decisions rest on.
    outside : DataFrame
        Prepared parts that the BOM does not hold.
    curves : Curves
    confidence : float
    """

    lines: pd.DataFrame
    rows: npt.NDArray[np.int64]
    outside: pd.DataFrame
    curves: Curves
    confidence: float

    def today(self, estimates: Estimates, as_of: date) -> Prices:
        """Prices today: the lines' own estimates, the outside parts estimated now."""
        return self._with_outside(prices_of(self.lines, estimates, self.rows), as_of)

    def on(self, day: date) -> Prices:
        """Prices of the same parts, in the same order, on another day."""
        used = self.lines.iloc[self.rows].reset_index(drop=True)
        found = estimate(used, self.curves, as_of=day, confidence=self.confidence)
        prices = prices_of(used, found, np.arange(len(used)))
        return self._with_outside(replace(prices, parts=prices.parts.assign(line=self.rows)), day)

    def _with_outside(self, prices: Prices, day: date) -> Prices:
        if not len(self.outside) or not (held := self.outside["auditable"].to_numpy(dtype=bool)).any():
            return prices
        priced = self.outside[held].reset_index(drop=True)
        found = estimate(priced, self.curves, as_of=day, confidence=self.confidence)
        others = prices_of(priced, found, np.arange(len(priced)))
        return joined(prices, replace(others, parts=others.parts.assign(line=-1)))


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
