"""Markets as curves: where the dots of own quotes stand."""

from __future__ import annotations

import numpy as np
import pytest

from bomaudit.report.markets import market_points


def test_quotes_of_a_standard_part_stand_as_far_apart_as_their_real_prices(audit):
    points = market_points(audit)
    quotes = points[points["kind"] == "quote"].drop_duplicates(["label", "date"], keep=False)
    seen = audit.curves.observations.drop_duplicates(["part_no", "date"], keep=False)
    both = quotes.merge(seen, left_on=["label", "date"], right_on=["part_no", "date"])
    standard = both[both["learned"] == 1.0].sort_values(["label", "date"])
    assert standard["label"].nunique() > 20
    shown = np.log(standard["price"]).groupby(standard["label"]).diff().dropna()
    real = standard["log_price"].groupby(standard["label"]).diff().dropna()
    np.testing.assert_allclose(shown, real, atol=1e-9)


def test_quotes_of_a_custom_part_stand_around_a_curve_that_counts_its_share(audit):
    points = market_points(audit)
    quotes = points[points["kind"] == "quote"].drop_duplicates(["label", "date"], keep=False)
    seen = audit.curves.observations.drop_duplicates(["part_no", "date"], keep=False)
    both = quotes.merge(seen, left_on=["label", "date"], right_on=["part_no", "date"], suffixes=("", "_seen"))
    part = both[(both["learned"] < 1.0) & (both["commodity"] == "dc_motor")].sort_values(["label", "date"])
    curve = points[(points["kind"] == "curve") & (points["commodity"] == "dc_motor")].sort_values("date")
    level = np.interp(part["date"].astype("int64"), curve["date"].astype("int64"), np.log(curve["price"]))
    away = (part["log_price"] - part["learned"] * level).to_numpy()
    dots = (np.log(part["price"]) - level).to_numpy()
    for label in part["label"].unique():
        rows = (part["label"] == label).to_numpy()
        assert np.diff(dots[rows]) == pytest.approx(np.diff(away[rows]), abs=0.01)
