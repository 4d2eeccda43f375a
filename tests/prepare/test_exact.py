"""Totals to the cent, in decimals."""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest

from bomaudit.prepare.exact import reconcile_assemblies, reconcile_total, round_money, to_decimal


def rows(*given):
    frame = pd.DataFrame(given, columns=["parent_row", "qty", "scrap_rate", "unit_cost", "row_kind"])
    return frame.astype({"qty": float, "scrap_rate": float, "unit_cost": float})


THREE_LEVELS = rows(
    (-1, 1, np.nan, np.nan, "assembly"),
    (0, 2, 0.05, np.nan, "assembly"),
    (1, 0.4, 0.1, 4.00, "part"),
    (1, 0.1, np.nan, 30.00, "charge"),
    (0, 1, 0.01, np.nan, "assembly"),
    (4, 3, 0.02, 1.25, "part"),
    (4, 1, np.nan, np.nan, "assembly"),
    (6, 0.4, 0.1, 4.00, "part"),
    (6, 0.1, np.nan, 30.00, "charge"),
    (4, 0.05, np.nan, 30.00, "charge"),
    (0, 0.5, np.nan, 30.00, "charge"),
    (0, 1, np.nan, 2.00, "charge"),
    (0, 1, np.nan, 99.0, "alternative"),
)


@pytest.mark.parametrize(("scrap", "total"), [("divide", "37.26"), ("multiply", "37.18")])
def test_three_level_sample_reconciles_to_the_cent(scrap, total):
    check = reconcile_total(THREE_LEVELS, Decimal(total), scrap=scrap)
    assert (check.rolled, check.difference, check.rounding, check.unpriced) == (Decimal(total), 0, "total", ())


def test_shortest_text_is_meant():
    assert to_decimal(0.1) == Decimal("0.1")
    assert sum(map(to_decimal, [0.1] * 3)) == Decimal("0.3")
    assert round_money(1.005, 2) == Decimal("1.01")
    assert round_money(-1.005, 2) == Decimal("-1.01")
    assert round_money(Fraction(2, 3), 4) == Decimal("0.6667")


@pytest.mark.parametrize(
    ("stated", "rounding"),
    [("6.67", "total"), ("6.66", "lines"), ("6.70", "assemblies"), ("6.69", "exploded"), ("6.68", "")],
)
def test_rounding_of_the_stated_total_is_recognised(stated, rounding):
    """10 assemblies of a part at 0.333 twice and one at 0.001: exact 6.67; see the four roundings below."""
    frame = rows(
        (-1, 1, 0, np.nan, "assembly"),
        (0, 10, 0, np.nan, "assembly"),
        (1, 1, 0, 0.333, "part"),
        (1, 1, 0, 0.333, "part"),
        (1, 1, 0, 0.001, "part"),
    )
    lines = (Decimal("0.33") + Decimal("0.33") + Decimal("0.00")) * 10
    assemblies = Decimal("0.67") * 10
    exploded = Decimal("3.33") + Decimal("3.33") + Decimal("0.01")
    want = {"total": Decimal("6.67"), "lines": lines, "assemblies": assemblies, "exploded": exploded}
    check = reconcile_total(frame, Decimal(stated), scrap="divide")
    expected = next((how for how, value in want.items() if value == Decimal(stated)), "")
    assert check.rounding == expected
    assert check.difference == (0 if expected else Decimal("6.67") - Decimal(stated))


def test_cents_off_are_cents_off():
    check = reconcile_total(THREE_LEVELS, 37.29, scrap="divide")
    assert (check.rounding, check.difference) == ("", Decimal("-0.03"))


def test_rows_without_a_cost_are_named_and_left_out():
    frame = THREE_LEVELS.copy()
    frame.loc[5, "unit_cost"] = np.nan
    check = reconcile_total(frame, Decimal("33.40"), scrap="divide")
    assert check.unpriced == (5,)
    assert check.rolled == Decimal("33.40")


def test_each_assembly_is_held_against_its_own_cost():
    stated = pd.Series(np.nan, index=THREE_LEVELS.index)
    stated[[1, 4, 6]] = 4.78, 10.13, 4.78
    checks = reconcile_assemblies(THREE_LEVELS, stated, scrap="divide")
    assert {i: c.difference for i, c in checks.items()} == {1: 0, 4: Decimal("-0.03"), 6: 0}
    assert checks[4].rolled == Decimal("10.10")


def test_rows_not_in_force_are_left_out():
    built = np.ones(len(THREE_LEVELS), dtype=bool)
    built[11] = False
    assert reconcile_total(THREE_LEVELS, 35.26, scrap="divide", built=built).rounding == "total"


def test_ten_thousand_tenths_make_a_thousand():
    frame = rows(*[(-1, 1, 0, 0.1, "part")] * 10_000)
    assert reconcile_total(frame, 1000.0, scrap="divide").difference == 0
