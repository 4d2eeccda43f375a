"""Quotes as plain arrays, by part, and which of them are newer than a booked cost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.own_volume import log_quantity_change
from bomaudit.curves.pooling import Floats
from bomaudit.curves.spans import Days, Rates
from bomaudit.curves.timelines import Codes
from bomaudit.settings import ModelSection

NOT_STATED = -2
"""Supplier code where none is stated; -1: one that none of the quotes names."""

GIVEN = "--set"
"""Source of a price that is given for one run, not read from a file."""

_FAR = 100.0  # ln; any price break within reach comes before any out of reach


@dataclass(frozen=True)
class Offers:
    """Quotes sorted by part and date.

    Attributes
    ----------
    parts, suppliers : Index of str
        Part numbers and suppliers that the quotes name.
    start, count : array of int, shape (parts,)
        Where each part's quotes stand.
    day : array of datetime64[D], shape (quotes,)
    log_price : array, shape (quotes,)
        ln price in the audit currency at the rate of the day. [ln]
    noise : array, shape (quotes,)
        Standard deviation around the market price. [ln]
    least, annual : array, shape (quotes,)
        Price break, 0 where none, and annual quantity, NaN where not stated. [uom, uom/year]
    supplier : array of int, shape (quotes,)
        Position in ``suppliers``, :data:`NOT_STATED` where none.
    given : array of bool, shape (quotes,)
        Taken as given for one run: no slip, however far off.
    """

    parts: pd.Index
    suppliers: pd.Index
    start: Codes
    count: Codes
    day: Days
    log_price: Floats
    noise: Floats
    least: Floats
    annual: Floats
    supplier: Codes
    given: npt.NDArray[np.bool_]

    def __len__(self) -> int:
        """Count the quotes."""
        return len(self.day)

    def part_codes(self, part_no: npt.ArrayLike) -> Codes:
        """Position of each part in ``parts``, -1 where nobody quoted it."""
        return np.asarray(
            self.parts.get_indexer(pd.Index(np.asarray(part_no, dtype=object), dtype=object)), dtype=np.int64
        )

    def supplier_codes(self, names: npt.ArrayLike) -> Codes:
        """Position of each supplier in ``suppliers``; :data:`NOT_STATED` for "", -1 for one that never quoted."""
        labels, found = pd.factorize(pd.Series(names, dtype="str"))
        codes = self.suppliers.get_indexer(pd.Index(found, dtype=object))
        return np.asarray(np.where(np.asarray(found) == "", NOT_STATED, codes)[labels], dtype=np.int64)


def collect_offers(quotes: pd.DataFrame, *, fx: Rates, model: ModelSection) -> Offers:
    """Quotes as plain arrays.

    Parameters
    ----------
    quotes : DataFrame
        Usable quotes, with their source where they come from files.
    fx : Rates
    model : ModelSection
        quote_noise by kind; a kind that it does not name counts as budgetary.

    Returns
    -------
    Offers
    """
    ordered = quotes.sort_values(["part_no", "quote_date"], kind="stable")
    parts, start, count = np.unique(ordered["part_no"].to_numpy(dtype=str), return_index=True, return_counts=True)
    day = ordered["quote_date"].to_numpy().astype("datetime64[D]")
    rate = fx.rate(ordered["currency"].to_numpy(dtype=object), day)
    names = ordered["supplier"].to_numpy(dtype=object)
    suppliers = pd.Index(np.unique(names[names != ""].astype(str)).astype(object), dtype=object)
    assumed = model.quote_noise["budgetary"]
    noise = [model.quote_noise.get(kind, assumed) for kind in ordered["kind"].tolist()]
    return Offers(
        parts=pd.Index(parts.astype(object), dtype=object),
        suppliers=suppliers,
        start=start.astype(np.int64),
        count=count.astype(np.int64),
        day=day,
        log_price=np.log(ordered["unit_price"].to_numpy(dtype=float) * rate),
        noise=np.array(noise, dtype=float),
        least=np.nan_to_num(ordered["min_qty"].to_numpy(dtype=float)),
        annual=ordered["annual_qty"].to_numpy(dtype=float),
        supplier=np.where(names == "", NOT_STATED, suppliers.get_indexer(pd.Index(names))).astype(np.int64),
        given=ordered.reindex(columns=["source_file"])["source_file"].eq(GIVEN).to_numpy(dtype=bool),
    )


@dataclass(frozen=True)
class Asked:
    """What lines ask the quotes for.

    Attributes
    ----------
    part, supplier : array of int, shape (lines,)
        Codes of :class:`Offers`.
    basis : array of datetime64[D], shape (lines,)
        Basis dates.
    log_booked : array, shape (lines,)
        ln booked price in the audit currency at the basis date. [ln]
    annual : array, shape (lines,)
        Annual quantity today, NaN where unknown. [uom/year]
    """

    part: Codes
    supplier: Codes
    basis: Days
    log_booked: Floats
    annual: Floats


@dataclass(frozen=True)
class NewerQuotes:
    """Pairs of a line and a quote of its part after the line's basis date.

    Attributes
    ----------
    line : array of int, shape (pairs,)
        Position of the line, rising; within a line by date.
    quote : array of int, shape (pairs,)
        Position in the offers.
    other : array of bool, shape (pairs,)
        The quote is of another supplier than the BOM names.
    passed_over : array of int, shape (lines,)
        Quotes of the part after the basis date that were not used: other quantities of the same offer.
    """

    line: Codes
    quote: Codes
    other: npt.NDArray[np.bool_]
    passed_over: Codes

    def part(self, rows: slice) -> NewerQuotes:
        """Pairs of some of the lines, counted from the first of them."""
        first, last = np.searchsorted(self.line, [rows.start, rows.stop])
        pairs = slice(int(first), int(last))
        return NewerQuotes(self.line[pairs] - rows.start, self.quote[pairs], self.other[pairs], self.passed_over[rows])


def find_newer(lines: Asked, offers: Offers, *, as_of: Days) -> NewerQuotes:
    """Quotes after each line's basis date and not after ``as_of``; of several price breaks one.

    Parameters
    ----------
    lines : Asked
    offers : Offers
    as_of : array of datetime64[D], shape (lines,) or ()

    Returns
    -------
    NewerQuotes

    Notes
    -----
    Of the price breaks of one offer (part, date, supplier) the one nearest to the break that the booked cost stands on
    is used; where that is not known, the largest that the annual quantity reaches, else the smallest; of several annual
    quantities the nearest to the line's. Several prices for that quantity all count; the same one twice counts once.
    """
    size = len(lines.part)
    some = np.flatnonzero(lines.part >= 0)
    count = offers.count[lines.part[some]]
    line = np.repeat(some, count)
    ahead = np.arange(len(line)) - np.repeat(np.cumsum(count) - count, count)
    quote = np.repeat(offers.start[lines.part[some]], count) + ahead
    own = _own_break(lines, offers, line, quote)
    kept = (offers.day[quote] > lines.basis[line]) & (offers.day[quote] <= (as_of[line] if as_of.ndim else as_of))
    line, quote = line[kept], quote[kept]
    line, quote, used, again = _of_one_quantity(lines, offers, line, quote, own)
    passed_over = np.bincount(line[~used & ~again], minlength=size)
    line, quote = line[used], quote[used]
    asked, told = lines.supplier[line], offers.supplier[quote]
    other = (asked != NOT_STATED) & (told != NOT_STATED) & (asked != told)
    return NewerQuotes(line, quote, other, passed_over)


def _of_one_quantity(
    lines: Asked, offers: Offers, line: Codes, quote: Codes, own: Floats
) -> tuple[Codes, Codes, npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Pairs in order of line, day and offer; which are for the quantity wanted, and which repeat the one before."""
    annual = np.nan_to_num(offers.annual[quote])
    aside = np.abs(log_quantity_change(offers.annual[quote], lines.annual[line]))
    said = np.stack([offers.noise[quote], offers.log_price[quote], annual, offers.least[quote]])
    of_offer = np.stack([offers.supplier[quote], offers.day[quote].astype(np.int64), line])
    order = np.lexsort((*said[:3], aside, said[3], break_distance(said[3], own[line], lines.annual[line]), *of_offer))
    said, of_offer = said[:, order], of_offer[:, order]
    opens = np.ones(len(order), dtype=bool)
    opens[1:] = (of_offer[:, 1:] != of_offer[:, :-1]).any(axis=0)
    again = ~opens & (said == np.roll(said, 1, axis=1)).all(axis=0)
    first = np.maximum.accumulate(np.where(opens, np.arange(len(order)), 0))
    used = (said[2:] == said[2:, first]).all(axis=0) & ~again
    return line[order], quote[order], used, again


def _own_break(lines: Asked, offers: Offers, line: Codes, quote: Codes) -> Floats:
    """Price break behind each line's booked cost: of the quotes on its basis date the nearest in price; NaN if none."""
    same = np.flatnonzero((offers.day[quote] == lines.basis[line]) & (offers.least[quote] > 0))
    away = np.abs(offers.log_price[quote[same]] - lines.log_booked[line[same]])
    order = same[np.lexsort((away, line[same]))]
    result = np.full(len(lines.part), np.nan)
    result[line[order][::-1]] = offers.least[quote[order]][::-1]  # the nearest is written last
    return result


def break_distance(least: Floats, own: Floats, annual: Floats) -> Floats:
    """How far a price break is from the one wanted. [ln]"""  # noqa: D400  (unit last)
    least = np.maximum(least, 1.0)
    within = least <= annual
    reach = np.where(within, np.log(np.where(within, annual, 1.0) / least), _FAR + np.log(least))
    known = np.isfinite(own)
    return np.where(known, np.abs(np.log(least / np.where(known, own, 1.0))), reach)
