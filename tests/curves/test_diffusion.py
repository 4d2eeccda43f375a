"""Diffusion curves find what made the volumes, and say when they cannot know."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from bomaudit.curves import diffusion
from bomaudit.curves.diffusion import MODELS, Volumes, fit_diffusion
from bomaudit.curves.maturity import bass_share, gompertz_share, logistic_share

AHEAD = np.array([0.5, 1.0, 2.0, 5.0, 10.0])
M = 1e6


def volumes_of(share, years: int, noise: float = 0.0, seed: int = 0) -> Volumes:
    """Yearly volumes of a market of M units whose share is a function of time."""
    ends = np.arange(years + 1.0)
    reached = M * share(ends)
    made = np.diff(reached) * np.exp(np.random.default_rng(seed).normal(0, noise, years))
    return Volumes(reached[:1], ends[None, 1:], made[None, :], np.ones((1, years), dtype=bool))


def bass(t):
    return bass_share(t, 0.01, 0.42, 0.02)


def logistic(t):
    return logistic_share(t, 0.5, 0.02)


def gompertz(t):
    return gompertz_share(t, 0.25, 0.01)


@pytest.mark.parametrize(("share", "model"), [(bass, "bass"), (logistic, "logistic"), (gompertz, "gompertz")])
def test_the_curve_that_made_the_volumes_is_found(share, model):
    fit = fit_diffusion(volumes_of(share, 18), AHEAD)
    if model == "logistic":  # Bass with little innovation is a logistic curve
        assert fit.model[0] in {"logistic", "bass"}
    else:
        assert fit.model[0] == model
    assert fit.ultimate[0] == pytest.approx(M, rel=0.02)
    np.testing.assert_allclose(np.exp(fit.ahead[0]), M * share(18 + AHEAD), rtol=0.01)


def test_bass_parameters_are_recovered():
    fit = fit_diffusion(volumes_of(bass, 16), AHEAD)
    assert (fit.innovation[0], fit.rate[0]) == (pytest.approx(0.01, rel=0.02), pytest.approx(0.42, rel=0.02))
    peak = np.interp(0, np.gradient(np.gradient(bass(np.linspace(0, 20, 4001))))[::-1], np.linspace(0, 20, 4001)[::-1])
    assert fit.peak_in[0] + 16 == pytest.approx(peak, abs=0.05)


def test_a_market_that_levels_off_keeps_its_volume():
    ends = np.arange(21.0)
    made = 5000 / (1 + np.exp(-0.5 * (ends[1:] - 8)))
    data = Volumes(np.array([2000.0]), ends[None, 1:], made[None, :], np.ones((1, 20), dtype=bool))
    fit = fit_diffusion(data, AHEAD)
    assert fit.model[0] == "levels_off"
    assert fit.ultimate[0] == pytest.approx(5000, rel=0.03)
    assert np.isnan(fit.peak_in[0])
    grown = np.exp(fit.ahead[0, 2]) - np.exp(fit.ahead[0, 1])
    assert grown == pytest.approx(5000, rel=0.03)


def test_agrees_with_a_general_optimiser():
    """Penalised least squares by scipy.optimize.least_squares from the same starts."""
    data = volumes_of(bass, 14, noise=0.1, seed=4)
    for name in MODELS:
        model = diffusion._FORMS[name]
        theta, noise, cost = diffusion._fit_one(model, data)

        def residual(t, model=model, noise=noise):
            misfit = diffusion._residual(model, t[None, :], data)[0] / noise[0]
            return np.concatenate([misfit, (t - np.array(model.mean)) / np.array(model.sd)])

        found = min((least_squares(residual, s) for s in (*model.starts, theta[0])), key=lambda r: r.cost)
        assert cost[0] == pytest.approx(2 * found.cost, rel=1e-5), name


def test_before_its_peak_a_market_does_not_show_its_size():
    """Only the prior bounds it: four times what is reached, within a factor of five."""
    fit = fit_diffusion(volumes_of(lambda t: logistic_share(t, 0.4, 0.002), 7, noise=0.05), AHEAD)
    late = fit_diffusion(volumes_of(logistic, 18, noise=0.05), AHEAD)
    assert fit.peak_in[0] > 0 > late.peak_in[0]
    assert fit.ultimate_sd[0] > 0.5
    assert late.ultimate_sd[0] < 0.1


def test_forecasts_are_surer_the_nearer_and_the_more_is_known():
    fit = fit_diffusion(volumes_of(bass, 8, noise=0.1), AHEAD)
    assert (np.diff(fit.ahead_sd[0]) > 0).all()
    assert (np.diff(fit.ahead[0]) > 0).all()
    late = fit_diffusion(volumes_of(bass, 18, noise=0.1), AHEAD)
    assert (late.ahead_sd[0] < fit.ahead_sd[0]).all()


def test_forecast_intervals_hold_most_of_what_comes():
    """Noisy Bass markets cut at 8 to 14 years: the 80 % band of cumulative volume two years on holds it as stated."""
    hits = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        p, q, start = 10 ** rng.uniform(-3, -1.5), rng.uniform(0.2, 0.6), rng.uniform(0.005, 0.05)
        years = int(rng.integers(8, 15))
        whole = volumes_of(lambda t, p=p, q=q, s=start: bass_share(t, p, q, s), years + 2, noise=0.1, seed=seed)
        known = Volumes(whole.stock, whole.ends[:, :years], whole.volume[:, :years], whole.used[:, :years])
        fit = fit_diffusion(known, np.array([1.0, 2.0]))
        hits.append(abs(fit.ahead[0, 1] - np.log(whole.reached[0])) < 1.2816 * fit.ahead_sd[0, 1])
    assert 0.65 <= np.mean(hits) <= 0.97


def test_padding_and_company_change_nothing():
    one, other = volumes_of(bass, 10, 0.1), volumes_of(gompertz, 14, 0.1)
    ends = np.full((2, 14), 10.0)
    ends[0, :10], ends[1] = one.ends[0], other.ends[0]
    volume, used = np.ones((2, 14)), np.ones((2, 14), dtype=bool)
    volume[0, :10], volume[1] = one.volume[0], other.volume[0]
    used[0, 10:] = False
    both = fit_diffusion(Volumes(np.concatenate([one.stock, other.stock]), ends, volume, used), AHEAD)
    for k, alone in enumerate((one, other)):
        fit = fit_diffusion(alone, AHEAD)
        assert both.model[k] == fit.model[0]
        np.testing.assert_allclose(both.ahead[k], fit.ahead[0], rtol=1e-6)
        np.testing.assert_allclose(both.ahead_sd[k], fit.ahead_sd[0], rtol=1e-3)


def test_units_do_not_matter():
    data = volumes_of(bass, 12, 0.1)
    thousands = Volumes(data.stock / 1000, data.ends, data.volume / 1000, data.used)
    a, b = fit_diffusion(data, AHEAD), fit_diffusion(thousands, AHEAD)
    np.testing.assert_allclose(a.ahead, b.ahead + np.log(1000), rtol=1e-9)
    np.testing.assert_allclose(a.ultimate, b.ultimate * 1000, rtol=1e-6)
