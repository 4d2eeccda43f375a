"""Own volume: how the price follows the client's own quantity, from price breaks pooled by commodity."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.pooling import Floats
from bomaudit.curves.timelines import codes_of

_LEAST_NOISE = 0.03  # ln; breaks are rounded figures, two of them never pin a slope
_BETWEEN_PARTS = 0.05  # spread of the slope between parts of a commodity; engineering judgement, no published source


def fit_price_breaks(quotes: pd.DataFrame, priors: pd.DataFrame) -> pd.DataFrame:
    r"""Slope of ln price on ln quantity, pooled by commodity and shrunk to its prior.

    Parameters
    ----------
    quotes : DataFrame
        part_no, commodity, quote_date, supplier, unit_price, currency, min_qty. Rows that share part, date, supplier
        and currency and differ in min_qty are one set of price breaks.
    priors : DataFrame
        Index commodity; price_break_slope, price_break_sd. [-]

    Returns
    -------
    DataFrame, index of ``priors``
        slope, slope_sd [ln price / ln quantity], n_breaks.

    Notes
    -----
    Within a set :math:`\ln p = a + \beta \ln q`. Each set's least-squares slope has variance
    :math:`\sigma^2/S_{qq} + \omega^2`, with :math:`\omega` the spread between parts; the sets and the prior are
    combined by their precisions.
    """
    rows = quotes[(quotes["min_qty"] > 0) & (quotes["unit_price"] > 0)]
    key = ["commodity", "part_no", "quote_date", "supplier", "currency"]
    label = rows.groupby(key, sort=True).ngroup().to_numpy()
    size = int(label.max(initial=-1)) + 1
    x, y = np.log(rows["min_qty"].to_numpy(dtype=float)), np.log(rows["unit_price"].to_numpy(dtype=float))
    count = np.bincount(label, minlength=size)
    x, y = (v - (np.bincount(label, v, minlength=size) / count)[label] for v in (x, y))
    sxx, sxy = np.bincount(label, x * x, minlength=size), np.bincount(label, x * y, minlength=size)
    is_set = sxx > 0
    slope = sxy / np.where(is_set, sxx, 1.0)
    left = np.bincount(label, (y - slope[label] * x) ** 2, minlength=size)
    noise = np.maximum(np.sqrt(left / np.maximum(count - 2, 1)), _LEAST_NOISE)
    first = np.full(size, 0)
    first[label[::-1]] = np.arange(len(label))[::-1]
    code = codes_of(rows["commodity"].to_numpy(dtype=object)[first], tuple(str(n) for n in priors.index))
    weight = np.where(is_set & (code >= 0), 1 / (noise**2 / np.where(is_set, sxx, 1.0) + _BETWEEN_PARTS**2), 0.0)
    code = np.maximum(code, 0)
    mean, sd = priors["price_break_slope"].to_numpy(dtype=float), priors["price_break_sd"].to_numpy(dtype=float)
    precision = 1 / sd**2 + np.bincount(code, weight, minlength=len(priors))
    pooled = (mean / sd**2 + np.bincount(code, weight * slope, minlength=len(priors))) / precision
    return pd.DataFrame(
        {
            "slope": pooled,
            "slope_sd": np.sqrt(1 / precision + _BETWEEN_PARTS**2),
            "n_breaks": np.bincount(code, weight > 0, minlength=len(priors)).astype(int),
        },
        index=priors.index,
    )


def log_quantity_change(then: npt.ArrayLike, now: npt.ArrayLike) -> Floats:
    """Ln ratio of annual quantities; 0 where one of them is not known or not positive.

    Parameters
    ----------
    then, now : array, shape (n,)
        [units/year]

    Returns
    -------
    array, shape (n,)
        [ln]
    """
    before, after = np.asarray(then, dtype=float), np.asarray(now, dtype=float)
    known = (before > 0) & (after > 0)
    return np.where(known, np.log(np.where(known, after, 1.0) / np.where(known, before, 1.0)), 0.0)
