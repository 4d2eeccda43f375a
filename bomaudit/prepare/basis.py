"""How old is a booked cost? As old as the quote behind it, not as the revision of the BOM."""

from __future__ import annotations

from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.prepare.currency import Fx
from bomaudit.settings import ModelSection

_DAYS_PER_YEAR = 365.25
_UNIFORM_SD = 1 / np.sqrt(12.0)  # sd of a uniform distribution over a unit range


def find_basis(
    lines: pd.DataFrame, quotes: pd.DataFrame, *, fx: Fx, model: ModelSection, as_of: date, programme: date | None
) -> pd.DataFrame:
    """Basis date of each booked cost, and which rule gave it.

    The newest quote of the same part at or before the cost date whose price agrees with the booked cost is the
    basis; else the cost date; else the programme date; else the line is undated, its date the middle of a stated range.

    Parameters
    ----------
    lines : DataFrame, shape (lines, …)
        part_no, supplier, unit_cost, currency, cost_date of the BOM; unit_cost per one unit.
    quotes : DataFrame
        Table ``quotes`` of the glossary.
    fx : Fx
    model : ModelSection
        quote_tolerance, undated_range_years, quote_noise, booked_noise.
    as_of : date
    programme : date or None

    Returns
    -------
    DataFrame, shape (lines, 8), index of ``lines``
        basis_date, rate_date (whose rate carries the booked cost to the price currency) [day], basis (quote, cost_date,
        programme, undated), basis_date_sd [year], basis_kind (kind of the quote behind it, "" otherwise), basis_noise
        [ln], price_currency, annual_qty_then [uom/year].

    Notes
    -----
    Prices in two currencies agree if they do at the rate of the quote's day or of the cost date: nobody writes down
    which of the two was used, so the rate is that of the day they agree at. A quote without a kind has the noise of a
    budgetary one.
    """
    behind = _quote_behind(lines, quotes, fx=fx, tolerance=model.quote_tolerance, as_of=as_of)
    quoted, dated = behind["quote_date"].notna(), lines["cost_date"].notna()
    low, high = model.undated_range_years
    middle = pd.Timestamp(as_of) - pd.Timedelta(days=round((low + high) / 2 * _DAYS_PER_YEAR))
    fallback = pd.Timestamp(programme) if programme else middle
    basis_date = behind["quote_date"].fillna(lines["cost_date"]).fillna(fallback)
    basis = np.select([quoted, dated], ["quote", "cost_date"], default="programme" if programme else "undated")
    kind = behind["kind"].where(quoted, "").fillna("")
    noise = (
        kind.where(kind.isin(list(model.quote_noise)), "budgetary")
        .map(model.quote_noise)
        .where(quoted, model.booked_noise)
    )
    return pd.DataFrame(
        {
            "basis_date": basis_date.astype("datetime64[us]"),
            "rate_date": behind["rate_date"].fillna(basis_date).astype("datetime64[us]"),
            "basis": pd.Series(basis, index=lines.index, dtype="str"),
            "basis_date_sd": np.where(basis == "undated", (high - low) * _UNIFORM_SD, 0.0),
            "basis_kind": kind.astype("str"),
            "basis_noise": noise.astype(float),
            "price_currency": _price_currency(lines, quotes, behind["currency"].where(quoted, "")),
            "annual_qty_then": behind["annual_qty"].astype(float),
        },
        index=lines.index,
    )


def _quote_behind(lines: pd.DataFrame, quotes: pd.DataFrame, *, fx: Fx, tolerance: float, as_of: date) -> pd.DataFrame:
    """Newest agreeing quote of each line; missing values where there is none."""
    kept = ["quote_date", "rate_date", "kind", "currency", "annual_qty"]
    asked = lines.loc[lines["unit_cost"] > 0, ["part_no", "unit_cost", "currency", "cost_date"]]
    asked = asked.assign(line=asked.index, until=asked["cost_date"].fillna(pd.Timestamp(as_of)))
    stated = ["part_no", "unit_price", "min_qty", "quote_date", "kind", "currency", "annual_qty"]
    offers = quotes.loc[quotes["unit_price"] > 0, stated]
    pairs = asked.merge(offers, on="part_no", suffixes=("_booked", ""))
    pairs = pairs[pairs["quote_date"] <= pairs["until"]]
    at_once, agrees = (_agree(pairs, pairs[day], fx, tolerance) for day in ("quote_date", "until"))
    pairs = pairs.assign(rate_date=pairs["quote_date"].where(at_once, pairs["until"]))[at_once | agrees]
    newest = pairs.sort_values(["line", "quote_date", "min_qty"], kind="stable").drop_duplicates("line", keep="last")
    days = dict.fromkeys(("quote_date", "rate_date"), "datetime64[us]")
    typed = {"kind": "str", "currency": "str", "annual_qty": "float64", **days}
    return newest.set_index("line")[kept].reindex(lines.index).astype(typed)


def _agree(pairs: pd.DataFrame, day: pd.Series, fx: Fx, tolerance: float) -> npt.NDArray[np.bool_]:
    days = day.to_numpy().astype("datetime64[D]")
    booked = pairs["unit_cost"].to_numpy() * fx.rate(pairs["currency_booked"].to_numpy(), days)
    quoted = pairs["unit_price"].to_numpy() * fx.rate(pairs["currency"].to_numpy(), days)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.abs(np.log(booked / quoted)) <= np.log1p(tolerance))


def _price_currency(lines: pd.DataFrame, quotes: pd.DataFrame, of_quote: pd.Series) -> pd.Series:
    """Currency of the quote behind; else of the part's newest quote from its supplier; else of the booked cost.

    A quote that names no supplier is taken to be of the one that the line names, and a line that names none to be
    bought from whoever quoted last.
    """
    asked = lines[["part_no", "supplier", "currency"]].rename(columns={"supplier": "seller", "currency": "booked"})
    stated = quotes.loc[quotes["currency"] != "", ["part_no", "supplier", "quote_date", "currency"]]
    pairs = asked.drop_duplicates().merge(stated, on="part_no")
    theirs = (pairs["seller"] == "") | (pairs["supplier"] == "") | (pairs["seller"] == pairs["supplier"])
    pairs = pairs[theirs].assign(same=pairs["currency"] == pairs["booked"])
    newest = pairs.sort_values(["quote_date", "same", "currency"], kind="stable")
    newest = newest.drop_duplicates(list(asked), keep="last")[[*asked, "currency"]]
    of_part = asked.merge(newest, how="left").set_axis(lines.index)["currency"].fillna("")
    result = of_quote.where(of_quote != "", of_part)
    return result.where(result != "", lines["currency"]).astype("str")
