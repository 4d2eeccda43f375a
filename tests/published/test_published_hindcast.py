"""The forecast on published price and production series and on consumer prices, from the benchmark scripts.

Skipped where the series do not lie beside the checkout; they are no part of the project. The published rates are those
that the reference page lists for the same files (level and first-difference fits, exact arithmetic).
"""

from __future__ import annotations

import re
import sys
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from bomaudit.curves.calibration import bundled_pools
from bomaudit.curves.forecast_error import fit_first_differences
from bomaudit.curves.learning import learning_rate

BENCHMARKS = Path(__file__).resolve().parents[1] / "benchmarks"
if str(BENCHMARKS) not in sys.path:
    sys.path.insert(0, str(BENCHMARKS))
import hindcast as hc  # noqa: E402  (a script, found by its path)
import published_series as ps  # noqa: E402

REFERENCE = ps.FOLDER.parent / "REFERENCE_VALUES.md"
needs_series = pytest.mark.skipif(not ps.FOLDER.is_dir(), reason="the published series are not beside this checkout")
needs_consumer_prices = pytest.mark.skipif(
    find_spec("cpi") is None, reason="consumer prices are a development dependency"
)


@pytest.fixture(scope="module")
def table():
    series = ps.gapless(ps.price_and_production())
    targets = ps.forecasts(series)
    return hc.summary(hc.hindcast(series, targets, bundled_pools()), ps.rivals(series, targets))


@needs_series
def test_five_years_ahead_the_estimate_halves_the_error_of_a_stale_price(table):
    five = table.loc[5]
    assert five["/unchanged"] <= 0.50
    assert five["/trend"] <= 0.78
    assert five["/experience"] <= 0.94


@needs_series
def test_it_beats_every_plain_method_at_every_horizon(table):
    assert (table[["/unchanged", "/trend", "/experience"]] < 1).all().all()


@needs_series
def test_intervals_cover_about_what_they_say_at_every_horizon(table):
    """Wide enough a band for 19 to 40 series a horizon: a share of 0.8 of 20 has a standard error of 0.09."""
    assert table["in 80%"].between(0.72, 0.88).all()
    assert table["in 95%"].between(0.90, 0.98).all()
    assert table["in 80%"].mean() == pytest.approx(0.80, abs=0.04)
    assert table["in 95%"].mean() == pytest.approx(0.945, abs=0.03)


@needs_series
@needs_consumer_prices
def test_without_volumes_consumer_prices_are_covered_and_beaten():
    series = ps.consumer_prices()
    targets = ps.forecasts(series, horizons=ps.CONSUMER_HORIZONS)
    origin = targets["origin"] - targets.groupby("series")["origin"].transform("min")
    targets = targets[origin % 7 == 0].reset_index(drop=True)
    result = hc.summary(hc.hindcast(series, targets, bundled_pools()), hc.consumer_rivals(series, targets))
    assert (result[["/unchanged", "/inflation", "/trend"]] < 1).all().all()
    assert result["in 80%"].between(0.76, 0.90).all()


@needs_series
def test_published_fits_of_the_same_series():
    """LR of the level fit, LR of first differences, n, doublings and R² as the reference page lists them."""
    text = REFERENCE.read_text(encoding="utf-8").split("Values fitted here from stored data files", 1)[1]
    text = text.split("Class priors from all 90", 1)[0]
    rows = [
        [c.strip() for c in line.strip("|").split("|")] for line in text.splitlines() if re.match(r"\| [A-Z]\w+", line)
    ]
    series = ps.price_and_production()
    checked = 0
    for name, rate, _, differences, _, n, doublings, fit, *_ in rows:
        own = series[series["series"] == name.removeprefix("OWID_")]
        if own.empty or not own["gapless"].all() or len(own) != int(n):
            continue
        x, y = own["log_experience"].to_numpy(), own["log_price"].to_numpy()
        slope = np.polyfit(x, y, 1)[0]
        assert 100 * float(learning_rate(-slope)) == pytest.approx(float(rate), abs=0.051), name
        assert 100 * float(learning_rate(-fit_first_differences(y, x).slope)) == pytest.approx(
            float(differences), abs=0.051
        )
        assert (x[-1] - x[0]) / np.log(2) == pytest.approx(float(doublings), abs=0.051)
        assert np.corrcoef(x, y)[0, 1] ** 2 == pytest.approx(float(fit), abs=5.1e-4)
        checked += 1
    assert checked >= 8
