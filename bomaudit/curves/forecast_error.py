r"""How wrong a forecast from past changes must be expected to be: published theory, in closed form.

These are the yardsticks. The forecast of :mod:`bomaudit.curves.experience` adds what the pool knows, and reduces to
them when the pool knows nothing and no rate wanders.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bomaudit.curves.pooling import Floats


@dataclass(frozen=True)
class PlainFit:
    """A slope through the origin on past changes, as the published tests use it.

    Attributes
    ----------
    slope : float
        Change of ln price per year (trend) or per unit of ln experience (minus the exponent).
    noise : float
        Standard deviation of the changes about it. [ln]
    dof : int
        Number of changes less one.
    """

    slope: float
    noise: float
    dof: int


def fit_trend(log_price: Floats) -> PlainFit:
    r"""Random walk with drift: mean yearly change and the spread about it.

    Parameters
    ----------
    log_price : array, shape (years + 1,)
        Yearly ln price, oldest first. [ln]

    Returns
    -------
    PlainFit

    Raises
    ------
    ValueError
        With fewer than three prices: the spread is not known.

    Notes
    -----
    :math:`\hat\mu = (y_t - y_{t-m})/m`, :math:`\hat K^2 = \sum (\Delta y - \hat\mu)^2 / (m - 1)`.

    References
    ----------
    .. [1] J. D. Farmer and F. Lafond, "How predictable is technological progress?", Research Policy 45(3), 2016.
    """
    change = np.diff(np.asarray(log_price, dtype=float))
    return _through_origin(np.ones_like(change), change)


def fit_first_differences(log_price: Floats, log_experience: Floats) -> PlainFit:
    r"""Slope of yearly changes of ln price on those of ln cumulative volume, through the origin.

    Parameters
    ----------
    log_price, log_experience : array, shape (years + 1,)
        [ln]

    Returns
    -------
    PlainFit

    Raises
    ------
    ValueError
        With fewer than three prices.

    Notes
    -----
    :math:`\hat\omega = \sum X Y / \sum X^2`, :math:`\hat\sigma^2 = \sum (Y - \hat\omega X)^2 / (m - 1)`.

    References
    ----------
    .. [1] F. Lafond et al., "How well do experience curves predict technological progress?", Technological Forecasting
       and Social Change 128, 2018.
    """
    return _through_origin(
        np.diff(np.asarray(log_experience, dtype=float)), np.diff(np.asarray(log_price, dtype=float))
    )


def _through_origin(x: Floats, y: Floats) -> PlainFit:
    if len(y) < 2:  # noqa: PLR2004  (one change has no spread)
        raise ValueError("at least three prices are needed to know a spread")
    slope = float(x @ y / (x @ x))
    return PlainFit(slope, float(np.sqrt(np.sum((y - slope * x) ** 2) / (len(y) - 1))), len(y) - 1)


def trend_error_factor(changes: npt.ArrayLike, horizon: npt.ArrayLike, theta: npt.ArrayLike = 0.0) -> Floats:
    r"""Squared forecast error of a trend, in units of the innovations' variance.

    Parameters
    ----------
    changes : array of int
        Number m of yearly changes that the trend was estimated from. [-]
    horizon : array
        Years ahead. [year]
    theta : array
        Moving-average coefficient of the yearly noise. [-]

    Returns
    -------
    array
        :math:`A^*`; multiply by the innovations' variance, which is that of the changes over :math:`1 + \theta^2`. [-]

    Notes
    -----
    :math:`A^* = -2\theta + (1 + 2(m-1)\theta/m + \theta^2)(\tau + \tau^2/m)`.

    References
    ----------
    .. [1] J. D. Farmer and F. Lafond, "How predictable is technological progress?", Research Policy 45(3), 2016.
    """
    m, tau, th = (np.asarray(a, dtype=float) for a in (changes, horizon, theta))
    return np.asarray(-2 * th + (1 + 2 * (m - 1) * th / m + th**2) * (tau + tau**2 / m))


def experience_error_factor(past: Floats, future: Floats, rho: float = 0.0) -> float:
    r"""Squared forecast error of a first-difference experience fit, in units of the innovations' variance.

    Parameters
    ----------
    past : array, shape (changes,)
        Yearly changes of ln cumulative volume that the slope was estimated from, oldest first. [ln]
    future : array, shape (horizon,)
        Yearly changes of ln cumulative volume to the horizon. [ln]
    rho : float
        Moving-average coefficient of the yearly noise. [-]

    Returns
    -------
    float
        Multiply by the innovations' variance, which is that of the noise over :math:`1 + \rho^2`. [-]

    Notes
    -----
    With :math:`H_j = -(\sum X_f) X_j / \sum X^2`: :math:`\rho^2 H_1^2 + \sum_{j<m} (H_j + \rho H_{j+1})^2 +
    (H_m + \rho)^2 + (\tau - 1)(1 + \rho)^2 + 1`; for :math:`\rho = 0` it is :math:`\tau + (\sum X_f)^2 / \sum X^2`.

    References
    ----------
    .. [1] F. Lafond et al., "How well do experience curves predict technological progress?", Technological Forecasting
       and Social Change 128, 2018.
    """
    h = -np.sum(future) * past / (past @ past)
    inner = np.sum((h[:-1] + rho * h[1:]) ** 2)
    last = (h[-1] + rho) ** 2 + (len(future) - 1) * (1 + rho) ** 2 + 1
    return float(rho**2 * h[0] ** 2 + inner + last)


def moving_average_coefficient(changes: Floats) -> float:
    r"""First-order moving-average coefficient of a series of yearly changes, by maximum likelihood.

    Parameters
    ----------
    changes : array, shape (years,)
        Yearly changes of ln price. [ln]

    Returns
    -------
    float
        In [-1, 1]; the end points are the pile-up that short series show. [-]

    Notes
    -----
    Exact Gaussian likelihood with mean, by statsmodels.
    """
    import warnings  # noqa: PLC0415  (loaded only where a series is fitted)

    from statsmodels.tsa.arima.model import ARIMA  # noqa: PLC0415

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # short series: no convergence at the bound is an answer, not an accident
        fit = ARIMA(changes, order=(0, 0, 1), trend="c").fit()
    return float(fit.params[1])


def initial_cumulative_volume(volumes: Floats) -> float:
    r"""Cumulative volume before the first period, where history is missing.

    Parameters
    ----------
    volumes : array, shape (periods,)
        Volume made in each period, oldest first, positive. [unit]

    Returns
    -------
    float
        [unit]

    Raises
    ------
    ValueError
        If volumes do not grow: the sum of a shrinking past has no bound.

    Notes
    -----
    :math:`Z_0 = q_1 / g` with :math:`g` the mean growth per period: what steady growth from nothing would have made.

    References
    ----------
    .. [1] F. Lafond et al., as above.
    """
    growth = float(np.expm1(np.mean(np.diff(np.log(volumes)))))
    if growth <= 0:
        raise ValueError("volumes must grow on average for the earlier total to be known")
    return float(volumes[0] / growth)
