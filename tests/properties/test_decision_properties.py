"""What holds for every decision: identities of the account, order of the values of information, scaling, order."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from made_decisions import market_of, row

from bomaudit.decide.draws import normal_scores, stated_shape
from bomaudit.decide.time_value import discounted_years, present_value
from bomaudit.decide.value_of_asking import gain_from_asking, perfect_information, regress

prices = st.floats(0.5, 500)
sds = st.floats(0.0, 0.5)
FEW = settings(max_examples=6, phases=(Phase.explicit, Phase.generate))
"""Whole registers take time, and do not shrink well."""


@st.composite
def registers(draw):
    """Two decisions of two and three options over five parts, with ranges and one-time costs."""
    parts = [
        {
            "part_no": f"P{k}", "booked": draw(prices), "today": draw(prices), "sd": 0.05 + draw(sds),
            "factors": {"input:steel": draw(st.floats(-0.05, 0.05))},
        }
        for k in range(5)
    ]  # fmt: skip
    rows = []
    for name, options in (("D", ("old", "new")), ("E", ("old", "new", "third"))):
        for option in options:
            change = 0.0 if option == "old" else draw(st.floats(0, 1e5))
            rows += [
                row(name, option, f"part {k}", part_no=f"P{draw(st.integers(0, 4))}", qty=draw(st.floats(0.1, 3)),
                    change_cost=change) for k in range(2)
            ]  # fmt: skip
            low, mode, high = sorted(draw(st.floats(0, 50)) for _ in range(3))
            shared = {"change_cost": change}
            rows.append(row(name, option, "range", kind="labour", amount=mode, low=low, high=high, **shared))
            once = draw(st.floats(0, 2e5))
            rows.append(row(name, option, "tool", kind="tooling", basis="once", amount=once, **shared))
    return parts, rows


@FEW
@given(registers())
def test_identities_of_the_account(register):
    """Saving and NPV are the account's own difference; every probability is one; information is worth nothing less than
    nothing and a quote never more than perfect knowledge."""
    parts, rows = register
    market = market_of(parts, draws=256, standard_error=1.0)
    case = market.case(rows)
    decided = market.decide(rows)
    heads, options = decided.decisions, decided.options.set_index(["decision", "option"])
    for _, head in heads.iterrows():
        chosen, to = options.loc[head["decision"], head["chosen"]], options.loc[head["decision"], head["switch_to"]]
        assert head["saving_today"] == pytest.approx(to["cost_today"] - chosen["cost_today"])
        assert head["npv"] == pytest.approx(to["npv"])
    products = case.accounts.products
    assert heads["npv"].to_numpy() == pytest.approx(
        -products * heads["saving_today"] - heads["change_cost"], rel=1e-9, abs=1e-6
    )
    by_option = decided.elements.groupby(["decision", "option"])[["booked_per_unit", "today_per_unit"]].sum()
    joined = options.join(by_option)
    assert joined["today_per_unit"].to_numpy() == pytest.approx(joined["cost_today"].to_numpy())
    assert joined["booked_per_unit"].to_numpy() == pytest.approx(joined["cost_booked"].to_numpy())
    for name in ("p_flip", "p_pays_back"):
        assert heads[name].between(0, 1).all()
    assert (heads["npv_low"] <= heads["npv_high"]).all()
    assert (heads["saving_low"] <= heads["saving_high"]).all()
    assert (heads["evpi"] >= -1e-6).all()
    known = decided.drivers.dropna(subset=["evsi"])
    assert (known["evsi"] >= 0).all()
    assert (known["evsi"] <= known["evpi"] * (1 + 1e-9) + 1e-6).all()
    most = heads.set_index("decision").loc[known["decision"], "evpi"].to_numpy()
    assert (known["evpi"].to_numpy() <= most * (1 + 1e-9) + 1e-6).all()
    shares = decided.drivers.groupby("decision")["variance_share"].sum()
    assert shares.to_numpy() == pytest.approx(1.0)


@FEW
@given(registers(), st.permutations(range(100)))
def test_the_order_of_the_rows_does_not_matter(register, order):
    parts, rows = register
    shuffled = [rows[k] for k in order if k < len(rows)]
    columns = ["saving_booked", "saving_today", "npv", "change_cost", "piece_saving_today"]
    one, two = (
        market_of(parts, draws=256, standard_error=1.0).decide(r).decisions.set_index("decision").sort_index()
        for r in (rows, shuffled)
    )
    pd.testing.assert_frame_equal(one[columns], two[columns])
    assert (one["switch_to"] == two["switch_to"]).all()


@FEW
@given(registers(), st.floats(0.01, 100))
def test_another_unit_of_money_scales_the_answer(register, unit):
    """All amounts times a factor: savings and NPV scale, probabilities and distances stay."""
    parts, rows = register
    amounts = ("amount", "low", "high", "change_cost")
    scaled = [r | {k: r[k] * unit for k in amounts if k in r} for r in rows]
    other = [p | {"booked": p["booked"] * unit, "today": p["today"] * unit} for p in parts]
    one = market_of(parts, draws=256, standard_error=1.0).decide(rows).decisions
    two = market_of(other, draws=256, standard_error=1.0).decide(scaled).decisions
    money = ["saving_booked", "saving_today", "saving_low", "saving_high", "npv", "npv_low", "npv_high"]
    size = one[money].abs().max().max() * 1e-9
    assert two[money].to_numpy() == pytest.approx(one[money].to_numpy() * unit, rel=1e-6, abs=size * unit)
    assert two[["p_flip", "p_pays_back"]].to_numpy() == pytest.approx(one[["p_flip", "p_pays_back"]].to_numpy())


@given(st.floats(0, 0.3), st.integers(1, 30), st.floats(-0.1, 0.1))
def test_discounted_years_are_the_present_value_of_their_cash(rate, years, growth):
    cash = [0.0, *((1 + growth) ** k for k in range(years))]
    factor = discounted_years([float(years)], rate=rate, timing="year_end", growth=[growth])[0]
    assert factor == pytest.approx(present_value(cash, rate=rate))
    assert discounted_years([float(years)], rate=rate, timing="mid_year", growth=[growth])[0] >= factor


@given(st.floats(0.01, 30))
def test_part_years_count_in_part(years):
    low, high = (discounted_years([f(years)], rate=0.08, timing="mid_year")[0] for f in (np.floor, np.ceil))
    assert low - 1e-9 <= discounted_years([years], rate=0.08, timing="mid_year")[0] <= high + 1e-9


@given(st.floats(0, 1), st.sampled_from(["pert", "triangular"]))
def test_a_stated_range_is_never_left(position, spread):
    drawn = stated_shape([position], normal_scores(1, draws=256, seed=1), spread=spread)
    assert (drawn >= 0).all()
    assert (drawn <= 1).all()
    assert drawn.mean() == pytest.approx(((1 + 4 * position) / 6 if spread == "pert" else (1 + position) / 3), abs=0.01)


@given(st.floats(-100, 100), st.floats(0.1, 50), st.floats(0, 1), st.floats(0, 1))
def test_more_reliable_information_is_worth_more_and_never_more_than_perfect(mean, sd, one, two):
    score = normal_scores(1, draws=256, seed=1)
    benefit = mean + sd * score
    less, more = (regress(benefit, score).value(x)[0] for x in sorted((one, two)))
    assert 0 <= less <= more + 1e-9
    assert more <= perfect_information(benefit) * 1.05 + 0.02 * sd


@given(prices, prices, sds)
def test_the_gain_from_asking_is_between_the_certain_gain_and_the_booked_cost(booked, estimate, sd):
    gain = float(gain_from_asking(booked, estimate, sd))
    mean = estimate * np.exp(sd**2 / 2)
    assert max(booked - mean, 0) - 1e-9 <= gain <= booked
