"""Newer quotes move the estimate as a Kalman filter would."""

import re
from dataclasses import fields, replace

import numpy as np
import pytest
from made_market import AS_OF, EURO, bare_library, flat_inflation, make_curves, make_lines, make_quotes
from statsmodels.tsa.statespace.mlemodel import MLEModel

from bomaudit.curves.carry import Wander, carry
from bomaudit.curves.level import as_arrays, find_level
from bomaudit.curves.offers import find_newer
from bomaudit.estimate import estimate
from bomaudit.evidence import Told, _told, weigh


def random_case(rng, lines=4, most=5):
    """Quotes of a few lines, and what is known of the lines."""
    counts = rng.integers(0, most + 1, lines)
    line = np.repeat(np.arange(lines), counts)
    years = np.concatenate([np.sort(rng.uniform(0.1, 9, n)) for n in counts])
    told = Told(line, years, rng.normal(0, 0.3, len(line)), rng.uniform(0.01, 0.2, len(line)), np.zeros((len(line), 1)))
    wander = Wander(
        rng.uniform(1e-4, 0.01, lines), rng.uniform(1e-4, 0.02, lines), rng.uniform(0.2, 3, lines), np.full(lines, 0.5)
    )
    return (
        told,
        wander,
        {"start": rng.uniform(1e-4, 0.05, lines), "years": np.full(lines, 9.5), "loadings": np.zeros((lines, 1))},
    )


def filtered(seen, noise, *, design, transition, state_cov, start):
    """Mean and covariance of the states after the last observation: statsmodels' Kalman filter."""
    size, states = len(seen), len(start)
    model = MLEModel(np.asarray(seen)[:, None], k_states=states)
    model["design"], model["selection"] = design, np.eye(states)
    model["transition"], model["state_cov"] = transition, state_cov
    model["obs_cov"] = (noise**2).reshape(1, 1, size)
    model.initialize_known(np.zeros(states), start)
    found = model.ssm.filter()
    return found.filtered_state[:, -1], found.filtered_state_cov[:, :, -1]


def by_states(told, wander, k, start, until):
    """Level, passing deviation and the one at the basis date as states of one line; mean and variance at ``until``."""
    mine = told.line == k
    times = np.concatenate([[0.0], told.years[mine], [until]])
    step = np.diff(times)
    kept = np.exp(-step / wander.memory[k])
    level, p = wander.level[k], wander.passing[k]
    transition = np.stack([np.diag([1.0, a, 1.0]) for a in kept[1:]], axis=2)
    moved = np.stack(
        [np.diag([level * d, p * (1 - a * a), 0.0]) for d, a in zip(step[1:], kept[1:], strict=True)], axis=2
    )
    first = np.array(
        [[start + level * step[0], 0, 0], [0, p, p * kept[0]], [0, p * kept[0], p]]
    )  # the passing deviation is stationary
    toward = np.array([1.0, 1.0, -1.0])
    mean, covariance = filtered(
        told.deviation[mine], told.noise[mine], design=toward[None, :], transition=transition, state_cov=moved,
        start=first,
    )  # fmt: skip
    mean, covariance = (
        transition[:, :, -1] @ mean,
        transition[:, :, -1] @ covariance @ transition[:, :, -1].T + moved[:, :, -1],
    )
    return toward @ mean, toward @ covariance @ toward


@pytest.mark.parametrize("passing", [False, True], ids=["local level", "with a passing deviation"])
@pytest.mark.parametrize("seed", range(20))
def test_agrees_with_the_state_space_kalman_filter(seed, passing):
    """Random cases against statsmodels, to 1e-8."""
    rng = np.random.default_rng(seed)
    told, wander, given = random_case(rng)
    if not passing:
        wander = replace(wander, passing=np.zeros(4))
    found = weigh(told, wander, **given)
    noisy = np.bincount(told.line, (found.weight * told.noise) ** 2, minlength=4)
    variance = (1 - found.total) ** 2 * given["start"] + noisy + found.left
    for k in range(4):
        if not (told.line == k).any():
            assert found.shift[k] == 0
            continue
        mean, expected = by_states(told, wander, k, given["start"][k], 9.5)
        assert found.shift[k] == pytest.approx(mean, abs=1e-8)
        assert variance[k] == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize("seed", range(10))
def test_an_uncertain_drift_is_a_state_of_its_own(seed):
    """A shared factor is a constant that tilts the expected path: statsmodels with level and factor as states."""
    rng = np.random.default_rng(seed)
    size = int(rng.integers(1, 6))
    years, slope = np.sort(rng.uniform(0.1, 9, size)), np.cumsum(rng.uniform(0, 0.2, size))
    deviation, noise, start, level, ahead = rng.normal(0, 0.3, size), rng.uniform(0.01, 0.2, size), 0.01, 0.004, 1.5
    moved = np.zeros((2, 2, size))
    moved[0, 0] = level * np.diff(years, append=10.0)
    design = np.stack([np.ones(size), slope])[None]
    first = np.diag([start + level * years[0], 1.0])
    mean, covariance = filtered(deviation, noise, design=design, transition=np.eye(2), state_cov=moved, start=first)
    toward = np.array([1.0, ahead])
    wander = Wander(np.array([level]), np.zeros(1), np.ones(1), np.full(1, 0.5))
    told = Told(np.zeros(size, dtype=int), years, deviation, noise, slope[:, None])
    found = weigh(
        told, wander, start=np.array([start]), years=np.array([10.0]), loadings=np.array([[ahead]])
    )  # fmt: skip
    left = (ahead - found.weight @ slope) ** 2
    variance = (1 - found.total[0]) ** 2 * start + ((found.weight * noise) ** 2).sum() + left + found.left[0]
    assert found.shift[0] == pytest.approx(toward @ mean, abs=1e-8)
    assert variance == pytest.approx(toward @ (covariance + moved[:, :, -1]) @ toward, abs=1e-8)


def test_what_a_price_wanders_is_what_the_projection_says():
    """Two ways to the same variance: the pool's projection, and the covariance that newer quotes are weighed with."""
    lines = make_lines(3, commodity="sensor", basis_date=["2012-06-30", "2019-06-30", "2025-12-31"])
    curves = make_curves(lines, library=bare_library())
    carried = find_level(as_arrays(lines, curves, np.datetime64(AS_OF, "D")), curves).carried
    none = Told(np.zeros(0, dtype=int), *(np.zeros(0) for _ in range(3)), np.zeros((0, 1)))
    found = weigh(none, carried.wander, start=np.zeros(3), years=carried.years, loadings=np.zeros((3, 1)))
    np.testing.assert_allclose(found.left, carried.process, rtol=1e-9)


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


def test_the_less_is_known_of_the_booked_date_the_more_a_quote_counts():
    known, guessed = (
        prices(("P0", "2026-06-29", 9.0), kind="budgetary", basis_date="2026-06-01", basis_date_sd=sd)
        for sd in (0.0, 0.5)
    )
    assert guessed["walk_newer_quotes"] < 1.05 * known["walk_newer_quotes"] < 0


def test_lines_in_company_are_estimated_as_alone():
    """Quotes in two currencies and markets, one for a quantity: what moves one line is not what moves the other."""
    apart = {
        "price_currency": ["EUR", "USD"], "commodity": ["sensor", "machined_part"],
        "annual_qty_then": [1e3, np.nan], "annual_qty_now": [5e3, np.nan],
    }  # fmt: skip
    quotes = make_quotes(
        ("P0", "2021-01-01", 7.0), ("P1", "2022-01-01", 12.0), currency=["EUR", "USD"], annual_qty=[2e3, np.nan]
    )
    both = make_lines(2, **apart)
    curves = make_curves(both, quotes=quotes)
    together = estimate(both, curves, as_of=AS_OF, confidence=0.8)
    assert together.frame["evidence"].str.startswith("1 newer quote").all()
    for row in range(2):
        alone = estimate(both.iloc[[row]], curves, as_of=AS_OF, confidence=0.8)
        for name in ("estimate", "sd_log", "var_own_volume", "var_currency"):
            assert alone.frame[name].iloc[0] == pytest.approx(together.frame[name].iloc[row], rel=1e-9), name


@pytest.mark.parametrize("seed", range(6))
def test_evidence_of_a_line_is_the_same_to_the_last_bit_in_whatever_company(seed):
    """Partitions of one screening hold other lines beside it, and their results must be the same bytes."""
    rng = np.random.default_rng(seed)
    told, wander, given = random_case(rng, lines=60, most=9)
    factors = rng.normal(0, 0.2, (len(told.line) + 60, 37))
    told, given = replace(told, loadings=factors[60:]), given | {"loadings": factors[:60]}
    whole = weigh(told, wander, **given)
    for rows in ([k] for k in range(60)) if seed else [np.sort(rng.permutation(60)[:23]).tolist()]:
        mine = np.isin(told.line, rows)
        some = [v[mine] for v in (told.years, told.deviation, told.noise, told.loadings)]
        few = Wander(*(getattr(wander, f.name)[rows] for f in fields(Wander)))
        alone = weigh(
            Told(np.searchsorted(rows, told.line[mine]), *some), few, **{n: v[rows] for n, v in given.items()}
        )
        for name in ("shift", "total", "left"):
            assert (getattr(alone, name) == getattr(whole, name)[rows]).all(), name
        assert (alone.weight == whole.weight[mine]).all()


def test_a_quote_far_off_counts_as_if_six_deviations_off():
    """Of all that is uncertain: booked price and date, what the price wanders, shared factors, and the quote itself."""
    lines = make_lines(2, basis_date_sd=2.0, commodity="sensor", price_currency="USD")
    curves = make_curves(lines, quotes=make_quotes(("P0", "2024-01-01", 1000.0), ("P1", "2024-01-01", 10.0)))
    priced = as_arrays(lines, curves, np.datetime64(AS_OF, "D"))
    level, day = find_level(priced, curves), np.datetime64(AS_OF, "D")
    pairs = find_newer(priced.asked(curves.fx), curves.offers, as_of=day)
    then = carry(curves, priced.spans.take(pairs.line, now=curves.offers.day[pairs.quote]))
    told = _told(priced, level, then, pairs, curves=curves)
    parts = [level.basis, level.date, then.process, (told.loadings**2).sum(axis=1), told.noise**2]
    assert (np.array(parts) > 0).all()
    assert abs(told.deviation[0]) / np.sqrt(sum(parts))[0] == pytest.approx(6.0)
    assert told.noise[1] == curves.offers.noise[pairs.quote[1]], "not far off: its own noise"


@pytest.mark.parametrize(
    "quoted_for", [1000.0, 100.0, np.nan], ids=["today's quantity", "the booked one", "none stated"]
)
def test_a_quote_at_the_expected_price_moves_nothing_whatever_quantity_it_is_for(quoted_for):
    """Own volume carried both booked cost and quote to today's quantity; where none is stated it is today's."""
    lines = make_lines(commodity="sensor", annual_qty_then=100.0, annual_qty_now=1000.0)
    given = {"library": bare_library(), "input_prices": flat_inflation()}
    expected = estimate(lines, make_curves(lines, **given), as_of=AS_OF, confidence=0.8).frame.iloc[0]
    per_step = np.log1p(expected["walk_own_volume"] / (expected["estimate"] - expected["walk_own_volume"]))
    at = expected["estimate"] * (np.exp(-per_step) if quoted_for == 100 else 1.0)
    quotes = make_quotes(("P0", str(AS_OF), at), annual_qty=quoted_for)
    found = estimate(lines, make_curves(lines, quotes=quotes, **given), as_of=AS_OF, confidence=0.8).frame.iloc[0]
    assert per_step < -0.05
    assert found["evidence"].startswith("1 newer")
    assert found["walk_newer_quotes"] == pytest.approx(0, abs=1e-3)
    assert found["estimate"] == pytest.approx(expected["estimate"], rel=1e-3)
    before, after = (f["var_own_volume"] * f["sd_log"] ** 2 for f in (expected, found))
    known = 0.0 if quoted_for != 100 else 1.0  # a price at today's quantity leaves no doubt of what the quantity does
    assert after / before == pytest.approx(known, abs=0.02)


def test_a_quote_at_the_expected_price_moves_nothing_in_another_currency_either():
    lines = make_lines(commodity="sensor", price_currency="USD")
    given = {"library": bare_library(), "input_prices": flat_inflation()}
    expected = estimate(lines, make_curves(lines, **given), as_of=AS_OF, confidence=0.8).frame.iloc[0]
    rate = EURO.rate(["USD"], np.array([AS_OF], dtype="M8[D]"))[0]
    quotes = make_quotes(("P0", str(AS_OF), expected["estimate"] / rate), currency="USD")
    found = estimate(lines, make_curves(lines, quotes=quotes, **given), as_of=AS_OF, confidence=0.8).frame.iloc[0]
    assert abs(np.log(rate)) > 0.05
    assert found["evidence"].startswith("1 newer")
    assert found["walk_newer_quotes"] == pytest.approx(0, abs=1e-3)


def test_a_quote_of_the_day_leaves_little_doubt_of_the_commodity():
    """What the commodity did over ten years no longer counts, but by the share left to the booked cost."""
    lines = make_lines(commodity_confidence=0.5)
    curves = [make_curves(lines, quotes=q) for q in (make_quotes(), make_quotes(("P0", str(AS_OF), 9.0)))]
    found = [estimate(lines, c, as_of=AS_OF, confidence=0.8).frame.iloc[0] for c in curves]
    before, after = (f["var_classification"] * f["sd_log"] ** 2 for f in found)
    assert before > 0.01
    assert after < 0.01 * before


def test_the_evidence_is_told_in_words():
    quotes = make_quotes(
        ("P0", "2024-01-01", 8.0), ("P0", "2026-06-30", 7.0), ("P0", "2026-06-30", 9.0), ("P1", "2026-06-30", 7.0),
        min_qty=[0.0, 100, 0, 0],
    )  # fmt: skip
    lines = make_lines(3)
    frame = estimate(lines, make_curves(lines, quotes=quotes), as_of=AS_OF, confidence=0.8).frame
    two, one, none = frame["evidence"]
    assert two == "2 newer quotes, newest 2026-06-30, weight 100 %; 1 other price break passed over"
    assert re.fullmatch(r"1 newer quote, newest 2026-06-30, weight 9\d %", one)
    assert none == ""
