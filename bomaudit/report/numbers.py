"""Numbers, money, shares and dates as people of a language write them."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Context, Decimal
from typing import Literal

import pandas as pd

Language = Literal["en", "de", "fr"]

_GROUP: dict[str, str] = {"en": ",", "de": ".", "fr": "\u202f"}
_DECIMAL: dict[str, str] = {"en": ".", "de": ",", "fr": ","}
_PERCENT: dict[str, str] = {"en": "%", "de": "\u00a0%", "fr": "\u202f%"}
_DAY: dict[str, str] = {"en": "%Y-%m-%d", "de": "%d.%m.%Y", "fr": "%d/%m/%Y"}
MISSING = "–"
_GROUPED = re.compile(r"(?<![\w.,-])-?\d{1,3}(?: \d{3})+(?![\w.,]\d|\d)")
_YEARS = re.compile(r"(?<![\w.,-])\d+\.\d+(?= years?\b)")
_PERCENTAGE = re.compile(r"(?<=\d) %")
_ROUNDING = Context(prec=400, rounding=ROUND_HALF_UP)
"""Of more digits than any number has."""


def price_decimals(value: float) -> int:
    """Decimals of a price: none from a thousand, cents from one, three from a tenth, four below: screws cost tenths.

    Below a thousandth three figures: a resistor off the reel has a price too.
    """
    size = abs(value)
    if 0 < size < 0.001:  # noqa: PLR2004
        return 2 - math.floor(math.log10(size))
    return 0 if size >= 1000 else 2 if size >= 1 or size == 0 else 3 if size >= 0.1 else 4  # noqa: PLR2004


def _half_up(value: float, decimals: int) -> Decimal:
    """Round as people and the page's script do: a price of 2.125 is 2.13, not the even 2.12."""
    return Decimal(float(value)).quantize(Decimal(1).scaleb(-decimals), context=_ROUNDING)


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
        """Write a number with grouped thousands; -1 decimals are tens. [value: any unit]."""
        if not math.isfinite(value):
            return MISSING
        text = f"{_half_up(abs(value), decimals):,f}"
        text = text.replace(",", "\0").replace(".", _DECIMAL[self.language]).replace("\0", _GROUP[self.language])
        nought = not any(c in "123456789" for c in text)
        sign = "" if nought else self.minus if value < 0 else "+" if signed else ""
        return sign + text

    def price(self, value: float, *, signed: bool = False, like: float | None = None) -> str:
        """Write a price of one unit: whole from a thousand, cents from one, finer below. [currency/uom].

        ``like`` is a price whose decimals are used instead, so that the figures of a span match.
        """
        return self.plain(value, price_decimals(value if like is None else like), signed=signed)

    def saving(self, value: float, *, like: float) -> str:
        """Write a saving of one product with its sign: cents, or finer where ``like``, the largest beside it, is small.

        A product made by the million saves much where it saves tenths of a cent. [currency/product]
        """
        return self.plain(value, max(2, price_decimals(like)), signed=True)

    def savings(self, low: float, high: float, *, like: float) -> str:
        """Write the interval of a saving with the decimals of the saving itself. [currency/product]."""
        if not (math.isfinite(low) and math.isfinite(high)):
            return MISSING
        return f"{self.saving(low, like=like)} to {self.saving(high, like=like)}"

    def amount(self, value: float, *, signed: bool = False) -> str:
        """Write an amount of money: whole, small ones with cents. [currency]."""
        return self.plain(value, 0 if abs(value) >= 100 or value == 0 else 2, signed=signed)  # noqa: PLR2004

    def about(self, value: float, *, figures: int = 3, signed: bool = False) -> str:
        """Write an estimated amount with the figures that it can bear: three, of what knowing a price is worth two.

        From one seed of the draws to another the latter moves by some hundredths. [currency]
        """
        if not math.isfinite(value) or value == 0:
            return self.plain(value)
        return self.plain(value, min(figures - 1 - math.floor(math.log10(abs(value))), 2), signed=signed)

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

    def span(self, low: float, high: float, *, prices: bool = False, signed: bool = False) -> str:
        """Write an interval."""
        if not (math.isfinite(low) and math.isfinite(high)):
            return MISSING
        if prices:
            most = max(abs(low), abs(high))
            return f"{self.price(low, like=most, signed=signed)} to {self.price(high, like=most, signed=signed)}"
        return f"{self.about(low, signed=signed)} to {self.about(high, signed=signed)}"

    def years(self, value: float) -> str:
        """Write a length of time. [year]."""
        return self.plain(value, 1) if math.isfinite(value) else MISSING

    def day(self, value: date | pd.Timestamp | None) -> str:
        """Write a day."""
        if value is None or pd.isna(value):
            return MISSING
        return value.strftime(_DAY[self.language])

    def as_written(self, text: str) -> str:
        """Rewrite figures of a sentence that holds ``1 690 779``, ``8.3 years`` and ``80 %`` in any language."""
        grouped = _GROUPED.sub(lambda found: self.plain(float(found[0].replace(" ", ""))), text)
        grouped = _YEARS.sub(lambda found: self.years(float(found[0])), grouped)
        return _PERCENTAGE.sub(_PERCENT[self.language], grouped)

    def count(self, value: int, noun: str, plural: str = "") -> str:
        """Write a count with its noun: ``1 line``, ``1,204 lines``."""
        return f"{self.plain(value)} {noun if value == 1 else plural or noun + 's'}"
