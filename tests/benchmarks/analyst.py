"""What an analyst would write in an afternoon: the same idea in plain pandas and statsmodels, commodity by commodity.

Not used by the tool; ``scale.py`` holds the tool's speed against it.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import statsmodels.api as sm
from scipy import stats

YEAR = 365.25


def series_of(frame: pd.DataFrame, key: str, value: str) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Days and logs of each series."""
    result = {}
    for name, unsorted in frame.dropna(subset=[value]).groupby(key):
        rows = unsorted.sort_values("period")
        result[name] = (rows["period"].to_numpy().astype("datetime64[D]").astype(float), np.log(rows[value].to_numpy()))
    return result


def read_at(series: tuple[np.ndarray, np.ndarray] | None, day: float) -> float:
    """Log of a series on a day, its last slope carried on."""
    if series is None:
        return np.nan
    days, logs = series
    if day > days[-1] and len(days) > 1:
        return float(logs[-1] + (logs[-1] - logs[-2]) / (days[-1] - days[-2]) * (day - days[-1]))
    return float(np.interp(day, days, logs))


def fit(seen: pd.DataFrame, prior: float) -> tuple[float, float]:
    """Exponent of one commodity and its standard error, by regression with an own level for each part."""
    seen = seen.dropna(subset=["log_experience"])
    counted = seen.groupby("part_no")["part_no"].transform("size")
    seen = seen[counted > 1]
    if seen["part_no"].nunique() < 2 or len(seen) > 3000:
        return prior, 0.1
    within = seen[["log_price", "log_experience"]] - seen.groupby("part_no")[["log_price", "log_experience"]].transform(
        "mean"
    )
    found = sm.OLS(within["log_price"], within[["log_experience"]]).fit()
    own, sd = -float(found.params.iloc[0]), max(float(found.bse.iloc[0]), 1e-3)
    weight = 0.1**2 / (0.1**2 + sd**2)
    return weight * own + (1 - weight) * prior, float(np.sqrt(weight) * sd)


def estimate(lines: pd.DataFrame, curves: object, as_of: date) -> np.ndarray:
    """Estimate of every line, line by line."""
    library, fx = curves.library, curves.fx
    volumes = library.volumes.sort_values("period")
    volumes = volumes.assign(
        total=volumes["cumulative_volume"].fillna(volumes.groupby("commodity")["volume"].cumsum()).clip(lower=1e-9)
    )
    market = series_of(volumes, "commodity", "total")
    prices = library.input_prices
    general = series_of(prices[prices["series"] == "general_inflation"], "currency", "value")
    metals = series_of(prices, "series", "value")
    today = float(np.datetime64(as_of, "D").astype(int))
    result = pd.Series(np.nan, index=lines.index)
    low, high = result.copy(), result.copy()
    for commodity, rows in lines.groupby("commodity"):
        about = curves.catalogue.frame.loc[commodity]
        exponent, sd = fit(curves.observations[curves.observations["commodity"] == commodity], about["exponent_mean"])
        basket = [pair.split(":") for pair in str(about["basket"]).split(";") if ":" in pair]
        for index, line in rows.iterrows():
            then = float(np.datetime64(line["basis_date"], "D").astype(int))
            money = general.get(line["price_currency"])
            inflation = np.exp(read_at(money, today) - read_at(money, then))
            materials = sum(
                float(share) * (np.exp(read_at(metals[name], today) - read_at(metals[name], then)) if name in metals
                                else inflation) for name, share in basket
            )  # fmt: skip
            materials += (1 - sum(float(share) for _, share in basket)) * inflation
            change = read_at(market.get(commodity), today) - read_at(market.get(commodity), then)
            change = 0.0 if np.isnan(change) else change * (0.5 if line["sourcing"] == "custom" else 1.0)
            share = about["materials_share"]
            ratio = (share * materials + (1 - share) * inflation) * np.exp(-exponent * change)
            rate = fx.rate([line["price_currency"]], [np.datetime64(as_of)])[0]
            spread = np.sqrt((sd * change) ** 2 + line["basis_noise"] ** 2
                             + about["process_noise"] ** 2 * max(today - then, 0) / YEAR)  # fmt: skip
            reach = np.exp(1.2816 * spread)
            result[index] = line["price_at_basis"] * rate * max(ratio, 0.9 * share * materials)
            low[index], high[index] = result[index] / reach, result[index] * reach
    outside = (lines["booked_cost"] < low) | (lines["booked_cost"] > high)
    drifted = stats.norm.sf(0.1, loc=np.abs(np.log(result / lines["booked_cost"])), scale=0.2)
    return result.where(outside | (drifted >= 0), result).to_numpy()
