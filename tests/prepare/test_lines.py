"""One row a BOM line, ready to estimate; what was filled in is said."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from bomaudit.curves.library import load_library
from bomaudit.frames import conform
from bomaudit.glossary import BOM, QUOTES
from bomaudit.prepare.currency import reference_rates
from bomaudit.prepare.lines import prepare_lines
from bomaudit.settings import from_dict

AS_OF = date(2026, 6, 30)
COMMODITIES = load_library().commodities
ROW = {"part_no": "A", "description": "Ball bearing", "qty": 2.0, "unit_cost": 10.0, "currency": "EUR",
       "cost_date": "2016-06-30", "commodity": "bearing"}  # fmt: skip


def prepared(*rows, quotes=(), **settings):
    bom = conform(pd.DataFrame([ROW | {"part_no": f"A{k}"} | row for k, row in enumerate(rows)]), BOM)
    kinds = [row.get("row_kind", "part") for row in rows]
    bom = bom.assign(source_file="bom.xlsx", source_sheet="BOM", source_row=range(2, len(bom) + 2), row_kind=kinds,
                     parent_row=[row.get("parent_row", -1) for row in rows])  # fmt: skip
    frame = conform(pd.DataFrame(list(quotes), columns=list(QUOTES.names)), QUOTES)
    frame["min_qty"] = frame["min_qty"].fillna(0.0)
    return prepare_lines(bom, quotes=frame, commodities=COMMODITIES, fx=reference_rates("EUR"),
                         settings=from_dict({"files": {"bom": "bom.xlsx"}} | settings), as_of=AS_OF)  # fmt: skip


def test_a_full_row_needs_no_assumption_but_the_annual_volume():
    lines, findings = prepared({"annual_volume": 100.0})
    line = lines.iloc[0]
    assert line["auditable"]
    assert line["age_years"] == pytest.approx(10.0, abs=0.01)
    assert line["booked_extended"] == pytest.approx(20.0)
    assert line["annual_qty_now"] == pytest.approx(200.0)
    assert findings == []


def test_lines_of_one_part_are_bought_together_and_lines_without_a_number_are_not():
    same, none = {"part_no": "A", "annual_volume": 100.0}, {"part_no": "", "annual_volume": 100.0}
    assert list(prepared(same, same, none, none)[0]["annual_qty_now"]) == [400.0, 400.0, 200.0, 200.0]


def test_booked_in_dollars_counts_at_the_rate_of_its_day():
    """ECB reference rate of 2015-01-02: 1.2043 USD per EUR."""
    line = prepared({"currency": "USD", "cost_date": "2015-01-02", "unit_cost": 12.043})[0].iloc[0]
    assert line["booked_cost"] == pytest.approx(10.0)
    assert line["price_at_basis"] == pytest.approx(12.043)
    assert (line["booked_currency"], line["currency"], line["price_currency"]) == ("USD", "EUR", "USD")


def test_a_price_carried_over_at_the_rate_of_the_cost_date_is_the_quoted_one():
    """Quoted at 100 USD in 2014, booked in 2017 at the rate of that day (1.0385 USD per EUR): it was 134 USD."""
    quote = {"part_no": "A0", "quote_date": "2014-05-05", "unit_price": 100.0, "currency": "USD"}
    line = prepared({"unit_cost": 100 / 1.0385, "cost_date": "2017-01-03"}, quotes=[quote])[0].iloc[0]
    assert line["basis_date"] == pd.Timestamp("2014-05-05")
    assert line["price_at_basis"] == pytest.approx(100.0)
    assert line["booked_cost"] == pytest.approx(100 / 1.0385)


def test_quantities_multiply_down_the_structure_with_scrap():
    """2 assemblies of 3 parts each, 10 % of the parts lost: 2 × 3 / 0.9 (divide) or 2 × 3 × 1.1 (multiply)."""
    rows = ({"row_kind": "assembly", "qty": 2.0}, {"qty": 3.0, "scrap_rate": 0.1, "parent_row": 0})
    assert prepared(*rows)[0]["qty_per"].iloc[1] == pytest.approx(6 / 0.9)
    assert prepared(*rows, read={"scrap": "multiply"})[0]["qty_per"].iloc[1] == pytest.approx(6.6)


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ({"unit_cost": np.nan}, "no booked cost"),
        ({"unit_cost": 0.0}, "booked cost is 0"),
        ({"unit_cost": -1.0}, "booked cost is negative"),
        ({"unit_cost": np.inf}, "not a finite number"),
        ({"currency": "XXX"}, "no exchange rate for XXX"),
    ],
)
def test_a_line_that_cannot_be_audited_stays_with_its_reason(row, why):
    lines, findings = prepared({}, row)
    assert len(lines) == 2
    assert not lines["auditable"].iloc[1]
    assert why in lines["why_not"].iloc[1]
    assert [(f.code, f.row) for f in findings if f.code == "B103"] == [("B103", 3)]


def test_assemblies_and_charges_are_no_parts():
    lines, findings = prepared({"row_kind": "assembly"}, {"row_kind": "charge", "description": "freight"})
    assert list(lines["auditable"]) == [False, False]
    assert not [f for f in findings if f.code == "B103"]


def test_what_is_filled_in_is_said():
    _, findings = prepared({"cost_date": None, "qty": np.nan, "commodity": "", "description": "zzz"})
    assert {f.code for f in findings} == {"B102", "B104", "B106", "B107"}


def test_a_commodity_may_come_from_a_quote_or_from_words():
    quote = {"part_no": "A0", "quote_date": "2015-01-01", "unit_price": 3.0, "currency": "EUR", "commodity": "pump"}
    lines, _ = prepared({"commodity": ""}, {"commodity": ""}, quotes=[quote])
    assert list(lines["commodity_basis"]) == ["quotes", "keywords"]
    assert lines["commodity"].iloc[1] == "bearing"
    assert 0.5 <= lines["commodity_confidence"].iloc[1] < 1


def test_a_cost_of_tomorrow_counts_as_of_today():
    lines, findings = prepared({"cost_date": "2027-01-01"})
    assert lines["age_years"].iloc[0] == 0
    assert "B105" in {f.code for f in findings}


def test_inputs_are_left_as_they_were():
    bom = conform(pd.DataFrame([ROW]), BOM).assign(
        source_file="b", source_sheet="", source_row=2, row_kind="part", parent_row=-1)  # fmt: skip
    before = bom.copy(deep=True)
    quotes = conform(pd.DataFrame(columns=list(QUOTES.names)), QUOTES)
    prepare_lines(bom, quotes=quotes, commodities=COMMODITIES, fx=reference_rates("EUR"),
                  settings=from_dict({"files": {"bom": "b"}}), as_of=AS_OF)  # fmt: skip
    pd.testing.assert_frame_equal(bom, before)


def test_an_assembly_bought_whole_is_one_part():
    rows = ({"row_kind": "assembly", "make_buy": "buy", "unit_cost": 50.0}, {"parent_row": 0})
    lines, findings = prepared(*rows)
    assert list(lines["row_kind"]) == ["part", "part"]
    assert list(lines["qty_per"]) == [2.0, 0.0]
    assert "B108" in {f.code for f in findings}


def test_a_part_made_in_house_is_estimated_like_a_bought_one_and_that_is_said():
    lines, findings = prepared({"make_buy": "make"}, {"make_buy": "buy"})
    assert list(lines["why_not"]) == ["", ""]
    (said,) = [f for f in findings if f.code == "B111"]
    assert said.message == "1 part made, not bought"


def test_a_row_out_of_effect_counts_no_quantity():
    lines, findings = prepared({"effective_to": "2020-12-31"}, {"effective_from": "2020-01-01"})
    assert list(lines["qty_per"]) == [0.0, 2.0]
    assert "B109" in {f.code for f in findings}


def test_what_an_assembly_would_take_is_known_though_the_product_does_not_hold_it():
    """An alternative assembly of 4 parts (a fifth of them lost), one of an alternative, one not in effect any more."""
    rows = (
        {"row_kind": "alternative", "qty": 1.0}, {"qty": 4.0, "scrap_rate": 0.2, "parent_row": 0},
        {"row_kind": "alternative", "qty": 1.0, "parent_row": 0},
        {"qty": 1.0, "parent_row": 0, "effective_to": "2020-01-01"},
    )  # fmt: skip
    lines = prepared(*rows)[0]
    assert lines["qty_per"].tolist() == [0.0, 0.0, 0.0, 0.0]
    assert lines["qty_in_parent"].tolist() == pytest.approx([0.0, 5.0, 0.0, 0.0])


def test_what_lies_beneath_a_bought_assembly_is_not_built_into_it_again():
    rows = ({"row_kind": "assembly", "make_buy": "buy", "unit_cost": 50.0, "qty": 2.0}, {"qty": 4.0, "parent_row": 0})
    assert prepared(*rows)[0]["qty_in_parent"].tolist() == [2.0, 0.0]


def test_safety_said_in_a_remark_is_heard_and_said():
    lines, findings = prepared({"note": "sicherheitsrelevant"}, {"note": "", "safety_relevant": True}, {})
    assert lines["safety_relevant"].tolist() == [True, True, False]
    (found,) = [f for f in findings if f.code == "B110"]
    assert (found.row, found.found) == (2, "1 said in remarks: A0")
    assert not [f for f in prepared({"safety_relevant": False, "note": "safety part"})[1] if f.code == "B110"]


def test_one_line_is_counted_as_one():
    found = {f.code: f.found for f in prepared({"cost_date": None}, {})[1]}
    assert (found["B104"], found["B106"]) == ("1 line with neither", "none for 2 lines")


def test_a_negative_quantity_counts_for_nothing_and_is_not_audited():
    """A credit of 10 screws is neither 10 screws less nor one more; what lies beneath one counts for nothing too."""
    lines, findings = prepared({"annual_volume": 100.0}, {"qty": -10.0}, {"qty": -1.0, "row_kind": "assembly"},
                               {"parent_row": 2, "annual_volume": 100.0})  # fmt: skip
    assert lines["qty_per"].tolist() == [2.0, 0.0, 0.0, 0.0]
    assert lines["booked_extended"].tolist()[:2] == [20.0, 0.0]
    assert lines["auditable"].tolist() == [True, False, False, True]
    assert "negative" in lines["why_not"][1]
    assert not {"B103", "B107"} & {f.code for f in findings}


@pytest.mark.parametrize("name", ["annual_qty", "annual_volume"])
def test_demands_in_proportion_to_quantities_are_those_of_the_parts(name):
    """10,000 products of 2, 3 and 1 pieces need 20,000, 30,000 and 10,000, not 40,000, 90,000 and 10,000."""
    lines, findings = prepared({"qty": 2.0, name: 20000.0}, {"qty": 3.0, name: 30000.0}, {"qty": 1.0, name: 10000.0})
    assert list(lines["annual_volume"]) == [10000.0] * 3
    assert list(lines["annual_qty_now"]) == [20000.0, 30000.0, 10000.0]
    assert [(f.code, f.found) for f in findings] == [("B112", "demand / quantity is 10,000 on 3 of 3 lines")]


@pytest.mark.parametrize(("name", "said"), [("annual_qty", ["B112"]), ("annual_volume", [])])
def test_one_figure_on_lines_of_different_quantities_counts_products(name, said):
    lines, findings = prepared(*({"qty": q, name: 10000.0} for q in (2.0, 3.0, 1.0)))
    assert list(lines["annual_qty_now"]) == [20000.0, 30000.0, 10000.0]
    assert [f.code for f in findings] == said


@pytest.mark.parametrize(("name", "needed"), [("annual_qty", [20500.0, 37000.0, 9000.0]),
                                              ("annual_volume", [41000.0, 111000.0, 9000.0])])  # fmt: skip
def test_figures_a_year_that_prove_nothing_are_what_their_header_says(name, needed):
    lines, findings = prepared({"qty": 2.0, name: 20500.0}, {"qty": 3.0, name: 37000.0}, {"qty": 1.0, name: 9000.0})
    assert list(lines["annual_qty_now"]) == pytest.approx(needed)
    assert [(f.code, f.found) for f in findings] == [("B112", "figures that do not tell which")]


@pytest.mark.parametrize("bought", [60000.0, 66667.0], ids=["net", "with scrap"])
def test_demands_are_divided_by_the_quantity_in_the_product(bought):
    """2 assemblies of 3 parts, a tenth lost: 10,000 products a year, whether the demand holds the scrap or not."""
    lines, _ = prepared(
        {"row_kind": "assembly", "qty": 2.0},
        {"qty": 3.0, "scrap_rate": 0.1, "parent_row": 0, "annual_qty": bought},
        {"qty": 1.0, "parent_row": 0, "annual_qty": 20000.0},
        {"qty": 1.0, "annual_qty": 10000.0},
    )
    assert list(lines["annual_volume"][1:]) == pytest.approx([10000.0] * 3, rel=1e-4)


@pytest.mark.parametrize("others", [(40000.0, 10000.0), (43000.0, 9000.0)], ids=["proved", "by its header"])
def test_the_demand_for_a_part_on_several_lines_counts_once(others):
    on_both = {"part_no": "A", "annual_qty": 50000.0}
    lines, _ = prepared({"qty": 2.0} | on_both, {"qty": 3.0} | on_both,
                        {"qty": 4.0, "annual_qty": others[0]}, {"qty": 1.0, "annual_qty": others[1]})  # fmt: skip
    assert list(lines["annual_qty_now"]) == pytest.approx([50000.0, 50000.0, *others])
