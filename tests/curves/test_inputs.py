"""Input prices between two dates, in the currency that the supplier prices in."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from made_market import EURO, make_prices

from bomaudit.curves.inputs import escalate, read_input_prices
from bomaudit.curves.spans import Spans

AS_OF = date(2026, 6, 30)
BASKETS = pd.Series(["", "copper:0.6;steel:0.4"])


def read(*tables, starter=None, as_of=AS_OF):
    own = pd.concat(tables, ignore_index=True) if tables else make_prices("x", 2020, [])
    starter = make_prices("x", 2020, []) if starter is None else starter
    return read_input_prices(own, starter, baskets=BASKETS, currency="EUR", as_of=as_of)[0]


def span(then="2015-07-02", now="2022-07-02", currency="EUR", commodity=1):
    return Spans(
        np.array([commodity]), np.array([0]), (currency,), np.array([False]),
        np.array([then], dtype="datetime64[D]"), np.asarray(np.datetime64(now)),
    )  # fmt: skip


COPPER = make_prices("copper", 2014, [100.0, 110, 120, 130, 140, 150, 160, 170, 180, 190, 200])


def test_an_average_counts_at_the_middle_of_its_period():
    found = read(COPPER).log_ratio(["copper"], np.array(["2015-07-02"], "M8[D]"), np.array(["2016-07-01"], "M8[D]"))
    assert found[0] == pytest.approx(np.log(120 / 110), abs=1e-3)


def test_quarters_and_months_count_at_their_middle_too():
    ends = pd.to_datetime(["2020-03-31", "2020-06-30", "2020-09-30", "2020-12-31"])
    quarters = make_prices("copper", 2020, [1.0, 2, 4, 8]).assign(period=ends)
    found = read(quarters).log_ratio(["copper"], np.array(["2020-02-14"], "M8[D]"), np.array(["2020-11-15"], "M8[D]"))
    assert found[0] == pytest.approx(np.log(8), abs=0.02)


def test_years_before_quarters_count_at_their_middle():
    years = make_prices("copper", 2010, [1.0, 2, 4, 8])
    quarters = make_prices("copper", 2014, [8.0] * 20).assign(
        period=pd.date_range("2014-03-31", "2018-12-31", freq="QE").to_numpy()
    )
    found = read(pd.concat([years, quarters])).log_ratio(
        ["copper"] * 2, np.array(["2010-07-02"] * 2, "M8[D]"), np.array(["2013-07-02", "2014-02-14"], "M8[D]")
    )
    np.testing.assert_allclose(found, np.log(8), atol=0.01)


def test_rebasing_an_index_changes_nothing():
    """An index is a ratio, never points: both values times 0.37."""
    rebased = COPPER.assign(value=COPPER["value"] * 0.37)
    a, b = (escalate(read(c), span(), EURO) for c in (COPPER, rebased))
    np.testing.assert_allclose(a.material, b.material)


def test_materials_move_by_their_own_series():
    steel = make_prices("steel", 2014, [50.0] * 11)
    found = escalate(read(COPPER, steel), span(), EURO)
    np.testing.assert_allclose(sorted(found.material[0]), [1.0, 180 / 110], rtol=1e-3)


def test_a_series_in_another_currency_is_carried_over_at_both_rates():
    dollars = COPPER.assign(currency="USD")
    found = escalate(read(dollars), span(), EURO).material[0].max()
    rates = EURO.rate(["USD", "USD"], np.array(["2015-07-02", "2022-07-02"], "M8[D]"))
    assert found == pytest.approx(180 / 110 * rates[1] / rates[0], rel=1e-3)


def test_a_series_in_the_suppliers_own_currency_needs_no_rate():
    dollars = COPPER.assign(currency="USD")
    assert escalate(read(dollars), span(currency="USD"), EURO).material[0].max() == pytest.approx(180 / 110, rel=1e-3)


def test_a_material_without_series_follows_general_inflation_unsurely():
    general = make_prices("general_inflation", 2014, 100 * 1.02 ** np.arange(13))
    found = escalate(read(general), span(), EURO)
    np.testing.assert_allclose(found.material[0], 1.02**7, rtol=1e-3)
    assert (found.material_sd[0] > 0.3).all()
    assert found.general_sd[0] == pytest.approx(0)


def test_general_inflation_is_that_of_the_price_currency_else_of_the_audit_at_the_exchange_rate_else_none():
    euro = make_prices("general_inflation", 2014, 100 * 1.02 ** np.arange(13))
    yuan = make_prices("general_inflation", 2014, 100 * 1.05 ** np.arange(13), "CNY")
    assert escalate(read(euro, yuan), span(currency="CNY"), EURO).general[0] == pytest.approx(1.05**7, rel=1e-3)
    lent = escalate(read(euro), span(currency="CNY"), EURO).general[0]
    rates = EURO.rate(["CNY", "CNY"], np.array(["2015-07-02", "2022-07-02"], "M8[D]"))
    assert lent == pytest.approx(1.02**7 * rates[0] / rates[1], rel=1e-3)
    nothing = escalate(read(), span(), EURO)
    assert nothing.general[0] == 1
    assert nothing.general_sd[0] > 0


def test_prices_of_a_falling_currency_without_an_index_keep_their_real_level_unsurely():
    """A euro bought 4.6 lira in 2018 and ten times that in 2026: what follows euro inflation is ten times as dear."""
    euro = read(make_prices("general_inflation", 2014, 100 * 1.02 ** np.arange(13)))
    found = {c: escalate(euro, span("2018-03-01", "2026-06-30", c), EURO) for c in ("EUR", "TRY")}
    rates = EURO.rate(["TRY", "TRY"], np.array(["2018-03-01", "2026-06-30"], "M8[D]"))
    assert found["TRY"].general[0] * rates[1] / rates[0] == pytest.approx(found["EUR"].general[0])
    unsure = [found[c].general_sd[0] ** 2 for c in ("EUR", "TRY")]
    assert unsure[1] - unsure[0] == pytest.approx(0.075**2 * 8.33, rel=1e-3)
    assert found["TRY"].labour_sd[0] > found["TRY"].general_sd[0]
    back = escalate(euro, span("2026-06-30", "2018-03-01", "TRY"), EURO)
    assert back.general[0] * found["TRY"].general[0] == pytest.approx(1)


def test_labour_and_energy_have_their_own_series_or_follow_inflation():
    general = make_prices("general_inflation", 2014, 100 * 1.02 ** np.arange(13))
    labour = make_prices("labour", 2014, 100 * 1.04 ** np.arange(13))
    found = escalate(read(general, labour), span(), EURO)
    assert found.labour[0] == pytest.approx(1.04**7, rel=1e-3)
    assert found.energy[0] == pytest.approx(found.general[0])
    assert found.energy_sd[0] > found.labour_sd[0]


def test_after_its_last_value_a_material_stays_where_it_is_in_real_terms_unsurely():
    general = make_prices("general_inflation", 2005, 100 * 1.03 ** np.arange(21))
    prices = read(COPPER, general)
    near, far = (escalate(prices, span("2024-07-01", now), EURO) for now in ("2025-07-01", "2028-07-01"))
    assert far.material[0].max() == pytest.approx(1.03**4, rel=1e-2)
    assert far.material_sd[0].max() > near.material_sd[0].max() > 0


@pytest.mark.parametrize("last", range(2021, 2026))
def test_the_trend_of_ten_years_has_ten_years_whatever_leap_days_they_hold(last):
    """A jump just before the ten years counts nothing, one in the first of them a tenth, each year."""
    for jump, expected in ((last - 10, 0.0), (last - 9, np.log(2) / 10)):
        levels = np.where(np.arange(last - 12, last + 1) < jump, 1.0, 2.0)
        general = read(make_prices("general_inflation", last - 12, levels)).general
        assert general.after[0] == pytest.approx(expected, rel=1e-3), jump


@pytest.mark.parametrize("last", range(2020, 2026))
def test_wandering_counts_the_last_year_whatever_leap_days_the_series_holds(last):
    log = np.r_[np.zeros(9), 1.0]  # moves in the last year only
    found = read(make_prices("copper", last - 9, np.exp(log)))
    noise = dict(zip(found.wanted, found.noise, strict=True))["copper"]
    assert noise == pytest.approx(np.std(np.diff(log), ddof=1), rel=0.02)


def test_own_series_go_before_the_librarys():
    starter = pd.concat([COPPER.assign(value=1.0), make_prices("general_inflation", 2014, [1.0] * 11)])
    own = read(COPPER, starter=starter)
    assert escalate(own, span(), EURO).material[0].max() > 1.5
    assert own.general.names == ("EUR",)


def test_a_series_in_two_currencies_is_followed_in_one_and_said():
    """1,600 USD then 1,400 EUR is no fall of an eighth; the years in the other currency are left out."""
    table = pd.concat([make_prices("copper", 2014, [1600.0] * 5, "USD"), make_prices("copper", 2019, [1400.0] * 7)])
    prices, findings = read_input_prices(
        table.reset_index(drop=True), table.iloc[:0], baskets=BASKETS, currency="EUR", as_of=AS_OF
    )
    assert [f.code for f in findings] == ["I010"]
    assert prices.material_currency == ("EUR",)
    np.testing.assert_allclose(escalate(prices, span(), EURO).material, 1.0)


def test_own_series_that_begin_after_the_day_leave_the_librarys_in_place():
    """A backtest asks for days before the client's own series begin."""
    library = make_prices("general_inflation", 2008, 100 * 1.03 ** np.arange(15))
    own = make_prices("general_inflation", 2014, 100 * 1.02 ** np.arange(10))
    when = np.array(["2009-06-30"], "M8[D]"), np.array(["2012-06-30"], "M8[D]")
    early, late = (read(own, starter=library, as_of=date(y, 1, 31)) for y in (2013, 2024))
    assert early.log_inflation(["EUR"], *when)[0] == pytest.approx(3 * np.log(1.03), abs=1e-3)
    assert late.log_inflation(["EUR"], *when)[0] == pytest.approx(3 * np.log(1.02), abs=1e-3)


def test_plans_are_left_out_and_said():
    table = make_prices("copper", 2023, [1.0, 1.0, 1.0, 9.0])
    prices, findings = read_input_prices(
        table, table.iloc[:0], baskets=BASKETS, currency="EUR", as_of=date(2026, 1, 31)
    )
    assert [f.code for f in findings] == ["I001"]
    assert prices.materials.count.tolist() == [3]


def test_own_series_without_a_currency_are_in_the_audits():
    assert read(COPPER.assign(currency="")).material_currency == ("EUR",)


def test_one_day_for_all_gives_what_one_day_each_gives():
    prices = read(COPPER.assign(currency="USD"), make_prices("general_inflation", 2014, 100 * 1.02 ** np.arange(13)))
    one = span()
    many = Spans(
        np.array([1, 0, 1]), np.array([0, 1, 1]), ("EUR", "USD"), np.zeros(3, dtype=bool),
        np.array(["2015-07-02", "2018-01-01", "2019-05-05"], dtype="datetime64[D]"), one.now,
    )  # fmt: skip
    each = Spans(many.commodity, many.currency, many.currencies, many.custom, many.then, np.repeat(one.now, 3))
    a, b = escalate(prices, many, EURO), escalate(prices, each, EURO)
    for name in ("general", "labour", "material", "material_sd", "general_sd"):
        np.testing.assert_allclose(getattr(a, name), getattr(b, name))
