"""Diffusion formulas against published parameters, peaks and exercises."""

import numpy as np
import pytest

from bomaudit.curves.diffusion import Volumes, fit_diffusion
from bomaudit.curves.maturity import bass_peak, bass_share, gompertz_share, logistic_share

BASS = [
    # product, p, q, peak time [year], peak share a year, F at the peak, F(5), F(10)
    ("average of 213 applications", 0.03, 0.38, 6.1926, 0.11059, 0.46053, 0.33120, 0.81280),
    ("black and white television", 0.028, 0.25, 7.8750, 0.07728, 0.44400, 0.23293, 0.60361),
    ("room air conditioner", 0.0104, 0.4189, 8.6090, 0.10999, 0.48759, 0.15471, 0.63620),
    ("clothes dryer", 0.0172, 0.3552, 8.1304, 0.09761, 0.47579, 0.20070, 0.65124),
    ("colour television", 0.005, 0.84, 6.0639, 0.21251, 0.49702, 0.28503, 0.96510),
    ("record player", 0.025, 0.65, 4.8268, 0.17524, 0.48077, 0.51108, 0.96932),
    ("steam iron", 0.029, 0.33, 6.7738, 0.09764, 0.45606, 0.28850, 0.74000),
    ("cellular telephone", 0.004, 1.76, 3.4506, 0.44200, 0.49886, 0.93882, 0.99999),
]
"""p and q from F. M. Bass, Management Science 15(5), 1969, 215-227 and later lists; the average from F. Sultan, J.
Farley and D. Lehmann, J. Marketing Research 27, 1990, 70-77. Peaks and shares are exact arithmetic on them."""


@pytest.mark.parametrize("case", BASS, ids=lambda case: case[0])
def test_bass_peaks_and_shares(case):
    _, p, q, time, rate, at_peak, five, ten = case
    found = bass_peak(p, q)
    assert float(found[0]) == pytest.approx(time, abs=6e-5)
    assert float(found[1]) == pytest.approx(rate, abs=6e-6)
    assert float(found[2]) == pytest.approx(at_peak, abs=6e-6)
    assert float(bass_share(5, p, q)) == pytest.approx(five, abs=6e-6)
    assert float(bass_share(10, p, q)) == pytest.approx(ten, abs=6e-6)


@pytest.mark.parametrize(
    ("p", "q", "m", "peak", "in_year"), [(0.0104, 0.4189, 16.895, 1.9, 8.6), (0.0172, 0.3552, 15.092, 1.5, 8.1)]
)
def test_predicted_peaks_of_room_air_conditioners_and_clothes_dryers(p, q, m, peak, in_year):
    """Bass 1969 predicts peaks of 1.9 and 1.5 million units after 8.6 and 8.1 years (p, q, m from memory)."""
    time, rate, _ = bass_peak(p, q)
    assert round(float(rate) * m, 1) == peak
    assert round(float(time), 1) == in_year


def test_instant_cameras_have_no_peak():
    """q near nought (compilation by C. Van den Bulte): fewer buyers every year."""
    assert np.isnan(bass_peak(0.01, 0.00005)[0])


def test_colour_television_exercise():
    """Sales of 0.70, 1.35 and 2.50 million in 1963-65 solve exactly for m = 26.2253 million; peak 6.790 a year.

    Bass's own forecast was about 6.7 million around 1968; here the discrete regression S = a + bY + cY² is solved.
    """
    sales = np.array([0.70, 1.35, 2.50])
    before = np.concatenate([[0.0], np.cumsum(sales)[:-1]])
    a, b, c = np.linalg.solve(np.vander(before, 3, increasing=True), sales)
    m = (-b - np.sqrt(b**2 - 4 * a * c)) / (2 * c)
    p, q = a / m, -c * m
    assert (p, q, m) == (
        pytest.approx(0.026692, abs=1e-6),
        pytest.approx(0.981460, abs=1e-6),
        pytest.approx(26.2253, abs=1e-4),
    )
    time, rate, _ = bass_peak(p, q)
    assert float(time) == pytest.approx(3.576, abs=1e-3)
    assert float(rate) * m == pytest.approx(6.790, abs=1e-3)


def test_a_fit_to_published_clothes_dryer_parameters_recovers_them():
    """Thirteen years of sales made from Bass's p = 0.0172, q = 0.3552, m = 15.092 million."""
    years = np.arange(14.0)
    reached = 15.092 * bass_share(years + 1, 0.0172, 0.3552)
    data = Volumes(reached[:1], years[None, 1:], np.diff(reached)[None, :], np.ones((1, 13), dtype=bool))
    fit = fit_diffusion(data, np.array([1.0]))
    assert fit.model[0] == "bass"
    assert fit.innovation[0] == pytest.approx(0.0172, rel=0.05)
    assert fit.rate[0] == pytest.approx(0.3552, rel=0.02)
    assert fit.ultimate[0] == pytest.approx(15.092, rel=0.02)
    assert fit.peak_in[0] == pytest.approx(8.1304 - 14, abs=0.1)


def test_logistic_takes_ln_81_over_its_rate_from_a_tenth_to_nine_tenths():
    """J. C. Fisher and R. H. Pry, Technol. Forecast. Soc. Change 3, 1971: ln(f/(1-f)) is linear in time."""
    rate = 0.55
    assert float(logistic_share(4.394449 / rate, rate, 0.1)) == pytest.approx(0.9, abs=1e-6)
    share = logistic_share(np.arange(10.0), rate, 0.02)
    np.testing.assert_allclose(np.diff(np.log(share / (1 - share))), rate)


def test_gompertz_turns_at_one_over_e():
    time = np.linspace(0, 40, 400_001)
    growth = np.gradient(gompertz_share(time, 0.3, 0.001), time)
    assert float(gompertz_share(time[growth.argmax()], 0.3, 0.001)) == pytest.approx(0.36788, abs=1e-4)
