"""Fully accounted cost: what counts per product, per year, once; as booked and today; parts and assemblies."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from made_decisions import market_of, row

from bomaudit.decide.elements import find_sources
from bomaudit.decide.register import read_register
from bomaudit.decide.time_value import discounted_years, real_rate

RATE = real_rate(0.08, 0.02)
FIVE = float(discounted_years([5.0], rate=RATE, timing="mid_year")[0])
FIFTEEN = float(discounted_years([15.0], rate=RATE, timing="mid_year")[0])

MARKET = market_of(
    [
        {"part_no": "P1", "booked": 10, "today": 12, "sd": 0.1},
        {"part_no": "P2", "booked": 15, "today": 9, "sd": 0.2},
        {"part_no": "A", "row_kind": "assembly", "qty_per": 2.0},
        {"part_no": "A1", "booked": 3, "today": 4, "parent_row": 2, "qty_per": 6.0},
        {"part_no": "B", "row_kind": "assembly", "parent_row": 2, "qty_per": 2.0},
        {"part_no": "B1", "booked": 5, "today": 2, "parent_row": 4, "qty_per": 4.0},
        {"part_no": "C", "row_kind": "charge", "booked": 1.5, "parent_row": 4, "qty_per": 2.0},
        {"part_no": "Z", "booked": np.nan, "auditable": False},
    ]
)


def costs(*rows, market=MARKET):
    case = market.case(rows)
    return dict(zip(case.register.options["option"], zip(case.booked, case.today, strict=True), strict=True)), case


def test_a_part_counts_at_its_amount_when_decided_and_its_estimate_today():
    cost, _ = costs(row("D", "old", "a", part_no="P1", qty=2, amount=9.0), row("D", "new", "b", part_no="P2"))
    assert cost == {"old": (18.0, 24.0), "new": (15.0, 9.0)}


def test_a_part_without_a_quantity_counts_as_often_as_the_product_holds_it():
    """On all its lines, as the alternates count it; a stated quantity goes before."""
    held = [{"part_no": "P1", "booked": 10, "today": 12, "qty_per": q} for q in (2.0, 3.0)]
    market = market_of([*held, {"part_no": "P2", "booked": 15, "today": 9}])
    cost, _ = costs(
        row("D", "old", "a", part_no="P1"), row("D", "new", "b", part_no="P2", qty=5),
        row("D", "third", "c", part_no="P1", qty=1), market=market,
    )  # fmt: skip
    assert cost == {"old": (50.0, 60.0), "new": (75.0, 45.0), "third": (10.0, 12.0)}


def test_any_element_with_a_part_and_a_quantity_moves_with_the_part():
    cost, _ = costs(
        row("D", "old", "loss", kind="energy_in_use", part_no="P2", qty=0.05, amount=20.0),
        row("D", "new", "b", part_no="P1"),
    )
    assert cost["old"] == pytest.approx((1.0, 0.45))


def test_a_part_number_without_a_quantity_only_names_what_a_tool_is_for():
    cost, _ = costs(
        row("D", "old", "a", part_no="P1"), row("D", "new", "b", part_no="P2"),
        row("D", "new", "tool", kind="tooling", basis="per_unit", part_no="P2", amount=3.0),
    )  # fmt: skip
    assert cost["new"] == (18.0, 12.0)


def test_an_assembly_costs_what_lies_beneath_it():
    """A holds 3 A1 and 1 B; B holds 2 B1 and a charge of 1.5."""
    cost, _ = costs(row("D", "old", "a", part_no="A", qty=1), row("D", "new", "b", part_no="B", qty=1))
    assert cost["old"] == pytest.approx((3 * 3 + 2 * 5 + 1.5, 3 * 4 + 2 * 2 + 1.5))
    assert cost["new"] == pytest.approx((2 * 5 + 1.5, 2 * 2 + 1.5))


def test_an_assembly_that_the_product_does_not_hold_costs_what_would_be_built_into_it():
    """X, an alternative: 2 of Y and 0.5 of X1; Y: 3 of Y1 and a charge; an alternative to Y1, and what lies beneath a
    purchased module, do not count. Nothing of it has a quantity in the product."""
    spare = {"qty_per": 0.0}
    market = market_of(
        [
            {"part_no": "P", "booked": 10, "today": 12, "sd": 0.1, "qty_in_parent": 1.0},
            {"part_no": "X", "row_kind": "alternative", "booked": 99, "today": 99, **spare, "qty_in_parent": 0.0},
            {"part_no": "Y", "row_kind": "assembly", "parent_row": 1, **spare, "qty_in_parent": 2.0},
            {"part_no": "Y1", "booked": 4, "today": 3, "sd": 0.1, "parent_row": 2, **spare, "qty_in_parent": 3.0},
            {"part_no": "Y2", "row_kind": "alternative", "booked": 7, "today": 7, "parent_row": 2, **spare,
             "qty_in_parent": 0.0},
            {"part_no": "C", "row_kind": "charge", "booked": 1.5, "parent_row": 2, **spare, "qty_in_parent": 1.0},
            {"part_no": "X1", "booked": 6, "today": 5, "sd": 0.1, "parent_row": 1, **spare, "qty_in_parent": 0.5},
            {"part_no": "M1", "booked": 8, "today": 8, "parent_row": 6, **spare, "qty_in_parent": 0.0},
        ]
    )  # fmt: skip
    cost, _ = costs(row("D", "old", "a", part_no="P"), row("D", "new", "b", part_no="X"), market=market)
    assert cost["old"] == (10.0, 12.0)
    assert cost["new"] == pytest.approx((2 * (3 * 4 + 1.5) + 0.5 * 6, 2 * (3 * 3 + 1.5) + 0.5 * 5))


def test_quantity_defaults_to_that_of_the_bom():
    cost, _ = costs(row("D", "old", "a", part_no="B1"), row("D", "new", "b", part_no="P1"))
    assert cost["old"] == (20.0, 8.0)


def test_one_time_costs_spread_over_the_products_that_carry_them():
    """An alternative's tool is still to be paid, over five years; the chosen one's was, over fifteen."""
    cost, case = costs(
        row("D", "old", "a", part_no="P1"), row("D", "old", "tool", kind="tooling", basis="once", amount=90_000.0),
        row("D", "new", "b", part_no="P2"), row("D", "new", "tool", kind="tooling", basis="once", amount=90_000.0),
    )  # fmt: skip
    assert cost["old"] == pytest.approx((10 + 9 / FIFTEEN, 12.0), rel=1e-3)
    assert cost["new"] == pytest.approx((15 + 9 / FIFTEEN, 9 + 9 / FIVE), rel=1e-3)
    assert [f.code for f in case.findings] == ["D014"]
    assert case.npv[0] == pytest.approx(10_000 * FIVE * 3 - 90_000)


def test_one_time_costs_of_the_chosen_option_that_are_still_to_come_count():
    cost, case = costs(
        row("D", "old", "a", part_no="P1"),
        row("D", "old", "tool", kind="tooling", basis="once", amount=90_000.0, date=pd.Timestamp(2027, 1, 1)),
        row("D", "new", "b", part_no="P2"),
    )
    assert cost["old"][1] == pytest.approx(12 + 9 / FIVE * (1 + RATE) ** -(185 / 365.25))  # from 2026-06-30
    assert not case.findings


def test_one_time_costs_to_come_are_worth_less_the_later_they_fall():
    """A tool of the alternative that is due in four years costs what put aside today pays for it then."""
    due = pd.Timestamp(2030, 6, 30)
    _, case = costs(
        row("D", "old", "a", part_no="P1"),
        row("D", "new", "b", part_no="P2"),
        row("D", "new", "tool", kind="tooling", basis="once", amount=90_000.0, date=due),
    )
    assert case.npv[0] == pytest.approx(10_000 * FIVE * 3 - 90_000 * (1 + RATE) ** -4, rel=1e-6)


def test_yearly_costs_divide_by_the_year():
    cost, _ = costs(
        row("D", "old", "a", part_no="P1"), row("D", "new", "b", part_no="P2"),
        row("D", "new", "rent", kind="overhead", basis="per_year", amount=20_000.0),
    )  # fmt: skip
    assert cost["new"][1] == pytest.approx(9 + 2.0)


def test_a_ramp_weighs_later_years():
    """Doubling every year for two years at no interest: 10,000 + 20,000 products."""
    rows = [row("D", o, "a", part_no=p, years_left=2.0, volume_growth=1.0) for o, p in (("old", "P1"), ("new", "P2"))]
    case = MARKET.with_settings(discount_rate=0.0, inflation=0.0).case(rows)
    assert case.npv[0] == pytest.approx(3 * 30_000)


def test_switching_pays_what_it_saves_less_what_it_costs():
    """npv = discounted products × saving - change cost, and the saving today is the difference of the two columns."""
    case = MARKET.case(
        [
            row("D", "old", "a", part_no="P1", change_cost=50_000.0),
            row("D", "new", "b", part_no="P2", change_cost=50_000.0),
        ]
    )
    assert case.npv[0] == pytest.approx(10_000 * FIVE * 3 - 50_000)


def test_amounts_in_another_currency_at_the_rates_of_their_days():
    rows = [
        row("D", "old", "a", kind="other", amount=100.0, currency="USD", date=pd.Timestamp(2016, 1, 4)),
        row("D", "new", "b", kind="other", amount=100.0),
    ]
    cost, _ = costs(*rows)
    then, now = MARKET.fx.rate(["USD", "USD"], np.array(["2016-01-04", "2026-06-30"], dtype="datetime64[D]"))
    assert cost["old"] == pytest.approx((100 * then, 100 * now))
    assert cost["new"] == (100.0, 100.0)


def test_a_currency_nobody_quotes_is_an_error_at_its_row():
    _, case = costs(row("D", "old", "a", kind="other", amount=1.0, currency="XXX"), row("D", "new", "b", part_no="P1"))
    assert [(f.code, f.row) for f in case.findings] == [("D012", 2)]


def test_a_part_without_any_price_is_asked_for():
    decided = MARKET.decide([row("D", "old", "a", part_no="Z"), row("D", "new", "b", part_no="P1")])
    assert decided.decisions["rule"].tolist() == ["no_price"]
    # without its price it would be free, and whatever is compared with it a saving or a loss of the whole price
    head = decided.decisions.iloc[0]
    assert head[["saving_booked", "saving_today", "p_flip", "npv", "p_pays_back", "evpi"]].isna().all()
    assert (head["best_today"], head["ask_first"]) == ("", "")
    assert np.isnan(head["value_of_asking"])
    assert decided.options["npv"].isna().all()
    compared = (decided.savings, decided.tornado, decided.drivers, decided.break_evens, decided.paths)
    assert not any(len(frame) for frame in compared)
    assert decided.decisions["verdict"].tolist() == ["requote"]
    assert [f.code for f in decided.findings] == ["D010"]


def test_a_part_on_lines_at_several_costs_is_taken_at_each_where_all_of_it_is_meant():
    """2 at 10 and 3 at 13 are 59 of a product, not 50; of a stated quantity nobody knows which lines it stands for."""

    def found(second: float, qty: float | None):
        parts = [{"part_no": "P", "booked": 10.0, "today": 12.0, "qty_per": 2.0},
                 {"part_no": "P", "booked": second, "today": 14.0, "qty_per": 3.0},
                 {"part_no": "Q", "booked": 9.0, "today": 9.0}]  # fmt: skip
        case = market_of(parts).case([row("D", "old", "a", part_no="P", qty=qty), row("D", "new", "b", part_no="Q")])
        return case.booked[0], case.today[0], [(f.code, f.assumed) for f in case.findings]

    assert found(13.0, None) == (59.0, 66.0, [("D026", "each line at its own, 11.8 on average")])
    assert found(13.0, 5.0) == (50.0, 60.0, [("D026", "all of it at 10, as on its first line")])
    assert found(10.0, None) == (50.0, 60.0, [])


def test_a_missing_price_is_not_a_price_of_nought():
    rows = [row("D", "old", "a", part_no="Z"), row("D", "new", "b", part_no="P1"),
            row("E", "old", "a", part_no="P2"), row("E", "new", "b", part_no="P1")]  # fmt: skip
    decided = MARKET.decide(rows)
    hidden, shown = decided.decisions.iloc[0], decided.decisions.iloc[1]
    figures = ["saving_booked", "saving_today", "saving_low", "saving_high", "p_flip", "npv", "npv_low", "npv_high",
               "p_pays_back", "evpi", "break_even_price", "piece_saving_today"]  # fmt: skip
    assert hidden[figures].isna().all()
    assert shown[figures[:-2]].notna().all()
    assert (hidden["best_today"], shown["best_today"] != "") == ("", True)
    costs_of = decided.options.set_index(["decision", "option"])["cost_today"]
    assert costs_of.isna().tolist() == [True, False, False, False]
    first = decided.elements.iloc[0]
    assert first[["booked_per_unit", "today_per_unit", "low", "high"]].isna().all()
    assert {*decided.savings["decision"], *decided.paths["decision"], *decided.tornado["decision"]} == {"E"}


def test_duty_cycle_is_paid_at_each_point_and_incomplete_ones_are_said():
    rows = [
        row(
            "D",
            "old",
            "cruise",
            kind="energy_in_use",
            power=20.0,
            time_share=0.9,
            hours_per_year=1000,
            price_per_kwh=0.25,
        ),
        row(
            "D",
            "old",
            "full",
            kind="energy_in_use",
            power=100.0,
            time_share=0.1,
            hours_per_year=1000,
            price_per_kwh=0.25,
        ),
        row("D", "new", "flat", kind="energy_in_use", power=28.0, hours_per_year=1000, price_per_kwh=0.25),
        row("D", "new", "none", kind="energy_in_use", power=28.0),
    ]
    _, case = costs(*rows)
    assert case.costed.today[:2].sum() == pytest.approx(case.costed.today[2])
    eight = float(discounted_years([8.0], rate=RATE, timing="mid_year")[0])
    assert case.costed.today[2] == pytest.approx(28 / 1000 * 1000 * 0.25 * eight)
    assert [f.code for f in case.findings] == ["D013", "D010"]


def test_parts_outside_the_bom_become_lines_of_their_own():
    rows = pd.DataFrame(
        [
            row("D", "old", "a", part_no="P1"),
            row("D", "new", "pump", part_no="X9", amount=30.0, commodity="pump", date=pd.Timestamp(2015, 5, 5)),
            row("E", "old", "a", part_no="P1"),
            row("E", "new", "pump", part_no="X9", amount=28.0, commodity="pump", date=pd.Timestamp(2017, 5, 5)),
            row("E", "new", "nameless", amount=4.0, commodity="seal"),
        ]
    )
    register = read_register(rows, settings=MARKET.settings, as_of=date(2026, 6, 30))
    sources = find_sources(register, MARKET.lines)
    outside = sources.outside.set_index("part_no")
    assert outside.index.tolist() == ["X9", "E/new/nameless"]
    assert (outside.loc["X9", "unit_cost"], outside.loc["X9", "cost_date"]) == (28.0, pd.Timestamp(2017, 5, 5))
    assert outside.loc["E/new/nameless", "cost_date"] == pd.Timestamp(2016, 6, 30)
    assert [f.code for f in sources.findings] == ["D017"]


def test_a_part_on_several_lines_of_an_assembly_is_one_price():
    """Two lines of one P are what one line of two P is: no line makes up for the other, and one quote tells both."""

    def judged(*each: float):
        held = [{"part_no": "P", "booked": 5.0, "today": 6.0, "sd": 0.2, "parent_row": 0, "qty_per": q} for q in each]
        other = {"part_no": "Q", "booked": 12, "today": 12}
        market = market_of([{"part_no": "A", "row_kind": "assembly"}, *held, other])
        return market.decide([row("D", "old", "a", part_no="A"), row("D", "new", "b", part_no="Q", change_cost=0.0)])

    split, whole = judged(1.0, 1.0), judged(2.0)
    pd.testing.assert_frame_equal(split.decisions, whole.decisions)
    pd.testing.assert_frame_equal(split.break_evens, whole.break_evens)
    pd.testing.assert_frame_equal(split.drivers, whole.drivers)
    assert split.requotes["decisions"].tolist() == ["D"]


def test_a_part_in_both_assemblies_of_a_decision_cancels():
    """A holds M and P, B holds M and Q: M costs whatever it costs in both, so that only P and Q tell them apart."""
    motor = {"part_no": "M", "booked": 25.0, "today": 36.0, "sd": 0.3}
    market = market_of(
        [
            {"part_no": "A", "row_kind": "assembly"}, motor | {"parent_row": 0},
            {"part_no": "P", "booked": 3.0, "today": 4.0, "sd": 0.01, "parent_row": 0},
            {"part_no": "B", "row_kind": "assembly"}, motor | {"parent_row": 3},
            {"part_no": "Q", "booked": 4.0, "today": 3.0, "sd": 0.01, "parent_row": 3},
        ]
    )  # fmt: skip
    decided = market.decide([row("D", "old", "a", part_no="A"), row("D", "new", "b", part_no="B")])
    head = decided.decisions.iloc[0]
    assert (head["p_flip"], head["verdict"]) == (1.0, "reopen")
    assert head["saving_low"] == pytest.approx(-1, abs=0.1)
    assert "M" not in decided.break_evens["part_no"].tolist()
