"""Values between and outside the points of many series."""

import numpy as np
import pytest

from bomaudit.curves.timelines import Timelines, codes_of, years_of


@pytest.fixture
def lines():
    return Timelines.of(["b", "a", "a", "b", "a"], [0.0, 2.0, 1.0, 4.0, 5.0], [10.0, 20.0, 0.0, 30.0, 50.0])


def test_points_are_sorted_whatever_their_order(lines):
    assert lines.names == ("a", "b")
    np.testing.assert_allclose(lines.at(np.array([0, 0, 1]), np.array([1.0, 5.0, 4.0])), [0.0, 50.0, 30.0])


def test_values_are_linear_between_points(lines):
    np.testing.assert_allclose(lines.at(np.array([0, 0, 1]), np.array([1.5, 3.5, 1.0])), [10.0, 35.0, 15.0])


def test_values_stay_flat_outside_unless_a_slope_is_given(lines):
    np.testing.assert_allclose(lines.at(np.array([0, 0]), np.array([-3.0, 9.0])), [0.0, 50.0])
    sloped = Timelines(
        lines.names, lines.start, lines.count, lines.time, lines.value, np.array([2.0, 0.0]), np.array([0.5, 0.0])
    )
    np.testing.assert_allclose(sloped.at(np.array([0, 0]), np.array([0.0, 7.0])), [-2.0, 51.0])


def test_no_series_has_no_value(lines):
    assert np.isnan(lines.at(np.array([-1]), np.array([1.0]))[0])
    assert np.isnan(lines.outside(np.array([-1]), np.array([1.0]))[0])


def test_distance_from_the_data(lines):
    np.testing.assert_allclose(lines.outside(np.array([0, 0, 0]), np.array([0.0, 3.0, 6.5])), [1.0, 0.0, 1.5])


def test_one_day_for_all_gives_what_one_day_each_gives(lines):
    codes = np.array([0, 1, -1, 1, 0])
    for time in (-1.0, 1.2, 4.5):
        np.testing.assert_array_equal(lines.at(codes, time), lines.at(codes, np.full(5, time)))
        np.testing.assert_array_equal(lines.outside(codes, time), lines.outside(codes, np.full(5, time)))


def test_a_single_point_is_constant():
    one = Timelines.of(["x"], [3.0], [7.0])
    np.testing.assert_allclose(one.at(np.zeros(3, dtype=int), np.array([0.0, 3.0, 9.0])), 7.0)


def test_agrees_with_interpolation_series_by_series():
    """Against numpy.interp, one series at a time."""
    rng = np.random.default_rng(1)
    names = np.array(["s0", "s1", "s2"])[rng.integers(0, 3, 60)]
    time, value = rng.uniform(-10, 30, 60), rng.normal(size=60)
    lines = Timelines.of(names, time, value)
    codes, asked = rng.integers(0, 3, 500), rng.uniform(-15, 35, 500)
    found = lines.at(codes, asked)
    for k, name in enumerate(lines.names):
        order = np.argsort(time[names == name])
        expected = np.interp(asked[codes == k], time[names == name][order], value[names == name][order])
        np.testing.assert_allclose(found[codes == k], expected, atol=1e-12)


def test_few_and_many_names_are_looked_up_alike():
    names = tuple(f"n{k}" for k in range(100))
    asked = np.array(["n3", "", "n99", "zz"] * 50, dtype=object)
    few = np.concatenate([codes_of(asked[k : k + 4], names) for k in range(0, 200, 4)])
    np.testing.assert_array_equal(codes_of(asked, names), few)


def test_years_count_from_2000():
    dates = np.array(["2000-01-01", "2004-01-01", "NaT"], dtype="datetime64[D]")
    np.testing.assert_allclose(years_of(dates), [0.0, 4.0, np.nan])
