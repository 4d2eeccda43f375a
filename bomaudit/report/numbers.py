"""Numbers, money, shares and dates as people of a language write them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Literal

import pandas as pd

Language = Literal["en", "de", "fr"]

_GROUP: dict[str, str] = {"en": ",", "de": ".", "fr": "\u202f"}
_DECIMAL: dict[str, str] = {"en": ".", "de": ",", "fr": ","}
_PERCENT: dict[str, str] = {"en": "%", "de": "\u00a0%", "fr": "\u202f%"}
_DAY: dict[str, str] = {"en": "%Y-%m-%d", "de": "%d.%m.%Y", "fr": "%d/%m/%Y"}
MISSING = "–"
_WHOLE_FROM = 1000.0
"""From here on cents are noise."""
_FINE_BELOW = 1.0
"""Below one unit of money two decimals hide the price of a screw."""


@dataclass(frozen=True)
class Numbers:
    """Writes numbers in one language; a missing value is a dash, never a zero.

    Attributes
    ----------
    language : {"en", "de", "fr"}
    minus : str
        Sign of negative numbers: typographic on the page, plain in the terminal.
    """

    language: Language = "en"
    minus: str = "\u2212"

    def plain(self, value: float, decimals: int = 0, *, signed: bool = False) -> str:
        """Write a number with grouped thousands. [value: any unit]."""
        if not math.isfinite(value):
            return MISSING
        text = f"{abs(value):,.{decimals}f}"
        text = text.replace(",", "\0").replace(".", _DECIMAL[self.language]).replace("\0", _GROUP[self.language])
        nought = not any(c in "123456789" for c in text)
        sign = "" if nought else self.minus if value < 0 else "+" if signed else ""
        return sign + text

    def price(self, value: float, *, signed: bool = False) -> str:
        """Write a price of one unit: whole above a thousand, cents above one, four decimals below. [currency/uom]."""
        size = abs(value)
        decimals = 0 if size >= _WHOLE_FROM else 2 if size >= _FINE_BELOW or size == 0 else 4
        return self.plain(value, decimals, signed=signed)

    def amount(self, value: float, *, signed: bool = False) -> str:
        """Write an amount of money: whole, small ones with cents. [currency]."""
        return self.plain(value, 0 if abs(value) >= 100 else 2, signed=signed)  # noqa: PLR2004

    def about(self, value: float, *, signed: bool = False) -> str:
        """Write an estimated amount with the three figures that it can bear. [currency]."""
        if not math.isfinite(value) or value == 0:
            return self.amount(value)
        digits = 2 - math.floor(math.log10(abs(value)))
        return self.plain(round(value, digits), max(0, min(digits, 2)), signed=signed)

    def share(self, value: float, *, signed: bool = False) -> str:
        """Write a fraction as a percentage. [0.12 is 12 %]."""
        if not math.isfinite(value):
            return MISSING
        return self.plain(100 * value, 0 if abs(value) >= 0.0095 else 1, signed=signed) + _PERCENT[self.language]  # noqa: PLR2004

    def chance(self, value: float) -> str:
        """Write a probability; never as certain or impossible, which no estimate can say."""
        if not math.isfinite(value):
            return MISSING
        if value < 0.01:  # noqa: PLR2004
            return "<1" + _PERCENT[self.language]
        if value > 0.99:  # noqa: PLR2004
            return ">99" + _PERCENT[self.language]
        return self.plain(100 * value) + _PERCENT[self.language]

    def span(self, low: float, high: float, *, prices: bool = False) -> str:
        """Write an interval."""
        if not (math.isfinite(low) and math.isfinite(high)):
            return MISSING
        write = self.price if prices else self.about
        return f"{write(low)} to {write(high)}"

    def years(self, value: float) -> str:
        """Write a length of time. [year]."""
        return self.plain(value, 1) if math.isfinite(value) else MISSING

    def day(self, value: date | pd.Timestamp | None) -> str:
        """Write a day."""
        if value is None or pd.isna(value):
            return MISSING
        return value.strftime(_DAY[self.language])

    def count(self, value: int, noun: str, plural: str = "") -> str:
        """Write a count with its noun: ``1 line``, ``1,204 lines``."""
        return f"{self.plain(value)} {noun if value == 1 else plural or noun + 's'}"
