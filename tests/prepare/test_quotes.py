"""Quotes that cannot be used are named with their row; nothing is left out in silence."""

from datetime import date

import pandas as pd

from bomaudit.frames import conform
from bomaudit.glossary import QUOTES
from bomaudit.prepare.currency import reference_rates
from bomaudit.prepare.quotes import committed_prices, prepare_quotes

GOOD = {"part_no": "A", "quote_date": "2020-01-01", "unit_price": 2.0, "currency": "EUR", "kind": "firm"}


def prepared(*rows, uom=None):
    frame = conform(pd.DataFrame([GOOD | row for row in rows], columns=[*QUOTES.names]), QUOTES)
    place = frame.assign(source_file="quotes.csv", source_sheet="", source_row=range(2, len(frame) + 2))
    return prepare_quotes(place, fx=reference_rates("EUR"), as_of=date(2026, 6, 30), uom=uom)


def test_good_quotes_pass_without_a_word():
    quotes, findings = prepared({}, {"quote_date": "2019-01-01"})
    assert list(quotes["quote_date"].dt.year) == [2019, 2020]
    assert findings == []
    assert (quotes["min_qty"] == 0).all()


def test_each_unusable_quote_is_named_once_with_its_row():
    quotes, findings = prepared({"unit_price": 0.0}, {"quote_date": None}, {"currency": "XXX"}, {})
    assert len(quotes) == 1
    assert [(f.code, f.row) for f in findings] == [("Q001", 2), ("Q002", 3), ("Q003", 4)]


def test_what_is_not_stated_is_assumed_and_said():
    quotes, findings = prepared({"currency": ""}, {"kind": "hearsay"})
    assert list(quotes["currency"]) == ["EUR", "EUR"]
    assert sorted(quotes["kind"]) == ["budgetary", "firm"]
    assert {f.code for f in findings} == {"Q004", "Q005"}


def test_a_quote_of_tomorrow_did_not_exist_yet():
    quotes, findings = prepared({}, {"quote_date": "2026-07-01"})
    assert len(quotes) == 1
    assert findings[0].code == "Q006"


def test_one_time_costs_are_said_to_be_outside_the_piece_price():
    (said,) = prepared({"one_time_cost": 5000.0}, {"one_time_cost": 0.0}, {})[1]
    assert said.code == "Q008"
    assert said.found == "1 stated"
    assert "piece price" in said.assumed


def test_what_could_not_be_read_is_not_shown_as_a_figure():
    _, findings = prepared({"unit_price": None}, {"quote_date": None}, {"unit_price": -2.0})
    assert [f.found for f in findings] == ["nothing that can be read", "'-2.0'", "nothing that can be read"]


def test_a_quote_for_another_unit_is_brought_to_that_of_the_bom():
    """12 a kg from 5 kg on, for a part counted in g; a part counted in pieces has no price by mass."""
    quotes, findings = prepared(
        {"unit_price": 12.0, "uom": "kg", "min_qty": 5.0, "annual_qty": 80.0}, {"part_no": "B", "uom": "kg"},
        {"part_no": "C", "uom": "kg"}, uom=pd.Series({"A": "g", "B": "pcs"}),
    )  # fmt: skip
    first = quotes.set_index("part_no").loc["A"]
    assert first[["unit_price", "min_qty", "annual_qty"]].tolist() == [0.012, 5000.0, 80000.0]
    assert quotes["part_no"].tolist() == ["A", "C"]
    assert [(f.code, f.row, f.found) for f in findings] == [("Q009", 3, "'kg'")]


def test_of_several_quotes_of_a_day_the_order_of_the_rows_decides_nothing():
    """Two suppliers offer 10 and 12 on one day: rows 2 and 3 of the file or 3 and 2, what is paid at most is 12."""
    rows = [
        {"unit_price": 10.0, "supplier": "S1", "valid_until": "2027-01-01"},
        {"unit_price": 12.0, "supplier": "S2", "valid_until": "2027-01-01"},
        {"unit_price": 12.5, "supplier": "S2", "valid_until": "2027-01-01", "currency": "CHF", "part_no": "B"},
        {"unit_price": 12.9, "supplier": "S1", "valid_until": "2027-01-01", "part_no": "B"},
    ]
    one, other = (prepared(*order)[0] for order in (rows, rows[::-1]))
    columns = ["part_no", "unit_price", "currency", "supplier"]
    pd.testing.assert_frame_equal(one[columns], other[columns])
    fx = reference_rates("EUR")
    franc = fx.rate(["CHF"], ["2026-06-30"])[0]
    for quotes in (one, one.iloc[::-1], other):
        paid = committed_prices(quotes, fx=fx, as_of=date(2026, 6, 30))
        assert paid.to_dict() == {"A": 12.0, "B": max(12.9, 12.5 * franc)}
