"""Learning-curve arithmetic against printed tables and textbook examples."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from bomaudit.curves.learning import (
    average_theory_total,
    average_theory_unit,
    experience_exponent,
    learning_rate,
    lot_average_with_rate,
    lot_midpoint,
    slope_exponent,
    unit_factor,
    unit_theory_total,
    with_fixed_share,
    with_prior_experience,
)

REFERENCE = Path(__file__).resolve().parents[3] / "shared" / "REFERENCE_VALUES.md"
needs_reference = pytest.mark.skipif(
    not REFERENCE.is_file(), reason="the reference tables are not beside this checkout"
)
SLOPES = (0.70, 0.75, 0.80, 0.85, 0.90, 0.95)


def reference_rows(heading: str) -> list[list[str]]:
    """Cells of the table rows that start with a number or a slope, under a heading of the reference page."""
    text = REFERENCE.read_text(encoding="utf-8").split(heading, 1)[1]
    text = re.split(r"\n###? |\nRules of thumb|\nSource of form", text, maxsplit=1)[0]
    return [[c.strip() for c in line.strip("|").split("|")] for line in text.splitlines() if re.match(r"\| \d", line)]


@needs_reference
@pytest.mark.parametrize(
    ("heading", "decimals"),
    [("### A1.", 5), ("### A2.", 4), ("### A3.", 4), ("### A4.", 5)],
    ids=["A1", "A2", "A3", "A4"],
)
def test_unit_and_cumulative_tables_hold_to_their_last_figure(heading: str, decimals: int) -> None:
    """Exact arithmetic of the tables that RAND RM-6191 and the pricing guides print."""
    rows = reference_rows(heading)
    assert len(rows) == 15
    for n, *cells in rows:
        for slope, cell in zip(SLOPES, cells, strict=True):
            value = {
                "### A1.": lambda s, k: float(unit_factor(k, s)),
                "### A2.": lambda s, k: unit_theory_total(k, s),
                "### A3.": lambda s, k: float(average_theory_total(k, s)),
                "### A4.": lambda s, k: float(average_theory_unit(k, s)),
            }[heading](slope, int(n))
            assert value == pytest.approx(float(cell), abs=0.5001 * 10**-decimals)


@needs_reference
def test_lot_midpoints_hold_to_their_last_figure() -> None:
    rows = reference_rows("### Lot midpoints")
    assert len(rows) == 24
    for slope, lot, total, average, midpoint, *_ in rows:
        s, (first, last) = float(slope.split()[0]) / 100, map(int, lot.split("-"))
        whole = unit_theory_total(last, s, first=first)
        assert whole == pytest.approx(float(total), abs=0.5001e-4)
        assert whole / (last - first + 1) == pytest.approx(float(average), abs=0.5001e-5)
        assert lot_midpoint(first, last, s) == pytest.approx(float(midpoint), abs=0.5001e-4)


def test_exponents_of_the_usual_slopes() -> None:
    """b = log2(slope); accounting textbooks round the 80 % one to -0.322."""
    printed = [-0.514573, -0.415037, -0.321928, -0.234465, -0.152003, -0.074001]
    np.testing.assert_allclose(slope_exponent(SLOPES), printed, atol=0.5e-6)
    np.testing.assert_allclose(experience_exponent(1 - np.array(SLOPES)), [-b for b in printed], atol=0.5e-6)
    np.testing.assert_allclose(learning_rate(experience_exponent([0.2, -1.153])), [0.2, -1.153], rtol=1e-12)


def test_printed_unit_and_total_coefficients() -> None:
    """Stevenson, Operations Management, table of learning-curve coefficients, three decimals; values from memory."""
    for slope, unit, factor, total in [
        (0.80, 10, 0.477, 6.315),
        (0.80, 20, 0.381, 10.485),
        (0.85, 4, 0.723, 3.345),
        (0.90, 20, 0.634, 14.608),
    ]:
        assert float(unit_factor(unit, slope)) == pytest.approx(factor, abs=0.5001e-3)
        assert unit_theory_total(unit, slope) == pytest.approx(total, abs=0.5001e-3)


def test_doubling_rule() -> None:
    """Heizer and Render, Operations Management, module E: 100 hours, 80 %; from memory."""
    hours = 100 * unit_factor([2, 4, 8, 16, 3], 0.80)
    np.testing.assert_allclose(hours, [80, 64, 51.2, 40.96, 70.21], atol=0.005)


def test_twenty_jets() -> None:
    """Stevenson, learning-curve chapter: 400 days for the first, 80 %; the book has 152.4 and 4,194; from memory."""
    assert 400 * float(unit_factor(20, 0.80)) == pytest.approx(152.4, abs=0.1)
    assert 400 * unit_theory_total(20, 0.80) == pytest.approx(4194, abs=0.5)


def test_boats() -> None:
    """Heizer and Render, module E: 125,000 hours for boat 1, 85 %; the book uses .723 and 3.345; from memory."""
    assert 125_000 * float(unit_factor(4, 0.85)) == pytest.approx(90_375, rel=1e-3)
    assert 125_000 * unit_theory_total(4, 0.85) == pytest.approx(418_125, rel=2e-4)


def test_cumulative_average_table() -> None:
    """UK professional accountancy text, 100 hours, 80 %, cumulative average; its last block is a misprint (254.76)."""
    n = np.array([1, 2, 4, 8, 16])
    total = 100 * average_theory_total(n, 0.80)
    np.testing.assert_allclose(total, [100, 160, 256, 409.6, 655.36])
    np.testing.assert_allclose(np.diff(total), [60, 96, 153.6, 245.76])


def test_the_two_theories_differ_by_a_quarter() -> None:
    """Exercise of the Heizer/Raiborn type: 250 hours, 85 %, 15 units; answers by exact arithmetic."""
    assert 250 * unit_theory_total(15, 0.85) == pytest.approx(2465.26, abs=0.005)
    assert 250 * float(average_theory_total(15, 0.85)) == pytest.approx(1987.37, abs=0.005)


def test_slope_from_two_points_of_a_market() -> None:
    """Course exercises on photovoltaics: 3.50 to 0.85 $/W from 100 to 10,000 MW; and 10 to 0.30 $/W at 480 GW.

    Data as printed, answers by exact arithmetic.
    """
    for price_ratio, volume_ratio, slope in [(0.85 / 3.50, 100, 0.8081), (0.30 / 10, 4800, 0.7507)]:
        exponent = -np.log(price_ratio) / np.log(volume_ratio)
        assert 1 - float(learning_rate(exponent)) == pytest.approx(slope, abs=0.5001e-4)


def test_learn_plus_rate_and_other_forms() -> None:
    """Forms as in US cost-analysis guides, from memory; values by exact arithmetic."""
    lots = [(1, 10, 10, 674.2013), (11, 30, 20, 510.0395), (31, 80, 50, 409.1635)]
    for first, last, rate, average in lots:
        cost = lot_average_with_rate(first, last, first_unit=1000, slope=0.9, rate=rate, rate_slope=0.95)
        assert cost == pytest.approx(average, abs=0.5001e-4)
    np.testing.assert_allclose(100 * with_prior_experience([2, 10], 0.8, 4), [94.2995, 71.7872], atol=0.5e-4)
    np.testing.assert_allclose(100 * with_fixed_share([8, 100], 0.8, 0.25), [63.4, 42.0296], atol=0.5e-4)


def test_long_runs_agree_with_the_direct_sum() -> None:
    for slope in (0.5, 0.8, 1.1):
        direct = float(np.sum(np.arange(3, 50_001, dtype=float) ** float(slope_exponent(slope))))
        assert unit_theory_total(50_000, slope, first=3) == pytest.approx(direct, rel=1e-12)


@pytest.mark.parametrize("bad", [0.0, -0.8])
def test_a_slope_must_be_positive(bad: float) -> None:
    with pytest.raises(ValueError, match="positive"):
        slope_exponent(bad)


def test_a_flat_curve_has_no_midpoint() -> None:
    with pytest.raises(ValueError, match="flat"):
        lot_midpoint(1, 10, 1.0)
