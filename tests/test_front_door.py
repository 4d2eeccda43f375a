"""What files say and what the model says are the same: nothing is lost or added between reading and estimating."""

import sys
from importlib import import_module
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from bomaudit.audit import audit
from bomaudit.curves.experience import fit_experience
from bomaudit.curves.rates import PRIOR_COLUMNS

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))
front_door = import_module("front_door")


@pytest.mark.parametrize("kind", ["", "firm", "purchase"])
def test_an_audit_of_a_disguised_series_is_the_forecast_from_its_prices(tmp_path, kind):
    """An invented market before the war: prices to 1939, volumes to 1944, estimated for the end of 1944."""
    rng = np.random.default_rng(4)
    year = np.arange(1925, 1945)
    experience = np.log(100.0) + np.cumsum(rng.uniform(0.1, 0.3, len(year)))
    price = np.exp(3.0 - 0.4 * experience + rng.normal(0, 0.1, len(year)))
    whole = pd.DataFrame({"part_no": "P1", "year": year, "price": price, "cumulative": np.exp(experience)})
    known = whole[whole["year"] <= 1939]
    front_door.write_folder(tmp_path, known, whole, 1944, kind)
    estimate = front_door.through_the_door(tmp_path)["estimate"].item()

    seen = pd.DataFrame(
        {
            "commodity": "m",
            "part_no": "P1",
            "date": pd.to_datetime(known["year"].astype(str) + "-12-31"),
            "log_price": np.log(known["price"]),
            "log_experience": np.log(known["cumulative"]),
            "noise": audit(tmp_path).curves.observations["noise"].to_numpy(),
        }
    )
    assert seen["noise"].max() < (0.02 if kind == "" else 1e-9)  # what such a quote has beyond the market's own
    fit = fit_experience(seen, pd.DataFrame(np.nan, index=["m"], columns=list(PRIOR_COLUMNS)))
    years = (np.datetime64("1944-12-31") - np.datetime64("1939-12-31")).astype(int) / 365.2425
    grown = experience[-1] - experience[known.index[-1]]
    moved = fit.project(["m"], [grown], [years], start=[np.datetime64("1939-12-31")]).log_ratio.item()
    assert np.log(estimate / known["price"].iloc[-1]) == pytest.approx(moved, abs=1e-4)
