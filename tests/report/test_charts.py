"""Charts: valid in the grammar that they are declared in, drawn from the data that the page gives them."""

from __future__ import annotations

import dataclasses
import json
import re

import pytest
from made_content import made_content

from bomaudit.report import charts, look, page
from bomaudit.report.page_data import bridge_rows, chart_tones, packed
from bomaudit.report.stories import tell_decisions

altair = pytest.importorskip("altair", reason="no altair to hold the declarations to the schema of Vega-Lite")
NAMES = sorted(charts.specifications("EUR"))


@pytest.mark.parametrize("name", NAMES)
def test_every_declaration_is_valid_in_the_grammar(name):
    # the JSON schema of Vega-Lite, as the altair package carries it
    altair.LayerChart.from_dict(charts.specifications("EUR")[name], validate=True)


@pytest.mark.parametrize("name", NAMES)
def test_every_axis_has_a_title_with_its_unit_or_none_on_purpose(name):
    for layer in charts.specifications("CHF")[name]["layer"]:
        for axis in ("x", "y"):
            channel = layer["encoding"].get(axis, {})
            if "field" in channel and channel["field"] not in ("right", "now"):
                assert "title" in channel, (name, axis)
    if name != "curve":
        assert "CHF" in json.dumps(charts.specifications("CHF")[name])


def test_every_colour_becomes_a_variable_of_the_page():
    text = json.dumps(charts.specifications("EUR"))
    assert set(re.findall(r"#[0-9a-f]{6}", text)) <= set(chart_tones())
    assert chart_tones()[look.INK] == "var(--ink)"


def test_a_declaration_asks_only_for_columns_that_its_rows_have():
    content = made_content(60)
    data = json.loads(packed(content, content.lines[content.lines["status"] != ""], tell_decisions(content)))
    for name in ("bridge", "tornado", "spread", "paths", "curve"):
        have = {column for rows in data["charts"][name].values() for row in rows for column in row}
        wanted = set(re.findall(r'"field": "(\w+)"', json.dumps(charts.specifications("EUR")[name])))
        assert wanted <= have, name


def test_data_can_not_end_the_element_that_holds_them():
    content = made_content(60)
    assert "<" not in packed(content, content.lines, tell_decisions(content))


def test_a_bridge_is_drawn_from_what_the_story_tells():
    content = made_content(60)
    decision = content.decisions.iloc[0].to_dict()
    rows = bridge_rows(tell_decisions(content)[decision["decision"]].bridge)
    assert rows[0]["kind"] == rows[-1]["kind"] == "saving"
    assert rows[0]["end"] == pytest.approx(decision["saving_booked"])
    assert rows[-1]["end"] == pytest.approx(decision["saving_today"])


def test_no_two_bars_of_a_chart_stand_in_one_place():
    made = made_content(30)
    elements = made.elements.assign(element=made.elements["element"].replace("pump", "bracket"))  # two brackets each
    tornado = made.tornado.assign(driver="gear: fitting")
    content = dataclasses.replace(made, elements=elements, tornado=tornado)
    drawn = json.loads(packed(content, content.lines, tell_decisions(content)))["charts"]
    for name, label in (("bridge", "label"), ("tornado", "driver")):
        for rows in drawn[name].values():
            labels = [row[label] for row in rows]
            assert len(labels) == len(set(labels)), (name, labels)
    moved = elements.assign(by=elements["today_per_unit"] - elements["booked_per_unit"])
    both = moved[(moved["decision"] == "pump") & (moved["option"] == "membrane") & (moved["element"] == "bracket")]
    bar = next(b for b in tell_decisions(content)["pump"].bridge if b.label == "membrane: bracket")
    assert bar.end - bar.start == pytest.approx(both["by"].sum())


@pytest.mark.parametrize("count", [14, 60])
def test_a_page_without_scripts_says_how_many_lines_it_really_shows(count):
    content = made_content(count)
    judged = int((content.lines["status"] != "").sum())
    html = page.render(content)
    assert f"Scripts are off: shown: {min(judged, 25)} of {judged} lines," in html
