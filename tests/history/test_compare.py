"""Two quarters compared: the differences listed are those put in."""

from dataclasses import replace
from io import StringIO

import numpy as np
import pandas as pd
import pytest
from history_case import NEW_DAY, curves_frame, decisions_frame, lines_frame, snapshot
from rich.console import Console

from bomaudit.findings import BadInput
from bomaudit.history.actions import COLUMNS
from bomaudit.history.causes import Causes, _effects
from bomaudit.history.compare import STEPS, compare
from bomaudit.report.terminal_history import show_compared


def changed(result):
    return result.lines[result.lines["change"] != "same"].set_index("part_no")


def test_nothing_changed_is_nothing_listed():
    result = compare(snapshot(), snapshot())
    assert changed(result).empty
    assert (result.decisions["change"] == "same").all()
    assert result.settings.empty
    assert result.inputs.empty


def test_the_differences_listed_are_those_put_in():
    new = lines_frame(
        estimate=[6.5, 18.0, 5.1, 7.5, 2.4],
        status=["stale", "current", "current", "current", "current"],
        booked_cost=[10.0, 18.0, 5.0, 8.0, 2.0],
        booked_price=[10.0, 18.0, 5.0, 8.0, 2.0],
    )
    result = compare(snapshot(), snapshot(NEW_DAY, lines=new, decisions=decisions_frame(("reopen", "watch"))))
    assert changed(result)["change"].to_dict() == {
        "A-1": "newly stale", "A-2": "resolved", "B-2": "status changed", "C-1": "moved"
    }  # fmt: skip
    assert changed(result)["why"].to_dict()["A-2"] == "data"
    assert result.counts["verdicts changed"] == 1
    verdicts = result.decisions.set_index("decision")
    turned = verdicts.loc["pump-kind", ["change", "verdict_old", "verdict_new"]]
    assert turned.tolist() == [
        "verdict changed",
        "stands",
        "reopen",
    ]
    assert verdicts.loc["motor-kind", "change"] == "same"
    assert result.lines["change"].tolist()[0] == "newly stale"


def test_steps_of_a_change_add_up():
    new = lines_frame(
        estimate=[7.0, 19.0, 5.1, 7.5, 2.0],
        walk_currency=[0.1, 0.2, 0.0, 0.0, -0.1],
        walk_experience=[-3.1, -1.2, 0.1, -0.5, 0.1],
    )
    lines = compare(snapshot(), snapshot(NEW_DAY, lines=new)).lines
    total = sum(lines[f"d_{step}"] for step in STEPS)
    assert total.to_numpy() == pytest.approx(lines["d_estimate"].to_numpy())


def test_added_removed_and_moved_rows():
    old = lines_frame()
    new = old.iloc[[4, 0, 1, 2]].assign(line_id=["L0001", "L0002", "L0003", "L0004"])
    extra = old.iloc[[0]].assign(part_no="N-1", line_id="L0005")
    result = compare(snapshot(), snapshot(lines=pd.concat([new, extra], ignore_index=True)))
    assert changed(result)["change"].to_dict() == {"N-1": "added", "B-2": "removed"}
    assert changed(result)["line_id_old"].to_dict() == {"N-1": "", "B-2": "L0004"} or pd.isna(
        changed(result).loc["N-1", "line_id_old"]
    )


@pytest.mark.parametrize(
    "stated", [{"booked_price": 10.4, "booked_cost": 10.4}, {"qty_per": 2.0}, {"annual_volume": 9e3}]
)
def test_a_line_that_the_bom_states_otherwise_is_listed_though_its_estimate_stays(stated):
    old = lines_frame()
    new = old.copy()
    new.loc[0, list(stated)] = list(stated.values())
    result = compare(snapshot(lines=old), snapshot(lines=new))
    assert result.only("restated")["part_no"].tolist() == ["A-1"]
    assert result.counts["same"] == 4


def test_a_line_without_price_quantity_or_volume_is_the_same_line():
    bare = lines_frame(booked_price=[float("nan")] * 5, qty_per=[float("nan")] * 5, annual_volume=[float("nan")] * 5)
    result = compare(snapshot(lines=bare), snapshot(lines=bare.copy()))
    assert {change: count for change, count in result.counts.items() if count} == {"same": 5}
    priced = lines_frame(qty_per=[float("nan")] * 5, annual_volume=[float("nan")] * 5)
    assert compare(snapshot(lines=bare), snapshot(lines=priced)).counts["restated"] == 5


def test_a_screw_of_half_a_cent_is_shown_to_move():
    old = lines_frame(estimate=[0.0041, 18.0, 5.1, 7.5, 2.1], booked_cost=[0.005, 20.0, 5.0, 8.0, 2.0])
    new = old.assign(estimate=[0.0056, 18.0, 5.1, 7.5, 2.1])
    shown = StringIO()
    show_compared(compare(snapshot(lines=old), snapshot(lines=new)), Console(file=shown, width=120))
    assert "0.0041 → 0.0056" in shown.getvalue()


def test_part_in_several_rows_is_matched_in_order():
    old = lines_frame(part_no=["A-1"] * 5)
    new = old.assign(estimate=old["estimate"] * [1, 1, 2, 1, 1])
    result = compare(snapshot(lines=old), snapshot(lines=new))
    assert result.only("moved")["line_id_new"].tolist() == ["L0003"]


def test_rows_without_part_number_are_matched_by_description():
    old = lines_frame(part_no=[""] * 5, description=["a", "b", "c", "d", "e"])
    assert changed(compare(snapshot(lines=old), snapshot(lines=old.iloc[::-1]))).empty


def test_reason_curve_where_only_the_fit_differs():
    new = lines_frame(estimate=[6.0, 15.0, 5.1, 7.5, 2.1], status=["stale", "stale", "current", "drifting", "current"])
    result = compare(snapshot(), snapshot(lines=new, curves=curves_frame((0.4, 0.2, 0.0))))
    assert changed(result)["why"].to_dict() == {"A-1": "curve", "A-2": "curve"}


def test_reason_time_where_only_the_day_differs():
    new = lines_frame(estimate=[6.0, 18.0, 5.1, 7.5, 2.1], status=["stale", "stale", "current", "drifting", "current"])
    assert changed(compare(snapshot(), snapshot(NEW_DAY, lines=new)))["why"].to_dict() == {"A-1": "time"}


def test_reason_setting_where_only_a_setting_differs():
    new = lines_frame(status=["stale", "stale", "current", "drifting", "current"])
    result = compare(snapshot(), snapshot(lines=new, audit={"materiality": 0.05}))
    assert changed(result)["why"].to_dict() == {"A-1": "setting"}
    assert result.settings["setting"].tolist() == ["audit.materiality"]


def test_files_and_day_are_no_settings():
    result = compare(snapshot(audit={"as_of": "2026-03-31"}), snapshot(NEW_DAY, audit={"as_of": "2026-06-30"}))
    assert result.settings.empty


def test_changed_inputs_are_listed():
    result = compare(snapshot(inputs={"bom": "a", "quotes": "b"}), snapshot(inputs={"bom": "c", "fx": "d"}))
    assert result.inputs.set_index("table")["change"].to_dict() == {
        "bom": "changed",
        "fx": "added",
        "quotes": "removed",
    }


def test_audits_in_different_currencies_are_not_compared():
    with pytest.raises(BadInput) as refused:
        compare(snapshot(), replace(snapshot(), currency="USD"))
    assert refused.value.findings[0].code == "H010"


def test_actions_stand_beside_what_changed():
    rows = [
        ("part", "A-2", "asked", "2026-04-03", "M", "", 2),
        ("part", "A-2", "quoted", "2026-05-20", "M", "", 3),
        ("decision", "pump-kind", "rejected", "2026-05-21", "M", "line ends", 4),
    ]
    actions = pd.DataFrame(rows, columns=[*COLUMNS, "row"])
    result = compare(snapshot(), snapshot(NEW_DAY), actions=actions)
    assert result.lines.set_index("part_no")["action"].to_dict() == {
        "A-1": "", "A-2": "quoted", "B-1": "", "B-2": "", "C-1": ""
    }  # fmt: skip
    assert result.decisions["action_reason"].tolist() == ["line ends", ""]


def test_lines_that_were_never_estimated_do_not_move():
    none = lines_frame(estimate=[np.nan] * 5, status=["unknown"] * 5)
    assert changed(compare(snapshot(lines=none), snapshot(lines=none))).empty


def test_a_row_inserted_before_others_of_its_part_is_the_one_that_is_added():
    """A screw on four lines of other quantities, one of them first repriced; a fifth is put before them."""
    old = lines_frame(part_no=["A-1"] * 4 + ["C-1"], qty_per=[4.0, 6.0, 8.0, 8.0, 1.0], booked_price=[10.0] * 5)
    first = old.iloc[:1].assign(qty_per=2.0)
    moved = old.assign(booked_price=[10.0, 11.0, 10.0, 10.0, 10.0])
    new = pd.concat([first, moved], ignore_index=True).assign(line_id=[f"L{k:04d}" for k in range(1, 7)])
    for a, b, told in ((old, new, "added"), (new, old, "removed")):
        result = compare(snapshot(lines=a), snapshot(lines=b))
        assert {c: n for c, n in result.counts.items() if n} == {told: 1, "restated": 1, "same": 4}
        assert result.only(told)["line_id_new" if told == "added" else "line_id_old"].tolist() == ["L0001"]
        assert result.only("restated")[f"line_id_{'new' if told == 'added' else 'old'}"].tolist() == ["L0003"]


def test_a_line_without_a_number_is_shown_by_its_description():
    old = lines_frame(part_no=[""] * 5, description=["glue", "b", "c", "d", "e"])
    new = old.assign(qty_per=[2.0, 1.0, 1.0, 1.0, 1.0])
    shown = StringIO()
    show_compared(compare(snapshot(lines=old), snapshot(lines=new)), Console(file=shown, width=120))
    assert "glue" in shown.getvalue()


def test_a_quantity_that_the_bom_states_otherwise_is_restated_by_data_though_time_moved_the_estimate():
    """Two stages: time moves every estimate a little, then new files state another quantity of the first line."""
    old = lines_frame()
    later = old.assign(estimate=old["estimate"] * 1.01)
    new = later.assign(qty_per=[2.0, 1.0, 1.0, 1.0, 1.0])
    stages = [("", snapshot(lines=old)), ("time", snapshot(lines=later)), ("data", snapshot(NEW_DAY, lines=new))]
    lines = _effects(stages, "lines", "estimate", "status")
    decisions = _effects(stages, "decisions", "saving_today", "verdict")
    told = compare(stages[0][1], stages[-1][1], causes=Causes(lines, decisions)).only("restated")
    assert told[["part_no", "why"]].to_numpy().tolist() == [["A-1", "data"]]
