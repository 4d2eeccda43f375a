"""The terminal: 80 columns, no colour needed, plain when piped, the same words as the page."""

from __future__ import annotations

import io
from dataclasses import replace
from itertools import pairwise

import pytest
from made_content import made_content
from rich.console import Console

from bomaudit.findings import BadInput
from bomaudit.report import explain, page, terminal
from bomaudit.report.stories import walk_bars


def shown(call, *args, width: int = 80, **kwargs) -> str:
    out = io.StringIO()
    call(*args, Console(file=out, width=width, no_color=True), **kwargs)
    return out.getvalue()


@pytest.fixture(scope="module")
def content():
    return made_content(40)


def test_the_summary_fits_80_columns_and_says_it_all(content):
    text = shown(terminal.show_summary, content)
    assert max(map(len, text.splitlines())) <= 80
    wanted = (
        "stale",
        "drifting",
        "EUR/year",
        "pump",
        "re-open",
        "review",
        "97%",
        "Ask first",
        "not a quote",
        "invented",
    )
    for said in (*wanted, "error bom.xlsx:BOM!F14"):
        assert said in text, said
    assert "\x1b" not in text


def test_piped_text_has_no_trailing_blanks(content):
    assert not [line for line in shown(terminal.show_summary, content).splitlines() if line != line.rstrip()]


def test_text_of_the_user_is_never_taken_for_markup(content):
    content.requotes.loc[0, "description"] = "[red]valve[/red] [/]"
    assert "[red]valve[/red] [/]" in shown(terminal.show_requote_list, content, top=1).replace("\n", " ")


def test_a_line_is_told_with_its_walk_evidence_and_what_would_help(content):
    text = shown(explain.show, explain.find(content, "L0002"))
    for said in ("From booked to today", "experience: the market made more", "Evidence", "firm quote of Supplier A",
                 "What would make this surer", "narrower with"):  # fmt: skip
        assert said in text, said
    assert "market: controller board" in text, "a market is named in words"
    assert max(map(len, text.splitlines())) <= 80


def test_a_decision_is_told_with_what_moved_and_what_to_do(content):
    text = shown(explain.show, explain.find(content, "pump"))
    for said in ("re-open", "choice saves, as booked", "choice saves, today", "membrane: pump", "Why this verdict"):
        assert said in text, said


def test_a_line_without_an_estimate_says_why(content):
    assert "audited through its parts" in shown(explain.show, explain.find(content, "L0040"))


def test_bars_of_a_walk_start_where_the_step_before_ended(content):
    (story,) = explain.find(content, "L0002")
    steps = [b for b in story.walk if not b.level]
    assert steps[0].start == story.walk[0].end
    assert all(a.end == b.start for a, b in pairwise(steps))
    assert steps[-1].end == pytest.approx(story.walk[-1].end)


def test_a_name_that_nothing_has_is_bad_input_that_says_what_there_is(content):
    with pytest.raises(BadInput, match="brake, hood, motor, pump, seat"):
        explain.find(content, "gearbox")


@pytest.mark.parametrize(("slip", "meant"), [("P0003", "P-0003"), ("pmup", "pump")])
def test_a_slip_in_a_name_is_answered_with_the_near_names(content, slip, meant):
    content.lines.loc[2, "part_no"] = "P-0003"
    with pytest.raises(BadInput, match=rf"did you mean .*\b{meant}\b"):
        explain.find(content, slip)


def test_plain_data_of_an_explanation_hold_the_same_words(content):
    data = explain.as_data(explain.find(content, "pump"))
    assert data["kind"] == "decision"
    assert data["stories"][0]["bridge"][0]["label"] == "choice saves, as booked"


def test_a_saving_of_thousands_reads_as_its_interval_does(content):
    """It was +2,876.70 → +5,097.36 (-22,910 to +51,273)."""
    large = {"saving_booked": 2876.7, "saving_today": 5097.36, "saving_low": -22910.0, "saving_high": 51273.25}
    many = replace(content, decisions=content.decisions.assign(**large))
    text = shown(terminal.show_summary, many)
    assert "+2,876.70 → +5,097.36" in text
    assert "(-22,910.00 to" in text
    assert "as booked +2,876.70 EUR, today +5,097.36, interval \u221222,910.00 to +51,273.25" in page.render(many)


def test_a_step_of_a_price_below_a_thousandth_keeps_its_figures(content):
    """A walk from 0.0004 said 0.0000 at every step; one of a dearer part has four decimals at most."""
    line = content.lines[content.lines["estimate"].notna()].iloc[0].to_dict()
    walk = {k: 0.0 for k in line if str(k).startswith("walk_")} | {"walk_experience": -0.0000321}
    small = line | walk | {"booked_cost": 0.00041, "estimate": 0.0003779}
    n = terminal.numbers_for(content)
    assert [b.text for b in walk_bars(small, n)] == ["0.000410", "-0.000032", "0.000378"]
    dear = line | walk | {"booked_cost": 12.3, "walk_experience": -0.002, "estimate": 12.298}
    assert [b.text for b in walk_bars(dear, n)] == ["12.30", "-0.0020", "12.30"]
