"""Covariances of wandering rates and prices, against numerical integration and simulation."""

import numpy as np
import pytest

from bomaudit.curves.wander import (
    Spans,
    deviation_covariance,
    level_covariance,
    rate_carry,
    rate_covariance,
    rate_renewal,
)

SPANS = Spans(np.array([0.0, 1.0, 0.5, 4.0]), np.array([1.0, 3.0, 2.0, 4.1]))


@pytest.mark.parametrize("memory", [0.3, 2.0, 50.0])
def test_mean_rates_of_two_spans_covary_as_their_double_integral(memory):
    closed = rate_covariance(SPANS, memory)
    for i in range(4):
        for j in range(4):
            a, b, c, d = SPANS.start[i], SPANS.end[i], SPANS.start[j], SPANS.end[j]
            s, t = (np.linspace(u, v, 4001)[:-1] + (v - u) / 8000 for u, v in ((a, b), (c, d)))
            numeric = np.mean([np.exp(-np.abs(x - t) / memory).mean() for x in s[2::4]])
            assert closed[i, j] == pytest.approx(numeric, rel=2e-3)


def test_a_rate_that_never_forgets_is_one_rate():
    np.testing.assert_allclose(rate_covariance(SPANS, 1e7), 1.0, rtol=1e-5)
    assert rate_carry(np.array([0.0, 10.0]), 1e7) == pytest.approx([1.0, 1.0])
    assert rate_renewal(np.array([0.0, 10.0]), 1e7) == pytest.approx([0.0, 0.0], abs=1e-5)


@pytest.mark.parametrize("years", [0.2, 3.0, 25.0])
def test_what_is_carried_and_what_is_renewed_add_up_to_the_whole_variance(years):
    """Variance of a mean rate = what its present value tells + what is new."""
    one = Spans(np.array([0.0]), np.array([years]))
    whole = rate_covariance(one, 5.0)[0, 0]
    assert rate_carry(np.array(years), 5.0) ** 2 + rate_renewal(np.array(years), 5.0) == pytest.approx(whole, rel=1e-9)


def test_the_level_counts_shared_years_only():
    np.testing.assert_allclose(level_covariance(SPANS)[0], [1.0, 0.0, 0.5, 0.0])


def test_passing_deviations_cancel_between_neighbouring_changes():
    """Long after, two neighbouring changes have the covariance of a shared deviation with the opposite sign."""
    spans = Spans(np.array([0.0, 100.0]), np.array([100.0, 200.0]))
    np.testing.assert_allclose(deviation_covariance(spans, 1.0), [[2, -1], [-1, 2]], atol=1e-12)


def test_covariances_by_simulation():
    rng = np.random.default_rng(4)
    step, memory = 0.01, 0.7
    keep = np.exp(-step / memory)
    path = np.empty((20_000, 301))
    path[:, 0] = rng.normal(size=20_000)
    for k in range(300):
        path[:, k + 1] = keep * path[:, k] + np.sqrt(1 - keep**2) * rng.normal(size=20_000)
    ends = [(0, 100), (100, 300), (50, 200)]
    moved = np.array([path[:, b] - path[:, a] for a, b in ends])
    spans = Spans(np.array([0.0, 1.0, 0.5]), np.array([1.0, 3.0, 2.0]))
    np.testing.assert_allclose(np.cov(moved), deviation_covariance(spans, memory), atol=0.05)
    means = np.array([path[:, a:b].mean(axis=1) for a, b in ends])
    np.testing.assert_allclose(np.cov(means), rate_covariance(spans, memory), atol=0.03)
