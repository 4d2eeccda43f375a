"""No register, or the poor man's one: the tool still helps."""

from __future__ import annotations

import pandas as pd
import pytest

from bomaudit.decide import decide
from bomaudit.decide.candidates import HEADROOM, LOOK_ALIKES, look_alikes
from bomaudit.frames import conform
from bomaudit.glossary import ALTERNATES, DECISIONS_OUT


@pytest.fixture(scope="module")
def decided_with(sample_audit):
    def run(alternates: pd.DataFrame):
        return decide(
            decisions=sample_audit.inputs.tables["decisions"].iloc[:0], alternates=alternates,
            lines=sample_audit.prepared,
            audited=sample_audit.lines, curves=sample_audit.curves, estimates=sample_audit.estimates,
            quotes=sample_audit.quotes, library=sample_audit.library, fx=sample_audit.opened.fx,
            settings=sample_audit.settings, as_of=sample_audit.as_of,
        )  # fmt: skip

    return run


@pytest.fixture(scope="module")
def bare(decided_with):
    return decided_with(conform(pd.DataFrame(), ALTERNATES))


def test_without_a_register_lines_are_still_ranked_to_ask(bare):
    assert len(bare.decisions) == 0
    assert tuple(bare.decisions.columns) == DECISIONS_OUT.names
    assert (bare.requotes["decisions"] == "").all()
    assert bare.requotes["value_of_asking"].is_monotonic_decreasing
    assert len(bare.requotes) > 0


def test_headroom_is_the_saving_that_drift_alone_would_wipe_out(bare, sample_audit):
    assert tuple(bare.headroom.columns) == HEADROOM
    assert bare.headroom["headroom"].abs().is_monotonic_decreasing
    assert (bare.headroom["headroom_low"] <= bare.headroom["headroom_high"]).all()
    lines = sample_audit.lines.set_index("line_id")
    top = bare.headroom.iloc[0]
    line = lines.loc[top["line_id"]]
    level = line["estimate"] - top["headroom"] / line["qty_per"]
    assert level >= line["booked_cost"]  # the general price level rose since


def test_look_alikes_name_another_market_that_does_the_same(bare, sample_audit):
    assert tuple(bare.candidates.columns) == LOOK_ALIKES
    assert (bare.candidates["premium_low"] > 1).all()
    assert (bare.candidates["alternative"] != bare.candidates["commodity"]).all()
    assert bare.candidates["line_id"].is_unique
    held = set(sample_audit.inputs.tables["decisions"]["part_no"])
    assert not set(sample_audit.decided.candidates["part_no"]) & held


def test_no_look_alike_is_suggested_for_a_part_that_bears_on_safety(bare, sample_audit):
    """The emergency stop of the sample is a switch, and semiconductors got cheaper: nobody is sent there."""
    lines = sample_audit.lines.set_index("line_id")
    assert not lines.loc[bare.candidates["line_id"], "safety_relevant"].any()
    assert "switch_relay" in set(bare.candidates["commodity"])


def test_no_look_alike_is_suggested_for_a_part_of_a_safety_relevant_assembly(bare, sample_audit):
    """Nor for one that another line marks: the mark is the part's and its assembly's, not the row's alone."""
    lines, curves = sample_audit.prepared, sample_audit.curves
    mine = lines.set_index("line_id").loc[bare.candidates["line_id"]]
    first = mine[mine["parent_row"] >= 0].index[0]
    above = lines["line_id"].iloc[int(mine.loc[first, "parent_row"])]
    marked = lines.assign(safety_relevant=lines["safety_relevant"] | (lines["line_id"] == above))
    left = look_alikes(
        marked, sample_audit.estimates, curves, decided=frozenset(), as_of=sample_audit.as_of, confidence=0.8
    )
    assert len(left)
    assert first not in set(left["line_id"])


def test_an_alternate_is_a_decision_of_two_options(decided_with, sample_audit):
    """The brushless pump of the sample, as a row of the alternates table: cheaper today on its price alone."""
    rows = sample_audit.inputs.tables["decisions"]
    pump = rows[rows["part_no"] == "ALT-3101"].iloc[0]
    table = conform(
        pd.DataFrame(
            [{"part_no": "FS55-3101", "alternate_part_no": "ALT-3101", "description": "brushless pump",
              "unit_cost": pump["amount"], "currency": pump["currency"], "cost_date": pump["date"],
              "commodity": pump["commodity"]}]
        ), ALTERNATES,
    )  # fmt: skip
    decided = decided_with(table)
    head = decided.decisions.iloc[0]
    assert head["decision"] == "FS55-3101 or ALT-3101"
    assert (head["chosen"], head["switch_to"]) == ("in use", "alternate")
    assert head["saving_booked"] > 0 > head["saving_today"]
    assert "D007" in [f.code for f in decided.findings]
