"""Every decision of the sample flips when one driver crosses its break-even, and none by a special case."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

from bomaudit.decide.accounted import account
from bomaudit.decide.decided import open_case
from bomaudit.decide.judged import judge_case
from bomaudit.decide.simulate import build_model

FOR_SWITCHING, FOR_THE_CHOICE = {"reopen", "review"}, {"stands", "watch"}


@pytest.fixture(scope="module")
def opened(sample_audit):
    return open_case(
        sample_audit.inputs.tables["decisions"], lines=sample_audit.prepared, curves=sample_audit.curves,
        estimates=sample_audit.estimates, quotes=sample_audit.quotes, library=sample_audit.library,
        fx=sample_audit.opened.fx, settings=sample_audit.settings, as_of=sample_audit.as_of,
    )  # fmt: skip


def verdicts_at(sample_audit, case, part, price, sd):
    """Verdicts with a part at another price, about which we are surer than now (a firm quote)."""
    prices = case.costed.prices
    row = (prices.parts["part_no"] == part).to_numpy()
    parts = prices.parts.assign(
        estimate=np.where(row, price, prices.parts["estimate"]), sd_log=np.where(row, sd, prices.parts["sd_log"])
    )
    loadings = prices.loadings.multiply(np.where(row, 0.0, 1.0)[:, None]).tocsr()
    prices = dataclasses.replace(prices, parts=parts, loadings=loadings, sd_own=np.where(row, sd, prices.sd_own))
    costed = dataclasses.replace(case.costed, prices=prices)
    rules, as_of = sample_audit.settings.decide, sample_audit.as_of
    accounts = account(case.register, costed, switch_cost=case.switch_cost, rules=rules, as_of=as_of)
    today = accounts.per_option(costed.today)
    worth = accounts.switching(today)
    moved = dataclasses.replace(
        case, costed=costed, accounts=accounts, today=today, worth=worth, target=accounts.best_alternative(worth),
        model=build_model(accounts, costed, spread=rules.spread),
    )  # fmt: skip
    return judge_case(
        moved, lambda _: prices, lines=sample_audit.prepared, audited=sample_audit.lines, findings=(),
        settings=sample_audit.settings, currency="EUR", as_of=as_of,
    ).decisions.set_index("decision")  # fmt: skip


def test_every_decision_flips_when_its_pivotal_price_crosses_break_even(sample_audit, opened):
    """Each price well beyond its break-even on either side: the sign of the net present value turns everywhere, and
    the verdict follows it: for switching where it pays (review where safety is touched), for the choice where not."""
    decided = sample_audit.decided
    evens = decided.break_evens.drop_duplicates("decision").set_index("decision")
    assert set(evens.index) == set(decided.decisions["decision"])
    for decision, even in evens.iterrows():
        seen = {}
        for side in (0.1, 10.0):
            moved = verdicts_at(sample_audit, opened.case, even["part_no"], even["break_even_price"] * side, 0.01)
            head = moved.loc[decision]
            seen[head["npv"] > 0] = head["verdict"]
        assert set(seen) == {False, True}, decision
        assert seen[False] in FOR_THE_CHOICE, (decision, seen)
        assert seen[True] in FOR_SWITCHING | {"requote"}, (decision, seen)


def test_the_pivotal_price_just_across_changes_the_sign(sample_audit, opened):
    decided = sample_audit.decided
    evens = decided.break_evens.drop_duplicates("decision").set_index("decision")
    for decision, even in evens.iterrows():
        signs = {
            float(
                np.sign(
                    verdicts_at(sample_audit, opened.case, even["part_no"], even["break_even_price"] * side, 0.01).loc[
                        decision, "npv"
                    ]
                )
            )
            for side in (0.999, 1.001)
        }
        assert signs == {-1.0, 1.0}, decision


def test_the_verdict_of_a_decision_does_not_depend_on_the_others(sample_audit):
    """A register of one decision gives the verdict and the money that the whole register gives."""
    rows = sample_audit.inputs.tables["decisions"]
    whole = sample_audit.decided.decisions.set_index("decision")
    for name in ("dosing-pump", "battery"):
        alone = open_case(
            rows[rows["decision"] == name], lines=sample_audit.prepared, curves=sample_audit.curves,
            estimates=sample_audit.estimates, quotes=sample_audit.quotes, library=sample_audit.library,
            fx=sample_audit.opened.fx, settings=sample_audit.settings, as_of=sample_audit.as_of,
        )  # fmt: skip
        judged = judge_case(
            alone.case, alone.market.on, lines=sample_audit.prepared, audited=sample_audit.lines, findings=(),
            settings=sample_audit.settings, currency="EUR", as_of=sample_audit.as_of,
        ).decisions.iloc[0]  # fmt: skip
        assert judged["verdict"] == whole.loc[name, "verdict"]
        assert judged["npv"] == pytest.approx(whole.loc[name, "npv"], rel=1e-9)
        assert judged["p_pays_back"] == pytest.approx(whole.loc[name, "p_pays_back"], abs=0.02)


def test_inputs_are_unchanged(sample_audit):
    tables = {k: v.copy(deep=True) for k, v in sample_audit.inputs.tables.items()}
    prepared, lines = sample_audit.prepared.copy(deep=True), sample_audit.lines.copy(deep=True)
    open_case(
        tables["decisions"], lines=prepared, curves=sample_audit.curves, estimates=sample_audit.estimates,
        quotes=sample_audit.quotes, library=sample_audit.library, fx=sample_audit.opened.fx,
        settings=sample_audit.settings, as_of=sample_audit.as_of,
    )  # fmt: skip
    pd.testing.assert_frame_equal(tables["decisions"], sample_audit.inputs.tables["decisions"])
    pd.testing.assert_frame_equal(prepared, sample_audit.prepared)
    pd.testing.assert_frame_equal(lines, sample_audit.lines)
