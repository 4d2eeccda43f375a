"""Each market as a curve: own quotes against cumulative volume, the fitted curve and how sure it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from bomaudit.curves.observations import observe, quotes_with_market
from bomaudit.curves.pooling import DAYS_PER_YEAR, Floats

if TYPE_CHECKING:
    from bomaudit.audit import Audit
    from bomaudit.curves.fitted import Curves

COLUMNS = ("commodity", "kind", "date", "volume", "price", "low", "high", "label")
_MOST_DOF = 1000.0  # a Student t with more is normal to any digit shown
_STEPS = 24
"""Points of a curve."""


def market_points(audit: Audit) -> pd.DataFrame:
    r"""Points of the curves of all markets that own quotes bear on and that have a volume index.

    Parameters
    ----------
    audit : Audit

    Returns
    -------
    DataFrame, columns :data:`COLUMNS`
        kind "curve": curve and band; kind "quote": one quote, label its part. volume in units made, price real and
        relative to the curve today (1), low and high of the band at the audit's confidence.

    Notes
    -----
    The curve is :math:`-\alpha (\ln X - \ln X_T) + d (t - T)`, its band that of exponent and drift. A quote stands at
    the curve plus its residual, the level of its part taken out; custom parts count the share of experience that the
    fit gave them.
    """
    curves, today, confidence = audit.curves, pd.Timestamp(audit.as_of), audit.settings.audit.confidence
    seen = _observations(audit)
    if seen.empty:
        return pd.DataFrame(columns=list(COLUMNS))
    grid = _grid(seen, today)
    curve = grid.assign(kind="curve", label="", **_curve(curves, grid, today, confidence))
    there = _curve(curves, seen, today, confidence)
    price = there["price"] * np.exp(_residual(seen, np.log(there["price"])))
    quotes = seen.assign(
        kind="quote", label=seen["part_no"], volume=there["volume"], price=price, low=np.nan, high=np.nan
    )
    return pd.concat([curve[list(COLUMNS)], quotes[list(COLUMNS)]], ignore_index=True)


def _observations(audit: Audit) -> pd.DataFrame:
    curves = audit.curves
    quoted = quotes_with_market(curves.quotes, audit.prepared)
    quoted = quoted[quoted["commodity"].isin(set(audit.lines["commodity"]) - {""})]
    seen = observe(
        quoted, catalogue=curves.catalogue, volumes=curves.volumes, inputs=curves.inputs,
        slopes=curves.own_volume["slope"], fx=curves.fx, model=curves.model, today=np.datetime64(audit.as_of, "D"),
    )  # fmt: skip
    several = seen.groupby("part_no")["date"].transform("nunique") > 1
    return seen[several & seen["log_experience"].notna()].reset_index(drop=True)


def _grid(seen: pd.DataFrame, today: pd.Timestamp) -> pd.DataFrame:
    """Dates from each market's first quote to today."""
    first = seen.groupby("commodity", sort=True)["date"].min()
    steps = np.linspace(0.0, 1.0, _STEPS)
    start = first.to_numpy().astype("datetime64[D]").astype(float)
    days = (start[:, None] + (np.datetime64(today, "D").astype(float) - start)[:, None] * steps).astype("datetime64[D]")
    return pd.DataFrame({"commodity": np.repeat(first.index.to_numpy(), _STEPS), "date": pd.to_datetime(days.ravel())})


def _curve(curves: Curves, at: pd.DataFrame, today: pd.Timestamp, confidence: float) -> dict[str, Floats]:
    """Volume, relative price and band at each market and date: the way to today, taken backward."""
    names = at["commodity"].to_numpy(dtype=object)
    then = curves.volumes.log_cumulative(names, at["date"].to_numpy())[0]
    now = curves.volumes.log_cumulative(names, np.full(len(at), today.to_datetime64()))[0]
    way = curves.experience.project(names, now - then, _years(at, today))
    reach = stdtrit(np.minimum(way.dof, _MOST_DOF), (1 + confidence) / 2) * np.sqrt(way.var_exponent)
    level = -way.log_ratio
    return {"volume": np.exp(then), "price": np.exp(level), "low": np.exp(level - reach), "high": np.exp(level + reach)}


def _residual(quotes: pd.DataFrame, curve: Floats) -> Floats:
    """Ln distance of each quote from its part's own curve, the mean of the part taken out.

    ``curve`` is ln of the market's; that of a custom part takes its share of the way, as an estimate does.
    """
    left = quotes["log_price"] - quotes["learned"] * curve
    return np.asarray(left - left.groupby(quotes["part_no"]).transform("mean"), dtype=float)


def _years(at: pd.DataFrame, today: pd.Timestamp) -> Floats:
    return np.asarray(np.maximum((today - at["date"]).dt.days / DAYS_PER_YEAR, 0.0), dtype=float)
