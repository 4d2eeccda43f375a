"""Break-evens, tornado and variance shares against the account recomputed by hand."""

from __future__ import annotations

import numpy as np
import pytest
from made_decisions import market_of, row

PARTS = [
    {"part_no": "A", "booked": 30, "today": 32, "sd": 0.1, "factors": {"input:steel": 0.08}},
    {
        "part_no": "B",
        "booked": 45,
        "today": 30,
        "sd": 0.2,
        "factors": {"exponent:pump": 0.15, "input:steel": 0.05},
        "dof": 8,
    },
]
ROWS = [
    row("D", "old", "mech", part_no="A", qty=2),
    row("D", "old", "fit", kind="labour", amount=3.0, low=2.0, high=5.0),
    row("D", "new", "el", part_no="B", qty=2, change_cost=30_000.0),
    row("D", "new", "tool", kind="tooling", basis="once", amount=50_000.0, low=40_000.0, high=80_000.0),
]


def with_price(**today):
    parts = [p | {"today": today.get(p["part_no"], p["today"])} for p in PARTS]
    return market_of(parts).decide(ROWS)


def test_at_its_break_even_price_switching_is_worth_nothing():
    evens = market_of(PARTS).decide(ROWS).break_evens.set_index("part_no")
    for part, price in evens["break_even_price"].items():
        assert with_price(**{part: price}).decisions.loc[0, "npv"] == pytest.approx(0.0, abs=1e-6)
    head = market_of(PARTS).decide(ROWS).decisions.iloc[0]
    assert head["break_even_part"] == evens.index[0]
    assert evens["distance_sd"].abs().is_monotonic_increasing


def test_tornado_is_the_account_with_one_driver_at_its_end():
    decided = market_of(PARTS).decide(ROWS)
    bars = decided.tornado.set_index("driver")
    for part in ("A", "B"):
        for end, npv in (("at_low", "low"), ("at_high", "high")):
            moved = with_price(**{part: bars.loc[part, end]}).decisions.loc[0, "npv"]
            assert moved == pytest.approx(bars.loc[part, npv])
    more = [r | {"amount": 5.0} if r["element"] == "fit" else r for r in ROWS]
    assert market_of(PARTS).decide(more).decisions.loc[0, "npv"] == pytest.approx(bars.loc["old: fit", "high"])
    grown = [r | {"annual_volume": 12_500.0} for r in ROWS]
    assert market_of(PARTS).decide(grown).decisions.loc[0, "npv"] == pytest.approx(bars.loc["annual volume", "high"])
    swing = (decided.tornado["high"] - decided.tornado["low"]).abs()
    assert swing.is_monotonic_decreasing


def test_variance_shares_add_up_and_shared_causes_cancel():
    decided = market_of(PARTS).decide(ROWS)
    shares = decided.drivers.set_index("driver")["variance_share"]
    assert shares.sum() == pytest.approx(1.0)
    money = {"A": 2 * 32.0, "B": -2 * 30.0}
    steel = (money["A"] * 0.08 + money["B"] * 0.05) ** 2
    pump = (money["B"] * 0.15) ** 2
    assert shares["input:steel"] / shares["exponent:pump"] == pytest.approx(steel / pump)
    own = {"A": 0.1**2 - 0.08**2, "B": 0.2**2 - 0.15**2 - 0.05**2}
    for part, variance in own.items():
        assert shares[part] / shares["exponent:pump"] == pytest.approx(money[part] ** 2 * variance / pump)


def test_a_variance_share_is_what_goes_when_the_driver_is_known():
    """With the exponent certain the interval of the saving narrows by about its share of the variance."""
    decided = market_of(PARTS).decide(ROWS)
    share = decided.drivers.set_index("driver").loc["exponent:pump", "variance_share"]
    known = [PARTS[0], PARTS[1] | {"sd": np.sqrt(0.2**2 - 0.15**2), "factors": {"input:steel": 0.05}}]
    width = [
        (d.decisions.loc[0, "saving_high"] - d.decisions.loc[0, "saving_low"]) ** 2
        for d in (market_of(known).decide(ROWS), decided)
    ]
    assert width[0] / width[1] == pytest.approx(1 - share, abs=0.05)
