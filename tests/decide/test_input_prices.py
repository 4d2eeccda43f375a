"""What inputs do to decisions, against the account made again with the parts' prices moved."""

from __future__ import annotations

import numpy as np
import pytest
from made_decisions import AS_OF, market_of, row
from scipy.sparse import csr_array

from bomaudit.curves.input_shares import InputShares
from bomaudit.decide.input_prices import COLUMNS, by_input, input_bars
from bomaudit.decide.sensitivity import tornado

PARTS = [{"part_no": "A", "booked": 30, "today": 32, "sd": 0.1}, {"part_no": "B", "booked": 45, "today": 30, "sd": 0.2}]
ROWS = [
    row("D", "old", "mech", part_no="A", qty=2),
    row("D", "new", "el", part_no="B", qty=2, change_cost=30_000.0),
    row("E", "plain", "mech", part_no="A", qty=1),
    row("E", "double", "mech", part_no="A", qty=1, change_cost=1_000.0),
    row("E", "double", "fit", kind="labour", amount=3.0),
]
SHARES = InputShares(
    ("input:copper", "input:lead", "fx:USD"),
    csr_array(np.array([[0.3, 0.0, 0.0], [0.1, 0.0, 1.0]])),
    np.array([0.2, 0.3, 0.08]),
)


def case_and_effects():
    case = market_of(PARTS).case(ROWS)
    return case, by_input(case, SHARES)


def moved(name: str, change: float):
    """The account with every part's price moved by its share of the input's change."""
    k = SHARES.inputs.index(name)
    share = SHARES.share.toarray()[:, k]
    parts = [p | {"today": p["today"] * (1 + change * s)} for p, s in zip(PARTS, share, strict=True)]
    return market_of(parts).decide(ROWS).decisions.set_index("decision")


@pytest.mark.parametrize("change", [0.1, 0.2, -0.3])
@pytest.mark.parametrize("name", ["input:copper", "fx:USD"])
def test_an_effect_is_the_account_made_again(name, change):
    _, effects = case_and_effects()
    (effect,) = effects[(effects["decision"] == "D") & (effects["driver"] == name)].to_dict("records")
    before, after = moved(name, 0.0).loc["D"], moved(name, change).loc["D"]
    assert effect["saving_today"] == pytest.approx(before["saving_today"])
    assert after["saving_today"] - before["saving_today"] == pytest.approx(change * effect["saving_change"])
    assert after["npv"] - before["npv"] == pytest.approx(change * effect["npv_change"])


def test_amounts_stated_abroad_follow_the_exchange_rate_whole():
    """Target: 40 USD a unit and 9,000 USD once for the change; the choice: part B in USD and 5,000 USD a year."""
    rows = [
        row("F", "old", "el", part_no="B", qty=1, currency="USD"),
        row("F", "old", "rent", kind="overhead", basis="per_year", amount=5_000.0, currency="USD"),
        row("F", "new", "module", kind="other", amount=40.0, currency="USD", change_cost=9_000.0),
    ]  # fmt: skip
    case = market_of(PARTS).case(rows)
    of_b = InputShares(SHARES.inputs, SHARES.share[[1]], SHARES.noise)
    effects = by_input(case, of_b).set_index("driver")
    dollar = market_of(PARTS).fx.rate(["USD"], np.array([AS_OF], dtype="datetime64[D]"))[0]
    effect = effects.loc["fx:USD"]
    assert effect["saving_change"] == pytest.approx(40 * dollar - 30 - 0.5 * dollar)
    npv_change = case.accounts.products[0] * -effect["saving_change"] - 9_000 * dollar
    assert effect["npv_change"] == pytest.approx(npv_change)
    assert case.npv[0] == pytest.approx(npv_change)  # all of it is in USD
    assert effects.loc["input:copper", "saving_change"] == pytest.approx(-3.0)


def test_the_saving_is_nought_where_it_is_said_to_tip():
    _, effects = case_and_effects()
    for effect in effects[effects["tips_at"].notna()].to_dict("records"):
        after = moved(effect["driver"], effect["tips_at"]).loc[effect["decision"]]
        assert after["saving_today"] == pytest.approx(0.0, abs=1e-9)


def test_what_both_options_hold_alike_and_what_neither_holds_is_not_listed():
    _, effects = case_and_effects()
    assert set(effects["decision"]) == {"D"}
    assert set(effects["driver"]) == {"input:copper", "fx:USD"}
    assert set(COLUMNS) <= set(effects.columns)
    assert effects["saving_change"].abs().is_monotonic_decreasing


def test_bars_reach_as_far_as_the_mean_of_a_random_walk_over_the_years_left():
    case, effects = case_and_effects()
    bars = input_bars(case, SHARES, effects, confidence=0.8).set_index("driver")
    years = case.register.decisions.set_index("decision").loc["D", "years_left"]
    # drawn: yearly steps of 1/250, the mean over the years left, its 10th and 90th percentile
    rng = np.random.default_rng(1)
    steps = rng.normal(0, 0.2 / np.sqrt(250), (4000, int(250 * years)))
    drawn = np.quantile(np.cumsum(steps, axis=1).mean(axis=1), [0.1, 0.9])
    assert np.log1p(bars.loc["input:copper", ["at_low", "at_high"]].to_numpy(dtype=float)) == pytest.approx(
        drawn, abs=0.02
    )
    for _, bar in bars.iterrows():
        assert bar["low"] == pytest.approx(moved(bar.name, bar["at_low"]).loc["D", "npv"])
        assert bar["high"] == pytest.approx(moved(bar.name, bar["at_high"]).loc["D", "npv"])


def test_the_tornado_has_rows_for_inputs_among_the_others_by_swing():
    market = market_of(PARTS)
    case, effects = case_and_effects()
    bars = input_bars(case, SHARES, effects, confidence=0.8)
    rules, as_of = market.settings.decide, AS_OF
    whole = tornado(case, rules=rules, confidence=0.8, as_of=as_of, inputs=bars)
    of_d = whole[whole["decision"] == "D"]
    assert set(of_d.loc[of_d["kind"] == "input", "driver"]) == {"input:copper", "fx:USD"}
    assert (of_d["high"] - of_d["low"]).abs().is_monotonic_decreasing
