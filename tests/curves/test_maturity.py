"""Share of the ultimate market, and the stage it means."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from bomaudit.curves.maturity import STAGES, bass_peak, bass_share, gompertz_share, logistic_share, stage_of


def integrated(slope, start, until):
    """Solve F' = slope(F) numerically, as a check from outside the closed forms."""
    return solve_ivp(lambda _, f: slope(f), (0, until), [start], rtol=1e-10, atol=1e-12).y[0, -1]


@pytest.mark.parametrize("start", [0.0, 0.05, 0.4])
def test_bass_solves_its_equation_from_any_start(start):
    expected = integrated(lambda f: (0.02 + 0.4 * f) * (1 - f), start, 6.0)
    assert bass_share(6.0, 0.02, 0.4, start) == pytest.approx(expected, abs=1e-8)


def test_logistic_and_gompertz_solve_theirs():
    logistic = integrated(lambda f: 0.5 * f * (1 - f), 0.03, 8.0)
    gompertz = integrated(lambda f: -0.3 * f * np.log(f), 0.03, 8.0)
    assert logistic_share(8.0, 0.5, 0.03) == pytest.approx(logistic, abs=1e-8)
    assert gompertz_share(8.0, 0.3, 0.03) == pytest.approx(gompertz, abs=1e-8)


def test_sales_peak_where_bass_says():
    time, rate, share = bass_peak(0.03, 0.38)
    years = np.linspace(0, 20, 200_001)
    sales = np.gradient(bass_share(years, 0.03, 0.38), years)
    assert years[sales.argmax()] == pytest.approx(float(time), abs=1e-3)
    assert sales.max() == pytest.approx(float(rate), abs=1e-6)
    assert bass_share(time, 0.03, 0.38) == pytest.approx(float(share))


def test_sales_without_imitation_have_no_peak():
    assert all(np.isnan(v) for v in bass_peak(0.3, 0.1))


def test_stages_follow_the_share():
    share = np.array([0.05, 0.16, 0.49, 0.5, 0.83, 0.84, 0.999, np.nan])
    expected = ["emerging", "growth", "growth", "shake-out", "shake-out", "mature", "mature", ""]
    assert stage_of(share, np.zeros(8, dtype=bool)).tolist() == expected


def test_a_falling_volume_past_the_middle_is_decline():
    assert stage_of(np.array([0.3, 0.6, 0.95, np.nan]), np.ones(4, dtype=bool)).tolist() == [
        "growth", "declining", "declining", "",
    ]  # fmt: skip


def test_stages_are_those_of_the_glossary_and_the_report():
    assert STAGES == ("emerging", "growth", "shake-out", "mature", "declining")
