"""Amounts with a date of their own are carried to today; prices of the same parts on other days."""

from __future__ import annotations

import dataclasses
from datetime import date

import numpy as np
import pandas as pd
import pytest
from made_decisions import market_of, row

from bomaudit.decide.elements import cost_elements, find_sources
from bomaudit.decide.market import Market, log_escalation
from bomaudit.decide.register import read_register

TODAY = date(2026, 6, 30)


def test_dated_amounts_grow_by_the_index_of_their_kind(sample_audit):
    """Undated: today's money. Dated: labour by the labour index where there is one, else general inflation."""
    elements = pd.DataFrame(
        {
            "kind": ["labour", "tooling", "labour", "tooling", "other"], "currency": ["EUR", "EUR", "", "EUR", "XXX"],
            "date": pd.to_datetime(["2016-06-30", "2016-06-30", None, "2027-01-01", "2016-06-30"]),
        }
    )  # fmt: skip
    growth = log_escalation(elements, sample_audit.curves, as_of=TODAY)
    inputs = sample_audit.curves.inputs
    then, now = (np.array([d], dtype="datetime64[D]") for d in ("2016-06-30", "2026-06-30"))
    assert growth[1] == pytest.approx(inputs.log_inflation(["EUR"], then, now)[0])
    assert growth[0] > 0
    assert growth[2:4].tolist() == [0.0, 0.0]
    assert np.isnan(growth[4])


def test_growth_moves_today_and_leaves_what_was_booked():
    market = market_of([{"part_no": "A", "booked": 10, "today": 10, "sd": 0.1}])
    day = pd.Timestamp(2016, 6, 30)
    rows = [
        row("D", "old", "fit", kind="labour", amount=2.0, low=1.0, high=4.0, date=day),
        row("D", "new", "A", part_no="A", date=day),
        row("D", "new", "rest", kind="other", amount=1.0, date=day),
    ]
    register = read_register(pd.DataFrame(rows), settings=market.settings, as_of=TODAY)
    sources = find_sources(register, market.lines)
    prices = market.case(rows).costed.prices
    costed = cost_elements(
        sources, market.lines, prices, fx=market.fx, decided_on=pd.Series(day, index=range(3)),
        growth=np.array([np.log(1.5), np.log(1.5), np.nan]), rules=market.settings.decide, as_of=TODAY,
    )  # fmt: skip
    e = costed.elements
    assert e["booked"].tolist() == [2.0, 10.0, 1.0]
    assert costed.today == pytest.approx([3.0, 10.0, 1.0])
    assert e.loc[0, ["low", "high"]].tolist() == pytest.approx([1.5, 6.0])
    assert [f.code for f in costed.findings] == ["D018", "D019"]


def test_prices_on_another_day_are_of_the_same_parts_in_the_same_order(sample_audit):
    from bomaudit.decide.decided import open_case  # noqa: PLC0415

    opened = open_case(
        sample_audit.inputs.tables["decisions"], lines=sample_audit.prepared, curves=sample_audit.curves,
        estimates=sample_audit.estimates, quotes=sample_audit.quotes, library=sample_audit.library,
        fx=sample_audit.opened.fx, settings=sample_audit.settings, as_of=sample_audit.as_of,
    )  # fmt: skip
    today, same_day = opened.case.costed.prices, opened.market.on(sample_audit.as_of)
    assert same_day.parts["part_no"].tolist() == today.parts["part_no"].tolist()
    assert same_day.median == pytest.approx(today.median, rel=1e-9)
    later = opened.market.on(dataclasses.replace(sample_audit).as_of.replace(year=2028))
    assert later.parts["part_no"].tolist() == today.parts["part_no"].tolist()
    assert (later.parts["sd_log"] >= today.parts["sd_log"] - 1e-6).mean() > 0.9


def test_what_only_follows_inflation_costs_the_same_on_every_day_in_todays_money(sample_audit):
    """Else general inflation alone would tip a balance against amounts that stand in today's money."""
    lines = sample_audit.prepared
    still = lines["auditable"] & (lines["commodity"] == "") & (lines["price_currency"] == "EUR")
    still &= ~lines["part_no"].isin(sample_audit.quotes["part_no"])
    rows = np.flatnonzero(still)
    assert len(rows) > 1
    market = Market.of(lines, rows, lines.iloc[:0], sample_audit.curves, confidence=0.8)
    today = market.today(lines, sample_audit.estimates, TODAY).median
    for day in (date(2019, 3, 1), date(2024, 5, 5), TODAY, date(2029, 1, 1)):
        assert market.on(day).median == pytest.approx(today, rel=1e-9)


def test_prices_along_days_are_those_of_each_day_alone(sample_audit, monkeypatch):
    """All days in one estimate, or as many as fit at once: the same figures to the last place."""
    from bomaudit.decide.decided import open_case  # noqa: PLC0415

    tables = sample_audit.inputs.tables
    opened = open_case(
        tables["decisions"], lines=sample_audit.prepared, curves=sample_audit.curves, estimates=sample_audit.estimates,
        quotes=tables["quotes"], library=sample_audit.library, fx=sample_audit.curves.fx,
        settings=sample_audit.settings, as_of=sample_audit.as_of,
    )  # fmt: skip
    days = [date(2016, 3, 1), date(2021, 5, 5), TODAY, date(2029, 1, 1)]
    market = opened.market
    for at_once in (20_000, 2 * len(market.parts)):
        monkeypatch.setattr("bomaudit.decide.market._LINES_AT_ONCE", at_once)
        along = market.along(days)
        for day in days:
            one, found = market.on(day), along(day)
            pd.testing.assert_frame_equal(found.parts, one.parts, check_exact=True)
            assert (found.factors, found.sd_own.tolist()) == (one.factors, one.sd_own.tolist())
            assert abs(found.loadings - one.loadings).max() == 0.0
