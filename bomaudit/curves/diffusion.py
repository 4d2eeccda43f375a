"""Fit diffusion curves to the volumes of every market at once.

Bass, logistic and Gompertz curves of cumulative volume, and a market that levels off at a steady replacement volume, by
penalised least squares on log volumes. Before its peak a market does not show its final size; a weak prior stands in
and the result says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bomaudit.curves.maturity import bass_share, gompertz_share, logistic_share
from bomaudit.curves.pooling import Floats

MODELS = ("bass", "logistic", "gompertz", "levels_off")
MIN_PERIODS = 5
"""Fewer periods than this fit no curve: three parameters and the noise need them."""

_Form = Callable[[Floats, Floats, Floats, Floats], Floats]


@dataclass(frozen=True)
class Volumes:
    """Volumes by period of several commodities, padded to the longest.

    Attributes
    ----------
    stock : array, shape (commodities,)
        Cumulative volume at the start of the first period, > 0. [units]
    ends : array, shape (commodities, periods)
        Ends of the periods, from the start of the first one; padding repeats the last. [year]
    volume : array, shape (commodities, periods)
        Units made; 1 in the padding.
    used : array of bool, shape (commodities, periods)
        False in the padding.
    """

    stock: Floats
    ends: Floats
    volume: Floats
    used: npt.NDArray[np.bool_]

    @property
    def reached(self) -> Floats:
        """Cumulative volume at the end of the last period, shape (commodities,)."""
        return np.asarray(self.stock + np.where(self.used, self.volume, 0.0).sum(axis=1))

    @property
    def span(self) -> Floats:
        """Years from the start of the first to the end of the last period, shape (commodities,)."""
        return np.asarray(self.ends.max(axis=1))

    def take(self, rows: npt.NDArray[np.int64]) -> Volumes:
        """Some of the commodities, in the given order."""
        return Volumes(self.stock[rows], self.ends[rows], self.volume[rows], self.used[rows])


@dataclass(frozen=True)
class DiffusionFit:
    """The curve chosen for each commodity.

    Attributes
    ----------
    model : array of str, shape (commodities,)
        One of :data:`MODELS`; "" where there are too few periods.
    ultimate : array, shape (commodities,)
        Ultimate cumulative volume; of ``levels_off`` the ultimate volume a year. [units or units/year]
    rate, innovation : array, shape (commodities,)
        q, r or c of the curve, and Bass' p (NaN elsewhere). [1/year]
    peak_in : array, shape (commodities,)
        Years from the end of the data to the peak, negative when past; NaN where the curve has none. [year]
    ultimate_sd : array, shape (commodities,)
        Standard deviation of ln ultimate. [ln]
    noise : array, shape (commodities,)
        Standard deviation of ln volume around the curve. [ln]
    share : array, shape (commodities, times)
        Share of the ultimate market at the end of each period, then at the forecast times. [-]
    ahead : array, shape (commodities, horizons)
        ln cumulative volume at ``horizons`` years after the end of the data. [ln]
    ahead_sd : array, shape (commodities, horizons)
        Its standard deviation. [ln]
    criterion : array, shape (commodities, models)
        Corrected information criterion of each curve, inf where it could not be fitted.
    """

    model: npt.NDArray[np.str_]
    ultimate: Floats
    rate: Floats
    innovation: Floats
    peak_in: Floats
    ultimate_sd: Floats
    noise: Floats
    share: Floats
    ahead: Floats
    ahead_sd: Floats
    criterion: Floats


def _bass_cumulative(theta: Floats, t: Floats, stock: Floats, reached: Floats) -> Floats:
    m = (reached * (1 + np.exp(theta[:, 2])))[:, None]
    return np.asarray(m * bass_share(t, np.exp(theta[:, :1]), np.exp(theta[:, 1:2]), stock[:, None] / m))


def _logistic_cumulative(theta: Floats, t: Floats, stock: Floats, reached: Floats) -> Floats:
    m = (reached * (1 + np.exp(theta[:, 1])))[:, None]
    return np.asarray(m * logistic_share(t, np.exp(theta[:, :1]), stock[:, None] / m))


def _gompertz_cumulative(theta: Floats, t: Floats, stock: Floats, reached: Floats) -> Floats:
    m = (reached * (1 + np.exp(theta[:, 1])))[:, None]
    return np.asarray(m * gompertz_share(t, np.exp(theta[:, :1]), stock[:, None] / m))


def _levels_off_cumulative(theta: Floats, t: Floats, stock: Floats, reached: Floats) -> Floats:
    """Integral of a logistic yearly volume K / (1 + b e^{-rt}); theta = ln r, ln K over mean volume, ln b."""
    r, b = np.exp(theta[:, :1]), np.exp(theta[:, 2:3])
    k = np.exp(theta[:, 1:2]) * reached[:, None]
    grown = np.log1p(b * np.exp(-r * t)) - np.log1p(b)
    return np.asarray(stock[:, None] + k * (t + grown / r))


@dataclass(frozen=True)
class _Model:
    cumulative: _Form
    mean: tuple[float, ...]
    sd: tuple[float, ...]
    starts: tuple[tuple[float, ...], ...]


# Priors. Rates: Bass coefficients average p = 0.03, q = 0.38 over 213 published applications (F. Sultan, J. Farley and
# D. Lehmann, J. Marketing Research 27, 1990, 70-77). Ultimate market: four times what is reached, within a factor of
# about five either way: a weak guess that a market with its peak behind it overrules (engineering judgement).
_LEFT, _LEFT_SD = float(np.log(3.0)), 1.5
_FORMS: dict[str, _Model] = {
    "bass": _Model(
        _bass_cumulative,
        (float(np.log(0.03)), float(np.log(0.38)), _LEFT),
        (2.0, 0.8, _LEFT_SD),
        ((-3.5, -1.0, _LEFT), (-3.5, -1.0, -1.0)),
    ),
    "logistic": _Model(
        _logistic_cumulative, (float(np.log(0.38)), _LEFT), (0.8, _LEFT_SD), ((-1.0, _LEFT), (-1.0, -1.0))
    ),
    "gompertz": _Model(
        _gompertz_cumulative, (float(np.log(0.2)), _LEFT), (0.8, _LEFT_SD), ((-1.6, _LEFT), (-1.6, -1.0))
    ),
    "levels_off": _Model(
        _levels_off_cumulative,
        (float(np.log(0.3)), float(np.log(0.1)), 0.0),
        (0.8, 1.5, 2.0),
        ((-1.2, -2.3, 1.0), (-1.2, -2.3, -2.0)),
    ),
}
_START_NOISE, _LEAST_NOISE = 0.15, 0.02  # ln; published volumes are rarely better than 2 %
_ITERATIONS, _LONGEST_STEP = 60, 1.0
_MEMORY = 0.7  # a year keeps this share of the last period's deviation from its curve (engineering judgement)
_FADING = 0.85  # a year keeps this share of the growth before it; between half and three quarters fit published series
_RECENT = 6  # periods that present growth is taken from
_ON_CURVE = 0.03  # ln; volumes this close to a curve are on it, and the curve goes on alone
_WANDER, _WANDER_PERIODS = 0.10, 4.0  # ln/sqrt(year) and its weight: how volumes leave their forecast
_DRIFT = 0.08  # ln/year; how the growth of volumes leaves its forecast
# Both so that 80 % bands of cumulative volume hold 80 % or more on published series one to seven years ahead.
_HALF_A_YEAR = 0.5
_TINY = 1e-300
_ROUGHLY, _SETTLED = 1e-4, 1e-7  # relative change of the cost at which a start is told apart, and a curve is fitted


def _log_volumes(model: _Model, theta: Floats, data: Volumes) -> Floats:
    ends = np.concatenate([np.zeros((len(theta), 1)), data.ends], axis=1)
    made = np.diff(model.cumulative(theta, ends, data.stock, data.reached), axis=1)
    return np.asarray(np.log(np.maximum(made, _TINY * data.reached[:, None])))


def _jacobian(model: _Model, theta: Floats, data: Volumes, base: Floats) -> Floats:
    """Slope of ln volumes in each parameter, shape (commodities, periods, parameters), all in one evaluation."""
    step, size, count = 1e-5, *theta.shape
    moved = (theta[None, :, :] + step * np.eye(count)[:, None, :]).reshape(-1, count)
    found = _log_volumes(model, moved, data.take(np.tile(np.arange(size), count))).reshape(count, size, -1)
    return np.moveaxis((found - base[None, :, :]) / step, 0, 2)


def _cost(residual: Floats, theta: Floats, model: _Model, noise: Floats) -> Floats:
    pull = ((theta - np.array(model.mean)) / np.array(model.sd)) ** 2
    return np.asarray((residual**2).sum(axis=1) / noise**2 + pull.sum(axis=1))


def _residual(model: _Model, theta: Floats, data: Volumes) -> Floats:
    return np.where(data.used, np.log(data.volume) - _log_volumes(model, theta, data), 0.0)


def _descend(
    model: _Model, theta: Floats, data: Volumes, noise: Floats, settled_at: float = _SETTLED
) -> tuple[Floats, Floats]:
    """Levenberg-Marquardt over all commodities at once, the settled ones left alone; parameters and cost."""
    theta, damping = theta.copy(), np.full(len(theta), 1e-2)
    cost = _cost(_residual(model, theta, data), theta, model, noise)
    active = np.arange(len(theta))
    for _ in range(_ITERATIONS):
        step = _step(model, theta[active], data.take(active), noise[active], damping[active])
        tried = theta[active] + step
        new = _cost(_residual(model, tried, data.take(active)), tried, model, noise[active])
        better = new < cost[active]
        settled = np.abs(cost[active] - new) < settled_at * (1 + new)
        theta[active[better]], cost[active[better]] = tried[better], new[better]
        damping[active] = np.clip(damping[active] * np.where(better, 1 / 3, 4.0), 1e-9, 1e9)
        active = active[~settled]
        if not len(active):
            break
    return theta, cost


def _step(model: _Model, theta: Floats, data: Volumes, noise: Floats, damping: Floats) -> Floats:
    residual, precision = _residual(model, theta, data), 1 / np.array(model.sd) ** 2
    slope = np.where(data.used[:, :, None], _jacobian(model, theta, data, np.log(data.volume) - residual), 0.0)
    scaled = slope / noise[:, None, None] ** 2
    curvature = np.einsum("cni,cnj->cij", scaled, slope) + np.diag(precision)
    downhill = np.einsum("cni,cn->ci", scaled, residual) - (theta - np.array(model.mean)) * precision
    damped = curvature + damping[:, None, None] * curvature * np.eye(theta.shape[1])
    return np.clip(np.linalg.solve(damped, downhill[:, :, None])[:, :, 0], -_LONGEST_STEP, _LONGEST_STEP)


def _fit_one(model: _Model, data: Volumes) -> tuple[Floats, Floats, Floats]:
    """Best parameters over the starts, noise, and cost in units of that noise."""
    size, count = len(data.stock), data.used.sum(axis=1)
    begin = np.repeat(np.array(model.starts), size, axis=0)  # all starts of all commodities, start by start
    every = data.take(np.tile(np.arange(size), len(model.starts)))
    theta, cost = _descend(model, begin, every, np.full(len(begin), _START_NOISE), _ROUGHLY)
    chosen = np.argmin(cost.reshape(-1, size), axis=0) * size + np.arange(size)
    best, cost = theta[chosen], cost[chosen]
    freedom = np.maximum(count - len(model.mean), 1)
    for _ in range(2):
        noise = np.maximum(np.sqrt((_residual(model, best, data) ** 2).sum(axis=1) / freedom), _LEAST_NOISE)
        best, cost = _descend(model, best, data, noise)
    return best, noise, cost


def _criterion(model: _Model, theta: Floats, data: Volumes) -> Floats:
    """Akaike's criterion corrected for few data; the prior's pull counts like a misfit."""
    n, k = data.used.sum(axis=1), len(model.mean) + 1
    misfit = (_residual(model, theta, data) ** 2).sum(axis=1) / n
    pull = (((theta - np.array(model.mean)) / np.array(model.sd)) ** 2).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = n * np.log(np.maximum(misfit, _LEAST_NOISE**2)) + 2 * k + 2 * k * (k + 1) / (n - k - 1) + pull
    return np.where(n > k + 1, value, np.inf)


def _ahead(model: _Model, theta: Floats, data: Volumes, horizons: Floats, on_curve: Floats) -> Floats:
    """Units made in the intervals up to each horizon, shape (commodities, horizons).

    Geometric mean of the curve, the last deviation from it fading, and of the last volume with its growth fading; the
    curve counts for ``on_curve``. Curves alone stay too high on published series, growth alone runs away.
    """
    edges = np.concatenate([[0.0], horizons])
    times = data.span[:, None] + edges[None, :]
    made = np.diff(model.cumulative(theta, times, data.stock, data.reached), axis=1)
    last = np.take_along_axis(_residual(model, theta, data), data.used.sum(axis=1)[:, None] - 1, axis=1)
    middle = (edges[:-1] + edges[1:]) / 2
    log_curve = np.log(np.maximum(made, _TINY * data.reached[:, None])) + last * _MEMORY ** middle[None, :]
    log_growing = _growing_on(data, middle) + np.log(np.diff(edges))[None, :]
    return np.asarray(np.exp(on_curve[:, None] * log_curve + (1 - on_curve[:, None]) * log_growing))


def _growing_on(data: Volumes, middle: Floats) -> Floats:
    """Ln yearly volume where the last one grows on, ever less; shape (commodities, horizons)."""
    row, last = np.arange(len(data.stock)), data.used.sum(axis=1) - 1
    first = np.maximum(last - _RECENT + 1, 0)
    begins = np.concatenate([np.zeros((len(row), 1)), data.ends[:, :-1]], axis=1)
    length, early = (data.ends[row, k] - begins[row, k] for k in (last, first))
    years = data.ends[row, last] - data.ends[row, first] + (early - length) / 2  # from middle to middle
    rise = np.log(data.volume[row, last] / length / (data.volume[row, first] / early)) / years
    since = middle[None, :] + length[:, None] / 2
    return np.asarray(
        np.log(data.volume[row, last] / length)[:, None] + rise[:, None] * (1 - _FADING**since) / (1 - _FADING)
    )


def _ahead_sd(made: Floats, data: Volumes, horizons: Floats, noise: Floats) -> Floats:
    """Standard deviation of ln cumulative volume from volumes wandering off; shape (commodities, horizons)."""
    count = data.used.sum(axis=1)
    wander = (_WANDER_PERIODS * _WANDER**2 + count * noise**2) / (_WANDER_PERIODS + count)
    middle = (np.concatenate([[0.0], horizons[:-1]]) + horizons) / 2
    since = middle[None, :] + _HALF_A_YEAR  # from the middle of the last year known
    off = np.sqrt(wander[:, None] * since + (_DRIFT * since) ** 2)
    total = np.cumsum(made, axis=1)
    return np.asarray(np.cumsum(made * off, axis=1) / (data.reached[:, None] + total))


def _forecast(model: _Model, theta: Floats, data: Volumes, horizons: Floats, noise: Floats) -> tuple[Floats, Floats]:
    """Ln cumulative volume at the horizons and its standard deviation, parameters by the delta method."""
    on_curve = 0.5 + 0.5 / (1 + (noise / _ON_CURVE) ** 4)

    def log_cumulative(at: Floats) -> Floats:
        made = _ahead(model, at, data, horizons, on_curve)
        return np.asarray(np.log(data.reached[:, None] + np.cumsum(made, axis=1)))

    base, step = log_cumulative(theta), 1e-4
    slope = [(log_cumulative(theta + step * unit) - base) / step for unit in np.eye(theta.shape[1])]
    stacked = np.stack(slope, axis=2)
    parameters = np.einsum("chi,cij,chj->ch", stacked, _covariance(model, theta, data, noise), stacked)
    wandering = _ahead_sd(_ahead(model, theta, data, horizons, on_curve), data, horizons, noise)
    return base, np.sqrt(parameters + wandering**2)


def _covariance(model: _Model, theta: Floats, data: Volumes, noise: Floats) -> Floats:
    base = _log_volumes(model, theta, data)
    slope = np.where(data.used[:, :, None], _jacobian(model, theta, data, base), 0.0) / noise[:, None, None]
    return np.linalg.inv(np.einsum("cni,cnj->cij", slope, slope) + np.diag(1 / np.array(model.sd) ** 2))


def fit_diffusion(data: Volumes, horizons: Floats) -> DiffusionFit:
    """Fit every curve to every commodity and choose one each by information criterion.

    Parameters
    ----------
    data : Volumes
        At least :data:`MIN_PERIODS` periods each.
    horizons : array, shape (horizons,)
        Rising years after the end of the data to forecast for. [year]

    Returns
    -------
    DiffusionFit

    Notes
    -----
    Penalised least squares on ln volume. Forecasts lean half on the curve and half on present growth fading, unless the
    volumes lie on the curve; their standard deviation is that of the parameters, by the delta method, and of how
    published production series left such forecasts.

    References
    ----------
    .. [1] K. P. Burnham and D. R. Anderson, "Model Selection and Multimodel Inference", 2nd ed., 2002 (from memory).
    """
    fits = {name: _fit_one(_FORMS[name], data) for name in MODELS}
    criterion = np.stack([_criterion(_FORMS[name], fits[name][0], data) for name in MODELS], axis=1)
    chosen = np.argmin(criterion, axis=1)
    ahead, sds = (
        np.stack(v, axis=2)
        for v in zip(*(_forecast(_FORMS[n], fits[n][0], data, horizons, fits[n][1]) for n in MODELS), strict=True)
    )
    described = [_describe(name, *fits[name][:2], data, horizons) for name in MODELS]
    picked = [np.stack(column, axis=-1) for column in zip(*described, strict=True)]
    one = [np.take_along_axis(c, chosen[:, None], axis=1)[:, 0] for c in picked[:-1]]
    share, mine, sd = (np.take_along_axis(v, chosen[:, None, None], axis=2)[:, :, 0] for v in (picked[-1], ahead, sds))
    return DiffusionFit(
        np.array(MODELS)[chosen], one[0], one[1], one[2], one[3], one[4], one[5], share, mine, sd, criterion
    )


def _describe(name: str, theta: Floats, noise: Floats, data: Volumes, horizons: Floats) -> tuple[Floats, ...]:
    """Ultimate, rate, innovation, peak_in, ultimate_sd, noise, share of one curve."""
    model, last = _FORMS[name], data.span
    times = np.concatenate([data.ends, last[:, None] + horizons[None, :]], axis=1)
    variance = np.diagonal(_covariance(model, theta, data, noise), axis1=1, axis2=2)
    none = np.full(len(theta), np.nan)
    if name == "levels_off":
        rate, k, b = np.exp(theta[:, 0]), np.exp(theta[:, 1]) * data.reached, np.exp(theta[:, 2])
        share = 1 / (1 + b[:, None] * np.exp(-rate[:, None] * times))
        return k, rate, none, none, np.sqrt(variance[:, 1]), noise, share
    column = 2 if name == "bass" else 1
    left = np.exp(theta[:, column])
    ultimate = data.reached * (1 + left)
    share = model.cumulative(theta, times, data.stock, data.reached) / ultimate[:, None]
    sd = np.sqrt(variance[:, column]) * left / (1 + left)
    start = data.stock / ultimate
    rate = np.exp(theta[:, 1] if name == "bass" else theta[:, 0])
    innovation = np.exp(theta[:, 0]) if name == "bass" else none
    if name == "bass":
        top = np.log(rate / innovation * (1 - start) / (1 + rate / innovation * start)) / (innovation + rate)
    elif name == "logistic":
        top = np.log((1 - start) / start) / rate
    else:
        top = np.log(-np.log(start)) / rate
    return ultimate, rate, innovation, top - last, sd, noise, share
