"""Price breaks, pooled by commodity."""

import numpy as np
import pandas as pd
import pytest
from made_market import make_quotes
from statsmodels.regression.linear_model import OLS

from bomaudit.curves.own_volume import fit_price_breaks, log_quantity_change

PRIORS = pd.DataFrame({"price_break_slope": [-0.1, -0.2], "price_break_sd": [0.06, 0.08]}, index=["pump", "screw"])
QUANTITIES = (10.0, 100.0, 1000.0)


def breaks(parts, slope, *, noise=0.0, commodity="pump", seed=0):
    rng = np.random.default_rng(seed)
    rows = [
        (f"{commodity}{p}", "2020-01-01", (5 + p) * q**slope * np.exp(rng.normal(0, noise)))
        for p in range(parts) for q in QUANTITIES
    ]  # fmt: skip
    return make_quotes(*rows, min_qty=list(QUANTITIES) * parts, commodity=commodity)


def test_without_breaks_the_prior_speaks():
    fit = fit_price_breaks(make_quotes(("P", "2020-01-01", 5.0)), PRIORS)
    assert fit["slope"].tolist() == [-0.1, -0.2]
    assert (fit["n_breaks"] == 0).all()
    assert (fit["slope_sd"] >= PRIORS["price_break_sd"]).all()


def test_many_sets_of_breaks_outweigh_the_prior():
    fit = fit_price_breaks(breaks(60, -0.25, noise=0.01), PRIORS)
    assert fit.loc["pump", "slope"] == pytest.approx(-0.25, abs=0.02)
    assert fit.loc["pump", "n_breaks"] == 60
    assert fit.loc["screw", "slope"] == -0.2


def test_one_set_moves_the_slope_part_of_the_way():
    slope = fit_price_breaks(breaks(1, -0.3), PRIORS).loc["pump", "slope"]
    assert -0.3 < slope < -0.1


def test_the_slope_within_sets_is_that_of_a_regression_with_a_level_per_set():
    """Against statsmodels: with a flat prior and equal sets, pooled slopes are ordinary least squares with dummies."""
    quotes = breaks(12, -0.18, noise=0.05, seed=3)
    flat = PRIORS.assign(price_break_sd=1e6)
    dummies = pd.get_dummies(quotes["part_no"]).to_numpy(dtype=float)
    design = np.column_stack([np.log(quotes["min_qty"]), dummies])
    expected = OLS(np.log(quotes["unit_price"]).to_numpy(), design).fit().params[0]
    # equal spans give each set the same weight but for its own noise, which is of one size here
    assert fit_price_breaks(quotes, flat).loc["pump", "slope"] == pytest.approx(expected, abs=0.01)


def test_prices_of_different_days_suppliers_or_currencies_are_no_breaks():
    rows = [("P", "2020-01-01", 10.0), ("P", "2021-01-01", 5.0)]
    for other in ({"supplier": ["a", "b"]}, {"currency": ["EUR", "USD"]}, {}):
        table = make_quotes(*rows, min_qty=[1.0, 100.0], commodity="pump", **other)
        if other:
            table["quote_date"] = pd.Timestamp("2020-01-01")
        assert fit_price_breaks(table, PRIORS).loc["pump", "n_breaks"] == 0


def test_currency_of_the_breaks_does_not_matter():
    one, other = breaks(5, -0.22), breaks(5, -0.22).assign(currency="JPY")
    other["unit_price"] *= 160
    np.testing.assert_allclose(fit_price_breaks(one, PRIORS)["slope"], fit_price_breaks(other, PRIORS)["slope"])


def test_unknown_quantities_change_nothing():
    found = log_quantity_change([100, np.nan, 0, 100], [200, 200, 200, np.nan])
    np.testing.assert_allclose(found, [np.log(2), 0, 0, 0])
