r"""Learning-curve arithmetic of one maker's own run: unit and cumulative-average curves, lots and their midpoints.

Two theories share one exponent and differ in their totals (80 %, ten units: 6.32 against 4.77 first-unit costs); each
function says which it is of. The exponent here is negative when cost falls, :math:`b = \log_2` of the slope, as the
printed tables have it; the experience exponent of a market is its opposite.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bomaudit.curves.pooling import Floats

_EXACT_UP_TO = 4096
"""Units that are summed one by one; beyond, the Euler-Maclaurin remainder is below 1e-12."""


def slope_exponent(slope: npt.ArrayLike) -> Floats:
    r"""Exponent of a curve from its slope (progress ratio): :math:`b = \log_2 s`.

    Parameters
    ----------
    slope : array
        Cost after a doubling over cost before, positive; 0.8 is an 80 % curve. [-]

    Raises
    ------
    ValueError
        If a slope is not positive.
    """
    s = np.asarray(slope, dtype=float)
    if bool(np.any(s <= 0)):
        raise ValueError("a slope must be positive")
    return np.asarray(np.log2(s))


def experience_exponent(learning_rate: npt.ArrayLike) -> Floats:
    r"""Experience exponent of a learning rate: :math:`\alpha = -\log_2(1 - LR)`, positive when price falls.

    Parameters
    ----------
    learning_rate : array
        Fall of price per doubling of cumulative volume, below 1; negative where cost rises. [-]

    Raises
    ------
    ValueError
        If a learning rate is 1 or more.
    """
    return -slope_exponent(1.0 - np.asarray(learning_rate, dtype=float))


def learning_rate(exponent: npt.ArrayLike) -> Floats:
    r"""Learning rate of an experience exponent: :math:`1 - 2^{-\alpha}`. [-]."""
    return np.asarray(1.0 - np.exp2(-np.asarray(exponent, dtype=float)))


def unit_factor(unit: npt.ArrayLike, slope: npt.ArrayLike) -> Floats:
    r"""Cost of the n-th unit over that of the first, unit theory (Crawford): :math:`n^b`.

    Under the other theory (Wright) the same figure is the cumulative average.

    Parameters
    ----------
    unit : array
        n, from 1. [unit]
    slope : array
        As in :func:`slope_exponent`. [-]
    """
    return np.asarray(np.asarray(unit, dtype=float) ** slope_exponent(slope))


def unit_theory_total(units: int, slope: float, *, first: int = 1) -> float:
    r"""Cost of units ``first`` to ``units`` over that of the first, unit theory (Crawford): :math:`\sum k^b`.

    Parameters
    ----------
    units, first : int
        Last and first unit of the lot. [unit]
    slope : float
        [-]

    Notes
    -----
    Summed to 4,096 units, then Euler-Maclaurin: :math:`\int + (f_a + f_b)/2 + (f'_b - f'_a)/12`.

    References
    ----------
    .. [1] J. R. Crawford, "Learning Curve, Ship Curve, Ratios, Related Data", Lockheed, 1944.
    """
    b = float(slope_exponent(slope))
    direct = np.sum(np.arange(first, min(units, max(first, _EXACT_UP_TO)) + 1, dtype=float) ** b)
    start = max(first, _EXACT_UP_TO)
    if units <= start:
        return float(direct)
    low, high = float(start), float(units)
    integral = np.log(high / low) if b == -1 else (high ** (b + 1) - low ** (b + 1)) / (b + 1)
    ends = (high**b - low**b) / 2 + b * (high ** (b - 1) - low ** (b - 1)) / 12
    return float(direct + integral + ends)


def average_theory_total(units: npt.ArrayLike, slope: npt.ArrayLike) -> Floats:
    r"""Cost of the first n units over that of the first, cumulative-average theory (Wright): :math:`n^{1+b}`.

    References
    ----------
    .. [1] T. P. Wright, "Factors Affecting the Cost of Airplanes", J. Aeronautical Sciences 3(4), 1936.
    """
    return np.asarray(np.asarray(units, dtype=float) ** (1 + slope_exponent(slope)))


def average_theory_unit(unit: npt.ArrayLike, slope: npt.ArrayLike) -> Floats:
    r"""Cost of the n-th unit over that of the first, cumulative-average theory: :math:`n^{1+b} - (n-1)^{1+b}`."""
    n = np.asarray(unit, dtype=float)
    return average_theory_total(n, slope) - average_theory_total(n - 1, slope)


def lot_midpoint(first: int, last: int, slope: float) -> float:
    r"""Unit whose cost is the average of the lot, unit theory: :math:`(\sum k^b / N)^{1/b}`.

    Parameters
    ----------
    first, last : int
        First and last unit of the lot. [unit]
    slope : float
        Not 1: a flat curve has no midpoint. [-]

    Raises
    ------
    ValueError
        For a flat curve.
    """
    b = float(slope_exponent(slope))
    if b == 0:
        raise ValueError("on a flat curve every unit costs the average")
    return float((unit_theory_total(last, slope, first=first) / (last - first + 1)) ** (1 / b))


def lot_average_with_rate(
    first: int, last: int, *, first_unit: float, slope: float, rate: float, rate_slope: float
) -> float:
    r"""Average unit cost of a lot where the production rate matters too: :math:`A\,Q^b r^c`.

    Parameters
    ----------
    first, last : int
        Units of the lot; Q is its exact midpoint. [unit]
    first_unit : float
        A: cost of the first unit at rate 1. [currency]
    slope, rate_slope : float
        Cost ratio per doubling of units and of the rate. [-]
    rate : float
        Lot size or production rate. [unit or unit/year]

    References
    ----------
    .. [1] Form as in US cost-analysis guides; from memory.
    """
    midpoint = lot_midpoint(first, last, slope)
    return float(first_unit * unit_factor(midpoint, slope) * unit_factor(rate, rate_slope))


def with_prior_experience(unit: npt.ArrayLike, slope: npt.ArrayLike, prior_units: npt.ArrayLike) -> Floats:
    r"""Unit cost over the first's when B units' worth is known beforehand (Stanford-B): :math:`((n+B)/(1+B))^b`."""
    n, b = np.asarray(unit, dtype=float), np.asarray(prior_units, dtype=float)
    return np.asarray(((n + b) / (1 + b)) ** slope_exponent(slope))


def with_fixed_share(unit: npt.ArrayLike, slope: npt.ArrayLike, fixed_share: npt.ArrayLike) -> Floats:
    r"""Unit cost over that of the first when a share cannot be learned away (De Jong): :math:`M + (1-M) n^b`."""
    share = np.asarray(fixed_share, dtype=float)
    return np.asarray(share + (1 - share) * unit_factor(unit, slope))
