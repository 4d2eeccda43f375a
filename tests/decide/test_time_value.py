"""Discounting year by year, against a loop written out, and its limits."""

import numpy as np
import pytest

from bomaudit.decide.time_value import discounted_years, payback_years

RATE, GROWTH = 0.07, 0.03


def by_hand(years, *, mid):
    """Sum of each year's share, grown and discounted from the middle or the end of what is left of it."""
    total, k = 0.0, 0
    while k < years:
        share = min(years - k, 1.0)
        when = k + (share / 2 if mid else share)
        total += share * (1 + GROWTH) ** k / (1 + RATE) ** when
        k += 1
    return total


@pytest.mark.parametrize("timing", ["mid_year", "year_end"])
def test_years_of_every_length_together(timing):
    years = [0.0, 0.4, 1.0, 2.5, 10.0]
    got = discounted_years(years, rate=RATE, timing=timing, growth=GROWTH)
    assert got == pytest.approx([by_hand(y, mid=timing == "mid_year") for y in years], rel=1e-12)


def test_missing_years_stay_missing_and_cost_nothing():
    got = discounted_years([np.nan], rate=RATE, timing="mid_year")
    assert np.isnan(got).all()
    assert np.isnan(discounted_years([np.nan, 1.0], rate=0.0, timing="mid_year")).tolist() == [True, False]


def test_one_negative_among_others_is_refused():
    with pytest.raises(ValueError, match="must be >= 0"):
        discounted_years([3.0, -0.01], rate=RATE, timing="mid_year")
    assert discounted_years([0.5, 0.0], rate=0.0, timing="mid_year").tolist() == [0.5, 0.0]


def test_what_saves_nothing_never_pays_back():
    got = payback_years([1000.0, 1000.0, 1000.0], [0.0, -5.0, 0.5])
    assert np.isnan(got[:2]).all()
    assert got[2] == pytest.approx(2000.0)
