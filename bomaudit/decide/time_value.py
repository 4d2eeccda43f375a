"""Money over the remaining years: discounting, annuities, payback."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

from bomaudit.settings import DecideSection

Timing = Literal["mid_year", "year_end"]
Floats = npt.NDArray[np.float64]


def real_rate(rate: float, inflation: float) -> float:
    """Discount rate for cash in today's prices.

    Parameters
    ----------
    rate, inflation : float
        Nominal discount rate and expected general inflation. [1/year]

    Returns
    -------
    float
        :math:`(1 + r) / (1 + i) - 1`. [1/year]
    """
    return (1.0 + rate) / (1.0 + inflation) - 1.0


def rate_of(rules: DecideSection) -> float:
    """Discount rate for cash in today's prices, from the one that is stated. [1/year]."""
    return rules.discount_rate if rules.rate_basis == "real" else real_rate(rules.discount_rate, rules.inflation)


def discounted_years(years: npt.ArrayLike, *, rate: float, timing: Timing, growth: npt.ArrayLike = 0.0) -> Floats:
    r"""Present value of 1 a year over the years left, the last year in part where they are no whole number.

    Parameters
    ----------
    years : array, shape (n,)
        Years left, ≥ 0; NaN gives NaN. [year]
    rate : float
        Discount rate, in the money of the cash flow (real for today's prices). [1/year]
    timing : {"mid_year", "year_end"}
        When a year's cash falls.
    growth : array, shape (n,)
        Change of the yearly amount from each year to the next. [1/year]

    Returns
    -------
    array, shape (n,)
        With ``year_end`` and whole years the textbook annuity factor; with growth the growing annuity. [year]

    Raises
    ------
    ValueError
        If years are negative.

    Notes
    -----
    :math:`\sum_k w_k (1 + g)^k (1 + r)^{-t_k}` with :math:`w_k` the share of year k that is left and :math:`t_k` its
    end or its middle.

    References
    ----------
    .. [1] Annuity and growing annuity: any finance text, e.g. Brealey, Myers and Allen, "Principles of Corporate
       Finance", chapter 2.
    """
    left = np.atleast_1d(np.asarray(years, dtype=float))
    if (left < 0).any():
        raise ValueError("years left must be >= 0")
    longest = left[np.isfinite(left)].max(initial=0.0)
    k = np.arange(int(np.ceil(longest)))
    share = np.clip(left[..., None] - k, 0.0, 1.0)
    at = k + (share / 2 if timing == "mid_year" else share)
    size = (1.0 + np.atleast_1d(np.asarray(growth, dtype=float))[..., None]) ** k
    total = np.sum(share * size * (1.0 + rate) ** -at, axis=-1)
    return np.asarray(np.where(np.isnan(left), np.nan, total))


def annuity(years: float, *, rate: float) -> float:
    """Annuity factor with payments at the year's end; see :func:`discounted_years`. [year]."""
    return float(discounted_years([years], rate=rate, timing="year_end")[0])


def present_value(cash: npt.ArrayLike, *, rate: float) -> float:
    """Net present value of yearly cash, the first one now.

    Parameters
    ----------
    cash : array, shape (years + 1,)
        [currency]
    rate : float
        [1/year]

    Returns
    -------
    float
        [currency]
    """
    flow = np.asarray(cash, dtype=float)
    return float(np.sum(flow * (1.0 + rate) ** -np.arange(len(flow))))


def payback_years(one_time: npt.ArrayLike, saving_per_year: npt.ArrayLike) -> Floats:
    """Years until a one-time cost has come back, undiscounted.

    Parameters
    ----------
    one_time : array, shape (n,)
        [currency]
    saving_per_year : array, shape (n,)
        [currency/year]

    Returns
    -------
    array, shape (n,)
        0 where nothing is spent and something saved, NaN where it never comes back. [year]
    """
    cost, saving = np.asarray(one_time, dtype=float), np.asarray(saving_per_year, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        years = np.maximum(cost, 0.0) / saving
    return np.asarray(np.where(saving > 0, years, np.nan))


def energy_in_use(
    power: npt.ArrayLike,
    time_share: npt.ArrayLike,
    hours_per_year: npt.ArrayLike,
    price_per_kwh: npt.ArrayLike,
    use_years: npt.ArrayLike,
    *,
    rate: float,
    timing: Timing,
) -> Floats:
    r"""Present value of the energy that one product draws at one operating point of its duty cycle.

    A part is sized for the worst operating point, the energy is paid at each one for its share of the time.

    Parameters
    ----------
    power : array, shape (points,)
        Power drawn at the operating point. [W]
    time_share : array, shape (points,)
        Share of the hours of use spent there. [-]
    hours_per_year : array, shape (points,)
        Hours of use. [h/year]
    price_per_kwh : array, shape (points,)
        [currency/kWh]
    use_years : array, shape (points,)
        Years a product is in use. [year]
    rate : float
        Real discount rate. [1/year]
    timing : {"mid_year", "year_end"}

    Returns
    -------
    array, shape (points,)
        [currency per product]

    Notes
    -----
    :math:`P/1000 \cdot s \cdot h \cdot c \cdot \sum_k (1 + r)^{-t_k}`
    """
    factors = (power, time_share, hours_per_year, price_per_kwh)
    per_year = np.prod(np.broadcast_arrays(*[np.asarray(f, dtype=float) for f in factors]), axis=0) / 1000.0
    return np.asarray(per_year * discounted_years(use_years, rate=rate, timing=timing))
