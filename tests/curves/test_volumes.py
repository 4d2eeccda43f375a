"""Cumulative volume of a market at any date."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from made_market import make_volumes

from bomaudit.curves.volumes import NO_PEAK, read_volumes

GROWING = [100 * 1.3**k for k in range(10)]  # 2011 to 2020


def days(*texts):
    return np.array(texts, dtype="datetime64[D]")


def read(own, as_of=date(2026, 6, 30)):
    return read_volumes(own, own.iloc[:0], as_of=as_of)[0]


@pytest.fixture(scope="module")
def indices():
    return read(make_volumes("x", 2011, GROWING, cumulative_volume=np.cumsum(GROWING) + 500, unit="kg"))


def test_volume_counts_at_the_end_of_its_period(indices):
    mean, sd = indices.log_cumulative(["x", "x"], days("2011-12-31", "2013-12-31"))
    np.testing.assert_allclose(np.exp(mean), [600, 500 + sum(GROWING[:3])])
    np.testing.assert_allclose(sd, 0)


def test_between_period_ends_it_is_interpolated_in_logs(indices):
    ends, _ = indices.log_cumulative(["x", "x"], days("2013-12-31", "2014-12-31"))
    middle, _ = indices.log_cumulative(["x"], days("2014-07-01"))
    assert middle[0] == pytest.approx(ends.mean(), abs=2e-3)


def test_after_the_last_period_it_is_forecast_ever_less_surely(indices):
    mean, sd = indices.log_cumulative(["x"] * 4, days("2020-12-31", "2021-12-31", "2023-12-31", "2030-12-31"))
    assert (np.diff(mean) > 0).all()
    assert sd[0] == pytest.approx(0)
    assert (np.diff(sd) > 0).all()


def test_before_the_first_period_it_is_backcast_ever_less_surely(indices):
    mean, sd = indices.log_cumulative(["x"] * 3, days("2010-12-31", "2008-12-31", "2005-12-31"))
    assert (np.diff(mean) < 0).all()
    assert (np.diff(sd) > 0).all()
    assert np.exp(mean[0]) == pytest.approx(500)


def test_a_market_without_an_index_has_none(indices):
    mean, sd = indices.log_cumulative(["y", ""], days("2015-01-01", "2015-01-01"))
    assert np.isnan([*mean, *sd]).all()
    assert indices.stage(["y"], days("2015-01-01")).tolist() == [""]


def test_a_guessed_stock_makes_growth_unsure():
    known = read(make_volumes("x", 2011, GROWING, cumulative_volume=np.cumsum(GROWING) + 333))
    guessed = read(make_volumes("x", 2011, GROWING))
    when = ["x", "x"], days("2012-12-31", "2020-12-31")
    np.testing.assert_allclose(known.log_cumulative(*when)[0], guessed.log_cumulative(*when)[0], atol=0.02)
    assert (guessed.log_cumulative(*when)[1] > known.log_cumulative(*when)[1]).all()
    assert guessed.maturity.loc["x", "stock_guessed"]


def test_units_shift_the_log_and_nothing_else(indices):
    kilo = read(make_volumes("x", 2011, np.array(GROWING) / 1000, cumulative_volume=(np.cumsum(GROWING) + 500) / 1000))
    when = ["x"] * 3, days("2009-05-05", "2015-03-03", "2026-06-30")
    a, b = indices.log_cumulative(*when), kilo.log_cumulative(*when)
    np.testing.assert_allclose(a[0] - b[0], np.log(1000), rtol=1e-6)
    np.testing.assert_allclose(a[1], b[1], rtol=1e-4)


def test_too_few_periods_carry_no_curve_but_go_on():
    indices = read(make_volumes("x", 2023, [10.0, 12.0], cumulative_volume=[50.0, 62.0]))
    assert indices.maturity.loc["x", "model"] == ""
    mean, sd = indices.log_cumulative(["x"] * 2, days("2024-12-31", "2026-06-30"))
    assert mean[1] > mean[0]
    assert sd[1] > sd[0]


def test_one_row_is_enough_to_stand_on():
    indices = read(make_volumes("x", 2024, [10.0], cumulative_volume=[90.0]))
    mean, _ = indices.log_cumulative(["x"] * 2, days("2024-12-31", "2025-12-31"))
    assert np.exp(mean[0]) == pytest.approx(90)
    assert mean[1] > mean[0]


def test_months_and_years_tell_the_same():
    yearly = make_volumes("x", 2016, [120.0] * 8, cumulative_volume=1000 + 120 * np.arange(1, 9.0))
    ends = pd.date_range("2016-01-31", "2023-12-31", freq="ME")
    monthly = make_volumes("x", 2016, [10.0] * 96).assign(period=ends, cumulative_volume=1000 + 10 * np.arange(1, 97.0))
    when = ["x"] * 2, days("2018-12-31", "2023-12-31")
    np.testing.assert_allclose(read(yearly).log_cumulative(*when)[0], read(monthly).log_cumulative(*when)[0], atol=1e-9)


def noisy_months():
    """Twelve years of a market that makes 100 a year, busier in winter, each month off by a few per cent."""
    ends = pd.date_range("2012-01-31", "2023-12-31", freq="ME")
    t, rng = np.arange(len(ends)) / 12, np.random.default_rng(1)
    volume = 100 / 12 * (1 + 0.15 * np.cos(2 * np.pi * t)) * np.exp(0.05 * rng.standard_normal(len(t)))
    table = make_volumes("x", 2012, volume).assign(period=ends)
    table.loc[0, "cumulative_volume"] = 500 + volume[0]
    return table


@pytest.mark.parametrize("ends", ["QE", "ME"])
def test_seasons_and_noise_of_months_are_no_growth(ends):
    monthly = noisy_months()
    table = make_volumes("x", 2012, monthly.set_index("period")["volume"].resample(ends).sum().to_numpy())
    table = table.assign(period=pd.date_range("2012-01-31", "2023-12-31", freq=ends))
    table.loc[0, "cumulative_volume"] = 500 + table["volume"].iloc[0]
    indices = read(table)
    assert abs(indices.maturity.loc["x", "volume_trend"]) < 0.02
    mean, _ = indices.log_cumulative(["x"] * 2, days("2023-12-31", "2028-12-31"))
    assert np.diff(np.exp(mean)) == pytest.approx(500, rel=0.05)


@pytest.mark.parametrize("missing", [2019, 2020, 2022])
def test_a_missing_year_is_no_growth(missing):
    table = make_volumes("x", 2010, [100.0] * 14)
    indices = read(table[table["period"].dt.year != missing].reset_index(drop=True))
    assert abs(indices.maturity.loc["x", "volume_trend"]) < 0.002
    assert indices.maturity.loc["x", "stage"] != "declining"
    whole, mean = (i.log_cumulative(["x"] * 2, days("2023-12-31", "2028-12-31"))[0] for i in (read(table), indices))
    assert np.diff(np.exp(mean)) == pytest.approx(np.diff(np.exp(whole)), rel=0.01)


def test_stage_moves_with_the_date():
    ends = np.arange(0, 21.0)
    share = 1 / (1 + 60 * np.exp(-0.5 * ends))
    indices = read(make_volumes("x", 2001, 1e6 * np.diff(share), cumulative_volume=1e6 * share[1:]))
    stages = indices.stage(["x"] * 4, days("2002-01-01", "2007-06-30", "2009-12-31", "2019-12-31"))
    assert stages.tolist()[:2] == ["emerging", "growth"]
    assert stages[2] in {"shake-out", "declining"}
    assert indices.maturity.loc["x", "stage"] in {"mature", "declining"}
    assert indices.maturity.loc["x", "years_to_peak"] < 0


def test_a_market_that_levels_off_begins_at_its_share_of_yearly_volume():
    """It was that of cumulative volume: 9 % and emerging, of a market that sold 39 % of what it levels off at."""
    ends = np.arange(1, 21.0)
    made = 5000 / (1 + np.exp(-0.3 * (ends - 0.5 - 1.5)))  # of each year, at its middle
    indices = read(make_volumes("x", 2001, made, cumulative_volume=500 + np.cumsum(made)))
    assert indices.maturity.loc["x", "model"] == "levels_off"
    share = indices.at(indices.lines.codes(["x"]), indices.lines.first)[3]
    assert share == pytest.approx(1 / (1 + np.exp(0.3 * 1.5)), abs=0.01)
    assert indices.stage(["x"], days("2001-01-02")).tolist() == ["growth"]


def test_a_market_before_its_peak_says_that_its_size_rests_on_a_prior(indices):
    assert indices.maturity.loc["x", "notes"] == NO_PEAK
    assert indices.maturity.loc["x", "unit"] == "kg"


def test_concentration_follows_makers_and_the_largest_share():
    table = make_volumes("x", 2011, GROWING, suppliers=[4.0] * 10, top_share=[0.4] * 9 + [np.nan])
    makers = read(table).concentration
    found = makers.at(makers.codes(["x", "x"]), np.array([12.0, 21.0]))
    np.testing.assert_allclose(found, [0.4**2 + 0.6**2 / 3, 0.25])


def test_a_largest_share_without_makers_or_below_an_equal_one_is_told():
    """It was left out in silence; of four makers the largest at 5 % made an index of 0.30, where 0.25 is the least."""
    table = make_volumes("x", 2011, GROWING, suppliers=[np.nan] + [4.0] * 9, top_share=[0.6, 0.05, 0.25] + [0.4] * 7)
    found = read_volumes(table, table.iloc[:0], as_of=date(2026, 6, 30))
    (told,) = [f for f in found[1] if f.code == "V014"]
    assert told.found == "2 rows otherwise"
    assert found[0].concentration.value[0] == pytest.approx(0.25)


def test_commodities_do_not_touch_each_other():
    one, two = make_volumes("x", 2011, GROWING), make_volumes("y", 2005, [50.0] * 12)
    both = read(pd.concat([two, one], ignore_index=True))
    when = days("2008-02-02", "2018-07-07", "2027-01-01")
    for name, alone in (("x", read(one)), ("y", read(two))):
        for a, b in zip(both.log_cumulative([name] * 3, when), alone.log_cumulative([name] * 3, when), strict=True):
            np.testing.assert_allclose(a, b, rtol=1e-6)
