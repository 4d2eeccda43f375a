"""The verdicts, rule by rule; and that one driver moved across its break-even changes the verdict."""

from __future__ import annotations

import dataclasses
from datetime import date

import numpy as np
import pandas as pd
import pytest
from made_decisions import AS_OF, market_of, row

from bomaudit.decide import RULES
from bomaudit.decide.pricing import bearing_on_safety
from bomaudit.decide.verdict import about, judge, say_why
from bomaudit.glossary import DECISIONS_OUT, REQUOTES, VERDICTS
from bomaudit.settings import DecideSection

RULES_OF_TEST = DecideSection(cost_of_asking=100, worth_asking=3, reopen_probability=0.8, reopen_npv=1000)

STANDS = {
    "priced": True, "npv": -5000.0, "npv_low": -9000.0, "npv_later": -4000.0, "value_of_asking": 0.0,
    "p_pays_back": 0.05, "saving_today": 1.0, "tips_on": pd.NaT, "safety_relevant": False,
}  # fmt: skip


def rule(**facts):
    judged = judge(pd.DataFrame([STANDS | facts]), RULES_OF_TEST)
    return judged["verdict"][0], judged["rule"][0]


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        ({}, ("stands", "still_cheapest")),
        ({"saving_today": -0.1}, ("stands", "not_worth_it")),
        ({"priced": False, "npv": 9e9}, ("requote", "no_price")),
        ({"npv": np.nan, "p_pays_back": np.nan, "npv_low": np.nan}, ("requote", "no_volume")),
        ({"npv": 9000, "npv_low": 1000, "p_pays_back": 0.95}, ("reopen", "worth_it")),
        ({"npv": 9000, "npv_low": 999, "p_pays_back": 0.95, "value_of_asking": 300}, ("requote", "worth_knowing")),
        ({"npv": 9000, "npv_low": 999, "p_pays_back": 0.95, "value_of_asking": 299}, ("reopen", "likely")),
        ({"npv": 900, "npv_low": 100, "p_pays_back": 0.95}, ("stands", "still_cheapest")),
        ({"npv": 9000, "npv_low": 1000, "p_pays_back": 0.8}, ("reopen", "worth_it")),
        ({"npv": 1000, "npv_low": 0, "p_pays_back": 0.8}, ("reopen", "likely")),
        ({"npv": 1000, "npv_low": 0, "p_pays_back": 0.79}, ("stands", "still_cheapest")),
        ({"tips_on": pd.Timestamp(2028, 1, 1), "npv_later": 1000.0}, ("watch", "tips_later")),
        ({"saving_today": 0.0}, ("stands", "still_cheapest")),
        ({"saving_today": 0.5}, ("stands", "still_cheapest")),
        ({"npv": 500, "p_pays_back": 0.55, "value_of_asking": 5000}, ("requote", "worth_knowing")),
        ({"p_pays_back": 0.15, "value_of_asking": 5000}, ("stands", "still_cheapest")),
        ({"p_pays_back": 1 - 0.8, "value_of_asking": 5000}, ("stands", "still_cheapest")),
        ({"p_pays_back": 0.21, "value_of_asking": 5000}, ("requote", "worth_knowing")),
        ({"tips_on": pd.Timestamp(2028, 1, 1), "npv_later": 2000.0}, ("watch", "tips_later")),
        ({"tips_on": pd.Timestamp(2028, 1, 1), "npv_later": 500.0}, ("stands", "still_cheapest")),
        (
            {"tips_on": pd.Timestamp(2028, 1, 1), "npv_later": 2000.0, "p_pays_back": 0.4, "value_of_asking": 900},
            ("requote", "worth_knowing"),
        ),
    ],
)
def test_rules(facts, expected):
    assert rule(**facts) == expected


LITTLE = (
    "and switching comes to 900 EUR, less than the 1 000 EUR that a change must be worth; it pays back with a chance "
)
EATEN = "but switching comes to -900 EUR once the change is paid for, and pays back with a chance of 20 % only."


@pytest.mark.parametrize(("npv", "chance", "said"), [(900.0, 0.999, LITTLE + "over 99 %."), (-900.0, 0.2, EATEN)])
def test_a_switch_that_pays_a_little_is_not_said_to_be_eaten_up_by_the_change(npv, chance, said):
    facts = STANDS | {"npv": npv, "npv_low": npv / 2, "p_pays_back": chance, "saving_today": -0.1}
    frame = pd.DataFrame([facts | {"switch_to": "new", "ask_first": ""}])
    frame = frame.assign(**judge(frame, RULES_OF_TEST))
    assert frame["rule"][0] == "not_worth_it"
    assert say_why(frame, RULES_OF_TEST, currency="EUR", confidence=0.8)[0].endswith(
        f"today {said}" if npv > 0 else f"today, {said}"
    )


@pytest.mark.parametrize(
    "facts",
    [
        {"npv": 9e6, "npv_low": 5e6, "p_pays_back": 1.0},
        {"npv": 9e6, "npv_low": -1.0, "p_pays_back": 0.85},
    ],
)
def test_safety_relevant_decisions_never_go_beyond_engineering_review(facts):
    verdict, name = rule(safety_relevant=True, **facts)
    assert verdict == "review"
    assert name.startswith("safety_")
    assert rule(safety_relevant=True)[0] == "stands"


def test_every_rule_says_why_and_gives_a_verdict():
    assert set(RULES.values()) <= set(VERDICTS)
    for name in [*RULES, "safety_worth_it", "safety_likely"]:
        facts = pd.DataFrame(
            [STANDS | {"rule": name, "switch_to": "new", "ask_first": "P1", "tips_on": pd.Timestamp(2028, 5, 1)}]
        )
        text = say_why(facts, RULES_OF_TEST, currency="EUR", confidence=0.8)[0]
        assert len(text) > 30
        assert "nan" not in text
        assert ("Engineering review needed before re-opening" in text) == name.startswith("safety_")


def test_a_reason_has_the_figures_of_its_decision():
    made = {
        "rule": "worth_it",
        "switch_to": "new",
        "ask_first": "P1",
        "p_pays_back": 0.87,
        "npv": 12345.6,
        "npv_low": 1,
    }
    text = say_why(pd.DataFrame([STANDS | made]), RULES_OF_TEST, currency="EUR", confidence=0.8)[0]
    assert text == (
        "Switching to new is worth 12 300 EUR, still 1 EUR at the low end of the 80 % interval,"
        " and pays back with a chance of 87 %."
    )
    knowing = STANDS | made | {"rule": "worth_knowing", "value_of_asking": 900}
    text = say_why(pd.DataFrame([knowing]), RULES_OF_TEST, currency="EUR", confidence=0.8)[0]
    assert text.endswith("one quote for P1 is worth 900 EUR and costs 100 EUR.")


@pytest.mark.parametrize(
    ("chance", "said"), [(1.0, "over 99 %"), (0.991, "over 99 %"), (0.99, "of 99 %"), (0.0, "under 1 %")]
)
def test_no_reason_calls_a_decision_certain(chance, said):
    made = pd.DataFrame([STANDS | {"rule": "likely", "switch_to": "new", "ask_first": "", "p_pays_back": chance}])
    assert f"pays back with a chance {said};" in say_why(made, RULES_OF_TEST, currency="EUR", confidence=0.8)[0]


@pytest.mark.parametrize(
    ("amount", "said"),
    [(1_842_972.0, "1 840 000 EUR"), (-12_346.0, "-12 300 EUR"), (999.6, "1 000 EUR"), (0.0, "0 EUR"), (0.2, "0 EUR")],
)
def test_an_estimated_amount_has_three_figures(amount, said):
    assert about(amount, "EUR") == said


def market(today, sd=0.05, **more):
    return market_of(
        [
            {"part_no": "A", "booked": 30, "today": 32, "sd": 0.03},
            {"part_no": "B", "booked": 45, "today": today, "sd": sd, **more},
        ]
    )


ROWS = (
    row("D", "old", "mech", part_no="A", qty=1, amount=30.0),
    row("D", "old", "loss", kind="energy_in_use", amount=2.0, low=1.0, high=4.0),
    row("D", "new", "el", part_no="B", qty=1, amount=46.0, change_cost=40_000.0),
    row("D", "new", "test", kind="validation", basis="once", amount=60_000.0, low=50_000.0, high=80_000.0),
)


def test_the_trade_check_a_rare_part_that_became_a_commodity():
    """Common practice, no published source: a fixed-ratio mechanical auxiliary saved 10-20 a unit while the
    controllable electric one was rare; once that is a commodity the saving is gone, its losses remain."""
    head = market(today=26.0).decide(ROWS).decisions.iloc[0]
    assert 10 < head["saving_booked"] < 20
    assert head["saving_today"] < 0
    assert (head["verdict"], head["switch_to"]) == ("reopen", "new")


@pytest.mark.parametrize("sd", [0.02, 0.1, 0.3])
def test_the_verdict_flips_when_a_price_crosses_its_break_even(sd):
    """Mutation: the pivotal part on the one side of its break-even price and on the other."""
    decided = market(today=26.0, sd=sd).decide(ROWS)
    even = decided.break_evens.set_index("part_no").loc["B", "break_even_price"]
    for beyond, verdicts in ((0.7, {"reopen", "requote"}), (1.3, {"stands", "requote"})):
        head = market(today=even * beyond, sd=sd).decide(ROWS).decisions.iloc[0]
        assert head["verdict"] in verdicts
        assert (head["npv"] > 0) == (beyond < 1)
    at_even = market(today=even, sd=sd).decide(ROWS).decisions.iloc[0]
    assert at_even["npv"] == pytest.approx(0.0, abs=1e-6)
    assert at_even["verdict"] == "requote"


def test_cheaper_on_piece_price_but_not_fully_accounted():
    rows = [*ROWS, row("D", "new", "tools", kind="tooling", basis="once", amount=900_000.0)]
    head = market(today=26.0).decide(rows).decisions.iloc[0]
    assert head["piece_saving_today"] < 0 < head["saving_today"]
    assert (head["verdict"], head["rule"]) == ("stands", "still_cheapest")


def test_dearer_on_piece_price_but_cheaper_fully_accounted():
    rows = [*ROWS, row("D", "old", "brushes", kind="warranty", amount=15.0, low=13.0, high=18.0)]
    head = market(today=36.0).decide(rows).decisions.iloc[0]
    assert head["saving_today"] < 0 < head["piece_saving_today"]
    assert head["verdict"] == "reopen"


def test_a_safety_relevant_line_anywhere_in_the_options_holds_the_verdict_back():
    head = market(today=26.0, safety_relevant=True).decide(ROWS).decisions.iloc[0]
    assert (head["verdict"], bool(head["safety_relevant"])) == ("review", True)
    assert "Engineering review" in head["reason"]


def test_a_safety_relevant_line_inside_an_assembly_holds_the_verdict_back():
    made = market_of(
        [
            {"part_no": "A", "booked": 30, "today": 32, "sd": 0.03},
            {"part_no": "T", "row_kind": "assembly"},
            {"part_no": "T1", "booked": 45, "today": 20, "sd": 0.05, "parent_row": 1, "safety_relevant": True},
        ]
    )
    head = made.decide([row("D", "old", "a", part_no="A"), row("D", "new", "b", part_no="T")]).decisions.iloc[0]
    assert head["verdict"] == "review"


def test_a_part_that_any_line_marks_as_safety_relevant_is_so_on_all_of_them():
    """Also beneath an assembly, and where the marked line has no price, so that the register's price counts."""
    marked = {"part_no": "B", "booked": 45, "today": 20, "sd": 0.05}
    plain = {"part_no": "A", "booked": 30, "today": 32, "sd": 0.03}
    rows = [row("D", "old", "a", part_no="A"), row("D", "new", "b", part_no="B", qty=1, amount=20.0)]
    second = marked | {"safety_relevant": True}
    beneath = [{"part_no": "T", "row_kind": "assembly"}, marked | {"parent_row": 1}]
    unpriced = {"part_no": "B", "auditable": False, "safety_relevant": True}

    def verdict(parts, other="B"):
        given = [r | {"part_no": r["part_no"].replace("B", other)} for r in rows]
        return market_of([plain, *parts]).decide(given).decisions.iloc[0][["verdict", "safety_relevant"]].tolist()

    assert verdict([marked, second]) == ["review", True]
    assert verdict([*beneath, second], "T") == ["review", True]
    assert verdict([unpriced])[1]
    assert verdict([marked, marked]) == ["reopen", False]


def test_what_is_built_into_a_safety_relevant_assembly_bears_on_safety():
    """At any depth and on the part's other lines; other assemblies that hold the same screw do not, for all that."""
    screw = {"part_no": "B", "booked": 45, "today": 20, "sd": 0.05}
    brake = {"part_no": "BRAKE", "row_kind": "assembly", "safety_relevant": True}
    inner = {"part_no": "INNER", "row_kind": "assembly", "parent_row": 0}
    made = market_of([
        brake, inner, screw | {"parent_row": 1}, screw, {"part_no": "CASE", "row_kind": "assembly"},
        screw | {"parent_row": 4}, {"part_no": "A", "booked": 90, "today": 95, "sd": 0.03},
    ])  # fmt: skip
    assert bearing_on_safety(made.lines).tolist() == [True, True, True, True, False, True, False]
    for part, verdict in (("B", "review"), ("INNER", "review"), ("CASE", "reopen")):
        rows = [row("D", "old", "a", part_no="A", qty=1), row("D", "new", "b", part_no=part, qty=1)]
        assert made.decide(rows).decisions.loc[0, "verdict"] == verdict


def falling(share_per_year, **more):
    """Market whose part B falls by a share a year, and the prices on any day."""
    made = market(today=34.0, sd=0.02, **more)
    base = made.case(ROWS).costed.prices

    def prices_at(day):
        years = (day - AS_OF).days / 365.25
        factor = np.where(base.parts["part_no"] == "B", (1 - share_per_year) ** years, 1.0)
        return dataclasses.replace(base, parts=base.parts.assign(estimate=base.parts["estimate"] * factor))

    return made, prices_at


def test_a_balance_that_tips_later_is_watched_with_its_date():
    made, prices_at = falling(0.08)
    head = made.decide(ROWS, prices_at).decisions.iloc[0]
    assert (head["verdict"], head["rule"]) == ("watch", "tips_later")
    assert head["tips_early"] <= head["tips_on"] <= head["tips_late"]
    assert AS_OF < head["tips_on"].date() < date(2031, 6, 30)
    day = head["tips_on"].date()
    left = 5 - (day - AS_OF).days / 365.25
    products = 10_000 * sum(
        min(1, left - k) * (1.08 / 1.02) ** -(k + min(1, left - k) / 2) for k in range(int(np.ceil(left)))
    )
    price = 34 * 0.92 ** ((day - AS_OF).days / 365.25)
    assert products * (32 + 2 - price) == pytest.approx(100_000, rel=0.1)


def test_a_balance_that_never_tips_within_the_years_left_stands():
    made, prices_at = falling(0.005)
    head = made.decide(ROWS, prices_at).decisions.iloc[0]
    assert (head["verdict"], head["tips_on"] is pd.NaT or pd.isna(head["tips_on"])) == ("stands", True)


def test_waiting_a_quarter_loses_that_quarters_savings_and_keeps_the_change_cost_for_so_long():
    """At unchanged prices, all of it seen from today: 91 days of savings, less the interest on what is not yet paid."""
    head = market(today=26.0, sd=0.02).decide(ROWS).decisions.iloc[0]
    rate, wait = 1.08 / 1.02 - 1, 91 / 365.25

    def years(left):
        return sum(min(1, left - k) * (1 + rate) ** -(k + min(1, left - k) / 2) for k in range(int(np.ceil(left))))

    paid = {left: 10_000 * years(left) * (32 + 2 - 26) for left in (5, 5 - wait)}
    later = (paid[5 - wait] - 100_000) * (1 + rate) ** -wait
    assert head["npv"] == pytest.approx(paid[5] - 100_000)
    assert head["regret_of_waiting"] == pytest.approx(head["npv"] - later)


def test_the_day_the_balance_tipped():
    """B fell by 8 % a year to 26; the balance is 32 + 2 against B and its test, spread over the years left."""
    made = market(today=26.0, sd=0.02)
    base = made.case(ROWS).costed.prices

    def prices_at(day):
        years = (day - AS_OF).days / 365.25
        factor = np.where(base.parts["part_no"] == "B", 0.92**years, 1.0)
        return dataclasses.replace(base, parts=base.parts.assign(estimate=base.parts["estimate"] * factor))

    decided = made.decide(ROWS, prices_at)
    tipped = decided.decisions.loc[0, "tipped_on"]
    years = (tipped - pd.Timestamp(AS_OF)).days / 365.25
    assert 26 * 0.92**years == pytest.approx(34 - 6 / 8, abs=0.4)
    path = decided.paths.pivot_table(index="date", columns="option", values="cost_per_unit")
    assert ((path["new"] < path["old"]) == (path.index >= tipped)).all()
    assert path.index.min() == pd.Timestamp(2016, 6, 30)


@pytest.mark.parametrize("share", [0.08, -0.05])
@pytest.mark.parametrize("decided_on", [pd.Timestamp(2018, 2, 11), pd.NaT])
def test_an_unrelated_decision_leaves_the_dates_of_the_others(share, decided_on):
    """However old it is and however long its product is still made."""
    made, prices_at = falling(share)
    rows = [r | {"decided_on": decided_on, "change_cost": 35_000.0} for r in ROWS]
    other = [row("E", o, "e", part_no="A", qty=q, decided_on=pd.Timestamp(2009, 5, 3), years_left=9.0)
             for o, q in (("old", 1), ("new", 2))]  # fmt: skip
    columns = ["tipped_on", "tips_on", "tips_early", "tips_late", "regret_of_waiting", "verdict"]
    alone, beside = (made.decide(r, prices_at) for r in (rows, [*rows, *other]))
    assert alone.decisions[columns].notna().any(axis=None)
    assert beside.decisions.loc[[0], columns].equals(alone.decisions[columns])
    mine = beside.paths[beside.paths["decision"] == "D"].reset_index(drop=True)
    assert mine.equals(alone.paths)


def test_without_an_annual_volume_only_unit_costs_are_compared():
    rows = [r | {"annual_volume": np.nan} for r in ROWS]
    head = market(today=26.0).decide(rows).decisions.iloc[0]
    assert (head["rule"], head["verdict"]) == ("no_volume", "requote")
    assert np.isnan(head["npv"])


def test_three_options_and_the_best_alternative_is_named():
    rows = [*ROWS, row("D", "third", "x", part_no="B", qty=0.9, amount=46.0)]
    decided = market(today=26.0).decide(rows)
    head = decided.decisions.iloc[0]
    assert (head["switch_to"], head["best_today"]) == ("third", "third")
    npv = decided.options.set_index("option")["npv"]
    assert npv["third"] == head["npv"] > npv["new"]


def test_frames_hold_the_columns_of_the_glossary():
    decided = market(today=26.0).decide(ROWS)
    assert tuple(decided.decisions.columns) == DECISIONS_OUT.names
    assert tuple(decided.requotes.columns) == REQUOTES.names


def test_an_empty_register_gives_empty_frames_with_their_columns():
    made = market(today=26.0)
    decided = made.decide([])
    assert len(decided.decisions) == 0
    assert tuple(decided.decisions.columns) == DECISIONS_OUT.names


def test_what_a_price_is_worth_knowing_has_two_figures_and_other_money_three():
    assert about(181_234.0, "EUR") == "181 000 EUR"
    assert about(181_234.0, "EUR", figures=2) == "180 000 EUR"
    assert about(61.7, "EUR", figures=2) == "62 EUR"
