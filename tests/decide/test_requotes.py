"""What to ask first, the requests for quote, decisions added up once, and what helps without a register."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from made_decisions import market_of, row

from bomaudit.decide import explain_decision, quote_requests
from bomaudit.decide.candidates import function_of
from bomaudit.decide.portfolio import add_up
from bomaudit.decide.requotes import quantities_in_decisions, rank_requotes

PARTS = [
    {"part_no": "A", "booked": 30, "today": 31, "sd": 0.05, "supplier": "S1", "annual_volume": 10_000.0},
    {"part_no": "B", "booked": 45, "today": 30, "sd": 0.2, "supplier": "S2", "annual_volume": 10_000.0},
    {"part_no": "C", "booked": 5, "today": 3, "sd": 0.2, "supplier": "S1", "annual_volume": 10_000.0, "qty_per": 2.0},
    {"part_no": "C", "booked": 5, "today": 3, "sd": 0.2, "supplier": "S1", "annual_volume": 10_000.0, "qty_per": 1.0},
    {"part_no": "D", "booked": 1, "today": 1, "sd": 0.001, "supplier": "S1", "annual_volume": 10.0},
]
ROWS = [
    row("D", "old", "mech", part_no="A", qty=1),
    row("D", "new", "el", part_no="B", qty=1, change_cost=1_000.0),
    row("D", "new", "x", kind="other", amount=1.0, low=0.5, high=2.0),
]


def test_parts_are_ranked_by_what_a_quote_is_worth():
    requotes = market_of(PARTS).decide(ROWS).requotes
    assert requotes["rank"].tolist() == list(range(1, len(requotes) + 1))
    assert requotes["value_of_asking"].is_monotonic_decreasing
    assert (requotes["value_of_asking"] > requotes["cost_of_asking"]).all()
    assert "D" not in requotes["part_no"].tolist()
    assert requotes.set_index("part_no").loc["B", "decisions"] == "D"


def test_a_part_in_no_decision_is_worth_asking_for_what_it_may_fall():
    """Three C a product at 5, expected near 3: half of the expected fall below 5 on 30,000 a year."""
    requotes = market_of(PARTS).decide(ROWS).requotes.set_index("part_no")
    fall = np.mean(np.maximum(5 - 3 * np.exp(0.2 * np.random.default_rng(1).normal(size=400_000)), 0))
    assert requotes.loc["C", "decisions"] == ""
    assert requotes.loc["C", "value_of_asking"] == pytest.approx(0.5 * fall * 30_000, rel=5e-3)
    assert requotes.loc["C", "exposure_per_year"] == pytest.approx(2 * 30_000)


def test_a_part_on_lines_at_several_costs_is_asked_for_once():
    """Both lines of M stand in the assembly of one decision: one quote, worth no more than knowing everything."""
    lines = [{"part_no": "M", "booked": b, "today": t, "sd": 0.3, "parent_row": 0} for b, t in ((5, 6), (4, 5))]
    market = market_of([{"part_no": "A", "row_kind": "assembly"}, *lines, {"part_no": "Q", "booked": 10, "today": 11}])
    decided = market.decide([row("D", "old", "a", part_no="A"), row("D", "new", "b", part_no="Q", change_cost=0.0)])
    asked, head = decided.requotes.set_index("part_no").loc["M"], decided.decisions.iloc[0]
    assert asked["decisions"] == "D"
    assert asked["value_of_asking"] == pytest.approx(head["value_of_asking"])
    assert asked["value_of_asking"] < head["evpi"]


def test_a_part_at_several_costs_is_won_back_line_by_line():
    """What the second line may fall by was counted from the first one's cost: 1,000 booked at 5 and 9,000 at 3."""
    lines = [{"part_no": "M", "booked": b, "today": 3, "sd": 0.2, "qty_per": q, "annual_volume": 10_000.0}
             for b, q in ((5, 0.1), (3, 0.9))]  # fmt: skip
    asked = [market_of(p).decide([]).requotes["value_of_asking"].tolist() for p in (lines, lines[:1], lines[1:])]
    assert asked[0] == pytest.approx([asked[1][0] + asked[2][0]])


def by_price_alone(committed=()):
    """Re-quotes by part, of a BOM without decisions, with prices of firm quotes in hand."""
    market = market_of(PARTS)
    nothing = pd.DataFrame(columns=["part_no"]), pd.DataFrame({"decision": [], "part_no": [], "evsi": []})
    return rank_requotes(
        market.audited, *nothing, committed=pd.Series(dict(committed), dtype=float), rules=market.settings.decide,
        currency="EUR",
    ).set_index("part_no")  # fmt: skip


def test_what_a_firm_quote_in_hand_wins_needs_no_asking():
    """C is booked at 5 and expected near 3: with a firm 3.20 in hand only the fall below 3.20 is left to win."""
    price = 3 * np.exp(0.2 * np.random.default_rng(1).normal(size=400_000))
    won = 0.5 * np.mean(np.maximum(3.2 - price, 0)) * 30_000
    asked = by_price_alone({"C": 3.2}).loc["C"]
    assert asked["value_of_asking"] == pytest.approx(won, rel=5e-3)
    assert "below the firm quote in hand" in asked["reason"]
    assert "C" not in by_price_alone({"C": 2.0}).index
    dearer = by_price_alone({"C": 6.0}).loc["C"]
    pd.testing.assert_series_equal(dearer, by_price_alone().loc["C"])
    assert "below the booked cost" in dearer["reason"]


def test_worth_in_several_decisions_adds_up():
    once = market_of(PARTS).decide(ROWS).decisions.loc[0, "value_of_asking"]
    twice = market_of(PARTS).decide([*ROWS, *(r | {"decision": "E"} for r in ROWS)])
    part = twice.decisions.loc[0, "ask_first"]
    alone = by_price_alone()["value_of_asking"].get(part, 0.0)
    total = twice.requotes.set_index("part_no").loc[part]
    assert total["value_of_asking"] - alone == pytest.approx(2 * once, rel=3e-3)
    assert set(total["decisions"].split(", ")) == {"D", "E"}


def test_the_request_withholds_the_last_price_unless_told():
    market = market_of(PARTS)
    decided = market.decide(ROWS)
    sheet = quote_requests(decided.requotes, market.audited, rules=market.settings.decide)
    assert sheet["supplier"].is_monotonic_increasing
    assert sheet["last_price"].isna().all()
    assert (sheet["last_price_currency"] == "").all()
    shown = quote_requests(
        decided.requotes, market.audited, rules=market.with_settings(show_last_price=True).settings.decide
    )
    asked = shown.set_index("part_no").loc["C"]
    assert asked[["annual_qty", "break_1", "break_2", "break_3"]].tolist() == [30_000, 15_000, 30_000, 60_000]
    assert asked["last_price"] == 5.0


def test_a_request_states_a_whole_annual_quantity():
    """Scrap and shares of a product make 1,234.5678 a year, and rounding 9,900.000000000002: nobody orders those."""
    parts = [PARTS[2] | {"qty_per": q, "part_no": p} for p, q in (("C", 0.12345678), ("E", 0.99 * (1 + 2e-16)))]
    market = market_of([*PARTS[:2], *parts])
    asked = quote_requests(market.decide(ROWS).requotes, market.audited, rules=market.settings.decide)
    of = asked.set_index("part_no")
    assert of.loc["C", ["annual_qty", "break_1", "break_2", "break_3"]].tolist() == [1235, 620, 1300, 2500]
    assert of.loc["E", "annual_qty"] == 9900.0


def judged(**npv):
    return pd.DataFrame({"decision": list(npv), "verdict": "reopen", "npv": list(npv.values()), "change_cost": 40.0})


def register_with(changes):
    market = market_of(PARTS)
    rows = [r | {"decision": name, "change": change} for name, change in changes.items() for r in ROWS]
    return market.case(rows).register


def test_decisions_that_take_out_the_same_part_count_once():
    register = register_with({"X": "", "Y": "", "Z": ""})
    removed = pd.DataFrame({"d": [0, 1, 1, 2], "part_no": ["A", "A", "B", "C"]})
    total, findings = add_up(register, judged(X=100.0, Y=300.0, Z=50.0), removed)
    assert total["decision"].tolist() == ["Y", "X", "Z"]
    assert total["counted"].tolist() == [True, False, True]
    assert total["npv_counted"].sum() == 350.0
    assert [f.code for f in findings] == ["D020"]
    assert "A" in findings[0].found


def test_decisions_that_share_a_change_pay_for_it_once():
    register = register_with({"X": "new board", "Y": "new board", "Z": ""})
    removed = pd.DataFrame({"d": [0, 1, 2], "part_no": ["A", "B", "C"]})
    total, findings = add_up(register, judged(X=100.0, Y=300.0, Z=50.0), removed)
    assert total.set_index("decision")["npv_counted"].to_dict() == {"Y": 300.0, "X": 140.0, "Z": 50.0}
    assert [f.code for f in findings] == ["D021"]


def test_what_waits_for_a_review_neither_pays_for_nor_displaces_what_is_to_be_reopened():
    """Y may never be let through: X then still pays for the board itself, and Z still takes out part B."""
    register = register_with({"X": "new board", "Y": "new board", "Z": ""})
    removed = pd.DataFrame({"d": [0, 1, 2], "part_no": ["A", "B", "B"]})
    frame = judged(X=100.0, Y=300.0, Z=50.0).assign(verdict=["reopen", "review", "reopen"])
    total, findings = add_up(register, frame, removed)
    assert total.set_index("decision")["npv_counted"].to_dict() == {"X": 100.0, "Z": 50.0, "Y": 0.0}
    assert [f.code for f in findings] == ["D020"]
    total, _ = add_up(register, frame, removed.iloc[:2])
    assert total.set_index("decision")["npv_counted"].to_dict() == {"X": 100.0, "Z": 50.0, "Y": 340.0}


def test_only_decisions_worth_it_are_added_up():
    frame = judged(X=100.0, Y=300.0).assign(verdict=["stands", "review"])
    total, _ = add_up(register_with({"X": "", "Y": ""}), frame, pd.DataFrame({"d": [0], "part_no": ["A"]}))
    assert total["decision"].tolist() == ["Y"]


def test_explain_gathers_both_columns_and_what_would_have_to_be_true():
    decided = market_of(PARTS).decide(ROWS)
    told = explain_decision(decided, "D")
    by_option = told.account.groupby("option", sort=False)[["booked_per_unit", "today_per_unit"]].sum()
    options = told.options.set_index("option")
    assert by_option["booked_per_unit"].to_dict() == pytest.approx(options["cost_booked"].to_dict())
    assert by_option["today_per_unit"].to_dict() == pytest.approx(options["cost_today"].to_dict())
    needed = told.conditions.set_index("driver")
    assert needed.loc["B", "needed"] == pytest.approx(
        decided.break_evens.set_index("part_no").loc["B", "break_even_price"]
    )
    assert told.conditions["change_needed"].abs().is_monotonic_increasing
    with pytest.raises(KeyError):
        explain_decision(decided, "no such")


@pytest.mark.parametrize(
    ("commodity", "function"),
    [
        ("brushless_motor", "turn"), ("motor_controller", ""), ("electronic_pump", "move a fluid"),
        ("heat_pump", "heat"), ("sheet_metal_part", "hold and cover"), ("casting_aluminium", "hold and cover"),
        ("lead_acid_battery", "store energy"), ("aluminium", ""), ("", ""),
    ],
)  # fmt: skip
def test_what_a_market_does_is_read_from_the_end_of_its_name(commodity, function):
    assert function_of(commodity) == function


def test_a_part_outside_of_the_bom_is_asked_for_what_its_decisions_need():
    """The largest option counts, not their sum; money, validation and parts per order are no quantity of parts."""
    elements = pd.DataFrame(
        [("D", "X", "part", "per_unit", 2.0), ("E", "X", "part", "per_unit", 3.0), ("E", "", "part", "per_unit", 9.0),
         ("D", "X", "validation", "per_unit", 50.0), ("D", "X", "part", "once", 50.0)],
        columns=["decision", "part_no", "kind", "basis", "qty"],
    )  # fmt: skip
    decisions = pd.DataFrame({"decision": ["D", "E"], "annual_volume": [1000.0, 500.0]})
    elsewhere = quantities_in_decisions(elements, decisions)
    assert elsewhere.to_dict() == {"X": 2000.0}
    market = market_of(PARTS)
    requotes = market.decide(ROWS).requotes.head(1).assign(part_no="X")
    asked = quote_requests(requotes, market.audited, rules=market.settings.decide, elsewhere=elsewhere)
    assert asked["annual_qty"].tolist() == [2000.0]
