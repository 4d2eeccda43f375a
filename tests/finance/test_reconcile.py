"""A three-level product reconciles to its stated standard to the cent, and every bridge adds up exactly."""

from dataclasses import fields, replace
from decimal import Decimal

import finance_case
import numpy as np
import pandas as pd
import pytest

from bomaudit.finance.bridge import CAUSES, add_up
from bomaudit.finance.reconcile import reconcile
from bomaudit.settings import from_dict


def with_policy(case, **finance):
    return case | {"settings": from_dict({"files": {"bom": "bom.csv"}, "finance": finance})}


def row(frame, part_no):
    return frame.set_index("part_no").loc[part_no]


def test_sample_reconciles_to_its_stated_standard_to_the_cent(case):
    rolled = reconcile(**case).rolled.set_index("part_no")
    for name in ("TOP", "Q", "R"):
        assert rolled.loc[name, "standard_difference"] == 0
        assert rolled.loc[name, "standard_rounding"] == "total"
    assert rolled.loc["TOP", "rolled_standard"] == pytest.approx(37.264852, abs=5e-7)
    assert rolled.loc["product", "rolled_standard"] == pytest.approx(rolled.loc["TOP", "rolled_standard"])


def test_stated_standard_that_is_off_is_found_and_becomes_quantity(case):
    case["standards"].loc[4, "standard_cost"] = 39.26
    got = reconcile(**case)
    assert row(got.rolled, "TOP")["standard_difference"] == Decimal("-2.00")
    assert [f.code for f in got.findings] == ["K008", "K013"]
    bridge = got.bridge[(got.bridge["part_no"] == "TOP") & (got.bridge["starts_at"] == "standard")].iloc[0]
    assert bridge["quantity"] == Decimal("-1.9951")


def test_every_bridge_adds_up_exactly(case):
    bridge = reconcile(**case).bridge
    assert set(bridge["scope"]) == {"part", "assembly", "product", "year"}
    for _, line in bridge.iterrows():
        assert line["start"] + sum(line[c] for c in CAUSES) == line["end"]
        assert all(isinstance(line[c], Decimal) for c in ("start", *CAUSES, "end"))


def test_bridge_refuses_causes_that_do_not_explain_the_difference():
    with pytest.raises(ValueError, match="open"):
        add_up(pd.Series([5.0]), pd.Series([4.0]), pd.DataFrame({"price": [-0.5]}), places=2)


def test_bridge_rounding_stays_below_half_a_place_for_each_figure():
    rng = np.random.default_rng(2)
    causes = pd.DataFrame(rng.normal(0, 3, (500, len(CAUSES) - 1)), columns=[c for c in CAUSES if c != "rounding"])
    start = pd.Series(rng.uniform(1, 50, 500))
    got = add_up(start, start + causes.sum(axis=1), causes, places=2)
    assert max(abs(v) for v in got["rounding"]) <= Decimal("0.005") * (len(CAUSES) + 1)


def test_year_is_parts_times_annual_quantities(case):
    bridge = reconcile(**case).bridge
    year = bridge[(bridge["scope"] == "year") & (bridge["starts_at"] == "standard")].iloc[0]
    assert year["start"] == 10_000 * Decimal("4.00") + 6_000 * Decimal("1.25")
    assert year["experience"] == 10_000 * Decimal("-0.80") + 6_000 * Decimal("0.25")


def test_threshold_keeps_a_standard(case):
    kept = reconcile(**with_policy(case, threshold=0.20)).proposed
    assert row(kept, "S")["proposed"] == row(kept, "S")["standard_cost"]
    assert row(kept, "S")["rule"].startswith("kept: target within 20 %")
    moved = reconcile(**with_policy(case, threshold=0.19)).proposed
    assert row(moved, "S")["proposed"] == Decimal("3.2000")


def test_parents_follow_their_parts_and_keep_what_else_they_held(case):
    case["standards"].loc[2, "standard_cost"] = 5.00
    proposed = reconcile(**case).proposed
    assert row(proposed, "Q")["proposed"] == Decimal("5.00") - Decimal("0.3556")
    dropped = reconcile(**with_policy(case, assembly_rest="drop")).proposed
    assert row(dropped, "Q")["proposed"] == Decimal("4.4222")


def test_firm_quote_still_valid_is_taken_and_an_expired_one_is_not(case):
    case["quotes"] = finance_case.quotes_frame(
        [
            ("S", "2026-05-01", 3.50, "EUR", 0.0, "firm", "2026-06-30"),
            ("S", "2026-05-01", 3.30, "EUR", 5000.0, "firm", "2026-12-31"),
            ("T", "2026-05-01", 1.10, "EUR", 0.0, "firm", "2026-06-29"),
            ("T", "2026-05-01", 1.00, "EUR", 0.0, "budgetary", "2026-12-31"),
        ]
    )
    proposed = reconcile(**case).proposed
    assert row(proposed, "S")["proposed"] == Decimal("3.5000")
    assert row(proposed, "S")["target_basis"] == "firm quote"
    assert row(proposed, "T")["proposed"] == Decimal("1.5000")
    assert row(reconcile(**with_policy(case, freeze_firm=False)).proposed, "S")["proposed"] == Decimal("3.2000")


def test_never_below_the_agreed_price(case):
    case["audited"].loc[[2, 7], "contract_price"] = 3.60
    assert row(reconcile(**case).proposed, "S")["proposed"] == Decimal("3.6000")
    assert row(reconcile(**with_policy(case, floor_committed=False)).proposed, "S")["proposed"] == Decimal("3.2000")


def test_without_evidence_the_standard_stays(case):
    case["audited"].loc[5, ["estimate", "estimate_low", "estimate_high"]] = np.nan
    case["standards"].loc[1, ["last_purchase_price"]] = np.nan
    got = reconcile(**case)
    assert row(got.proposed, "T")["rule"].startswith("kept: no firm quote")
    assert "K007" in {f.code for f in got.findings}


def test_no_market_means_the_last_purchase_counts(case):
    case["audited"].loc[5, "status"] = "unknown"
    assert row(reconcile(**case).proposed, "T")["proposed"] == Decimal("1.4000")


def test_a_purchase_that_the_policy_calls_too_old_proposes_no_standard(case):
    """T was paid 1.40 in February: seen from the end of June that is fresh for six months, not for three."""
    case["audited"].loc[5, "status"] = "unknown"
    case["standards"].loc[1, "last_purchase_date"] = pd.Timestamp("2026-02-10")
    assert row(reconcile(**with_policy(case, fresh_months=6)).proposed, "T")["proposed"] == Decimal("1.4000")
    got = reconcile(**with_policy(case, fresh_months=3))
    assert row(got.proposed, "T")["rule"].startswith("kept: no firm quote, estimate or recent purchase")
    assert row(got.proposed, "T")["proposed"] == Decimal("1.25")
    assert row(got.parts, "T")["ppv_realised"] > 0


def test_journal_balances_and_sums_to_the_revaluation(case):
    got = reconcile(**case)
    assert sum(got.journal["debit"]) == sum(got.journal["credit"])
    assert min([*got.journal["debit"], *got.journal["credit"]]) == 0
    stock = got.journal[got.journal["account"] == "Inventory"]
    assert sum(stock["debit"]) - sum(stock["credit"]) == got.totals["revaluation"] == sum(got.revalued["revaluation"])
    assert row(got.revalued, "S")["revaluation"] == Decimal("-960.00")
    assert set(got.journal["date"]) == {"2026-06-30"}


def test_stock_booked_below_zero_is_not_at_risk_and_takes_no_risk_from_other_stock(case):
    """1200 of S at 4.00 are worth 3.20 today, 3.52 at most: 960 at risk. Booked at -1200 there is nothing to lose."""
    assert reconcile(**case).totals["value_at_risk"] == Decimal("960.00")
    case["standards"].loc[0, "on_hand_qty"] = -1200
    got = reconcile(**case)
    assert got.totals["value_at_risk"] == 0
    assert not got.revalued["nrv_warning"].any()
    assert row(got.revalued, "S")["revaluation"] == Decimal("960.00")


def test_a_converted_standard_is_printed_with_the_places_a_standard_can_have(case):
    """T at 1.30 for 100, which as a float ends in ...01, and S in USD: journal and list show no more than 8 places."""
    case["standards"].loc[[0, 1], "standard_cost"] = 5.0, 1.30 / 100
    case["standards"].loc[0, "currency"] = "USD"
    got = reconcile(**case)
    assert row(got.proposed, "T")["standard_cost"] == Decimal("0.013")
    assert row(got.proposed, "S")["standard_cost"] == round(Decimal(5) / Decimal("1.1750"), 8)
    text = got.journal.set_index("part_no")["text"]
    assert text["T"].iloc[0] == "revaluation 500 on hand, 0.013 to 1.5000"
    assert text["S"].iloc[0] == "revaluation 1200 on hand, 4.25531915 to 3.2000"
    assert row(got.revalued, "S")["revaluation"] == round(1200 * (Decimal("3.2") - Decimal("4.25531915")), 2)


def test_a_last_price_for_a_hundred_is_written_with_the_places_of_a_price(case):
    """T paid at 1.45 for 100, which as a float is 0.014499999999999999."""
    case["standards"].loc[1, "last_purchase_price"] = 1.45 / 100
    assert row(reconcile(**case).parts, "T")["last_purchase_price"] == 0.0145


def test_account_names_come_from_the_settings(case):
    got = reconcile(
        **with_policy(case, inventory_account="1300", revaluation_account="5400", effective_on="2027-01-01")
    )
    assert set(got.journal["account"]) == {"1300", "5400"}
    assert set(got.journal["date"]) == {"2027-01-01"}


def test_newest_purchase_counts_whoever_knows_of_it(case):
    case["quotes"] = finance_case.quotes_frame(
        [
            ("S", "2026-05-15", 3.70, "EUR", 0.0, "purchase", None),
            ("T", "2025-01-15", 1.10, "EUR", 0.0, "purchase", None),
        ]
    )
    got = reconcile(**case)
    assert row(got.parts, "S")["last_purchase_price"] == 3.70
    assert row(got.parts, "S")["last_purchase_date"] == pd.Timestamp("2026-05-15")
    assert row(got.parts, "T")["last_purchase_price"] == 1.40
    assert row(got.rolled, "Q")["rolled_last_purchase"] == pytest.approx(0.4 / 0.9 * 3.70 + 3.00)


def test_standard_in_another_currency_is_converted_at_the_day_it_was_set(case):
    case["standards"].loc[1, ["standard_cost", "currency", "last_purchase_price"]] = 1.40, "USD", np.nan
    case["standards"].loc[1, "set_on"] = pd.Timestamp("2020-01-02")
    part = row(reconcile(**case).parts, "T")
    assert part["standard_cost"] == pytest.approx(1.40 / 1.1193, abs=5e-5)  # ECB reference rate of 2020-01-02


def test_mixed_currencies_are_brought_to_one_before_the_check(case):
    """T at 1.40 USD of 2020-01-02 is 1.25078 EUR (ECB reference rate 1.1193): the product rolls up to 37.27."""
    case["standards"].loc[1, ["standard_cost", "currency", "last_purchase_price"]] = 1.40, "USD", np.nan
    case["standards"].loc[1, "set_on"] = pd.Timestamp("2020-01-02")
    got = reconcile(**case)
    assert {"K008", "K010"} <= {f.code for f in got.findings}
    assert row(got.rolled, "TOP")["standard_difference"] == Decimal("0.01")
    case["standards"].loc[4, "standard_cost"] = 37.27
    assert row(reconcile(**case).rolled, "TOP")["standard_rounding"] == "total"


def gear_set(case, gear_set_standard, *, currency="EUR", per=1.0, axle_currency="EUR"):
    """A gear set of three wheels at 5.00 and an axle of its own beside it; the standards of the set in one currency."""
    rows = (
        ("assembly", "SET", -1, 2, np.nan, np.nan, np.nan, ""),
        ("part", "WHEEL", 0, 3, np.nan, 4.5, 4.5, "gear"),
        ("part", "AXLE", -1, 1, np.nan, 20.0, 20.0, "shaft"),
    )
    bom, estimate = finance_case.bom_frame(rows)
    lines, audited = finance_case.lines_of(bom, estimate)
    costs = {"SET": gear_set_standard / per, "WHEEL": 5.0 / per, "AXLE": 19.5}
    standards = finance_case.standards_frame([(n, c, "2026-01-02", *[None] * 4) for n, c in costs.items()])
    standards["currency"] = [currency, currency, axle_currency]
    return case | {"bom": bom, "lines": lines, "audited": audited, "standards": standards}


def test_an_assembly_all_in_one_foreign_currency_is_checked_in_that_currency(case):
    """15.00 USD are three times 5.00 USD, whatever they are in EUR and whatever else the BOM holds."""
    got = reconcile(**gear_set(case, 15.0, currency="USD"))
    assert row(got.rolled, "SET")["standard_difference"] == 0
    assert row(got.rolled, "SET")["standard_checked_in"] == "USD"
    assert not {"K008", "K010"} & {f.code for f in got.findings}
    (found,) = (f.found for f in reconcile(**gear_set(case, 15.2, currency="USD")).findings if f.code == "K008")
    assert found == "15.2 USD stated, roll-up differs by -0.20"


def test_a_stated_standard_is_held_to_no_more_places_than_were_stated(case):
    """1.30 for 100 is 0.013 each: a float of it that ends in ...01 is no other standard; nor is a fifth place one."""
    rows = gear_set(case, 3.9, per=100.0)
    rows["standards"].loc[1, "standard_cost"] = 1.30 / 100
    rows["standards"].loc[0, "standard_cost"] = 0.039000000000000007
    got = reconcile(**rows)
    assert row(got.rolled, "SET")["standard_difference"] == 0
    assert "K008" not in {f.code for f in got.findings}
    rows["standards"].loc[[0, 1], "standard_cost"] = 0.03702, 0.01234
    assert row(reconcile(**rows).rolled, "SET")["standard_difference"] == 0


def test_a_standard_brought_to_the_audit_currency_differs_by_whole_places_only(case):
    """The set at 15.00 USD is 12.80 EUR at the rate of 2026-01-02 (1.1721); three wheels at 4.20 EUR are 12.60."""
    rows = gear_set(case, 15.0, currency="USD")
    rows["standards"].loc[1, ["standard_cost", "currency"]] = 4.20, "EUR"
    got = reconcile(**rows)
    (found,) = (f.found for f in got.findings if f.code == "K008")
    assert found == "12.8 EUR stated, roll-up differs by -0.20"
    assert row(got.rolled, "SET")["standard_difference"] == Decimal("-0.20")
    assert row(got.rolled, "SET")["standard_checked_in"] == "EUR"
    assert "K010" in {f.code for f in got.findings}


def test_without_standards_the_booked_cost_is_reconciled(case):
    case["standards"] = case["standards"].iloc[:0]
    got = reconcile(**case)
    assert got.proposed.empty
    assert got.journal.empty
    assert row(got.rolled, "TOP")["booked_rounding"] == "total"
    assert [f.code for f in got.findings] == ["K003"]
    assert set(got.totals.values()) == {None}


def test_parts_left_out_of_the_variance_are_counted(case):
    case["standards"].loc[0, "annual_qty"] = np.nan
    case["audited"]["annual_volume"] = np.nan
    case["standards"].loc[1, "last_purchase_price"] = np.nan
    got = reconcile(**case)
    assert [(f.code, f.column, f.found) for f in got.findings if f.code == "K012"] == [
        ("K012", "annual_qty", "1 of 2 parts without"),
        ("K012", "last_purchase_price", "1 of 2 parts without"),
    ]
    assert got.totals["ppv_realised"] is None


def test_a_standard_proposed_against_the_price_last_paid_is_named(case):
    """S is estimated at 3.20: paid 3.70 a month ago that is 13.5 % away, paid 3.20 it is not, nor paid years ago."""

    def named(price, day):
        case["standards"].loc[0, ["last_purchase_price", "last_purchase_date"]] = price, pd.Timestamp(day)
        return [f.found for f in reconcile(**case).findings if f.code == "K013"]

    assert case["standards"].loc[0, "part_no"] == "S"
    (found,) = named(3.70, "2026-05-31")
    assert found.endswith("furthest S proposed at 3.2000, paid 3.7 on 2026-05-31")
    assert not any("S proposed" in f for f in named(3.20, "2026-05-31"))
    assert not any("S proposed" in f for f in named(3.70, "2024-05-31"))


def test_the_variance_of_the_year_is_that_so_far_and_that_of_the_rest(case):
    """Also where no price was paid for a part, so that only the rest of its year is known."""
    case["standards"].loc[1, "last_purchase_price"] = np.nan
    got = reconcile(**case)
    assert got.parts["ppv_expected"].notna().sum() > got.parts["ppv_realised"].notna().sum() > 0
    assert got.totals["ppv_year"] == got.totals["ppv_realised"] + got.totals["ppv_expected"]


def test_several_standards_of_a_part_are_named_and_the_last_counts(case):
    again = case["standards"].iloc[[0]].assign(standard_cost=9.0, set_on=pd.Timestamp("2024-01-01"))
    case["standards"] = pd.concat([case["standards"], again], ignore_index=True)
    got = reconcile(**case)
    assert row(got.parts, "S")["standard_cost"] == 4.0
    assert "K001" in {f.code for f in got.findings}


def test_a_standard_or_a_purchase_of_a_day_to_come_does_not_count_yet(case):
    """Next year's standard stands in the file already; S was paid 9.00 a month after the as-of date."""
    again = case["standards"].iloc[[0]].assign(standard_cost=9.0, set_on=pd.Timestamp("2027-01-01"))
    case["standards"] = pd.concat([case["standards"], again], ignore_index=True)
    later = {"last_purchase_price": 9.0, "last_purchase_date": pd.Timestamp("2026-07-31")}
    case["standards"].loc[0, list(later)] = list(later.values())
    got = reconcile(**case)
    part = row(got.parts, "S")
    assert part["standard_cost"] == 4.0
    assert np.isnan(part["last_purchase_price"])
    assert np.isnan(part["ppv_realised"])
    assert part["expected_basis"] == "estimate"
    assert [f.found for f in got.findings if f.code == "K001"] == ["S"]
    assert any(f.code == "K014" and f.column == "last_purchase_date" for f in got.findings)


def test_flat_bom_without_an_assembly_has_a_product_row(case):
    rows = [("part", "A", -1, 2, np.nan, 1.5, 1.2, "x"), ("part", "B", -1, 1, np.nan, 3.0, 3.0, "x")]
    bom, estimate = finance_case.bom_frame(rows)
    lines, audited = finance_case.lines_of(bom, estimate)
    got = reconcile(**case | {"bom": bom, "lines": lines, "audited": audited})
    assert got.rolled["part_no"].tolist() == ["product"]
    assert got.rolled["rolled_booked"].tolist() == [6.0]
    assert got.rolled["rolled_today"].tolist() == pytest.approx([5.4])


def test_a_part_without_a_booked_cost_is_rolled_up_at_its_standard_and_saves_nothing(case):
    """A booked cost that is missing is not one of 0: from the standard to today the part stays as it is."""
    rows = [("part", "A", -1, 2, np.nan, np.nan, np.nan, "x"), ("part", "B", -1, 1, np.nan, 3.0, 2.5, "x"),
            ("part", "C", -1, 1, np.nan, np.nan, np.nan, "x")]  # fmt: skip
    bom, estimate = finance_case.bom_frame(rows)
    lines, audited = finance_case.lines_of(bom, estimate)
    standards = finance_case.standards_frame([("A", 10.0, "2025-12-31", *[None] * 4)])
    got = reconcile(**case | {"bom": bom, "lines": lines, "audited": audited, "standards": standards})
    for starts_at in ("standard", "booked"):
        bridge = got.bridge[got.bridge["starts_at"] == starts_at].set_index("scope")
        assert bridge.loc["product", ["start", "price", "end"]].astype(float).tolist() == [23.0, 0.0, 22.5]
        assert bridge.loc["year", ["start", "price", "end"]].astype(float).tolist() == [2300.0, 0.0, 2250.0]
    assert row(got.rolled, "product")["rolled_booked"] == 23.0
    said = {f.assumed: f.found for f in got.findings if f.code == "K011"}
    assert said == {"the standard stands for it": "1 without: L0001", "counted as 0": "1 without: L0003"}


def test_inputs_are_left_alone_and_the_same_input_gives_the_same_result(case):
    before = {k: v.copy() for k, v in case.items() if isinstance(v, pd.DataFrame)}
    first, second = reconcile(**case), reconcile(**case)
    for name, frame in before.items():
        pd.testing.assert_frame_equal(case[name], frame)
    for field in fields(first):
        a, b = getattr(first, field.name), getattr(second, field.name)
        if isinstance(a, pd.DataFrame):
            pd.testing.assert_frame_equal(a, b)
        else:
            assert a == b
    assert replace(first, currency="USD").currency == "USD"


def test_a_parent_follows_its_parts_though_an_earlier_position_of_it_is_built_no_more(case):
    """Q stands first with another content that has run out: its standard follows from the position that is built."""
    bom, estimate = finance_case.bom_frame((("assembly", "Q", -1, 1, np.nan, 4.78, np.nan, ""), *SHIFTED))
    lines, audited = finance_case.lines_of(bom, estimate)
    lines.loc[0, "qty_per"] = audited.loc[0, "qty_per"] = 0.0
    before = row(reconcile(**case).proposed, "Q")
    after = row(reconcile(**case | {"bom": bom, "lines": lines, "audited": audited}).proposed, "Q")
    assert before["proposed"] == Decimal("4.4244")
    assert (after["proposed"], after["rule"]) == (before["proposed"], before["rule"])


SHIFTED = tuple(
    (kind, part_no, parent + 1 if parent >= 0 else -1, *rest)
    for kind, part_no, parent, *rest in finance_case.ROWS
)  # fmt: skip
