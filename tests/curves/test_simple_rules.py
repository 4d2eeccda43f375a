"""The four rules without a model, each against its own arithmetic."""

import numpy as np
import pandas as pd
import pytest
from made_market import bare_library, make_curves, make_lines, make_prices, make_quotes

from bomaudit.curves.simple_rules import RIVALS, rival_prices

KNOWN = make_quotes(("P0", "2016-06-30", 10.0), ("P0", "2020-06-30", 8.0), ("P1", "2018-06-30", 5.0)).assign(
    commodity=["pump", "pump", "sensor"]
)


def rivals(known):
    cases = pd.DataFrame(
        {
            "commodity": ["pump", "sensor", "gadget"], "price_currency": ["EUR", "TRY", "USD"],
            "booked_cost": [10.0, 20.0, 30.0],
            "basis_date": pd.Timestamp("2016-12-31"), "quote_date": pd.Timestamp("2020-12-31"), "age_years": 4.0,
        }
    )  # fmt: skip
    levels = (("EUR", 1.02), ("TRY", 1.3))
    general = [make_prices("general_inflation", 2010, 100 * g ** np.arange(18), c) for c, g in levels]
    curves = make_curves(make_lines(), library=bare_library(), input_prices=pd.concat(general))
    return rival_prices(cases, known, curves, price_down=0.03)


def test_each_rule_is_its_own_arithmetic():
    """Booked costs are in euros: inflation of the lira, 30 % a year here, is not theirs."""
    got, booked = rivals(KNOWN), np.array([10.0, 20.0, 30.0])
    assert tuple(got) == RIVALS
    np.testing.assert_array_equal(got["unchanged"], booked)
    np.testing.assert_allclose(got["price_down"], booked * 0.97**4)
    np.testing.assert_allclose(got["inflation"], booked * 1.02**4, rtol=1e-3)


def test_a_market_without_two_quotes_of_a_part_follows_the_trend_of_all():
    """Pumps fell from 10 to 8 in four years; the one quote of a sensor says nothing of its trend, nor of all."""
    np.testing.assert_allclose(rivals(KNOWN)["trend"], np.array([10.0, 20.0, 30.0]) * 0.8, rtol=1e-3)


@pytest.mark.parametrize("rows", [0, 1])
def test_without_any_pair_of_quotes_there_is_no_trend(rows):
    np.testing.assert_allclose(rivals(KNOWN.tail(rows))["trend"], [10.0, 20.0, 30.0])
