"""Which quotes are newer than a booked cost."""

import numpy as np
import pytest
from made_market import EURO, make_quotes

from bomaudit.curves.offers import NOT_STATED, Asked, collect_offers, find_newer
from bomaudit.settings import ModelSection

TODAY = np.datetime64("2026-06-30")


def offers_of(*rows, **columns):
    return collect_offers(make_quotes(*rows, **columns), fx=EURO, model=ModelSection())


def ask(offers, parts, basis, *, booked=10.0, annual=np.nan, supplier=""):
    size = len(parts)
    return Asked(
        offers.part_codes(parts), offers.supplier_codes([supplier] * size), np.full(size, np.datetime64(basis)),
        np.full(size, np.log(booked)), np.full(size, annual),
    )  # fmt: skip


def days_found(offers, found, line=0):
    return [str(d) for d in offers.day[found.quote[found.line == line]]]


ROWS = [("A", "2024-01-01", 9.0), ("B", "2023-01-01", 5.0), ("A", "2020-01-01", 10.0), ("A", "2022-01-01", 9.5)]


def test_only_quotes_after_the_basis_date_and_not_after_the_day_asked_for():
    offers = offers_of(*ROWS)
    found = find_newer(ask(offers, ["A", "C", "B"], "2020-01-01"), offers, as_of=TODAY)
    assert days_found(offers, found, 0) == ["2022-01-01", "2024-01-01"]
    assert days_found(offers, found, 1) == []
    assert days_found(offers, found, 2) == ["2023-01-01"]
    past = find_newer(ask(offers, ["A"], "2020-01-01"), offers, as_of=np.datetime64("2023-06-30"))
    assert days_found(offers, past) == ["2022-01-01"]


def test_order_of_quotes_does_not_matter():
    found = [offers_of(*rows) for rows in (ROWS, ROWS[::-1])]
    one, other = (find_newer(ask(o, ["A", "B"], "2019-01-01"), o, as_of=TODAY) for o in found)
    np.testing.assert_array_equal(found[0].log_price[one.quote], found[1].log_price[other.quote])


BREAKS = [("A", "2020-01-01", 12.0), ("A", "2020-01-01", 10.0), ("A", "2024-01-01", 11.0), ("A", "2024-01-01", 9.0)]
LEAST = [10.0, 1000.0, 10.0, 1000.0]


@pytest.mark.parametrize(("booked", "price"), [(12.0, 11.0), (10.0, 9.0)])
def test_of_several_price_breaks_the_one_behind_the_booked_cost(booked, price):
    offers = offers_of(*BREAKS, min_qty=LEAST)
    found = find_newer(ask(offers, ["A"], "2020-01-01", booked=booked), offers, as_of=TODAY)
    np.testing.assert_allclose(np.exp(offers.log_price[found.quote]), [price])
    assert found.passed_over.tolist() == [1]


@pytest.mark.parametrize(("annual", "price"), [(5000.0, 9.0), (100.0, 11.0), (1.0, 11.0), (np.nan, 11.0)])
def test_else_the_largest_that_the_annual_quantity_reaches(annual, price):
    offers = offers_of(*BREAKS, min_qty=LEAST)
    found = find_newer(ask(offers, ["A"], "2019-06-01", annual=annual), offers, as_of=np.datetime64("2024-06-01"))
    np.testing.assert_allclose(np.exp(offers.log_price[found.quote])[-1], price)


def test_two_suppliers_on_one_day_are_two_quotes():
    offers = offers_of(("A", "2024-01-01", 9.0), ("A", "2024-01-01", 8.0), supplier=["x", "y"])
    found = find_newer(ask(offers, ["A"], "2020-01-01", supplier="x"), offers, as_of=TODAY)
    assert len(found.line) == 2
    assert sorted(found.other.tolist()) == [False, True]
    assert find_newer(ask(offers, ["A"], "2020-01-01"), offers, as_of=TODAY).other.tolist() == [False, False]


def test_a_supplier_that_never_quoted_differs_from_those_who_did():
    offers = offers_of(("A", "2024-01-01", 9.0), supplier="x")
    assert find_newer(ask(offers, ["A"], "2020-01-01", supplier="z"), offers, as_of=TODAY).other.tolist() == [True]
    assert offers.supplier_codes(["", "x", "z"]).tolist() == [NOT_STATED, 0, -1]


def test_prices_are_kept_in_the_audit_currency_at_their_own_day():
    offers = offers_of(("A", "2015-01-02", 12.043), currency="USD")
    assert np.exp(offers.log_price[0]) == pytest.approx(10.0)  # 1.2043 USD per EUR on 2 January 2015 (ECB)


def test_parts_of_a_block_are_counted_from_its_start():
    offers = offers_of(*ROWS)
    found = find_newer(ask(offers, ["B", "A", "A"], "2019-01-01"), offers, as_of=TODAY)
    part = found.part(slice(1, 3))
    assert part.line.tolist() == [0, 0, 0, 1, 1, 1]
    assert len(part.passed_over) == 2


def test_no_quotes_at_all():
    offers = offers_of()
    found = find_newer(ask(offers, ["A"], "2020-01-01"), offers, as_of=TODAY)
    assert len(found.line) == 0
    assert found.passed_over.tolist() == [0]


@pytest.mark.parametrize("turned", [1, -1])
def test_several_prices_of_one_day_and_quantity_all_count_in_whatever_order(turned):
    """Purchases of one day at 6 and 14: the first row of the file decided."""
    rows = [("A", "2024-01-01", 6.0), ("A", "2024-01-01", 14.0), ("A", "2024-01-01", 6.0)][::turned]
    offers = offers_of(*rows, supplier="x")
    found = find_newer(ask(offers, ["A"], "2020-01-01"), offers, as_of=TODAY)
    np.testing.assert_allclose(np.exp(offers.log_price[found.quote]), [6.0, 14.0])
    assert found.passed_over.tolist() == [0]


@pytest.mark.parametrize(("annual", "price"), [(9000.0, 8.0), (500.0, 10.0)])
@pytest.mark.parametrize("turned", [1, -1])
def test_of_several_annual_quantities_the_nearest_to_the_lines(annual, price, turned):
    rows, stated = [("A", "2024-01-01", 10.0), ("A", "2024-01-01", 8.0)], [1000.0, 10_000.0]
    offers = offers_of(*rows[::turned], annual_qty=stated[::turned])
    found = find_newer(ask(offers, ["A"], "2020-01-01", annual=annual), offers, as_of=TODAY)
    np.testing.assert_allclose(np.exp(offers.log_price[found.quote]), [price])
    assert found.passed_over.tolist() == [1]
