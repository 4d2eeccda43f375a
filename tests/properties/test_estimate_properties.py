"""What must hold of every estimate, whatever the lines."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_market import AS_OF, EURO, bare_library, flat_inflation, make_curves, make_lines, make_quotes, make_volumes

from bomaudit.curves.structure import ConversionLearning, InputRatios, conversion_ratio
from bomaudit.estimate import estimate
from bomaudit.glossary import VARIANCE_PARTS, WALK_STEPS
from bomaudit.prepare.currency import reference_rates

WALK = [f"walk_{s}" for s in WALK_STEPS]
LIBRARY, FLAT = bare_library(), flat_inflation()
GROWN = pd.concat(
    [make_volumes(c, 2008, [100 * 1.3**k for k in range(18)]) for c in ("sensor", "wire_harness", "dc_motor")],
    ignore_index=True,
)
COMMODITIES = ["sensor", "wire_harness", "dc_motor", "copper", "liion_pack", "gadget", ""]
QUOTES = make_quotes(
    ("P1", "2014-02-02", 8.0), ("P1", "2020-02-02", 7.0), ("P2", "2022-02-02", 70.0), ("P2", "2025-02-02", 60.0),
    ("P3", "2018-02-02", 3.0), currency=["EUR", "USD", "EUR", "EUR", "CNY"], min_qty=[0.0, 10, 100, 0, 0],
    kind=["firm", "budgetary", "catalogue", "purchase", "firm"],
)  # fmt: skip
CURVES = make_curves(
    make_lines(len(COMMODITIES), commodity=COMMODITIES), quotes=QUOTES, volumes=GROWN
)  # fitted once: the properties are of the estimate

ROWS = st.integers(1, 6)
days = st.dates(date(2009, 1, 1), date(2026, 6, 30))


@st.composite
def lines_of(draw):
    size = draw(ROWS)

    def each(values):
        return draw(st.lists(values, min_size=size, max_size=size))

    maybe = st.one_of(st.just(np.nan), st.floats(1, 1e6))
    return make_lines(
        size, commodity=each(st.sampled_from(COMMODITIES)), basis_date=[str(d) for d in each(days)],
        commodity_confidence=each(st.floats(0, 1)), sourcing=each(st.sampled_from(["custom", "standard"])),
        price_at_basis=each(st.floats(1e-3, 1e5)), price_currency=each(st.sampled_from(["EUR", "USD", "CNY"])),
        basis_date_sd=each(st.sampled_from([0.0, 2.5])), basis_noise=each(st.floats(0.01, 0.2)),
        annual_qty_then=each(maybe), annual_qty_now=each(maybe),
    )  # fmt: skip


def estimated(lines, curves=CURVES, as_of=AS_OF):
    return estimate(lines, curves, as_of=as_of, confidence=0.8)


@given(lines_of(), st.dates(date(2010, 1, 1), date(2034, 1, 1)))
def test_the_walk_adds_up_on_any_day(lines, day):
    frame = estimated(lines, as_of=day).frame
    scale = np.maximum(frame["estimate"].abs(), lines["booked_cost"].abs())
    off = frame[WALK].sum(axis=1) - (frame["estimate"] - lines["booked_cost"])
    assert (off.abs() <= 1e-9 * scale).all()


@given(lines_of(), st.dates(date(2010, 1, 1), date(2034, 1, 1)))
def test_every_interval_is_finite_and_every_part_of_the_variance_a_share(lines, day):
    found = estimated(lines, as_of=day)
    shares = found.frame[[f"var_{v}" for v in VARIANCE_PARTS]].to_numpy()
    assert np.isfinite(found.frame[["estimate", "estimate_low", "estimate_high", "dof"]]).all(axis=None)
    assert ((shares >= 0) & (shares <= 1)).all()
    np.testing.assert_allclose(shares.sum(axis=1), 1.0)
    squared = np.asarray(found.loadings.multiply(found.loadings).sum(axis=1)).ravel() + found.sd_own**2
    np.testing.assert_allclose(squared, found.frame["sd_log"] ** 2, rtol=1e-9)


@given(lines_of(), st.randoms(use_true_random=False))
def test_permuting_lines_permutes_the_answer(lines, random):
    order = list(range(len(lines)))
    random.shuffle(order)
    straight, mixed = estimated(lines).frame, estimated(lines.iloc[order]).frame
    pd.testing.assert_frame_equal(straight.iloc[order], mixed, rtol=1e-12)


@given(lines_of(), st.floats(1e-3, 1e3))
def test_scaling_a_price_scales_its_answer(lines, factor):
    """Only where no quote of the part ties it to a level."""
    lines = lines.assign(part_no="unquoted")
    scaled = lines.assign(price_at_basis=lines["price_at_basis"] * factor, booked_cost=lines["booked_cost"] * factor)
    a, b = estimated(lines).frame, estimated(scaled).frame
    money = ["estimate", "estimate_low", "estimate_high", *WALK]
    np.testing.assert_allclose(a[money] * factor, b[money], rtol=1e-9, atol=1e-12 * factor)
    np.testing.assert_allclose(a["sd_log"], b["sd_log"])


@settings(max_examples=15)  # every example fits all curves anew
@given(st.lists(st.sampled_from(["sensor", "dc_motor", "bearing", ""]), min_size=1, max_size=4))
def test_no_index_change_no_drift(commodities):
    """No market volume, no inflation, no rate change, no trend: the booked cost stands."""
    still = LIBRARY.commodities.assign(trend=0.0)
    lines = make_lines(len(commodities), commodity=commodities)
    curves = make_curves(
        lines, library=type(LIBRARY)(LIBRARY.curves, still, LIBRARY.volumes, LIBRARY.input_prices), input_prices=FLAT
    )
    np.testing.assert_allclose(estimated(lines, curves).frame["estimate"], lines["booked_cost"], rtol=1e-9)


@given(st.floats(0.05, 0.95), st.floats(0.5, 0.99), st.integers(1, 6))
def test_doubling_experience_multiplies_the_conversion_by_the_progress_ratio(share, ratio, doublings):
    learning = ConversionLearning(np.array([doublings * np.log(ratio)]), "real")
    one = np.ones(1)
    found = conversion_ratio(learning, InputRatios(one, one, one), materials_share=np.array([share]))
    assert found[0] - share == pytest.approx((1 - share) * ratio**doublings)


@given(st.sampled_from(["sensor", "gadget"]))
def test_doubling_experience_multiplies_the_price_by_the_progress_ratio(commodity):
    """Through the whole chain: cumulative volume of a market doubles between basis and as-of date."""
    cumulative = [1000.0] * 10 + [2000.0] * 6
    volumes = make_volumes(
        commodity, 2010, [np.nan] * 16, cumulative_volume=np.array(cumulative) + 1e-6 * np.arange(16)
    )
    lines = make_lines(commodity=commodity, basis_date="2016-12-31")
    curves = make_curves(lines, library=LIBRARY, input_prices=FLAT, volumes=volumes)
    frame = estimated(lines, curves, as_of=date(2025, 12, 31)).frame
    row = curves.experience.frame.loc[commodity]
    years = 9.0
    expected = 10 * 2 ** -row["exponent"] * np.exp(row["drift"] * years)
    assert frame["estimate"].iloc[0] == pytest.approx(expected, rel=0.02)


@given(st.sampled_from(COMMODITIES), st.integers(1, 14), st.integers(1, 8))
def test_the_interval_widens_with_age(commodity, age, more):
    dates = [f"{2026 - a}-06-30" for a in (age, age + more)]
    lines = make_lines(2, part_no="unquoted", commodity=commodity, basis_date=dates)
    sd = estimated(lines).frame["sd_log"]
    assert sd.iloc[1] > sd.iloc[0]


@settings(max_examples=12)  # every example fits all curves anew in another currency
@given(lines_of(), st.sampled_from(["USD", "JPY"]))
def test_the_audit_currency_only_converts_the_answer(lines, currency):
    """An audit in another currency gives the same price, converted at the as-of date's rate."""
    lines = lines.assign(price_currency="EUR", part_no="unquoted", commodity="sensor")
    lines["booked_cost"] = lines["price_at_basis"]
    other = reference_rates(currency)
    converted = lines.assign(booked_cost=lines["booked_cost"] * other.rate(["EUR"], lines["basis_date"].to_numpy()))
    abroad = make_curves(lines, volumes=GROWN, fx=other)
    home = make_curves(lines, volumes=GROWN)
    a, b = estimated(lines, home).frame["estimate"], estimated(converted, abroad).frame["estimate"]
    np.testing.assert_allclose(a * other.rate(["EUR"], [np.datetime64(AS_OF)]), b, rtol=1e-9)
    assert EURO.currency == "EUR"
