"""Newer quotes move the estimate as a Kalman filter would."""

import numpy as np
import pytest
from made_market import AS_OF, bare_library, flat_inflation, make_curves, make_lines, make_quotes
from statsmodels.tsa.statespace.mlemodel import MLEModel

from bomaudit.estimate import estimate
from bomaudit.evidence import left_to_wander, weigh

NONE = np.zeros


class LocalLevel(MLEModel):
    """Random walk with a given variance per step, seen through noise: statsmodels' state-space Kalman filter."""

    def __init__(self, seen, start, steps, noise):
        super().__init__(np.asarray(seen, dtype=float)[:, None], k_states=1)
        size = len(seen)
        self["design"], self["transition"], self["selection"] = np.eye(1), np.eye(1), np.eye(1)
        self["state_cov"] = np.append(steps[1:], 0.0).reshape(1, 1, size)
        self["obs_cov"] = np.asarray(noise, dtype=float).reshape(1, 1, size) ** 2
        self.initialize_known(np.zeros(1), np.array([[start + steps[0]]]))

    def last(self):
        """Mean and variance of the level at the last observation."""
        found = self.ssm.filter()
        return found.filtered_state[0, -1], found.filtered_state_cov[0, 0, -1]


def random_case(rng):
    """Quotes of a few lines: line, deviation, noise, variance of wandering at each quote; and at the as-of date."""
    counts = rng.integers(0, 6, rng.integers(1, 6))
    line = np.repeat(np.arange(len(counts)), counts)
    step = rng.uniform(0.001, 0.05, len(line))
    total = np.cumsum(step)
    first = np.searchsorted(line, line)
    wander = total - (total - step)[first] if len(line) else total
    ahead = rng.uniform(0, 0.05, len(counts))
    last = np.array([wander[line == k].max(initial=0.0) for k in range(len(counts))])
    return line, rng.normal(0, 0.3, len(line)), rng.uniform(0.01, 0.2, len(line)), wander, last + ahead


@pytest.mark.parametrize("seed", range(25))
def test_agrees_with_the_state_space_kalman_filter(seed):
    """Random cases against statsmodels, to 1e-8."""
    rng = np.random.default_rng(seed)
    line, deviation, noise, wander, target = random_case(rng)
    start = rng.uniform(1e-4, 0.05, len(target))
    told = weigh(
        line, deviation, noise, NONE((len(line), 1)), wander, target_loadings=NONE((len(target), 1)), start=start
    )
    left = left_to_wander(line, told.weight, wander, target)
    noisy = np.bincount(line, (told.weight * noise) ** 2, minlength=len(target))
    variance = (1 - told.total) ** 2 * start + noisy + left
    for k in range(len(target)):
        mine = line == k
        if not mine.any():
            assert (told.shift[k], variance[k]) == (0, pytest.approx(start[k] + target[k]))
            continue
        model = LocalLevel(deviation[mine], start[k], np.diff(wander[mine], prepend=0.0), noise[mine])
        mean, var = model.last()
        assert told.shift[k] == pytest.approx(mean, abs=1e-8)
        assert variance[k] == pytest.approx(var + target[k] - wander[mine][-1], abs=1e-8)


@pytest.mark.parametrize("seed", range(10))
def test_uncertain_drift_is_a_second_state(seed):
    """A shared factor acts as a constant state that tilts the expected path: statsmodels with two states."""
    rng = np.random.default_rng(seed)
    size = int(rng.integers(1, 6))
    wander, slope = np.cumsum(rng.uniform(0.001, 0.03, size)), np.cumsum(rng.uniform(0, 0.2, size))
    deviation, noise, start = rng.normal(0, 0.3, size), rng.uniform(0.01, 0.2, size), 0.01
    model = MLEModel(deviation[:, None], k_states=2)
    model["design"] = np.stack([np.ones(size), slope])[None]
    model["transition"], model["selection"] = np.eye(2), np.eye(2)
    model["state_cov"] = np.zeros((2, 2, size))
    model.ssm["state_cov", 0, 0] = np.append(np.diff(wander), 0.0)
    model["obs_cov"] = (noise**2).reshape(1, 1, size)
    model.initialize_known(np.zeros(2), np.diag([start + wander[0], 1.0]))
    found = model.ssm.filter()
    ahead = slope[-1] + 0.1
    toward = np.array([1.0, ahead])
    told = weigh(
        np.zeros(size, dtype=int), deviation, noise, slope[:, None], wander,
        target_loadings=np.array([[ahead]]), start=np.array([start]),
    )  # fmt: skip
    assert told.shift[0] == pytest.approx(toward @ found.filtered_state[:, -1], abs=1e-8)
    left = ahead - told.weight @ slope
    variance = (
        (1 - told.total[0]) ** 2 * start + ((told.weight * noise) ** 2).sum() + left**2
        + left_to_wander(np.zeros(size, dtype=int), told.weight, wander, wander[-1:])[0]
    )  # fmt: skip
    assert variance == pytest.approx(toward @ found.filtered_state_cov[:, :, -1] @ toward, abs=1e-8)


def prices(*quotes, kind="firm", **line):
    lines = make_lines(commodity="dc_motor", **line)
    quoted = make_quotes(*quotes, kind=kind)
    curves = make_curves(lines, quotes=quoted, library=bare_library(), input_prices=flat_inflation())
    return estimate(lines, curves, as_of=AS_OF, confidence=0.8).frame.iloc[0]


def test_a_firm_quote_of_yesterday_is_the_price():
    found = prices(("P0", "2026-06-29", 7.0))
    assert found["estimate"] == pytest.approx(7.0, rel=0.02)
    assert found["sd_log"] < 0.03
    assert found["evidence"].startswith("1 newer quote, newest 2026-06-29, weight ")


def test_a_catalogue_price_counts_less_than_a_firm_one():
    firm, catalogue = prices(("P0", "2025-06-29", 7.0)), prices(("P0", "2025-06-29", 7.0), kind="catalogue")
    assert abs(firm["walk_newer_quotes"]) > abs(catalogue["walk_newer_quotes"])
    assert firm["sd_log"] < catalogue["sd_log"]


def test_an_old_quote_counts_less_than_a_new_one():
    assert prices(("P0", "2026-01-01", 7.0))["sd_log"] < prices(("P0", "2020-01-01", 7.0))["sd_log"]


def test_a_slip_of_the_unit_hardly_counts():
    """A price per hundred beside prices per piece."""
    found = prices(("P0", "2026-01-01", 1000.0))
    assert found["estimate"] < 20


def test_another_suppliers_quote_counts_less():
    lines = make_lines(supplier="a")
    own, other = (make_quotes(("P0", "2026-01-01", 7.0), supplier=s) for s in ("a", "b"))
    found = [
        estimate(lines, make_curves(lines, quotes=q, library=bare_library()), as_of=AS_OF, confidence=0.8).frame
        for q in (own, other)
    ]
    assert found[0]["sd_log"].iloc[0] < found[1]["sd_log"].iloc[0]


def test_quotes_before_the_basis_date_are_no_newer_evidence():
    assert prices(("P0", "2014-01-01", 20.0))["walk_newer_quotes"] == 0
