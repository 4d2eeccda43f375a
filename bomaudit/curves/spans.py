"""Stretches of time that prices are carried over, and exchange rates at both their ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import numpy.typing as npt

from bomaudit.curves.pooling import DAYS_PER_YEAR, Floats
from bomaudit.curves.timelines import Codes

Days = npt.NDArray[np.datetime64]


class Rates(Protocol):
    """Exchange rates into one audit currency, as :class:`bomaudit.prepare.currency.Fx` gives them."""

    @property
    def currency(self) -> str:
        """Audit currency."""

    def rate(self, currencies: npt.ArrayLike, dates: npt.ArrayLike) -> Floats:
        """Audit currency for one unit of each currency on each date."""

    def log_sd_per_year(self, currencies: npt.ArrayLike) -> Floats:
        """Standard deviation of a year's change of the log rate."""


@dataclass(frozen=True)
class Spans:
    """Stretches of time that prices are carried over, one row each.

    Attributes
    ----------
    commodity : array of int, shape (spans,)
        Position in the catalogue.
    currency : array of int, shape (spans,)
        Price currency, position in ``currencies``.
    currencies : tuple of str
    custom : array of bool, shape (spans,)
        Made to drawing: only part of the industry's learning counts.
    then : array of datetime64[D], shape (spans,)
    now : array of datetime64[D], shape (spans,) or ()
        One day for all where it has no length.
    """

    commodity: Codes
    currency: Codes
    currencies: tuple[str, ...]
    custom: npt.NDArray[np.bool_]
    then: Days
    now: Days

    def __len__(self) -> int:
        """Count the spans."""
        return len(self.commodity)

    @property
    def years(self) -> Floats:
        """Length, negative where the span runs backward, shape (spans,). [year]"""  # noqa: D400  (unit last)
        return np.asarray((self.now - self.then).astype(np.float64) / DAYS_PER_YEAR)

    def take(self, rows: npt.NDArray[np.int64], *, now: Days) -> Spans:
        """Some of the spans, to other ends."""
        return Spans(
            self.commodity[rows], self.currency[rows], self.currencies, self.custom[rows], self.then[rows], now
        )

    def since(self, then: Days) -> Spans:
        """Return the same spans from other starts."""
        return replace(self, then=then)

    def log_rate_change(self, fx: Rates, currency: str | None = None) -> Floats:
        """Change over each span of the ln rate of its price currency, or of one currency for all.

        Parameters
        ----------
        fx : Rates
        currency : str, optional

        Returns
        -------
        array, shape (spans,)
            [ln]
        """
        return log_rate(fx, self, self.now, currency) - log_rate(fx, self, self.then, currency)


def log_rate(fx: Rates, spans: Spans, day: Days, currency: str | None = None) -> Floats:
    """Ln rate into the audit currency of each span's price currency, or of one currency, on one day or one each."""
    names = np.array(spans.currencies, dtype=object)
    if currency is not None:
        days = np.atleast_1d(day)
        return np.asarray(np.log(fx.rate(np.full(len(days), currency, dtype=object), days)))
    if day.ndim == 0:
        return np.asarray(np.log(np.append(fx.rate(names, np.full(len(names), day)), np.nan))[spans.currency])
    return np.asarray(np.log(fx.rate(names[spans.currency], day)))
