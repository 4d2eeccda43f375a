"""The sentences of the report: whole for every case, and never more than the figures bear."""

from __future__ import annotations

import dataclasses
from io import StringIO

import numpy as np
import pytest
from made_content import made_content
from rich.console import Console

from bomaudit.audit import audit
from bomaudit.report import headline, page, stories, terminal, words
from bomaudit.report.as_data import summarise
from bomaudit.report.content import gather
from bomaudit.report.numbers import Numbers
from bomaudit.report.page_tables import effect_rows

N = Numbers("en", minus="-")
NOTHING = (0.0, 0.0, 0.0)


def lines(above=NOTHING, below=NOTHING, *, known=True, unpriced=0) -> str:
    return headline.found_lines(N, audited=12, stale=9, drifting=2, unknown=1 - known + unpriced, unpriced=unpriced,
                             above=above, below=below, currency="EUR", money_known=known)  # fmt: skip


def test_lines_that_were_not_audited_are_no_part_of_those_that_were():
    said = "9 of 12 audited lines are stale and 2 drifting."
    assert lines(unpriced=2) == f"{said} 2 have no usable booked cost and could not be audited."
    assert lines(unpriced=1, known=False).startswith(
        f"{said} 1 could not be judged. 1 more has no usable booked cost and could not be audited."
    )


def test_counts_of_many_lines_are_grouped_as_their_total_is():
    said = headline.found_lines(N, audited=60_000, stale=41_200, drifting=12_000, unknown=3100, unpriced=1100,
                                above=NOTHING, below=NOTHING, currency="EUR", money_known=True, idle=(1300, 1200),
                                day="2026-06-30")  # fmt: skip
    assert said.startswith("41,200 of 60,000 audited lines are stale and 12,000 drifting. 2,000 could not be judged. ")
    assert "1,100 more have no usable booked cost" in said
    assert "1,300 audited lines are not built in" in said
    assert said.endswith("1,200 stale or drifting.")
    counts = {"stands": 1500}
    of_decisions = headline.found_decisions(N, counts=counts, currency="EUR", reopen=(0.0, 0.0), review=(0.0, 0.0))
    assert of_decisions == "Of 1,500 decisions, 1,500 still stand."


def test_lines_on_one_side_only_make_a_whole_sentence():
    assert lines(below=(163_000.0, 42_700.0, 284_000.0)) == (
        "9 of 12 audited lines are stale and 2 drifting; on these booked costs stand 163,000 (42,700 to 284,000) EUR a "
        "year below today's estimates."
    )
    assert lines(above=(900.0, 500.0, 1300.0)).endswith("stand 900 (500 to 1,300) EUR a year above today's estimates.")
    assert lines() == "9 of 12 audited lines are stale and 2 drifting."


def test_lines_on_both_sides_are_named_apart():
    said = lines(above=(900.0, 500.0, 1300.0), below=(700.0, 0.0, 1500.0))
    assert said.endswith(
        "900 (500 to 1,300) EUR a year above today's estimates and 700 (0 to 1,500) EUR a year below them."
    )


CAUTIOUS = "if each comes out at its cautious end."
MORE = f"What engineering must review first would be worth 700,000 EUR more, and still 400,000 {CAUTIOUS}"


@pytest.mark.parametrize(
    ("reopen", "review", "said"),
    [
        (
            (4e6, 1e6),
            (7e5, 4e5),
            f"Re-opening is worth 4,000,000 EUR after the cost of change, and still 1,000,000 {CAUTIOUS} {MORE}",
        ),
        (
            (0.0, 0.0),
            (7e5, 4e5),
            "What engineering must review first would be worth 700,000 EUR after the cost of change, and still 400,000 "
            + CAUTIOUS,
        ),
        (
            (4e6, -1e6),
            (0.0, 0.0),
            f"Re-opening is worth 4,000,000 EUR after the cost of change, but -1,000,000 {CAUTIOUS}",
        ),
    ],
)
def test_what_waits_for_engineering_is_no_part_of_what_reopening_is_worth(reopen, review, said):
    counts = {"reopen": int(reopen[0] > 0), "review": int(review[0] > 0), "stands": 2}
    text = headline.found_decisions(N, counts=counts, currency="EUR", reopen=reopen, review=review)
    assert text.partition(". ")[2] == said


def test_money_that_nobody_can_know_is_said_to_be_unknown_and_why():
    assert lines(known=False).endswith(
        "1 could not be judged. What that is worth a year is not known: the annual volume is missing, set "
        "annual_volume under [audit] or in the BOM."
    )
    asked = headline.found_next(N, part="", description="", value=0.0, currency="EUR", audited=12, money_known=False)
    assert asked.startswith("What a quote is worth is not known: the annual volume is missing")
    worth = headline.found_next(N, part="", description="", value=0.0, currency="EUR", audited=12, money_known=True)
    assert worth == "No single quote is worth more than the cost of asking for it."


def test_where_no_line_could_be_audited_the_annual_volume_is_not_blamed():
    content = made_content(40)
    unpriced = content.lines.assign(estimate=np.nan, drift=np.nan, exposure_per_year=np.nan, status="unknown")
    nothing = dataclasses.replace(content, lines=unpriced, requotes=content.requotes.head(0))
    lines, _, ask = stories.found(nothing, N)
    assert lines == f"No line could be audited. {len(unpriced)} have no usable booked cost and could not be audited."
    assert ask == "No line could be audited, so what a quote is worth is not known."


def test_a_saving_of_tenths_of_a_cent_is_told_in_figures():
    made = made_content(40)
    small = {"saving_booked": 0.0012, "saving_today": -0.0031, "saving_low": -0.0052, "saving_high": 0.0008}
    inputs = made.inputs[made.inputs["decision"] == "pump"].assign(saving_today=-0.0031, saving_change=-0.002)
    parts = {p: getattr(made, p).query("decision == 'pump'") for p in ("tornado", "savings", "paths", "drivers")}
    content = dataclasses.replace(made, decisions=made.decisions.head(1).assign(**small), inputs=inputs, **parts)
    story = stories.tell_decision(content, content.decisions.iloc[0].to_dict(), N)
    assert "gear saves 0.0012 EUR a unit against its best alternative" in story.lead
    assert "costs 0.0031 EUR a unit more than membrane (its saving is between -0.0052 and +0.0008 at" in story.lead
    assert dict(story.sections)["If an input price moves"][0].startswith(
        "copper +20%: the saving goes from -0.0031 to -0.0035 EUR a unit"
    )
    assert story.bridge[-1].text == "-0.0031"
    out = StringIO()
    terminal.show_summary(content, Console(width=80, no_color=True, highlight=False, file=out))
    assert "+0.0012 → -0.0031" in out.getvalue()
    assert "+0.0012 → <b>\u22120.0031</b>" in page.render(content)
    (effect,) = effect_rows(content)
    assert [cell["text"] for cell in effect[2:6]] == ["\u22120.0031", "\u22120.0002", "\u22120.0004", "\u22120.0035"]


@pytest.mark.parametrize("verdict", ["requote", "watch"])
def test_a_decision_that_bears_on_safety_is_never_told_without_engineering(verdict):
    told = [words.next_step(verdict, ask_first="P1", tips_on="2028-04-06", safety=s) for s in (True, False)]
    assert "engineering must review any change first" in told[0]
    assert told[0].startswith(told[1])
    assert "engineering" not in told[1]


def test_a_cost_of_change_that_nobody_stated_is_not_shown_as_nothing():
    row = {"npv": 5e4, "npv_low": 1e4, "npv_high": 9e4, "years_left": 5.0, "annual_volume": 900.0, "change_cost": 0.0,
           "p_pays_back": 0.9, "payback_years": 0.5, "break_even_part": "", "break_even_price": 0.0,
           "evpi": float("nan")}  # fmt: skip

    def told(**said) -> str:
        return words.worth_points(N, currency="EUR", decision=row, **said)[1]

    assert told(once=[], stated=True) == "one-time cost of change: 0 EUR"
    assert told(once=["mould"], stated=False) == (
        "one-time cost of change: not stated, counted as 0 EUR, which favours switching; counted as well, as elements: "
        "mould"
    )


def test_lines_that_are_not_built_in_are_said_to_count_no_money(tmp_path):
    """One row has ended, one begins later, one is an alternative by its quantity of 0; the fourth is built in."""
    (tmp_path / "bom.csv").write_text(
        "part_no,description,qty,unit_cost,currency,cost_date,effective_from,effective_to\n"
        "A,Bearing,2,5.00,EUR,2012-01-31,,\nB,DC motor,1,30.00,EUR,2012-01-31,,2024-12-31\n"
        "C,DC motor,1,30.00,EUR,2012-01-31,2026-07-01,\nD,Bracket,0,3.00,EUR,2026-05-31,,\n"
    )
    (tmp_path / "audit.toml").write_text('[audit]\nas_of = 2026-06-30\ncurrency = "EUR"\nannual_volume = 1000\n'
                                         '[files]\nbom = "bom.csv"\n')  # fmt: skip
    content = gather(audit(tmp_path))
    said, counted = stories.found(content, content.numbers)[0], summarise(content)["lines"]
    assert (counted["audited"], counted["not_built_in"]) == (4, 3)
    idle = content.lines.iloc[1:]["status"].isin(["stale", "drifting"]).sum()
    assert said.endswith(" 3 audited lines are not built in on 2026-06-30 (not in effect, an alternative, or of "
                         f"quantity 0) and count no money, {idle} stale or drifting.")  # fmt: skip
    assert "not built in" not in lines()


def test_one_quote_is_one_quote():
    def said(n_obs: int, n_parts: int) -> str:
        return words.curve_sentence(N, exponent=0.3, exponent_sd=0.1, n_obs=n_obs, n_parts=n_parts, data_weight=0.25,
                                 source="a library")  # fmt: skip

    assert "1 own quote of 1 part carries 25% of it" in said(1, 1)
    assert "7 own quotes of 1 part carry 25% of it" in said(7, 1)
    assert "no own quotes bear on it" in said(0, 0)
