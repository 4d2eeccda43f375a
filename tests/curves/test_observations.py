"""From quotes to what exponents are fitted to."""

import numpy as np
import pandas as pd
import pytest
from made_market import (
    AS_OF,
    EURO,
    bare_library,
    flat_inflation,
    make_lines,
    make_prices,
    make_quotes,
    make_volumes,
)

from bomaudit.curves.calibration import bundled_pools
from bomaudit.curves.inputs import read_input_prices
from bomaudit.curves.observations import booked_as_quotes, observe, quotes_with_market
from bomaudit.curves.priors import build_catalogue
from bomaudit.curves.volumes import read_volumes
from bomaudit.settings import ModelSection

TODAY = np.datetime64(AS_OF, "D")
CATALOGUE = build_catalogue(bare_library(), {"gadget"})
VOLUMES = read_volumes(make_volumes("gadget", 2010, [10.0] * 16), make_volumes("x", 2010, []), as_of=AS_OF)[0]


def observed(quotes, lines, prices=None, slope=-0.1):
    prices = flat_inflation() if prices is None else prices
    inputs, _ = read_input_prices(
        prices, prices.iloc[:0], baskets=CATALOGUE.frame["basket"], currency="EUR", as_of=AS_OF
    )
    slopes = pd.Series(slope, index=CATALOGUE.frame.index)
    return observe(
        quotes_with_market(quotes, lines), catalogue=CATALOGUE, volumes=VOLUMES, inputs=inputs, slopes=slopes,
        fx=EURO, model=ModelSection(), today=TODAY,
    )  # fmt: skip


def test_a_price_that_follows_inflation_is_constant_in_real_money():
    general = make_prices("general_inflation", 2010, 100 * 1.03 ** np.arange(17))
    then = np.array(["2014-07-01", "2018-07-01", "2022-07-01"])
    prices = 10 * 1.03 ** np.array([0, 4, 8])
    quotes = make_quotes(*((("P0", d, p)) for d, p in zip(then, prices, strict=True)))
    found = observed(quotes, make_lines(commodity="gadget"), general)
    np.testing.assert_allclose(np.diff(found["log_price"]), 0, atol=2e-3)


def test_material_movements_are_taken_off():
    copper = make_prices("copper", 2010, [100.0] * 8 + [200.0] * 9)
    quotes = make_quotes(("P0", "2015-01-01", 10.0), ("P0", "2020-01-01", 10 * 2**0.55))
    lines = make_lines(commodity="wound_component")
    frame = CATALOGUE.frame.loc["wound_component"]
    assert "copper" in frame["basket"]
    plain = observed(quotes, lines)["log_price"].diff().iloc[1]
    held = observed(quotes, lines, pd.concat([flat_inflation(), copper]))["log_price"].diff().iloc[1]
    weight = frame["materials_share"] * np.log(0.6 * 2 + 0.4)
    assert plain - held == pytest.approx(weight, abs=1e-3)


def test_prices_in_two_currencies_are_compared_in_one():
    """12.043 USD on 2 January 2015 were 10 EUR (ECB reference rate 1.2043)."""
    quotes = make_quotes(("P0", "2015-01-02", 12.043), ("P0", "2016-01-04", 10.0), currency=["USD", "EUR"])
    found = observed(quotes, make_lines(commodity="gadget"))
    assert found["log_price"].diff().iloc[1] == pytest.approx(0, abs=1e-9)


def test_experience_of_a_custom_part_counts_by_the_spillover():
    quotes = make_quotes(("P0", "2015-01-02", 1.0), ("P0", "2024-01-04", 1.0))
    whole = observed(quotes, make_lines(commodity="gadget"))["log_experience"].diff().iloc[1]
    part = observed(quotes, make_lines(commodity="gadget", sourcing="custom"))["log_experience"].diff().iloc[1]
    assert part == pytest.approx(0.5 * whole)
    assert whole > 0


def test_quantity_is_taken_off_where_every_quote_states_one():
    rows = ("P0", "2015-01-02", 10.0), ("P0", "2016-01-04", 10 * 100**-0.1)
    found = observed(make_quotes(*rows, min_qty=[1.0, 100.0]), make_lines(commodity="gadget"))
    assert found["log_price"].diff().iloc[1] == pytest.approx(0, abs=1e-9)
    some = observed(make_quotes(*rows, min_qty=[0.0, 100.0]), make_lines(commodity="gadget"))
    assert some["log_price"].diff().iloc[1] == pytest.approx(-0.1 * np.log(100))


def test_an_order_and_the_need_of_a_year_are_not_compared():
    rows = ("P0", "2015-01-02", 10.0), ("P0", "2016-01-04", 10.0)
    mixed = make_quotes(*rows, min_qty=[100.0, 0.0], annual_qty=[np.nan, 50_000.0])
    assert observed(mixed, make_lines(commodity="gadget"))["log_price"].diff().iloc[1] == pytest.approx(0, abs=1e-9)
    both = make_quotes(*rows, min_qty=[100.0, 0.0], annual_qty=[1000.0, 50_000.0])
    moved = observed(both, make_lines(commodity="gadget"))["log_price"].diff().iloc[1]
    assert moved == pytest.approx(0.1 * np.log(50))


def test_noise_is_what_a_kind_has_beyond_any_stated_price():
    quotes = make_quotes(("P0", "2015-01-02", 1.0), ("P0", "2016-01-02", 1.0), kind=["firm", "catalogue"])
    found = observed(quotes, make_lines(commodity="gadget"))["noise"]
    pool = bundled_pools().with_volume
    passing = (1 - pool.level_share) * pool.noise**2
    assert found.tolist() == pytest.approx([0.0, np.sqrt(ModelSection().quote_noise["catalogue"] ** 2 - passing)])


def test_the_bom_says_what_a_quoted_part_is():
    quotes = make_quotes(("P0", "2015-01-02", 1.0), ("Q", "2016-01-02", 1.0), commodity=["pump", "valve"])
    told = quotes_with_market(quotes, make_lines(commodity="gadget", sourcing="custom"))
    assert told["commodity"].tolist() == ["gadget", "valve"]
    assert told["custom"].tolist() == [True, False]


def test_quotes_of_unknown_parts_are_no_observations():
    assert observed(make_quotes(("Q", "2015-01-02", 1.0)), make_lines()).empty


def test_a_dated_booked_cost_is_an_observation_once_a_part():
    lines = make_lines(3, part_no=["A", "A", "B"], basis=["cost_date", "cost_date", "quote"], commodity="gadget")
    found = booked_as_quotes(lines)
    assert found["part_no"].tolist() == ["A"]
    assert found["kind"].tolist() == [""]


@pytest.mark.parametrize(("needed", "price"), [(5000.0, 10.0), (150.0, 13.0), (np.nan, 20.0)])
@pytest.mark.parametrize("turned", [1, -1])
def test_price_breaks_beside_a_price_for_no_stated_quantity_are_no_movement(needed, price, turned):
    """A part bought at 10 is offered at 20, 13 and 10 for 1, 100 and 1000: the mean of these was a rise of 32 %."""
    rows = ("P0", "2015-01-02", 10.0), *(("P0", "2016-01-04", p) for p in (20.0, 13.0, 10.0))
    quotes = make_quotes(*rows[::turned], min_qty=[0.0, 1.0, 100.0, 1000.0][::turned])
    found = observed(quotes, make_lines(commodity="gadget", annual_qty_now=needed))
    assert found["log_price"].diff().dropna().tolist() == pytest.approx([np.log(price / 10)])


def test_price_breaks_beside_price_breaks_all_count():
    rows = [("P0", day, p) for day in ("2015-01-02", "2016-01-04") for p in (10.0, 10 * 100**-0.1)]
    found = observed(make_quotes(*rows, min_qty=[1.0, 100.0] * 2), make_lines(commodity="gadget", annual_qty_now=500.0))
    assert len(found) == 4
    assert np.ptp(found["log_price"]) == pytest.approx(0, abs=1e-9)
