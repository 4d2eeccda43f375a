"""We said 4.10 ± 0.6; the quote was 3.95."""

import numpy as np
import pandas as pd
import pytest
from history_case import NEW_DAY, lines_frame, quotes_frame, snapshot
from scipy.stats import binomtest

from bomaudit.history.scores import RECORD, binomial_limits, calibration, record, score
from bomaudit.prepare.currency import reference_rates


@pytest.fixture
def fx():
    return reference_rates("EUR")


def test_estimate_is_held_against_the_quote_that_came_in(fx):
    lines = lines_frame(estimate=[4.10, 18, 5, 7, 2], booked_cost=[6.0, 20, 5, 8, 2])
    lines.loc[0, ["estimate_low", "estimate_high"]] = 3.50, 4.70
    quotes = quotes_frame(
        [
            ("A-1", "2026-05-04", 3.95, "EUR", 0.0, "firm"),
            ("A-1", "2026-03-31", 3.00, "EUR", 0.0, "firm"),
            ("A-2", "2026-04-01", 9.99, "EUR", 0.0, "catalogue"),
            ("Z-9", "2026-05-04", 1.00, "EUR", 0.0, "firm"),
        ]
    )
    got = score(snapshot(lines=lines), quotes, fx=fx)
    assert got["part_no"].tolist() == ["A-2", "A-1"]
    hit = got.iloc[1]
    assert (hit["estimate"], hit["quote"], hit["inside"], hit["counted"]) == (4.10, 3.95, True, True)
    assert hit["error"] == pytest.approx(np.log(3.95 / 4.10))
    assert not got.iloc[0]["counted"]
    assert record(got, confidence=0.8)["quotes"] == 1


def test_quote_in_another_currency_is_brought_over_at_its_day(fx):
    got = score(snapshot(), quotes_frame([("A-1", "2026-05-04", 9.0, "USD", 0.0, "firm")]), fx=fx)
    assert got["quote"].iloc[0] == pytest.approx(9.0 * fx.rate(["USD"], ["2026-05-04"])[0])


def test_price_break_nearest_to_the_need_counts(fx):
    rows = [("A-1", "2026-05-04", price, "EUR", qty, "firm") for price, qty in ((9.0, 1), (8.0, 800), (7.0, 5000))]
    assert score(snapshot(), quotes_frame(rows), fx=fx)["quote"].tolist() == [8.0]
    few = snapshot(lines=lines_frame(annual_volume=[np.nan] * 5))
    assert score(few, quotes_frame(rows), fx=fx)["quote"].tolist() == [9.0]


def test_each_audit_answers_for_the_quotes_up_to_the_next(fx):
    rows = [
        ("A-1", day, 8.1, "EUR", 0.0, "purchase") for day in ("2026-04-15", "2026-06-30", "2026-07-01", "2026-09-01")
    ]
    got = calibration([snapshot(NEW_DAY), snapshot()], quotes_frame(rows), fx=fx)
    assert list(got.columns) == list(RECORD)
    assert got["as_of"].tolist() == ["2026-03-31", "2026-06-30", ""]
    assert got["quotes"].tolist() == [2, 2, 4]
    assert got["covered"].tolist() == [1.0, 1.0, 1.0]
    assert got["closer_than_booked"].tolist() == [1.0, 1.0, 1.0]


def test_no_quotes_no_record(fx):
    got = calibration([snapshot()], quotes_frame(), fx=fx)
    assert got["quotes"].tolist() == [0, 0]
    assert got["covered"].isna().all()
    assert calibration([], quotes_frame(), fx=fx).empty


@pytest.mark.parametrize(("hits", "trials"), [(0, 10), (10, 10), (7, 10), (80, 100), (1, 1)])
def test_limits_are_those_of_a_statistics_library(hits, trials):
    want = binomtest(hits, trials).proportion_ci(confidence_level=0.9, method="exact")
    assert binomial_limits(hits, trials, confidence=0.9) == pytest.approx((want.low, want.high))


def test_well_made_intervals_cover_as_stated(fx):
    """Quotes drawn from the stated distribution: coverage and position must come out as stated."""
    rng = np.random.default_rng(11)
    n, sd = 2000, 0.1
    z = 1.2816  # normal quantile of 90 %: an 80 % interval
    estimate = rng.uniform(1, 50, n)
    lines = lines_frame(
        line_id=[f"L{k}" for k in range(n)], part_no=[f"P{k}" for k in range(n)], description=["x"] * n,
        row_kind=["part"] * n, commodity=["pump"] * n, qty_per=[1.0] * n, annual_volume=[1.0] * n, estimate=estimate,
        booked_price=estimate * 2, booked_cost=estimate * 2, booked_currency=["EUR"] * n, currency=["EUR"] * n,
        basis_date=pd.to_datetime(["2018-01-31"] * n), sd_log=[sd] * n, dof=[1e6] * n, status=["stale"] * n,
        estimate_low=estimate * np.exp(-z * sd), estimate_high=estimate * np.exp(z * sd),
    )  # fmt: skip
    price = estimate * np.exp(rng.normal(0, sd, n))
    quotes = quotes_frame([(f"P{k}", "2026-05-04", price[k], "EUR", 0.0, "firm") for k in range(n)])
    got = score(snapshot(lines=lines), quotes, fx=fx)
    summed = record(got, confidence=0.8)
    assert summed["covered_low"] < 0.80 < summed["covered_high"]
    assert got["position"].mean() == pytest.approx(0.5, abs=4 / np.sqrt(12 * n))
    assert summed["median_abs_error"] == pytest.approx(0.6745 * sd, rel=0.1)
