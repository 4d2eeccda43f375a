"""From quotes to observations: real prices at one quantity, beside the experience of their market."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.calibration import bundled_pools
from bomaudit.curves.inputs import InputPrices, escalate
from bomaudit.curves.offers import break_distance
from bomaudit.curves.pooling import Floats
from bomaudit.curves.priors import Catalogue
from bomaudit.curves.rates import yearly_variance
from bomaudit.curves.spans import Rates, Spans
from bomaudit.curves.timelines import codes_of, years_of
from bomaudit.curves.volumes import VolumeIndices
from bomaudit.settings import ModelSection

QUOTED = ("part_no", "commodity", "quote_date", "unit_price", "currency", "min_qty", "annual_qty", "kind", "supplier")
OF_PART = ("custom", "needed")
"""What a quote is told of its part: whether it is made to drawing, and the annual quantity today, NaN where unknown."""


def quotes_with_market(quotes: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Quotes with the commodity and sourcing of their part: the BOM's word first, then the quote's own.

    Parameters
    ----------
    quotes : DataFrame
        Usable quotes.
    lines : DataFrame
        Prepared lines.

    Returns
    -------
    DataFrame
        ``quotes`` with ``commodity`` filled where known and :data:`OF_PART`.
    """
    parts = pd.Index(quotes["part_no"].unique(), dtype=object)
    of_line = parts.get_indexer(pd.Index(lines["part_no"].to_numpy(dtype=object)))
    rows = np.flatnonzero((of_line >= 0) & lines["auditable"].to_numpy(dtype=bool))
    quoted, first = np.unique(of_line[rows], return_index=True)
    market = lines.iloc[rows[first]]
    of_bom, made_to_drawing = np.full(len(parts), "", dtype=object), np.zeros(len(parts), dtype=bool)
    needed = np.full(len(parts), np.nan)
    of_bom[quoted] = market["commodity"].to_numpy(dtype=object)
    made_to_drawing[quoted] = (market["sourcing"] == "custom").to_numpy(dtype=bool)
    needed[quoted] = market["annual_qty_now"].to_numpy(dtype=float)
    code = parts.get_indexer(pd.Index(quotes["part_no"].to_numpy(dtype=object)))
    stated = pd.Series(of_bom[code], index=quotes.index, dtype="str")
    return quotes.assign(
        commodity=stated.where(stated != "", quotes["commodity"]).astype("str"), custom=made_to_drawing[code],
        needed=needed[code],
    )  # fmt: skip


def booked_as_quotes(lines: pd.DataFrame) -> pd.DataFrame:
    """Booked costs with a date of their own as observations beside the quotes.

    Parameters
    ----------
    lines : DataFrame
        Prepared lines.

    Returns
    -------
    DataFrame, columns as quotes
        Lines whose basis is their cost date; ``kind`` "" marks them. Those with a quote behind them are in the quotes.
    """
    own = lines[lines["auditable"] & (lines["basis"] == "cost_date") & (lines["commodity"] != "")]
    own = own.drop_duplicates("part_no")
    return pd.DataFrame(
        {
            "part_no": own["part_no"], "commodity": own["commodity"], "quote_date": own["basis_date"],
            "unit_price": own["price_at_basis"], "currency": own["price_currency"], "min_qty": 0.0,
            "annual_qty": own["annual_qty_then"], "kind": "", "supplier": own["supplier"],
            "custom": own["sourcing"] == "custom", "needed": np.nan,
        }
    )  # fmt: skip


def observe(
    quoted: pd.DataFrame,
    *,
    catalogue: Catalogue,
    volumes: VolumeIndices,
    inputs: InputPrices,
    slopes: pd.Series,
    fx: Rates,
    model: ModelSection,
    today: np.datetime64,
) -> pd.DataFrame:
    r"""Observations that exponents and trends are fitted to.

    Parameters
    ----------
    quoted : DataFrame
        Columns :data:`QUOTED` and :data:`OF_PART`.
    catalogue : Catalogue
    volumes : VolumeIndices
    inputs : InputPrices
    slopes : Series
        Price-break slope by commodity.
    fx : Rates
    model : ModelSection
        quote_noise, booked_noise, spillover.
    today : datetime64[D]
        Money of this day.

    Returns
    -------
    DataFrame
        commodity, part_no, date, log_price (real, materials held, audit currency), log_experience, noise,
        learned (share of the industry's learning).

    Notes
    -----
    Prices of one part are taken in the currency of its newest quote. :math:`\ln p + \ln E_g + s_m (\ln E_m - \ln E_g)`
    to today, to first order what whole-price learning leaves. Experience of a custom part counts by the spillover,
    and so do the years of a trend, as they do where a price is carried.
    Any stated price is off the market for a while, and the process of the commodity holds that; ``noise`` is what a
    kind of quote has beyond it.
    """
    quoted = quoted[(quoted["commodity"] != "") & (quoted["unit_price"] > 0)].sort_values(
        ["part_no", "quote_date"], kind="stable"
    )
    quoted = quoted[_comparable(quoted)]
    currency = quoted.groupby("part_no")["currency"].transform("last")
    day = quoted["quote_date"].to_numpy().astype("datetime64[D]")
    own, home = (fx.rate(c.to_numpy(dtype=object), day) for c in (quoted["currency"], currency))
    kept = fx.rate(currency.to_numpy(dtype=object), np.full(len(quoted), today))
    code = codes_of(quoted["commodity"].to_numpy(dtype=object), catalogue.names)
    currencies = tuple(sorted(set(currency)))
    spans = Spans(
        code, codes_of(currency.to_numpy(dtype=object), currencies), currencies, quoted["custom"].to_numpy(dtype=bool),
        day, np.asarray(today),
    )  # fmt: skip
    log_price = np.log(quoted["unit_price"].to_numpy(dtype=float) * own / home * kept)
    log_price = log_price + _to_today(spans, catalogue, inputs, fx) - _quantity(quoted, slopes)
    learned = np.where(spans.custom, model.spillover, 1.0)
    experience = volumes.at(
        volumes.lines.codes(quoted["commodity"].to_numpy(dtype=object)), years_of(day)
    )[0]  # fmt: skip
    by_kind = {**model.quote_noise, "": model.booked_noise}
    noise = np.array([by_kind.get(k, model.quote_noise["budgetary"]) for k in quoted["kind"].tolist()], dtype=float)
    noise = np.sqrt(np.maximum(noise**2 - passing_variance(catalogue)[code], 0.0))
    return pd.DataFrame(
        {
            "commodity": quoted["commodity"].to_numpy(), "part_no": quoted["part_no"].to_numpy(),
            "date": quoted["quote_date"].to_numpy(), "log_price": log_price,
            "log_experience": experience * learned,
            "noise": noise, "learned": learned,
        }
    )  # fmt: skip


def passing_variance(catalogue: Catalogue) -> Floats:
    """Variance of a stated price about its market that passes, by commodity, shape (commodities,). [ln²]"""  # noqa: D400  (unit last)
    pool = bundled_pools().with_volume
    stated = catalogue.frame["process_noise"].to_numpy(dtype=float)
    scale = np.where(np.isnan(stated), pool.noise, stated / np.sqrt(yearly_variance(pool)))
    return np.asarray((1 - pool.level_share) * scale**2)


def _to_today(spans: Spans, catalogue: Catalogue, inputs: InputPrices, fx: Rates) -> Floats:
    moved = escalate(inputs, spans, fx)
    share = catalogue.frame["materials_share"].to_numpy(dtype=float)[spans.commodity]
    weights = inputs.weights[spans.commodity]
    materials = (weights * moved.material).sum(axis=1) + (1 - weights.sum(axis=1)) * moved.general
    return np.asarray(np.log(moved.general) + share * (np.log(materials) - np.log(moved.general)))


def _comparable(quoted: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Which quotes compare with the others of their part: of the price breaks of one offer one, unless all state one.

    That is the largest that the annual quantity reaches, else the smallest, as for newer quotes: beside a price for no
    stated quantity the mean of an offer's breaks is a rise or a fall that the market never made.
    """
    least = quoted["min_qty"].fillna(0.0)
    mixed = ~(least > 0).groupby(quoted["part_no"]).transform("all")
    unknown = np.full(len(quoted), np.nan)
    away = break_distance(least.to_numpy(dtype=float), unknown, quoted["needed"].to_numpy(dtype=float))
    nearest = pd.Series(away, index=quoted.index).groupby([quoted[c] for c in _OFFER], sort=False).transform("min")
    return np.asarray(~mixed | (away == nearest), dtype=bool)


_OFFER = ("part_no", "quote_date", "supplier")


def _quantity(quoted: pd.DataFrame, slopes: pd.Series) -> Floats:
    """Part of ln price that is owed to the quantity, where every quote of the part states one.

    That is the price break where all state one, else the annual quantity: an order and a year's need do not compare.
    """
    slope = quoted["commodity"].map(slopes).to_numpy(dtype=float)
    owed = np.zeros(len(quoted))
    for column in ("annual_qty", "min_qty"):
        quantity = quoted[column].to_numpy(dtype=float)
        stated = pd.Series(quantity > 0, index=quoted.index).groupby(quoted["part_no"]).transform("all").to_numpy()
        owed = np.where(stated, slope * np.log(np.where(quantity > 0, quantity, 1.0)), owed)
    return owed
