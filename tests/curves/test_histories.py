"""Volumes as stated, made into histories."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from made_market import make_volumes

from bomaudit.curves.histories import make_history, read_histories

NAN = np.nan
YEARS = np.arange(10.0, 15.0)  # ends of five periods


def test_volumes_add_up_on_a_stock_guessed_from_their_growth():
    """q1/g, the initial stock of Lafond et al. (2018): 100 growing by 25 % a year was preceded by 400."""
    history = make_history(YEARS, 100 * 1.25 ** np.arange(5), np.full(5, NAN))
    assert history.guessed
    assert history.stock == pytest.approx(400)
    assert history.start == pytest.approx(9)
    np.testing.assert_allclose(history.made, 100 * 1.25 ** np.arange(5))


def test_a_stated_cumulative_volume_settles_the_stock():
    history = make_history(YEARS, np.full(5, 10.0), np.array([NAN, NAN, 130.0, NAN, NAN]))
    assert not history.guessed
    assert history.stock == pytest.approx(100)


def test_nothing_made_before_the_first_period_is_stated_too():
    """A first cumulative volume that is the first volume: a stock of four years' growth was guessed all the same."""
    volume = 100 * 1.25 ** np.arange(5)
    first, rounded = np.full(5, NAN), np.full(5, NAN)
    first[0], rounded[2] = 100.0, 381.0  # 100 + 125 + 156.25, rounded down
    throughout = make_history(YEARS, volume, np.cumsum(volume))
    for cumulative in (first, rounded):
        history = make_history(YEARS, volume, cumulative)
        assert not history.guessed
        assert history.stock == pytest.approx(throughout.stock)


def test_cumulative_volume_rules_where_it_is_stated_throughout():
    history = make_history(YEARS, np.full(5, NAN), np.array([100.0, 110, 125, 150, 190]))
    np.testing.assert_allclose(history.made[1:], [10, 15, 25, 40])
    assert history.stock + history.made[0] == pytest.approx(100)


def test_a_first_cumulative_volume_with_its_own_volume_gives_the_stock():
    history = make_history(YEARS[:2], np.array([30.0, NAN]), np.array([100.0, 150.0]))
    assert (history.stock, history.made[0]) == (pytest.approx(70), 30)


def test_missing_periods_take_the_mean_of_their_neighbours():
    time = np.array([10.0, 11.0, 12.0, 15.0])
    history = make_history(time, np.array([10.0, 10.0, 10.0, 40.0]), np.full(4, NAN))
    assert history.made[-1] == pytest.approx(40 + 2 * 20)


def test_quarters_are_periods_too():
    quarters = 10 + np.arange(8) / 4
    history = make_history(quarters, np.full(8, 5.0), np.full(8, NAN))
    assert history.start == pytest.approx(9.75)


def test_a_flat_market_has_a_long_past():
    history = make_history(YEARS, np.full(5, 10.0), np.full(5, NAN))
    assert history.stock == pytest.approx(10 / 0.03)


def test_what_was_before_is_the_same_whatever_the_periods():
    """100 a year without growth, in years and in quarters."""
    history = make_history(9.25 + np.arange(20) / 4, np.full(20, 25.0), np.full(20, NAN))
    assert history.stock == pytest.approx(100 / 0.03)


@pytest.mark.parametrize("quarters", [2, 12])
def test_years_before_quarters_are_years(quarters):
    time = np.concatenate([YEARS, YEARS[-1] + np.arange(1, quarters + 1) / 4])
    history = make_history(time, np.array([100.0] * 5 + [25.0] * quarters), np.full(5 + quarters, NAN))
    np.testing.assert_allclose(history.made, [100.0] * 5 + [25.0] * quarters)
    assert history.start == pytest.approx(9)
    assert history.stock == pytest.approx(100 / 0.03)
    np.testing.assert_allclose(history.by_year().rate, 100)


@pytest.mark.parametrize(("months", "first"), [(24, 12), (28, 16), (30, 6), (18, 6), (14, 14), (9, 9)])
def test_months_are_put_together_to_years_that_end_with_the_last_one(months, first):
    """What is left over at the beginning is a period of its own from half a year on."""
    made = np.arange(1.0, months + 1)
    history = make_history(10 + np.arange(1, months + 1) / 12, made, np.full(months, NAN)).by_year()
    assert history.start == pytest.approx(10)
    assert history.ends[0] == pytest.approx(10 + first / 12)
    assert history.ends[-1] == pytest.approx(10 + months / 12)
    assert history.made[0] == pytest.approx(made[:first].sum())
    np.testing.assert_allclose(history.made[1:], made[first:].reshape(-1, 12).sum(axis=1))


def test_a_falling_cumulative_volume_is_counted_and_bridged():
    history = make_history(YEARS, np.full(5, NAN), np.array([100.0, 110, 105, 150, 190]))
    assert history.odd == 1
    assert (history.made > 0).all()


@pytest.mark.parametrize("slip", [25.0, 2500.0])
def test_a_slip_in_one_cumulative_volume_leaves_the_others_as_they_are_stated(slip):
    """What fell was bridged by next to nothing, and the rise after it added: 615 had been made where 490 was stated."""
    stated = np.array([100.0, 150, 250, 350, 490])
    wrong = np.where(np.arange(5) == 2, slip, stated)
    history = make_history(YEARS, np.full(5, NAN), wrong)
    np.testing.assert_allclose(history.ends, YEARS[[0, 1, 3, 4]])
    np.testing.assert_allclose(history.stock + np.cumsum(history.made), stated[[0, 1, 3, 4]])
    assert history.odd == 1


def test_a_cumulative_volume_that_stays_was_made_no_more_in_that_period():
    history = make_history(YEARS, np.full(5, NAN), np.array([100.0, 150, 150, 350, 490]))
    np.testing.assert_allclose(history.stock + np.cumsum(history.made), [100, 150, 150, 350, 490], rtol=0.01)
    assert (len(history.ends), history.odd) == (5, 1)


def test_periods_that_state_only_a_cumulative_volume_take_the_difference():
    history = make_history(YEARS[:3], np.array([10.0, 10.0, NAN]), np.array([NAN, 120.0, 135.0]))
    np.testing.assert_allclose(history.made, [10, 10, 15])
    assert history.lost == 0


def test_periods_that_nothing_follows_for_are_left_out_and_said():
    table = make_volumes("x", 2020, [10.0, NAN, 10.0, 12.0])
    table.loc[1, "cumulative_volume"] = 500.0
    _, histories, findings = read_histories(table, table.iloc[:0], as_of=date(2026, 1, 1))
    assert len(histories["x"].ends) == 3
    assert "V005" in [f.code for f in findings]


def test_plans_are_no_data():
    table = make_volumes("x", 2024, [1.0, 2.0, 3.0])
    _, histories, findings = read_histories(table, table.iloc[:0], as_of=date(2025, 12, 31))
    assert len(histories["x"].ends) == 2
    assert "V001" in [f.code for f in findings]


def test_rows_without_a_positive_volume_are_named(tmp_path):
    table = make_volumes("x", 2020, [1.0, 0.0, 3.0]).assign(
        source_file="volumes.csv", source_sheet="", source_row=[2, 3, 4]
    )
    _, histories, findings = read_histories(table, table.iloc[:0], as_of=date(2026, 1, 1))
    assert str(findings[0]).startswith("volumes.csv:volume row 3: volume or cumulative_volume must be > 0")
    assert len(histories["x"].ends) == 2


def test_a_period_in_several_rows_is_told():
    """Volumes by region: the last region stood for the world, without a word."""
    europe, asia = make_volumes("x", 2018, [5.0, 6.0, 7.0]), make_volumes("x", 2018, [50.0, 60.0, 70.0])
    table = pd.concat([europe, asia, make_volumes("y", 2018, [1.0, 2.0])], ignore_index=True)
    _, histories, findings = read_histories(table, table.iloc[:0], as_of=date(2026, 1, 1))
    assert histories["x"].made.tolist() == [50.0, 60.0, 70.0]
    (told,) = (f for f in findings if f.code == "V012")
    assert (told.message, told.found) == ("a period of x must stand in one row", "3 more")


@pytest.mark.parametrize("stated", [[0, 1, 2, 3, 4], [0], [0, 4], [3]])
def test_volumes_and_cumulative_volumes_in_different_units_are_told(stated):
    """Thousands beside units: of the one the other was made, without a word."""
    volume = 100 * 1.25 ** np.arange(5)
    cumulative = np.where(np.isin(np.arange(5), stated), np.cumsum(volume) + 50, NAN)
    agreeing, apart = (make_volumes("x", 2018, volume, cumulative_volume=c) for c in (cumulative, cumulative / 1000))
    assert not [f for f in read_histories(agreeing, agreeing.iloc[:0], as_of=date(2026, 1, 1))[2] if f.code == "V013"]
    (told,) = (f for f in read_histories(apart, apart.iloc[:0], as_of=date(2026, 1, 1))[2] if f.code == "V013")
    assert told.message == "volume and cumulative_volume of x must agree"
    assert told.found.startswith("volumes of ")


def test_volumes_beside_gaps_and_rounded_totals_are_not_told_apart():
    table = make_volumes("x", 2018, [0.3, 0.6, 0.6, 0.6, NAN, 0.9], cumulative_volume=[1, 1, 2, 3, NAN, 5])
    table = table.drop(index=4)
    assert not [f for f in read_histories(table, table.iloc[:0], as_of=date(2026, 1, 1))[2] if f.code == "V013"]


def test_own_volumes_go_before_the_librarys():
    own, starter = make_volumes("x", 2020, [1.0, 2.0]), make_volumes("x", 2010, [9.0] * 3)
    more = make_volumes("y", 2010, [9.0] * 3)
    rows, histories, _ = read_histories(own, pd.concat([starter, more], ignore_index=True), as_of=date(2026, 1, 1))
    assert set(histories) == {"x", "y"}
    assert histories["x"].made.tolist() == [1.0, 2.0]
    assert rows.groupby("commodity")["own"].first().to_dict() == {"x": True, "y": False}


def test_volumes_in_another_unit_are_left_out_and_said():
    table = make_volumes("x", 2018, [1.0, 1.0, 1000.0, 1.0, 1.0], unit=["GWh", "", "MWh", " gwh", "GWh"])
    _, histories, findings = read_histories(table, table.iloc[:0], as_of=date(2026, 1, 1))
    np.testing.assert_allclose(histories["x"].made, [1, 1, 2, 1], rtol=0.01)
    assert [f.found for f in findings if f.code == "V010"] == ["MWh"]


def test_own_volumes_that_begin_after_the_day_leave_the_librarys_in_place():
    own, library = make_volumes("x", 2015, [5.0, 6.0, 7.0]), make_volumes("x", 2008, [1.0, 2.0, 3.0, 4.0])
    early, late = (read_histories(own, library, as_of=date(y, 1, 31))[1] for y in (2012, 2018))
    assert early["x"].made.tolist() == [1.0, 2.0, 3.0, 4.0]
    assert late["x"].made.tolist() == [5.0, 6.0, 7.0]


def test_the_stock_of_a_market_that_does_not_grow_is_said_as_it_is_guessed():
    """It was said to be the first volume over a mean growth of nought; it is that over 3 % a year."""
    table = make_volumes("x", 2018, [10.0, 10.0, 9.0])
    _, histories, findings = read_histories(table, table.iloc[:0], as_of=date(2026, 1, 1))
    assert histories["x"].stock == pytest.approx(10 / 0.03, rel=0.01)
    assert [f.assumed for f in findings if f.code == "V004"] == [
        "first volume / mean growth, 3 % a year at least; half to twice as much"
    ]


def test_no_volumes_at_all():
    empty = make_volumes("x", 2020, [])
    _, histories, findings = read_histories(empty, empty, as_of=date(2026, 1, 1))
    assert (histories, findings) == ({}, [])


def test_a_zero_between_other_volumes_was_not_reported_and_what_stands_in_is_said():
    """2022 and 2023 count as sqrt(2 × 8) = 4 each: nobody stops a market for two years. A zero at the end adds none."""
    table = make_volumes("x", 2018, [2.0, 2.0, 2.0, 2.0, 0.0, NAN, 8.0, 0.0]).assign(
        source_file="volumes.csv", source_sheet="", source_row=range(2, 10)
    )
    _, histories, findings = read_histories(table, table.iloc[:0], as_of=date(2026, 1, 1))
    assert histories["x"].made.tolist() == pytest.approx([2.0, 2.0, 2.0, 2.0, 8.0 + 2 * 4.0], rel=1e-3)
    zero = [f for f in findings if f.code == "V002"]
    assert [(f.row, f.found) for f in zero] == [(6, "0"), (7, "nothing"), (9, "0")]
    assert "not reported" in zero[0].assumed
    (filled,) = (f for f in findings if f.code == "V011")
    assert (filled.found, filled.message.split(":")[0]) == ("2 missing", "x")
    assert "mean of their neighbours" in filled.assumed
