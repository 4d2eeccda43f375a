"""A booked cost is as old as the quote behind it."""

from datetime import date

import pandas as pd
import pytest

from bomaudit.frames import conform
from bomaudit.glossary import BOM, QUOTES
from bomaudit.prepare.basis import find_basis
from bomaudit.prepare.currency import reference_rates
from bomaudit.settings import ModelSection

AS_OF = date(2026, 6, 30)
FX = reference_rates("EUR")


def basis_of(booked, quotes=(), programme=None, **model):
    bom = conform(pd.DataFrame([{"part_no": "A", "currency": "EUR"} | booked]), BOM)
    frame = conform(pd.DataFrame(list(quotes), columns=list(QUOTES.names)), QUOTES)
    frame["min_qty"] = frame["min_qty"].fillna(0.0)
    return find_basis(bom, frame, fx=FX, model=ModelSection(**model), as_of=AS_OF, programme=programme).iloc[0]


def quote(day, price, currency="EUR", **more):
    return {"part_no": "A", "quote_date": day, "unit_price": price, "currency": currency, "kind": "firm"} | more


def test_an_older_quote_that_agrees_dates_the_cost():
    """The BOM was revised in 2022, but the cost in it is the quote of 2017."""
    found = basis_of(
        {"unit_cost": 10.0, "cost_date": "2022-05-01"}, [quote("2017-03-01", 10.0), quote("2020-01-01", 8.0)]
    )
    assert found["basis"] == "quote"
    assert found["basis_date"] == pd.Timestamp("2017-03-01")
    assert found["basis_kind"] == "firm"
    assert found["basis_noise"] == ModelSection().quote_noise["firm"]


def test_the_newest_agreeing_quote_wins_but_never_one_after_the_cost_date():
    quotes = [quote("2015-01-01", 10.0), quote("2017-01-01", 10.1), quote("2023-01-01", 10.0)]
    assert basis_of({"unit_cost": 10.0, "cost_date": "2018-01-01"}, quotes)["basis_date"] == pd.Timestamp("2017-01-01")


def test_without_an_agreeing_quote_the_cost_date_holds():
    found = basis_of({"unit_cost": 10.0, "cost_date": "2018-01-01"}, [quote("2017-01-01", 12.0)])
    assert (found["basis"], found["basis_date"]) == ("cost_date", pd.Timestamp("2018-01-01"))


def test_a_quote_dates_a_cost_without_a_date():
    assert basis_of({"unit_cost": 10.0}, [quote("2019-01-01", 10.0)])["basis"] == "quote"


def test_programme_date_then_a_stated_range():
    programme = basis_of({"unit_cost": 10.0}, programme=date(2015, 1, 1))
    assert (programme["basis"], programme["basis_date_sd"]) == ("programme", 0.0)
    undated = basis_of({"unit_cost": 10.0}, undated_range_years=(2.0, 8.0))
    assert undated["basis"] == "undated"
    assert undated["basis_date_sd"] == pytest.approx(6 / 12**0.5)
    assert (pd.Timestamp(AS_OF) - undated["basis_date"]).days / 365.25 == pytest.approx(5.0, abs=0.01)


def test_prices_agree_across_currencies_at_the_rate_of_the_day():
    """ECB reference rate of 2015-01-02: 1.2043 USD per EUR."""
    found = basis_of({"unit_cost": 10.0, "cost_date": "2015-06-30"}, [quote("2015-01-02", 12.043, "USD")])
    assert found["basis"] == "quote"
    assert found["price_currency"] == "USD"


def test_the_suppliers_currency_is_known_from_any_quote():
    found = basis_of({"unit_cost": 10.0, "cost_date": "2018-01-01"}, [quote("2020-01-01", 99.0, "CNY")])
    assert (found["basis"], found["price_currency"]) == ("cost_date", "CNY")


def test_of_price_breaks_on_one_day_the_agreeing_one_counts():
    quotes = [
        quote("2017-01-01", 12.0, min_qty=100, annual_qty=100),
        quote("2017-01-01", 10.0, min_qty=1000, annual_qty=1000),
    ]
    found = basis_of({"unit_cost": 10.0, "cost_date": "2018-01-01"}, quotes)
    assert found["annual_qty_then"] == 1000


def test_the_rate_is_that_of_the_day_at_which_booked_cost_and_quote_agree():
    """ECB reference rates: 1.3875 USD per EUR on 2014-05-05, 1.0385 on 2017-01-03."""
    quotes = [quote("2014-05-05", 100.0, "USD")]
    then = basis_of({"unit_cost": 100 / 1.3875, "cost_date": "2017-01-03"}, quotes)
    later = basis_of({"unit_cost": 100 / 1.0385, "cost_date": "2017-01-03"}, quotes)
    assert [f["basis_date"] for f in (then, later)] == [pd.Timestamp("2014-05-05")] * 2
    assert [f["rate_date"] for f in (then, later)] == [pd.Timestamp("2014-05-05"), pd.Timestamp("2017-01-03")]
    alone = basis_of({"unit_cost": 10.0, "cost_date": "2018-01-01"})
    assert alone["rate_date"] == alone["basis_date"]


@pytest.mark.parametrize(("supplier", "currency"), [("x", "EUR"), ("y", "USD"), ("", "USD"), ("z", "GBP")])
@pytest.mark.parametrize("turned", [1, -1])
def test_the_price_currency_is_that_of_the_lines_own_supplier(supplier, currency, turned):
    """A quote in dollars from somebody else does not make a part that is bought in pounds follow the dollar."""
    quotes = [quote("2014-01-01", 99.0, "EUR", supplier="x"), quote("2015-01-01", 99.0, "USD", supplier="y")][::turned]
    booked = {"unit_cost": 10.0, "currency": "GBP", "cost_date": "2018-01-01", "supplier": supplier}
    assert basis_of(booked, quotes)["price_currency"] == currency
    unnamed = [quote("2016-01-01", 99.0, "CNY"), *quotes]
    assert basis_of(booked, unnamed)["price_currency"] == "CNY"
