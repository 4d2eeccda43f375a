"""What inputs carry and what a rise does: tables of page and workbook against figures worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest
from made_content import made_content

from bomaudit.report import input_words
from bomaudit.report.book_sheets import market_frame
from bomaudit.report.inputs import effect_frame, input_frame
from bomaudit.report.numbers import Numbers
from bomaudit.report.page_data import spread_rows
from bomaudit.report.page_tables import (
    SPREAD_SHARES,
    effect_heads,
    effect_rows,
    input_heads,
    input_rows,
    market_rows,
    spread_cells,
)
from bomaudit.report.stories import tell_decision, tell_line


@pytest.fixture(scope="module")
def content():
    return made_content(40)


def test_an_input_carries_its_share_of_each_line_and_no_more(content):
    frame, lines = input_frame(content).set_index("input"), content.lines
    spend = (lines["estimate"] * lines["qty_per"] * lines["annual_volume"]).fillna(0.0)
    dollars = spend[(lines.index % 4 == 0) & (lines.index < 39)].sum()
    assert frame.loc["USD exchange rate", "spend_per_year"] == pytest.approx(dollars)
    assert frame.loc["USD exchange rate", "share_of_spend"] == pytest.approx(dollars / spend.sum())
    copper = 0.25 * spend[(lines.index % 3 == 0) & (lines.index < 39)].sum()
    assert frame.loc["copper", "adds_per_year"] == pytest.approx(0.2 * copper)
    assert frame.loc["copper", "lines"] == 13
    assert frame["spend_per_year"].is_monotonic_decreasing


def test_decisions_that_a_rise_turns_are_named(content):
    inputs = content.inputs.assign(tips_at=[0.15, 0.3, -0.1, None, 0.2])
    frame = input_frame(replace(content, inputs=inputs)).set_index("input")
    assert frame.loc["copper", "turns"] == "pump, brake"


def test_an_effect_is_linear_in_the_rise(content):
    frame = effect_frame(content)
    assert frame["decision"].tolist() == ["pump", "brake", "motor", "hood", "seat"]  # in the order of what to do
    assert frame["moved"].tolist() == pytest.approx([-1.0] * 5)
    assert frame["saving_then"].to_numpy() == pytest.approx(frame["saving_today"] - 1.0)
    far = frame["saving_today"].abs() > 5
    assert frame.loc[far, "turns_at"].isna().all()
    assert frame.loc[~far, "turns_at"].to_numpy() == pytest.approx(frame.loc[~far, "saving_today"] / 5)


def test_tables_of_the_page_have_a_head_for_every_cell(content):
    for heads, rows in ((input_heads("EUR"), input_rows(content)), (effect_heads("EUR"), effect_rows(content))):
        assert rows
        assert {len(r) for r in rows} == {len(heads)}


def test_a_line_says_what_its_price_follows(content):
    n = Numbers()
    row = content.lines.iloc[0].to_dict()
    sections = dict(tell_line(content, row, n).sections)
    currency, materials, rise = sections["What its price follows"]
    assert currency == "100% of the price follows the USD exchange rate, whatever it is made of"
    assert materials == "shares of the price that follow an input: copper 25%"
    assert rise == f"USD exchange rate +20%, passed on in full: {n.price(0.2 * row['estimate'], signed=True)} EUR"
    assert "What its price follows" not in dict(tell_line(content, content.lines.iloc[1].to_dict(), n).sections)


def test_a_decision_says_what_a_rise_does_and_where_it_turns(content):
    row = content.decisions[content.decisions["decision"] == "motor"].iloc[0].to_dict()
    (said,) = dict(tell_decision(content, row, Numbers(minus="-")).sections)["If an input price moves"]
    assert said == "copper +20%: the saving goes from -1.20 to -2.20 EUR a unit; its sign turns at a change of -24%"


def test_twenty_dots_stand_for_the_draws_and_on_their_side_of_nought(content):
    savings = content.savings[content.savings["decision"] == "motor"]  # from -3.1 to 0.7
    dots = spread_rows(savings, Numbers())
    assert len(dots) == 20
    against = int((savings["saving"].to_numpy()[::2] < 0).sum())
    assert sum(d["side"] == "choice costs more" for d in dots) == against == 16
    assert all((d["saving"] < 0) == (d["side"] == "choice costs more") for d in dots)
    assert len({(d["saving"], d["rank"]) for d in dots}) == 20
    assert [c[0]["sort"] for c in spread_cells(content, savings)] == list(SPREAD_SHARES)


def test_savings_that_are_all_the_same_are_drawn_too():
    dots = spread_rows(pd.DataFrame({"saving": [0.0] * 39}), Numbers())
    assert [d["rank"] for d in dots] == list(range(20))
    assert {d["text"] for d in dots} == {"0.00"}
    german = spread_rows(pd.DataFrame({"saving": [-1234.5] * 39}), Numbers("de"))
    assert german[0]["text"] == "\u22121.234,50"


def test_the_sentence_of_a_distribution():
    said = input_words.outcomes(Numbers(), against=17, of=20, low=-3.0, high=1.0, currency="EUR")
    assert said.startswith("Of 20 equally likely outcomes the choice costs more in 17; half lie between \u22123.00")


def test_without_an_annual_volume_money_is_not_known_rather_than_nought(content):
    bare = replace(content, lines=content.lines.assign(annual_volume=float("nan"), exposure_per_year=float("nan")))
    frame = input_frame(bare)
    assert len(frame)
    assert frame[["spend_per_year", "share_of_spend", "adds_per_year"]].isna().all(axis=None)
    assert [row[3]["text"] for row in market_rows(bare)] == ["–"] * len(market_rows(content))
    assert market_frame(bare)["exposure_per_year"].isna().all()
    assert market_frame(content)["exposure_per_year"].notna().any()


def test_a_market_counts_lines_that_were_looked_at_and_no_assemblies(content):
    first = content.lines.index[content.lines["commodity"] == market_frame(content)["commodity"].iloc[0]][0]
    status = content.lines["status"].mask(content.lines.index == first, "")
    row_kind = content.lines["row_kind"].mask(content.lines.index == first, "assembly")
    fewer = replace(content, lines=content.lines.assign(status=status, row_kind=row_kind))
    assert market_frame(fewer)["lines"].sum() == market_frame(content)["lines"].sum() - 1
    counted = sorted(int(row[1]["text"]) for row in market_rows(fewer))
    assert counted == sorted(market_frame(fewer)["lines"])
