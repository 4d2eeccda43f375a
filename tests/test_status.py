"""Where current, drifting, stale and unknown are told apart."""

import numpy as np
import pandas as pd
import pytest

from bomaudit import status
from bomaudit.glossary import VARIANCE_PARTS, WALK_STEPS
from bomaudit.settings import AuditSection
from bomaudit.status import STATUS_CODES, find_status, judge_lines, much_at_stake, probability_of_drift


def test_probability_of_drift_against_a_printed_t_table():
    """Student t with 10 degrees of freedom: upper 5 % point 1.812 (any printed table; from memory)."""
    scale, point = 0.2, 1.812
    low = np.exp(-point * scale) / 1.1  # so low that even a rise by the materiality is at the lower 5 % point
    high = np.exp(point * scale) / 0.9
    far_below = probability_of_drift([low], [1.0], [scale], [10.0], materiality=0.10)[0]
    far_above = probability_of_drift([high], [1.0], [scale], [10.0], materiality=0.10)[0]
    assert far_below == pytest.approx(0.95, abs=0.01)
    assert far_above == pytest.approx(0.95, abs=0.01)
    one_sided = probability_of_drift([low * 1.1 / 3.0], [1.0], [scale], [10.0], materiality=2.0)[0]
    assert one_sided == pytest.approx(0.95, abs=1e-4)


def test_no_doubt_and_no_drift_is_no_probability():
    assert probability_of_drift([1.0], [1.0], [0.0], [np.inf], materiality=0.1)[0] == pytest.approx(0.0)
    assert probability_of_drift([1.0], [0.5], [0.0], [np.inf], materiality=0.1)[0] == pytest.approx(1.0)


def test_a_materiality_of_a_whole_price_only_looks_upwards():
    assert probability_of_drift([1.0], [0.01], [0.1], [50.0], materiality=1.0)[0] == pytest.approx(0.0, abs=1e-9)


def test_the_more_it_takes_to_matter_the_less_likely():
    small, large = (probability_of_drift([1.0], [0.8], [0.2], [8.0], materiality=m)[0] for m in (0.05, 0.5))
    assert small > large


def judged(**changes):
    return judged_all(changes).iloc[0]


def judged_all(*of_lines):
    lines, estimates = zip(*map(made, of_lines), strict=True)
    return judge_lines(pd.DataFrame(lines), pd.DataFrame(estimates), AuditSection())


def made(changes):
    line = {
        "line_id": "L0001", "source_file": "b", "source_sheet": "", "source_row": 2, "row_kind": "part",
        "part_no": "A", "description": "", "supplier": "", "commodity": "pump",
        "commodity_basis": "stated", "commodity_confidence": 1.0,
        "sourcing": "standard", "safety_relevant": False, "qty_per": 2.0, "uom": "", "annual_volume": 1000.0,
        "booked_price": 10.0, "booked_currency": "EUR", "booked_cost": 10.0, "booked_extended": 20.0, "currency": "EUR",
        "price_currency": "EUR", "basis_date": pd.Timestamp("2016-01-01"), "basis": "quote", "age_years": 10.0,
        "auditable": True, "why_not": "",
    } | {k: v for k, v in changes.items() if k not in ("estimate", "sd")}  # fmt: skip
    estimate, sd = changes.get("estimate", 10.0), changes.get("sd", 0.02)
    names = ["contract_price", "stage", *(f"walk_{s}" for s in WALK_STEPS), *(f"var_{v}" for v in VARIANCE_PARTS)]
    spread = {"estimate_low": estimate * np.exp(-1.28 * sd), "estimate_high": estimate * np.exp(1.28 * sd)}
    return line, dict.fromkeys(names, np.nan) | spread | {"estimate": estimate, "sd_log": sd, "dof": 50.0}


def test_a_sure_and_large_drift_is_stale():
    line = judged(estimate=5.0)
    assert line["status"] == "stale"
    assert line["drift"] == pytest.approx(-0.5)
    assert line["exposure_per_year"] == pytest.approx(10_000)


def test_as_likely_as_not_is_drifting():
    assert judged(estimate=8.9, sd=0.10)["status"] == "drifting"


def test_a_small_drift_on_much_money_is_drifting():
    line = judged(estimate=9.5, sd=0.005, annual_volume=100_000.0)
    assert line["status"] == "drifting"
    assert "at stake" in line["reason"]


def test_a_price_that_holds_is_current():
    assert judged()["status"] == "current"


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"commodity": ""}, "no commodity"),
        (
            {"auditable": False, "why_not": "no booked cost", "booked_cost": np.nan, "estimate": np.nan},
            "no booked cost",
        ),
    ],
)
def test_nothing_to_follow_is_unknown(changes, reason):
    line = judged(**changes)
    assert line["status"] == "unknown"
    assert reason in line["reason"]


def test_an_assembly_has_no_status_of_its_own():
    line = judged(row_kind="assembly", auditable=False, why_not="assembly: audited through its parts")
    assert line["status"] == ""
    assert "through its parts" in line["reason"]


def test_free_issue_and_credits_have_no_drift_to_speak_of():
    for booked in (0.0, -3.0):
        assert np.isnan(probability_of_drift([booked], [5.0], [0.1], [9.0], materiality=0.1)[0])


def test_much_money_inside_the_interval_is_current():
    line = judged(estimate=9.9, sd=0.05, annual_volume=10_000_000.0)
    assert line["status"] == "current"
    assert "at stake" not in line["reason"]


def test_little_money_outside_of_the_interval_is_current():
    assert judged(estimate=9.5, sd=0.005, annual_volume=10.0)["status"] == "current"
    assert judged(estimate=10.5, sd=0.005, annual_volume=10.0)["status"] == "current"


def test_money_exactly_at_the_limit_is_not_above_it():
    exact = judged(booked_cost=10.0, estimate=9.5, sd=0.005, annual_volume=5000.0)  # 0.5 x 2 x 5000 = 5000, the limit
    assert exact["exposure_per_year"] == 5000
    assert exact["status"] == "current"
    assert judged(booked_cost=8.0, estimate=8.25, sd=0.0, annual_volume=1e9)["status"] == "drifting", "no doubt at all"


def test_the_reason_has_the_figures_of_the_line():
    stale = judged(estimate=5.0)
    assert (
        stale["reason"]
        == "a drift of 10 % or more is >99 % likely, stale from 80 % on; estimate -50 % after 10.0 years"
    )
    drifting = judged(estimate=8.9, sd=0.10)
    assert drifting["reason"].startswith("a drift of 10 % or more is 56 % likely, drifting from 50 % to 80 %")
    assert drifting["reason"].endswith("; estimate -11 % after 10.0 years")
    assert judged()["reason"].startswith("a drift of 10 % or more is <1 % likely")
    assert "; estimate -80 % after" in judged(estimate=2.0)["reason"]


@pytest.mark.parametrize(
    ("chance", "told"),
    [(0.797, "just under 80 % likely, drifting from 50 % to 80 %"), (0.8, "80 % likely, stale from 80 % on"),
     (0.4999, "just under 50 % likely, below 50 %"), (0.5, "50 % likely, drifting from 50 % to 80 %")],
)  # fmt: skip
def test_a_chance_is_not_rounded_over_the_limit_that_it_misses(monkeypatch, chance, told):
    monkeypatch.setattr(status, "probability_of_drift", lambda *_, **__: np.array([chance]))
    assert f"is {told}" in judged(annual_volume=np.nan)["reason"]


def test_an_amount_that_matters_keeps_its_digits():
    lines, estimates = made({"booked_cost": 10.0, "estimate": 9.5, "sd": 0.005, "annual_volume": 1e8})
    rules = AuditSection(materiality_per_year=2_000_000)
    reason = judge_lines(pd.DataFrame([lines]), pd.DataFrame([estimates]), rules)["reason"].iloc[0]
    assert "more than 2 000 000 a year is at stake" in reason


def test_nought_has_no_sign():
    assert str(judged(estimate=12.0, qty_per=0.0)["exposure_per_year"]) == "0.0"
    assert "; estimate 0 % after" in judged(estimate=9.97)["reason"]
    assert "; estimate 0 % after" in judged(estimate=10.03)["reason"]


@pytest.mark.parametrize(("chance", "told"), [(0.99, "99 %"), (0.9901, ">99 %"), (1 - 0.99, "1 %"), (0.0099, "<1 %")])
def test_a_chance_at_the_end_of_the_scale_is_told_as_it_is(monkeypatch, chance, told):
    monkeypatch.setattr(status, "probability_of_drift", lambda *_, **__: np.array([chance]))
    assert f"is {told} likely" in judged()["reason"]


def test_drifting_by_chance_is_told_by_its_chance_however_much_is_at_stake(monkeypatch):
    by_chance = judged(estimate=8.9, sd=0.05, annual_volume=1e6)
    assert (by_chance["status"], "at stake" in by_chance["reason"]) == ("drifting", False)
    monkeypatch.setattr(status, "probability_of_drift", lambda *_, **__: np.array([0.5]))
    even = judged(estimate=8.9, sd=0.05, annual_volume=1e6)
    assert (even["status"], "at stake" in even["reason"]) == ("drifting", False)


def test_several_lines_are_judged_each_by_its_own():
    """Every row keeps its place: a part, an assembly, one without a commodity, a stale one."""
    assembly = {"row_kind": "assembly", "auditable": False, "why_not": "assembly"}
    got = judged_all({}, assembly, {"commodity": ""}, {"estimate": 5.0})
    assert got["status"].tolist() == ["current", "", "unknown", "stale"]


def test_as_likely_as_the_limit_is_beyond_it():
    """Stale: at least as likely as the confidence; drifting: as likely as not."""
    chances, no = np.array([0.8, 0.79, 0.5, 0.49]), np.zeros(4, dtype=bool)
    codes = find_status(no_part=no, known=~no, p_stale=chances, much=no, confidence=0.8)
    assert [STATUS_CODES[c] for c in codes] == ["stale", "drifting", "drifting", "current"]


def test_a_booked_cost_on_an_end_of_the_interval_is_inside():
    rules = AuditSection(materiality_per_year=100)
    got = much_at_stake([8.0, 9.0, 7.9, 9.1], [8.0] * 4, [9.0] * 4, [1e6] * 4, rules=rules)
    assert got.tolist() == [False, False, True, True]


def test_a_line_that_is_not_auditable_has_no_probability():
    assert np.isnan(judged(auditable=False, why_not="no booked cost")["p_stale"])
    assert np.isfinite(judged()["p_stale"])
