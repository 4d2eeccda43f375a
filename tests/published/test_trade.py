"""Facts of the trade that the whole chain must reproduce (common practice, no published source)."""

import numpy as np
import pytest

from bomaudit.audit import audit

YEARS = np.arange(2008, 2026)
RARE = np.round(2_000 * np.exp(np.linspace(0, np.log(40e6 / 2_000), len(YEARS))))  # thousands → tens of millions a year
COMMON = np.round(np.linspace(30e6, 36e6, len(YEARS)))  # millions a year all along
GONE = 2.0  # EUR a unit: what is left of the difference is small beside it


@pytest.fixture(scope="module")
def audited(tmp_path_factory):
    folder = tmp_path_factory.mktemp("trade")
    (folder / "audit.toml").write_text(
        '[audit]\nas_of = 2026-06-30\ncurrency = "USD"\nannual_volume = 10000\n'
        '[files]\nbom = "bom.csv"\nvolumes = "volumes.csv"\n'
    )
    (folder / "bom.csv").write_text(
        "part_no,description,qty,unit_cost,currency,cost_date,commodity\n"
        "E1,electronically controlled auxiliary,1,42.00,USD,2016-06-30,controlled_auxiliary\n"
        "M1,fixed-ratio mechanical auxiliary,1,27.00,USD,2016-06-30,mechanical_auxiliary\n"
    )
    rows = [f"controlled_auxiliary,{y},{v:.0f}" for y, v in zip(YEARS, RARE, strict=True)]
    rows += [f"mechanical_auxiliary,{y},{v:.0f}" for y, v in zip(YEARS, COMMON, strict=True)]
    (folder / "volumes.csv").write_text("commodity,period,volume\n" + "\n".join(rows) + "\n")
    return audit(folder).lines.set_index("part_no")


def test_what_became_a_commodity_is_far_below_its_booked_cost(audited):
    """World output grew from thousands to tens of millions a year since sourcing."""
    rare = audited.loc["E1"]
    assert rare["drift"] < -0.35
    assert rare["p_stale"] > 0.9
    assert rare["status"] == "stale"


def test_what_was_common_already_only_follows_its_inputs(audited):
    """Made in millions a year before sourcing: experience moves it little against general inflation."""
    common = audited.loc["M1"]
    assert common["walk_input_prices"] > 0
    assert abs(common["drift"]) < 0.25
    assert abs(common["walk_experience"]) < 0.4 * abs(audited.loc["E1", "walk_experience"])


def test_a_difference_of_ten_to_twenty_a_unit_can_vanish_in_ten_years(audited):
    booked = audited.loc["E1", "booked_cost"] - audited.loc["M1", "booked_cost"]
    today = audited.loc["E1", "estimate"] - audited.loc["M1", "estimate"]
    assert 10 <= booked <= 20
    assert today < GONE
