"""Time value of money, value of information, ranges and sums of lognormals against tables and textbook cases."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from bomaudit.decide.draws import REPLICATES, normal_scores, stated_shape
from bomaudit.decide.simulate import standard_error, stated_ranges
from bomaudit.decide.time_value import (
    annuity,
    discounted_years,
    energy_in_use,
    payback_years,
    present_value,
    real_rate,
)
from bomaudit.decide.value_of_asking import (
    gain_from_asking,
    most_it_could_be,
    perfect_information,
    regress,
    unit_normal_loss,
)


@pytest.mark.parametrize(
    ("rate", "years", "printed"),
    [
        (0.05, 10, 7.7217), (0.08, 10, 6.7101), (0.10, 5, 3.7908), (0.10, 10, 6.1446), (0.12, 8, 4.9676),
        (0.06, 20, 11.4699),
    ],
)  # fmt: skip
def test_annuity_factors_as_printed_in_textbooks(rate, years, printed):
    """Present-value-of-annuity table of any finance text, e.g. Brealey, Myers and Allen, appendix; printed to 4 places
    (the printed digits are from memory; (1 - (1 + r)^-n) / r gives the same)."""
    assert annuity(years, rate=rate) == pytest.approx(printed, abs=5e-5)
    assert annuity(years, rate=rate) == pytest.approx((1 - (1 + rate) ** -years) / rate, rel=1e-12)


def test_net_present_value_of_a_textbook_project():
    """-1000 now, +400 for three years at 10 %: -5.2592, by exact arithmetic; its internal rate is 9.701026 %."""
    assert present_value([-1000, 400, 400, 400], rate=0.10) == pytest.approx(-5.2592, abs=5e-5)
    assert present_value([-1000, 400, 400, 400], rate=0.09701026) == pytest.approx(0.0, abs=1e-4)


def test_growing_annuity():
    """First payment 100, growth 2 %, rate 8 %, 10 years: 725.6162, by C/(r-g) (1 - ((1+g)/(1+r))^n)."""
    value = 100 * discounted_years([10.0], rate=0.08, timing="year_end", growth=[0.02])[0]
    assert value == pytest.approx(725.6162, abs=5e-5)


def test_mid_year_is_half_a_year_of_interest_above_year_end():
    """Mid-year convention of company valuation: factor (1 + r)^0.5 on the year-end value (any valuation text)."""
    end, mid = (discounted_years([7.0], rate=0.09, timing=t)[0] for t in ("year_end", "mid_year"))
    assert mid / end == pytest.approx(1.09**0.5, rel=1e-12)


def test_energy_in_use_of_a_lamp():
    """50 W for 4,000 h a year at 0.20 a kWh: 40.00 a year, 238.8519 over 8 years at 7 %; one watt 4.7770. [exact]"""
    worth = energy_in_use([50.0, 1.0], 1.0, 4000.0, 0.20, 8.0, rate=0.07, timing="year_end")
    assert worth == pytest.approx([238.8519, 4.7770], abs=5e-5)


def test_energy_is_paid_at_each_operating_point_for_its_share_of_the_time():
    """A duty cycle adds up to its mean power: 100 W for 10 % and 20 W for 90 % are 28 W on average. [exact]"""
    points = energy_in_use([100.0, 20.0], [0.1, 0.9], 1000.0, 0.25, 5.0, rate=0.05, timing="mid_year")
    mean = energy_in_use(28.0, 1.0, 1000.0, 0.25, 5.0, rate=0.05, timing="mid_year")
    assert points.sum() == pytest.approx(mean[0], rel=1e-12)


def test_payback_is_cost_over_yearly_saving():
    """Undiscounted payback, any cost accounting text: 60,000 / 15,000 a year = 4 years; never without a saving."""
    assert payback_years([60_000, 60_000, 0], [15_000, -1, 10])[0] == 4.0
    assert np.isnan(payback_years([60_000], [-1.0])[0])
    assert payback_years([0.0], [10.0])[0] == 0.0


def test_real_rate_is_fisher():
    """Fisher (1930): (1 + nominal) = (1 + real)(1 + inflation); 8 % at 2 % is 5.88 %. [exact]"""
    assert real_rate(0.08, 0.02) == pytest.approx(0.0588235, abs=1e-7)


def test_expected_value_of_perfect_information_thompson_lumber():
    """Render, Stair and Hanna, Quantitative Analysis for Management, chapter on decision analysis: large plant 200,000
    or -180,000, small plant 100,000 or -20,000, nothing 0; even odds. Expected values 10,000 and 40,000, with perfect
    information 100,000, so EVPI 60,000."""
    payoff = np.array([[200_000.0, -180_000.0], [100_000.0, -20_000.0]])
    assert payoff.mean(axis=1) == pytest.approx([10_000, 40_000])
    assert perfect_information(payoff) == pytest.approx(60_000)


def test_value_of_information_of_the_linear_normal_case():
    """Schlaifer (1959): prior net benefit N(10, 30²), act above 0: EVPI = 30 L(1/3) = 7.6271, L(1/3) = 0.254236."""
    assert unit_normal_loss(1 / 3) == pytest.approx(0.254236, abs=5e-7)
    score = normal_scores(1, draws=4096, seed=1)
    benefit = 10 + 30 * score
    assert perfect_information(benefit) == pytest.approx(7.6271, rel=3e-3)
    assert regress(benefit, score).value()[0] == pytest.approx(7.6271, rel=3e-3)
    assert most_it_could_be([10.0], [30.0])[0] >= 7.6271


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_value_of_a_noisy_observation_of_the_linear_normal_case(share):
    """Raiffa and Schlaifer (1961), preposterior analysis: the posterior mean has sd σ* = σ sqrt(reliability), so
    EVSI = σ* L(|m| / σ*)."""
    score = normal_scores(1, draws=4096, seed=2)
    reduced = 30 * np.sqrt(share)
    expected = reduced * unit_normal_loss(10 / reduced)
    assert regress(10 + 30 * score, score).value(share)[0] == pytest.approx(float(expected), rel=5e-3)


def test_pert_mean_and_spread():
    """Malcolm, Roseboom, Clark and Fazar (1959): mean (a + 4m + b) / 6; the Beta behind it has variance
    (μ - a)(b - μ) / 7. Optimistic 2, most likely 4, pessimistic 12: mean 5."""
    ranges = stated_ranges(*(np.array([x]) for x in (0, 2.0, 4.0, 12.0, 0.0)), spread="pert")
    assert ranges.mean[0] == 5.0
    drawn = 2 + 10 * stated_shape([0.2], normal_scores(1, draws=4096, seed=3), spread="pert")
    assert drawn.mean() == pytest.approx(5.0, abs=2e-3)
    assert drawn.std() == pytest.approx(ranges.sd[0], rel=5e-3)
    assert ranges.sd[0] ** 2 == pytest.approx(3.0 * 7.0 / 7.0)


def test_triangular_mean_and_spread():
    """Triangular distribution, any text: mean (a + m + b) / 3, variance (a² + m² + b² - am - ab - mb) / 18."""
    ranges = stated_ranges(*(np.array([x]) for x in (0, 2.0, 4.0, 12.0, 0.0)), spread="triangular")
    assert (ranges.mean[0], ranges.sd[0] ** 2) == (6.0, pytest.approx((4 + 16 + 144 - 8 - 24 - 48) / 18))
    drawn = 2 + 10 * stated_shape([0.2], normal_scores(1, draws=4096, seed=4), spread="triangular")
    assert drawn.mean() == pytest.approx(6.0, abs=3e-3)
    assert drawn.std() == pytest.approx(ranges.sd[0], rel=5e-3)


@pytest.mark.parametrize(
    ("parts", "correlation", "mean", "variance", "quantiles"),
    [
        (([1, 1], [0.5, 0.5]), 0.0, 2.26630, 0.72939, (1.1739, 2.1199, 3.8590)),
        (([1, 1], [0.5, 0.5]), 0.5, 2.26630, 1.07132, (1.0083, 2.0613, 4.2177)),
        (([10, 20, 5], [0.2, 0.3, 0.5]), 0.0, 36.78831, 54.58226, (26.309, 35.936, 50.170)),
        (([1] * 10, [0.3] * 10), 0.0, 10.46028, 1.03043, (8.8811, 10.4102, 12.2116)),
        (([1] * 10, [1.0] * 10), 0.0, 16.48721, 46.70774, (8.3891, 15.1455, 28.9631)),
    ],
)
def test_sum_of_lognormals(parts, correlation, mean, variance, quantiles):
    """Fenton, IRE Trans. Comm. Systems 8 (1960): exact mean and variance of a sum of (correlated) lognormals; 5, 50 and
    95 % quantiles from two million plain random draws."""
    medians, sds = parts
    n, sds = len(medians), np.array(sds)[:, None]
    scores = normal_scores(n + 1, draws=1 << 15, seed=5)
    joint = np.sqrt(correlation) * scores[:1] + np.sqrt(1 - correlation) * scores[1:]
    total = (np.array(medians)[:, None] * np.exp(sds * joint)).sum(axis=0)
    assert total.mean() == pytest.approx(mean, rel=3e-3)
    assert total.var() == pytest.approx(variance, rel=0.03)
    assert np.quantile(total, [0.05, 0.5, 0.95]) == pytest.approx(quantiles, rel=7e-3)


def test_probability_that_one_lognormal_is_below_another():
    """Closed form: ln A - ln B is normal, so P(A < B) = Φ(ln(b/a) / sqrt(s² + t² - 2ρst)); held to 3 sd."""
    scores = normal_scores(3, draws=4096, seed=6)
    a = np.log(10.0) + 0.1 * scores[0] + 0.2 * scores[1]
    b = np.log(11.0) + 0.1 * scores[0] + 0.15 * scores[2]
    below = a < b
    assert standard_error(below) <= 0.005
    closed = ndtr(np.log(1.1) / np.hypot(0.2, 0.15))
    assert below.mean() == pytest.approx(float(closed), abs=3 * max(standard_error(below), 5e-4))


def test_quasi_random_draws_beat_plain_ones_and_their_error_is_honest():
    """The spread of the replicates is the error: over 60 seeds the error against the closed form is within 2 of the
    reported standard errors about 19 times in 20 (Student t with 7 degrees of freedom: 92 %), and far below 0.78 %."""
    errors, reported = [], []
    for seed in range(60):
        score = normal_scores(8, draws=4096, seed=seed)
        flags = score.sum(axis=0) < np.sqrt(8) * ndtri(0.3)
        errors.append(flags.mean() - 0.3)
        reported.append(standard_error(flags))
    inside = np.abs(errors) <= 2 * np.array(reported)
    assert inside.mean() > 0.80
    assert np.sqrt(np.mean(np.square(errors))) < 0.5 * np.sqrt(0.21 / 4096)
    assert REPLICATES == 8


def test_gain_below_a_booked_cost_is_the_put_of_a_lognormal():
    """Partial expectation of the lognormal (any text on option pricing): by quadrature over 200,000 quantiles."""
    price = 90 * np.exp(0.25 * ndtri((np.arange(200_000) + 0.5) / 200_000))
    by_hand = np.maximum(100 - price, 0).mean()
    assert gain_from_asking(100.0, 90.0, 0.25) == pytest.approx(by_hand, rel=1e-4)
    assert gain_from_asking(100.0, 90.0, 0.0) == pytest.approx(10.0)
    assert gain_from_asking(100.0, 120.0, 0.0) == 0.0
