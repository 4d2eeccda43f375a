"""Forecast-error theory of the experience-curve papers: formulas by simulation, and the papers' special cases.

J. D. Farmer and F. Lafond, Research Policy 45(3) (2016), and F. Lafond et al., Technological Forecasting and Social
Change 128 (2018). The formulas are from memory of the papers; each is proved here by simulation.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from bomaudit.curves.forecast_error import (
    experience_error_factor,
    fit_first_differences,
    fit_trend,
    initial_cumulative_volume,
    moving_average_coefficient,
    trend_error_factor,
)


def test_error_factor_without_memory_is_horizon_plus_its_square_over_changes() -> None:
    np.testing.assert_allclose(trend_error_factor([5, 5], [1, 5]), [1.2, 10.0])


def test_error_factor_with_memory() -> None:
    """Values of A* by formula and simulation: (m, horizon, theta)."""
    factor = trend_error_factor([5, 10, 33], [5, 3, 10], [0.63, 0.25, 0.63])
    np.testing.assert_allclose(factor, [22.789, 5.3987, 32.8627], atol=5e-4)


@pytest.mark.parametrize(("m", "horizon", "theta"), [(5, 5, 0.63), (10, 3, 0.25), (8, 6, -0.4)])
def test_trend_factor_by_simulation(m: int, horizon: int, theta: float) -> None:
    draws = np.random.default_rng(7).normal(size=(200_000, m + horizon + 1))
    change = draws[:, 1:] + theta * draws[:, :-1]
    error = change[:, m:].sum(1) - horizon * change[:, :m].mean(1)
    assert np.mean(error**2) == pytest.approx(float(trend_error_factor(m, horizon, theta)), rel=0.015)


@pytest.mark.parametrize("rho", [0.0, 0.19, -0.3])
def test_experience_factor_by_simulation(rho: float) -> None:
    rng = np.random.default_rng(11)
    past, future = rng.uniform(0.05, 0.5, 7), rng.uniform(0.05, 0.5, 4)
    draws = rng.normal(size=(200_000, 12))
    noise = draws[:, 1:] + rho * draws[:, :-1]
    slope_error = noise[:, :7] @ past / (past @ past)
    error = noise[:, 7:].sum(1) - slope_error * future.sum()
    assert np.mean(error**2) == pytest.approx(experience_error_factor(past, future, rho), rel=0.015)


def test_steady_growth_reduces_experience_to_a_trend() -> None:
    """Sahal's identity, and its consequence for the error."""
    assert experience_error_factor(np.full(6, 0.2), np.full(5, 0.2)) == pytest.approx(5 + 25 / 6)
    price = np.array([0.0, -0.05, -0.2, -0.18, -0.33])
    trend, slope = fit_trend(price), fit_first_differences(price, 0.2 * np.arange(5))
    assert slope.slope * 0.2 == pytest.approx(trend.slope)
    assert slope.noise == pytest.approx(trend.noise)


def test_normalised_errors_follow_student_t() -> None:
    """Error over K-hat times the root of A is t with m - 1 degrees of freedom, exactly, without memory."""
    rng = np.random.default_rng(3)
    change = rng.normal(-0.1, 0.2, size=(20_000, 9))
    price = np.concatenate([np.zeros((20_000, 1)), np.cumsum(change, axis=1)], axis=1)
    fits = [fit_trend(p) for p in price[:, :6]]
    error = price[:, 9] - price[:, 5] - 4 * np.array([f.slope for f in fits])
    normalised = error / np.array([f.noise for f in fits]) / np.sqrt(float(trend_error_factor(5, 4)))
    assert stats.kstest(normalised, stats.t(4).cdf).pvalue > 0.01


def test_photovoltaic_bands_of_the_paper() -> None:
    """2013: 0.8213 $/W, drift -0.1004, K 0.1502, m = 33, theta 0.63: bands to 2030 by the stated law."""
    k, m, theta, drift = 0.1502, 33, 0.63, -0.1004
    for tau, median, low, high in [
        (1, 0.7429, 0.5446, 1.0133),
        (10, 0.3010, 0.0682, 1.3273),
        (17, 0.1490, 0.0181, 1.2244),
    ]:
        spread = k * np.sqrt(float(trend_error_factor(m, tau, theta)) / (1 + theta**2)) * stats.t(m - 1).ppf(0.975)
        middle = np.log(0.8213) + drift * tau
        np.testing.assert_allclose(np.exp(middle + spread * np.array([0, -1, 1])), [median, low, high], rtol=3e-3)


def test_moving_average_coefficient_is_found_again() -> None:
    draws = np.random.default_rng(6).normal(size=2001)
    assert moving_average_coefficient(draws[1:] + 0.4 * draws[:-1]) == pytest.approx(0.4, abs=0.05)


def test_earlier_total_of_steady_growth() -> None:
    """Volumes growing 25 % a period from nothing: the earlier total is the first volume over the growth."""
    volumes = 8.0 * 1.25 ** np.arange(6)
    assert initial_cumulative_volume(volumes) == pytest.approx(32.0)
    with pytest.raises(ValueError, match="grow"):
        initial_cumulative_volume(volumes[::-1])


def test_two_prices_have_no_spread() -> None:
    with pytest.raises(ValueError, match="three"):
        fit_trend(np.array([1.0, 2.0]))
