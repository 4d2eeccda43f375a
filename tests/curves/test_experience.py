"""Exponent and trend from own quotes and the pool: limits, pooling, rising prices, raw materials, outliers, speed."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from bomaudit.curves.calibration import Pools, bundled_pools, read_pools
from bomaudit.curves.experience import fit_experience, implied_theta
from bomaudit.curves.forecast_error import experience_error_factor, fit_first_differences, fit_trend, trend_error_factor
from bomaudit.curves.pooling import MOST_SPANS, Noise, series_of, within_part_changes, years_since_2000
from bomaudit.curves.rates import yearly_variance
from bomaudit.curves.wander import Spans, deviation_covariance, level_covariance, rate_covariance

POOLS = bundled_pools()


def quotes(log_price, log_experience=None, *, commodity="pump", part="P1", first=2000):
    n = len(log_price)
    return pd.DataFrame(
        {
            "commodity": commodity,
            "part_no": part,
            "date": pd.to_datetime([f"{first + k}-12-31" for k in range(n)]),
            "log_price": np.asarray(log_price, dtype=float),
            "log_experience": np.full(n, np.nan) if log_experience is None else np.asarray(log_experience, dtype=float),
        }
    )


def prior(*names, **values):
    stated = {"exponent_mean": np.nan, "exponent_sd": np.nan, "trend_mean": np.nan, "trend_sd": np.nan}
    row = {**stated, "process_noise": np.nan, **values}
    return pd.DataFrame([row] * len(names), index=pd.Index(names, name="commodity"))


def knows_nothing(**changes):
    """A pool without an opinion on rates, in which nothing wanders: what the published theory assumes."""
    plain = replace(
        POOLS.with_volume, exponent_mean=0.0, exponent_sd=50.0, exponent_wander=0.0, drift_mean=0.0, drift_sd=0.0,
        drift_wander=0.0, typical_growth=0.0, noise=0.1, noise_log_sd=1e-6, level_share=1.0, wander_log_sd=0.0,
        tail_dof=1e4,
    )  # fmt: skip
    return Pools(replace(plain, **changes), replace(plain, drift_sd=50.0, **changes))


def test_without_an_opinion_it_is_the_first_difference_fit_with_its_published_error():
    """F. Lafond et al. (2018): slope through the origin, error variance noise² (τ + (Σ future)² / Σ past²)."""
    rng = np.random.default_rng(8)
    growth = rng.uniform(0.1, 0.4, 9)
    x = np.concatenate([[0], np.cumsum(growth)])
    y = np.concatenate([[0], np.cumsum(-0.3 * growth + rng.normal(0, 0.1, 9))])
    fit = fit_experience(quotes(y, x), prior("pump"), pools=knows_nothing())
    plain = fit_first_differences(y, x)
    assert fit.frame.loc["pump", "exponent"] == pytest.approx(-plain.slope, rel=1e-3)
    made = fit.project(["pump"], [0.8], [4.0])
    variance = float((made.var_exponent + made.var_process)[0])
    years = 10 * 365.25 / 3653  # ten calendar years with their leap days
    assert variance == pytest.approx(0.01 * experience_error_factor(growth, np.full(4, 0.2)), rel=4e-3 * years)
    assert made.log_ratio[0] == pytest.approx(plain.slope * 0.8, rel=1e-3)


def test_without_an_index_and_an_opinion_it_is_the_random_walk_with_drift():
    """J. D. Farmer and F. Lafond (2016): drift from the end points, error variance K² (τ + τ² / m)."""
    y = np.concatenate([[0], np.cumsum(np.random.default_rng(9).normal(-0.05, 0.1, 7))])
    fit = fit_experience(quotes(y), prior("pump"), pools=knows_nothing())
    assert fit.frame.loc["pump", "trend"] == pytest.approx(fit_trend(y).slope, rel=2e-3)
    made = fit.project(["pump"], [np.nan], [5.0])
    expected = 0.01 * float(trend_error_factor(7, 5))
    assert float((made.var_exponent + made.var_process)[0]) == pytest.approx(expected, rel=4e-3)


def joint_covariance(pool, grown, spans, *, times=1.0, wander=1.0):
    """Covariance of changes over spans as the model states it, noise and wandering so many times as large, squared."""
    faster = grown - pool.typical_growth * spans.years
    exponent = wander * pool.exponent_wander**2 * rate_covariance(spans, pool.exponent_memory)
    drift = pool.drift_sd**2 + times * wander * pool.drift_wander**2 * rate_covariance(spans, pool.drift_memory)
    passing = deviation_covariance(spans, pool.noise_memory)
    noise = pool.level_share * level_covariance(spans) + (1 - pool.level_share) * passing
    joint = np.outer(grown, grown) * exponent + pool.exponent_sd**2 * np.outer(faster, faster)
    return joint + np.outer(spans.years, spans.years) * drift + times * pool.noise**2 * noise


def foreseen(pool, growth, years):
    """A made market and its forecast; its changes with the next one, which is not known, and what they are about."""
    rng = np.random.default_rng(21)
    x, y = np.cumsum(rng.uniform(0.05, 0.5, 9)), np.cumsum(rng.normal(-0.05, 1.2 * pool.noise, 9))
    made = fit_experience(quotes(y, x), prior("pump"), pools=Pools(pool, POOLS.without_volume)).project(
        ["pump"], [growth], [years], start=[np.datetime64("2008-12-31")]
    )
    edge = np.append(years_since_2000(quotes(y)["date"].to_numpy()), np.nan)
    edge[-1] = edge[-2] + years
    spans, grown = Spans(edge[:-1], edge[1:]), np.append(np.diff(x), growth)
    expected = pool.drift_mean * spans.years - pool.exponent_mean * grown
    return made, spans, grown, np.diff(y) - expected[:-1], expected[-1]


@pytest.mark.parametrize(("growth", "years"), [(0.5, 1.0), (0.5, 6.0), (0.0, 4.0), (3.0, 12.0)])
def test_where_the_scales_are_known_the_forecast_is_the_exact_gaussian_one(growth, years):
    """Mean and variance of the next change given the past ones, from the joint covariance of all of them.

    What a passing deviation of the newest price and the rates have in common is part of it: an interval that leaves it
    out is too narrow.
    """
    pool = replace(POOLS.with_volume, noise_log_sd=1e-6, wander_log_sd=0.0, tail_dof=1e4)
    made, spans, grown, past, ahead = foreseen(pool, growth, years)
    joint = joint_covariance(pool, grown, spans)
    weight = np.linalg.solve(joint[:-1, :-1], joint[:-1, -1])
    assert made.log_ratio[0] == pytest.approx(ahead + weight @ past, rel=1e-4, abs=1e-6)
    variance = float((made.var_exponent + made.var_process)[0])
    assert variance == pytest.approx(joint[-1, -1] - weight @ joint[:-1, -1], rel=3e-3)


@pytest.mark.parametrize(("growth", "years"), [(0.5, 1.0), (0.5, 6.0), (0.0, 4.0), (3.0, 12.0)])
def test_where_they_are_not_it_is_the_mixture_of_the_exact_ones(growth, years):
    """Scales of a grid, each weighed by how likely it makes the past; by the law of total variance."""
    pool = replace(POOLS.with_volume, noise_kept=1.0, drift_wander=0.05)
    made, spans, grown, past, ahead = foreseen(pool, growth, years)
    nodes = np.linspace(-2.4, 2.4, 9)
    weights, means, variances = [], [], []
    for node in nodes:
        for turn in np.sqrt(1.5) * np.array([-1.0, 0.0, 1.0]):
            times, wander = np.exp(2 * pool.noise_log_sd * node), np.exp(2 * pool.wander_log_sd * turn)
            joint = joint_covariance(pool, grown, spans, times=times, wander=wander)
            weight = np.linalg.solve(joint[:-1, :-1], joint[:-1, -1])
            likely = -0.5 * (past @ np.linalg.solve(joint[:-1, :-1], past) + np.linalg.slogdet(joint[:-1, :-1])[1])
            weights.append(np.exp(likely - node**2 / 2))
            means.append(ahead + weight @ past)
            variances.append(joint[-1, -1] - weight @ joint[:-1, -1])
    mean, second = np.average(means, weights=weights), np.average(np.square(means) + variances, weights=weights)
    assert made.log_ratio[0] == pytest.approx(mean, rel=1e-4, abs=1e-6)
    squared_scale = float((made.var_exponent + made.var_process)[0])
    dof = float(made.dof[0])
    assert squared_scale * dof / (dof - 2) == pytest.approx(second - mean**2, rel=1e-4)


def test_noise_is_shrunk_between_the_series_own_and_the_pools():
    rng = np.random.default_rng(3)
    loud, quiet = (np.cumsum(rng.normal(0, s, 16)) for s in (0.4, 0.01))
    both = pd.concat([quotes(loud), quotes(quiet, commodity="fan")])
    noise = fit_experience(both, prior("pump", "fan", "motor")).frame["process_noise"]
    assert noise["fan"] < noise["motor"] < noise["pump"]
    assert noise["fan"] > 0.01
    assert noise["pump"] < 0.5


def test_own_quotes_move_the_exponent_from_the_pool_as_they_add_up():
    x = 0.3 * np.arange(25)
    weights, moves = [], []
    for n in (0, 3, 8, 24):
        fit = fit_experience(quotes(-0.7 * x[: n + 1], x[: n + 1]), prior("pump"))
        weights.append(fit.frame.loc["pump", "data_weight"])
        moves.append(fit.project(["pump"], [0.3], [1.0]).log_ratio[0])
    assert np.all(np.diff(weights) > 0)
    assert np.all(np.diff(moves) < 0)
    assert moves[0] == pytest.approx(-0.3 * POOLS.with_volume.exponent_mean + POOLS.with_volume.drift_mean)
    assert moves[-1] > -0.21
    assert weights[0] == pytest.approx(0, abs=1e-12)


def test_a_few_years_of_own_data_get_about_a_third_to_two_thirds_of_the_say():
    """Published series: a third of the weight on a series' own first half predicts its second half best."""
    x = 0.15 * np.arange(8)
    y = -0.8 * x + np.random.default_rng(1).normal(0, 0.05, 8)
    assert 0.2 < fit_experience(quotes(y, x), prior("pump")).frame.loc["pump", "data_weight"] < 0.7


def test_quotes_that_surprise_have_their_say_too():
    """They move the exponent far and leave it less sure than before; that is no lack of weight.

    Given the scales the exponent moves in proportion to its weight, so what it moved tells what the weight must be.
    """
    x = 0.3 * np.arange(6)
    usual, far = (fit_experience(quotes(-s * x, x), prior("pump")).frame.loc["pump"] for s in (0.5, 3.0))
    before = POOLS.with_volume.exponent_mean
    assert far["exponent_sd"] > usual["exponent_sd"]
    for fit, slope in ((usual, 0.5), (far, 3.0)):
        moved = (fit["exponent"] - before) / (slope - before)
        assert fit["data_weight"] == pytest.approx(moved, abs=0.3)


def test_rising_costs_come_out_rising():
    """Nuclear electricity rose with every doubling; an exponent is never clipped at zero."""
    x = 0.25 * np.arange(20)
    y = 0.9 * x + np.random.default_rng(2).normal(0, 0.05, 20)
    fit = fit_experience(quotes(y, x), prior("pump"))
    assert fit.frame.loc["pump", "exponent"] < -0.2
    assert fit.project(["pump"], [0.8], [3.0]).log_ratio[0] > 0.1


def test_raw_materials_learn_nothing_and_extrapolate_nothing():
    """All 14 commodity prices of the reference page are forecast better by leaving them than by their trend."""
    x = 0.1 * np.arange(15)
    raw = prior("copper", exponent_mean=0.0, exponent_sd=0.0, trend_mean=0.0, trend_sd=0.03)
    fit = fit_experience(quotes(-0.1 * np.arange(15), x, commodity="copper"), raw)
    made = fit.project(["copper", "copper"], [0.5, np.nan], [5.0, 5.0])
    np.testing.assert_array_equal(made.log_ratio, 0.0)
    np.testing.assert_array_equal(made.var_exponent, 0.0)
    assert np.all(made.var_process > 0)


def test_with_no_index_about_half_of_a_short_trend_is_carried_on():
    """Published price panels: half the past trend predicts better than the whole of it."""
    y = -0.10 * np.arange(9) + np.random.default_rng(6).normal(0, 0.05, 9)
    made = fit_experience(quotes(y), prior("pump")).project(["pump"], [np.nan], [5.0])
    assert -0.45 < made.log_ratio[0] < -0.15


def test_uncertainty_grows_with_the_span_and_without_an_index():
    x = 0.2 * np.arange(10)
    y = -0.3 * x + np.random.default_rng(5).normal(0, 0.04, 10)
    fit = fit_experience(quotes(y, x), prior("pump"))
    years = np.arange(1.0, 16.0)
    made = fit.project(["pump"] * 15, 0.2 * years, years)
    assert np.all(np.diff(made.var_exponent) > 0)
    assert np.all(np.diff(made.var_process) > 0)
    blind = fit.project(["pump"] * 15, np.full(15, np.nan), years)
    assert np.all(blind.elasticity == 0)
    assert np.all(made.elasticity < 0)


def test_nothing_moves_in_no_time():
    fit = fit_experience(quotes([0, -0.1, -0.3], [0, 0.2, 0.5]), prior("pump"))
    made = fit.project(["pump", "pump"], [0.0, np.nan], [0.0, 0.0])
    for values in (made.log_ratio, made.var_exponent, made.var_process):
        np.testing.assert_allclose(values, 0.0, atol=1e-12)


def test_the_elasticity_is_the_slope_of_the_forecast():
    x = 0.2 * np.arange(8)
    fit = fit_experience(quotes(-0.5 * x, x), prior("pump"))
    low, high = fit.project(["pump"] * 2, [0.5, 0.51], [3.0, 3.0]).log_ratio
    assert (high - low) / 0.01 == pytest.approx(fit.project(["pump"], [0.5], [3.0]).elasticity[0])


def test_a_good_offer_is_expected_to_pass_when_it_is_the_newest_quote():
    x = 0.2 * np.arange(9)
    y = -0.3 * x
    y[-1] -= 0.3
    fit = fit_experience(quotes(y, x), prior("pump"))
    last = np.datetime64("2008-12-31")
    known, unknown = (fit.project(["pump"], [0.2], [1.0], start=s).log_ratio[0] for s in ([last], None))
    assert known > unknown


@pytest.mark.parametrize("at", [3, 7, 11])
def test_a_slip_of_the_decimal_point_does_not_carry_the_fit(at):
    x = 0.2 * np.arange(15)
    y = -0.3 * x + np.random.default_rng(0).normal(0, 0.03, 15)
    wrong = y.copy()
    wrong[at] += np.log(10)
    right, slipped = (fit_experience(quotes(v, x), prior("pump")).frame.loc["pump"] for v in (y, wrong))
    assert abs(right["exponent"] - slipped["exponent"]) < 0.05
    assert slipped["process_noise"] == pytest.approx(right["process_noise"], rel=0.3)
    assert "2 changes out of line" in slipped["warnings"]
    assert "out of line" not in right["warnings"]


def test_many_parts_say_more_than_one_but_not_as_many_times_more():
    """Parts of one market share its wandering, so six parts are not six proofs."""
    rng = np.random.default_rng(12)
    x = 0.2 * np.arange(7)
    market = np.cumsum(rng.normal(0, 0.05, 7))
    parts = [quotes(-0.5 * x + market + rng.normal(0, 0.05, 7), x, part=f"P{k}") for k in range(6)]
    sds = [fit_experience(pd.concat(parts[:n]), prior("pump")).frame.loc["pump", "exponent_sd"] for n in (1, 6)]
    assert sds[0] > sds[1] > sds[0] / np.sqrt(6)


@pytest.mark.parametrize(("market", "own", "low", "high"), [(0.08, 0.01, 0.75, 1.0), (0.01, 0.10, 0.0, 0.35)])
def test_what_parts_move_on_their_own_is_told_from_what_the_market_moves(market, own, low, high):
    rng = np.random.default_rng(13)
    x = 0.2 * np.arange(12)
    common = np.cumsum(rng.normal(0, market, 12))
    parts = [quotes(-0.4 * x + common + np.cumsum(rng.normal(0, own, 12)), x, part=f"P{k}") for k in range(15)]
    fit = fit_experience(pd.concat(parts), prior("pump")).frame.loc["pump"]
    assert low <= fit["shared_noise"] <= high
    assert fit["process_noise"] == pytest.approx(np.hypot(market, own), rel=0.35)


def test_one_wrong_price_among_many_parts_is_found():
    rng = np.random.default_rng(15)
    x = 0.2 * np.arange(8)
    parts = pd.concat([quotes(-0.4 * x + rng.normal(0, 0.02, 8), x, part=f"P{k}") for k in range(8)], ignore_index=True)
    slipped = parts.assign(log_price=parts["log_price"].where(parts.index != 20, parts["log_price"] + np.log(1000)))
    right, wrong = (fit_experience(t, prior("pump")).frame.loc["pump"] for t in (parts, slipped))
    assert "2 changes out of line" in wrong["warnings"]
    assert wrong["exponent"] == pytest.approx(right["exponent"], abs=0.05)


def test_order_units_and_base_change_nothing():
    """An index is a ratio: prices in another currency, volumes in another unit, rows in another order."""
    rng = np.random.default_rng(14)
    x = np.cumsum(rng.uniform(0.1, 0.3, 8))
    table = pd.concat([quotes(-0.4 * x, x), quotes(-0.3 * x, x, part="P2", first=2003)], ignore_index=True)
    other = table.sample(frac=1, random_state=1).assign(
        log_price=lambda t: t["log_price"] + np.log(0.37), log_experience=lambda t: t["log_experience"] + 5.0
    )
    before = table.copy()
    one, two = (fit_experience(t, prior("pump")).frame for t in (table, other))
    pd.testing.assert_frame_equal(table, before)
    numbers = one.select_dtypes("number").columns
    np.testing.assert_allclose(one[numbers].to_numpy(), two[numbers].to_numpy(), rtol=1e-7, atol=1e-9)


def test_of_many_quotes_of_one_part_the_newest_price_stays_what_it_is():
    """Two hundred quotes at uneven dates, put on forty spans: each span is the change between two of the quotes."""
    rng = np.random.default_rng(17)
    days = np.datetime64("2005-01-01") + np.sort(rng.choice(7000, 200, replace=False))
    y, x = np.cumsum(rng.normal(-0.01, 0.05, 200)), np.cumsum(rng.uniform(0, 0.03, 200))
    table = pd.DataFrame({"commodity": "pump", "part_no": "P1", "date": days, "log_price": y, "log_experience": x})
    changes = within_part_changes(table, ("pump",))
    series = series_of(changes, 0, noise=Noise(0.01, 0.2, 1.0), indexed=True)
    assert len(series.start) == MOST_SPANS
    stated = dict(zip(years_since_2000(days), zip(y, x, strict=True), strict=True))
    for k, start in enumerate(series.start):
        price, grown = np.subtract(stated[series.end[k]], stated[start])
        assert (series.log_price[k], series.log_experience[k]) == (pytest.approx(price), pytest.approx(grown))
    assert series.end[-1] == series.latest


def test_same_day_quotes_count_as_one():
    twice = pd.concat([quotes([0.0, -0.2]), quotes([0.1, -0.1])])
    assert fit_experience(twice, prior("pump")).frame.loc["pump", "n_obs"] == 1


def test_own_quotes_are_counted_as_quotes_and_those_of_parts_that_changed():
    """The changes between them were counted: two quotes of one part passed for one, beside a part with one alone."""
    several = pd.concat([quotes([0.0, -0.2, -0.3]), quotes([0.1, -0.1], part="B"), quotes([0.4], part="C")])
    found = fit_experience(several, prior("pump", "fan")).frame
    assert found[["n_obs", "n_quotes", "n_parts"]].to_numpy().tolist() == [[3, 5, 2], [0, 0, 0]]


def test_a_stated_prior_is_kept_and_the_pool_fills_what_is_not_stated():
    fit = fit_experience(quotes([0.0]), prior("pump", "fan", exponent_mean=0.5, exponent_sd=0.1)).frame
    assert fit.loc["fan", "exponent"] == 0.5
    assert fit.loc["fan", "drift"] == 0.0
    total = np.hypot(POOLS.with_volume.exponent_sd, POOLS.with_volume.exponent_wander)
    assert 0.1 <= fit.loc["fan", "exponent_sd"] < 0.1 * 1.35 < total
    noise = fit_experience(quotes([0.0]), prior("fan", process_noise=0.2)).frame.loc["fan", "process_noise"]
    assert noise > fit.loc["fan", "process_noise"]


def test_implied_moving_average_agrees_with_the_first_autocorrelation():
    pool = POOLS.with_volume
    theta = implied_theta(pool)
    lost = 1 - np.exp(-1 / pool.noise_memory)
    assert theta / (1 + theta**2) == pytest.approx(-(1 - pool.level_share) * lost**2 / yearly_variance(pool))
    assert implied_theta(replace(pool, level_share=1.0)) == 0


def test_misuse_is_refused():
    fit = fit_experience(quotes([0.0]), prior("pump"))
    with pytest.raises(ValueError, match="forward"):
        fit.project(["pump"], [0.1], [-1.0])
    with pytest.raises(KeyError, match="valve"):
        fit.project(["valve"], [0.1], [1.0])
    with pytest.raises(ValueError, match="priors lack trend_sd"):
        fit_experience(quotes([0.0]), prior("pump").drop(columns="trend_sd"))


def test_the_pooled_table_is_complete_or_refused(tmp_path):
    path = tmp_path / "pooled_priors.csv"
    path.write_text("figure,with_volume,without_volume\nnoise,0.1,0.1\n", encoding="utf-8")
    with pytest.raises(ValueError, match="one row for each of"):
        read_pools(path)


def test_fifty_commodities_and_five_thousand_quotes_fit_at_once():
    """How fast is measured in tests/benchmarks, not here."""
    rng = np.random.default_rng(0)
    n = 5_000
    day = rng.integers(0, 5000, n)
    commodity = rng.integers(0, 50, n)
    table = pd.DataFrame(
        {
            "commodity": np.char.mod("c%03d", commodity),
            "part_no": np.char.mod("p%05d", commodity * 12 + rng.integers(0, 12, n)),
            "date": np.datetime64("2010-01-01") + day.astype("timedelta64[D]"),
            "log_price": -0.03 * day / 365.25 + rng.normal(0, 0.05, n),
            "log_experience": 0.1 * day / 365.25,
        }
    )
    fit = fit_experience(table, prior(*(f"c{k:03d}" for k in range(50))))
    moved = fit.project(list(fit.frame.index), np.full(50, 0.1), np.ones(50)).log_ratio
    assert moved.mean() == pytest.approx(-0.03, abs=0.01)
    names = np.array(fit.frame.index)[rng.integers(0, 50, 100_000)]
    many = fit.project(names, rng.normal(0.5, 0.1, 100_000), rng.uniform(0, 9, 100_000))
    assert np.isfinite(many.log_ratio).all()


def market(noise, seed):
    """Twenty yearly prices of a market without an index."""
    return np.cumsum(np.random.default_rng(seed).normal(0, noise, 20))


def without(**changes):
    """The bundled pools, the one without volumes changed."""
    return replace(POOLS, without_volume=replace(POOLS.without_volume, **changes))


def test_the_drift_of_a_noisy_market_wanders_more_in_proportion():
    """Of published consumer prices the noisy quarter errs 2.5 times as much in ten years as the calm one."""
    table = pd.concat([quotes(market(s, 5), commodity=n) for n, s in (("calm", 0.01), ("noisy", 0.1))])
    fit = fit_experience(table, prior("calm", "noisy"), pools=without(noise_kept=1.0, wander_log_sd=0.0))
    drift, noise = fit.without_volume.drift_wander, fit.without_volume.noise
    assert drift[1] / drift[0] == pytest.approx(noise[1] / noise[0], rel=1e-9)
    assert drift[1] > 5 * drift[0]


@pytest.mark.parametrize("kept", [0.0, 0.5, 1.0])
def test_noise_ahead_is_the_markets_own_as_far_as_it_is_kept(kept):
    table = pd.concat([quotes(market(s, 6), commodity=n) for n, s in (("calm", 0.01), ("noisy", 0.1))])
    fit = fit_experience(table, prior("calm", "noisy", "unseen"), pools=without(noise_kept=kept))
    calm, noisy, unseen = fit.without_volume.noise
    times = np.exp(2 * POOLS.without_volume.noise_log_sd * np.linspace(-2.4, 2.4, 9))
    weight = np.exp(-0.5 * np.linspace(-2.4, 2.4, 9) ** 2)
    expected = POOLS.without_volume.noise**2 * (weight @ times) / weight.sum()
    assert unseen == pytest.approx(expected)  # what is known of all markets stays what it was
    if kept == 0:
        assert calm == pytest.approx(noisy) == pytest.approx(unseen)
    else:
        assert calm < 0.9 * unseen
        assert noisy > 1.1 * unseen


def test_the_more_of_the_noise_is_kept_the_further_apart_are_calm_and_noisy_markets():
    table = pd.concat([quotes(market(s, 6), commodity=n) for n, s in (("calm", 0.01), ("noisy", 0.1))])
    ratios = []
    for kept in (0.3, 0.6, 0.9):
        noise = fit_experience(table, prior("calm", "noisy"), pools=without(noise_kept=kept)).without_volume.noise
        ratios.append(noise[1] / noise[0])
    assert ratios == sorted(ratios)
    assert ratios[-1] > 2 * ratios[0]
