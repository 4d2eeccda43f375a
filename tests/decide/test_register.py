"""What the register accepts, what it assumes, and what it leaves out, each with a finding at its place."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from made_decisions import AS_OF, market_of, row

from bomaudit.decide.alternates import as_decisions
from bomaudit.decide.register import read_register

MARKET = market_of(
    [{"part_no": "P1", "booked": 10, "today": 12, "sd": 0.1}, {"part_no": "P2", "booked": 15, "today": 9}]
)


def read(*rows, **settings):
    market = MARKET.with_settings(**settings)
    return read_register(pd.DataFrame(rows), settings=market.settings, as_of=AS_OF)


def codes(register):
    return [f.code for f in register.findings]


def test_two_options_make_a_decision():
    register = read(row("D", "old", "a", amount=1.0), row("D", "new", "b", amount=2.0))
    assert codes(register) == []
    assert register.options["option"].tolist() == ["old", "new"]
    assert register.options["chosen"].tolist() == [True, False]
    assert register.elements["o"].tolist() == [0, 1]


def test_rows_of_one_decision_need_not_stand_together():
    register = read(
        row("A", "old", "x", amount=1.0), row("B", "old", "x", amount=1.0), row("A", "new", "x", amount=1.0),
        row("B", "new", "x", amount=1.0), row("A", "old", "y", amount=1.0),
    )  # fmt: skip
    assert register.options[["d", "option"]].to_numpy().tolist() == [[0, "old"], [0, "new"], [1, "old"], [1, "new"]]
    assert register.elements.groupby("o")["element"].agg(list).tolist() == [["x", "y"], ["x"], ["x"], ["x"]]


def test_an_option_alone_is_no_decision():
    register = read(
        row("D", "old", "a", amount=1.0), row("E", "old", "a", amount=1.0), row("E", "new", "a", amount=1.0)
    )
    assert codes(register) == ["D002"]
    assert register.decisions["decision"].tolist() == ["E"]
    assert "decision D" in register.findings[0].message
    assert register.findings[0].row == 2


def test_chosen_option_missing_or_doubled_is_an_error():
    none = read(row("D", "old", "a", amount=1.0, chosen=False), row("D", "new", "b", amount=2.0))
    both = read(row("D", "old", "a", amount=1.0), row("D", "new", "b", amount=2.0, chosen=True))
    assert codes(none) == codes(both) == ["D003"]
    assert (none.findings[0].found, both.findings[0].found) == ("0", "2")
    assert len(none.decisions) == len(both.decisions) == 0


def test_header_fields_may_stand_in_any_row_and_must_not_contradict():
    rows = [
        row("D", "old", "a", amount=1.0, years_left=np.nan, title=""),
        row("D", "new", "b", amount=2.0, years_left=4.0),
    ]
    rows[1]["title"] = "Pump"
    register = read(*rows)
    assert (register.decisions["years_left"][0], register.decisions["title"][0]) == (4.0, "Pump")
    rows[0]["years_left"] = 6.0
    contradicted = read(*rows)
    assert codes(contradicted) == ["D004"]
    assert contradicted.decisions["years_left"][0] == 6.0


def test_years_left_come_from_the_settings_and_it_is_said():
    rows = [row("D", o, "a", amount=1.0, years_left=np.nan) for o in ("old", "new")]
    register = read(*rows, years_left=7)
    assert codes(register) == ["D006"]
    assert register.decisions["years_left"][0] == 7.0


@pytest.mark.parametrize("column", ["years_left", "annual_volume"])
def test_a_product_that_is_made_no_more_has_nothing_to_decide(column):
    """A stated 0 is no missing figure: neither the years of the settings nor the audit's volume take its place."""
    ended = [row("D", o, "a", amount=1.0, **{column: 0.0}) for o in ("old", "new")]
    register = read(*ended, *(row("E", o, "a", amount=1.0) for o in ("old", "new")))
    assert register.decisions["decision"].tolist() == ["E"]
    assert [(f.code, f.found) for f in register.findings] == [("D024", f"{column} 0")]


def test_a_negative_annual_volume_is_said_and_not_taken():
    register = read(*(row("D", o, "a", amount=1.0, annual_volume=-5.0) for o in ("old", "new")))
    assert codes(register) == ["D005"]
    assert np.isnan(register.decisions["annual_volume"][0])


@pytest.mark.parametrize("growth", [-1.0, -2.0, -np.inf, 1.01, 5.0])
def test_a_growth_that_leaves_less_than_nothing_or_more_than_doubles_is_said_and_not_taken(growth):
    """A what-if of -200 % was refused, the same in the decisions file gave volumes that turn negative every year."""
    rows = [row("D", o, p, part_no=p, volume_growth=growth) for o, p in (("old", "P1"), ("new", "P2"))]
    register = read(*rows)
    (finding,) = register.findings
    assert (finding.code, finding.severity, finding.place()) == ("D025", "warning", "decisions.csv:2")
    assert finding.found == f"{growth:.1%}"
    assert register.decisions["volume_growth"][0] == 0
    stated, unstated = MARKET.decide(rows), MARKET.decide([r | {"volume_growth": np.nan} for r in rows])
    pd.testing.assert_frame_equal(stated.decisions, unstated.decisions)


def test_a_growth_that_nearly_ends_the_product_is_taken():
    register = read(*(row("D", o, "a", amount=1.0, volume_growth=-0.99) for o in ("old", "new")))
    assert codes(register) == []
    assert register.decisions["volume_growth"][0] == -0.99


@pytest.mark.parametrize("years", [2026.0, 100.5, 0.0, -8.0, np.inf])
def test_years_of_use_that_cannot_be_are_said_and_not_taken(years):
    """A calendar year in the column was paid energy for two thousand years."""
    rows = [row("D", "old", "a", amount=1.0), row("D", "new", "b", amount=1.0, use_years=years) | {"source_row": 3}]
    register = read(*rows, use_years=7)
    (finding,) = register.findings
    assert (finding.code, finding.severity, finding.place()) == ("D025", "warning", "decisions.csv:3")
    assert (finding.found, finding.assumed.split(" from ")[0]) == (f"{years:g}", "taken as not stated, 7 years")
    assert register.elements["use_years"].isna().all()


def test_years_of_use_up_to_a_hundred_are_taken():
    register = read(*(row("D", o, "a", amount=1.0, use_years=100.0) for o in ("old", "new")))
    assert codes(register) == []
    assert register.elements["use_years"].tolist() == [100.0, 100.0]


def test_unknown_kind_and_basis_are_assumed_and_said():
    register = read(
        row("D", "old", "a", amount=1.0, kind="gizmo", basis="monthly"),
        row("D", "new", "b", amount=1.0, part_no="P1", kind=""),
        row("D", "new", "c", amount=1.0, kind="tooling", basis=""),
    )  # fmt: skip
    assert codes(register) == ["D008", "D008", "D009", "D009"]
    assert register.elements["kind"].tolist() == ["other", "part", "tooling"]
    assert register.elements["basis"].tolist() == ["per_unit", "per_unit", "once"]


def test_ranges_out_of_order_are_put_in_order():
    register = read(row("D", "old", "a", amount=5.0, low=8.0, high=2.0), row("D", "new", "b", low=1.0, high=3.0))
    assert codes(register) == ["D011"]
    assert register.elements[["low", "amount", "high"]].to_numpy().tolist() == [[2.0, 5.0, 8.0], [1.0, 2.0, 3.0]]


def test_rows_without_names_are_left_out():
    register = read(row("", "old", "a"), row("D", "old", "a", amount=1.0), row("D", "new", "a", amount=1.0))
    assert codes(register) == ["D001"]
    assert len(register.elements) == 2


def test_the_register_is_not_changed():
    rows = pd.DataFrame([row("D", "old", "a", amount=5.0, low=8.0, high=2.0), row("D", "new", "b", amount=1.0)])
    before = rows.copy(deep=True)
    read_register(rows, settings=MARKET.settings, as_of=AS_OF)
    pd.testing.assert_frame_equal(rows, before)


def test_alternates_become_two_option_decisions():
    table = pd.DataFrame(
        [{"part_no": "P1", "alternate_part_no": "X1", "description": "other", "unit_cost": 8.0, "currency": "EUR"},
         {"part_no": "NO", "alternate_part_no": "X2", "unit_cost": 8.0}]
    )  # fmt: skip
    rows, findings = as_decisions(table, MARKET.lines.assign(qty_per=3.0))
    assert [f.code for f in findings] == ["A001"]
    register = read_register(rows, settings=MARKET.settings, as_of=AS_OF)
    assert register.decisions["decision"].tolist() == ["P1 or X1", "NO or X2"]
    first = register.elements[register.elements["d"] == 0]
    assert first["qty"].tolist() == [3.0, 3.0]
    assert first["amount"].isna().tolist() == [True, False]


def test_safety_said_in_a_remark_holds_the_decision_and_is_said():
    register = read(
        row("D", "old", "a", amount=1.0, note="safety critical"), row("D", "new", "b", amount=2.0),
        row("E", "old", "a", amount=1.0, note="safety critical", safety_relevant=False),
        row("E", "new", "b", amount=2.0),
    )  # fmt: skip
    assert register.decisions["safety_relevant"].tolist() == [True, False]
    assert [(f.code, f.found) for f in register.findings] == [("D022", "'safety critical'")]
