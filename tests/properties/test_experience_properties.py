"""What must hold of any forecast: more time, no less doubt; units do not matter; a rate stays between data and pool."""

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from bomaudit.curves.experience import fit_experience
from bomaudit.curves.rates import PRIOR_COLUMNS

steps = st.lists(st.tuples(st.floats(-0.6, 0.6), st.floats(0.0, 0.8)), min_size=1, max_size=12)
PRIOR = pd.DataFrame(np.nan, index=pd.Index(["pump"]), columns=list(PRIOR_COLUMNS))


def quotes(changes, *, price=0.0, volume=0.0):
    moved = np.array(changes)
    n = len(moved) + 1
    return pd.DataFrame(
        {
            "commodity": "pump",
            "part_no": "P1",
            "date": pd.date_range("2001-12-31", periods=n, freq="YE"),
            "log_price": price + np.concatenate([[0], np.cumsum(moved[:, 0])]),
            "log_experience": volume + np.concatenate([[0], np.cumsum(moved[:, 1])]),
        }
    )


@settings(max_examples=25)
@given(changes=steps, growth=st.floats(0.0, 0.5))
def test_doubt_never_shrinks_with_the_span(changes, growth):
    fit = fit_experience(quotes(changes), PRIOR)
    years = np.linspace(0, 20, 9)
    for grown in (growth * years, np.full(9, np.nan)):
        made = fit.project(["pump"] * 9, grown, years)
        assert np.all(np.diff(made.var_process) >= -1e-12)
        assert np.all(made.var_exponent >= 0)
        assert np.all(made.dof > 2)
        assert np.all(np.isfinite(made.log_ratio))


@settings(max_examples=25)
@given(changes=steps, price=st.floats(-9, 9), volume=st.floats(-9, 20))
def test_units_of_price_and_volume_do_not_matter(changes, price, volume):
    one = fit_experience(quotes(changes), PRIOR).project(["pump"], [0.4], [3.0])
    two = fit_experience(quotes(changes, price=price, volume=volume), PRIOR).project(["pump"], [0.4], [3.0])
    np.testing.assert_allclose(one.log_ratio, two.log_ratio, atol=1e-6)
    np.testing.assert_allclose(one.var_exponent + one.var_process, two.var_exponent + two.var_process, rtol=1e-5)


@settings(max_examples=25)
@given(n=st.integers(2, 15), rate=st.floats(-0.3, 0.3))
def test_a_steady_trend_is_carried_on_between_the_pools_and_its_own(n, rate):
    fit = fit_experience(quotes([(rate, 0.2)] * n).assign(log_experience=np.nan), PRIOR)
    pooled = fit.pools.without_volume.drift_mean
    moved = fit.project(["pump"], [np.nan], [1.0]).log_ratio[0]
    low, high = sorted([pooled, rate])
    assert low - 1e-6 <= moved <= high + 1e-6
