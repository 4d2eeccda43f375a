"""A break in the rate is flagged; a steady rate is not, at the stated level."""

import numpy as np
import pytest

from bomaudit.curves.breaks import apart, rate_break, warnings_of
from bomaudit.curves.pooling import Series


def series(price, experience=None):
    n = len(price)
    start = np.arange(n, dtype=float)
    none = np.zeros((n, n))
    x = np.zeros(n) if experience is None else np.asarray(experience, dtype=float)
    years = np.ones(n)
    return Series(start, start + 1, np.asarray(price, dtype=float), x, years, none, none, none + 1, float(n))


def test_learning_that_stops_is_flagged_with_its_year():
    noise = np.random.default_rng(1).normal(0, 0.02, 20)
    price = np.where(np.arange(20) < 11, -0.12, 0.0) + noise
    assert "rate of change broke about 2010" in warnings_of(series(price), 0)


def test_a_rate_per_doubling_that_turns_is_flagged():
    rng = np.random.default_rng(2)
    growth = rng.uniform(0.1, 0.4, 18)
    price = growth * np.where(np.arange(18) < 9, -0.4, 0.5) + rng.normal(0, 0.02, 18)
    assert "broke" in warnings_of(series(price, growth), 0)


@pytest.mark.parametrize(("changes", "most"), [(8, 0.13), (20, 0.09), (150, 0.06)])
def test_steady_rates_are_seldom_flagged(changes, most):
    """Level of Andrews's critical value, 5 %; the statistic is a little large in small samples."""
    rng = np.random.default_rng(0)
    flagged = [
        np.isfinite(rate_break(rng.normal(-0.1, 0.1, changes), np.ones(changes), np.arange(changes) + 1.0))
        for _ in range(1000)
    ]
    assert np.mean(flagged) < most


def test_too_few_changes_are_not_judged():
    assert np.isnan(rate_break(np.array([-0.1] * 3 + [0.5] * 3), np.ones(6), np.arange(6.0)))


def test_a_short_span_and_outliers_are_said():
    text = warnings_of(series([-0.05] * 5, [0.1] * 5), 2)
    assert "0.7 doublings" in text
    assert "2 changes out of line" in text
    assert warnings_of(series([]), 0) == ""


def test_short_spans_are_told_apart_from_what_else_is_wrong():
    short = warnings_of(series([-0.05] * 5, [0.1] * 5), 0)
    both = warnings_of(series([-0.05] * 5, [0.1] * 5), 2)
    spans, others = apart({"pump": both, "valve": "", "motor": short})
    assert list(spans) == ["motor", "pump"]
    assert spans["motor"] == pytest.approx(0.5 / np.log(2), abs=0.05)
    assert others == {"pump": "2 changes out of line, weighed down"}
