"""Today's price of every line."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from made_market import (
    AS_OF,
    EURO,
    bare_library,
    flat_inflation,
    make_curves,
    make_lines,
    make_prices,
    make_quotes,
    make_volumes,
)
from scipy.special import stdtrit

import bomaudit.estimate
from bomaudit.curves.carry import carry
from bomaudit.curves.level import as_arrays
from bomaudit.estimate import _quantiles, estimate
from bomaudit.glossary import VARIANCE_PARTS, WALK_STEPS

WALK = [f"walk_{s}" for s in WALK_STEPS]
VAR = [f"var_{v}" for v in VARIANCE_PARTS]
GROWN = [100 * 1.25**k for k in range(16)]  # 2010 to 2025


def prices_of(lines, *, as_of=AS_OF, confidence=0.8, **given):
    return estimate(lines, make_curves(lines, **given), as_of=as_of, confidence=confidence)


def mixed_lines():
    return make_lines(
        6, commodity=["solar_module", "dc_motor", "machined_part", "", "aluminium", "gadget"],
        commodity_confidence=[1.0, 0.7, 1.0, 0.0, 1.0, 1.0], sourcing=["standard", "custom", *["standard"] * 4],
        basis_date=["2015-06-30", "2016-01-01", "2014-05-05", "2018-01-01", "2015-07-02", "2016-06-30"],
        basis_date_sd=[0.0, 0, 0, 2.6, 0, 0], price_at_basis=[100.0, 20, 10, 5, 2, 50],
        price_currency=["USD", "EUR", "CNY", "EUR", "USD", "EUR"],
        annual_qty_then=[np.nan, 100, np.nan, np.nan, np.nan, 10.0],
        annual_qty_now=[np.nan, 1000, 5, np.nan, 10, 10.0],
    )  # fmt: skip


MIXED_QUOTES = make_quotes(
    ("P1", "2015-01-01", 20.0), ("P1", "2020-01-01", 18.0), ("P1", "2024-06-01", 17.0), ("P0", "2022-01-01", 40.0),
    currency=["EUR", "EUR", "EUR", "USD"],
)  # fmt: skip


@pytest.fixture(scope="module")
def mixed():
    lines = mixed_lines()
    return lines, make_curves(lines, quotes=MIXED_QUOTES)


def test_the_walk_adds_up(mixed):
    lines, curves = mixed
    frame = estimate(lines, curves, as_of=AS_OF, confidence=0.8).frame
    np.testing.assert_allclose(frame[WALK].sum(axis=1), frame["estimate"] - lines["booked_cost"], rtol=1e-9)


def test_parts_of_the_variance_add_up_and_agree_with_the_loadings(mixed):
    lines, curves = mixed
    found = estimate(lines, curves, as_of=date(2030, 1, 1), confidence=0.8)
    np.testing.assert_allclose(found.frame[VAR].sum(axis=1), 1.0)
    squared = np.asarray(found.loadings.multiply(found.loadings).sum(axis=1)).ravel() + found.sd_own**2
    np.testing.assert_allclose(squared, found.frame["sd_log"] ** 2)
    assert found.loadings.shape == (len(lines), len(found.factors))
    assert len(set(found.factors)) == len(found.factors)


def test_factors_are_shared_within_a_commodity_a_material_and_a_currency():
    lines = make_lines(3, commodity=["liion_pack", "liion_pack", "liion_cell"], price_currency=["USD", "EUR", "USD"])
    found = prices_of(lines, as_of=date(2028, 1, 1))
    used = [{found.factors[k] for k in found.loadings[[row]].indices} for row in range(3)]
    assert "exponent:liion_pack" in used[0] & used[1]
    assert "exponent:liion_cell" in used[2]
    assert {"fx:USD", "input:nickel"} <= used[0] & used[2]
    assert "fx:EUR" not in used[1]  # the audit's own currency


def test_lines_that_cannot_be_audited_stay_empty():
    lines = make_lines(3, auditable=[True, False, True], price_at_basis=[1.0, 2.0, np.nan])
    found = prices_of(lines)
    assert found.frame["estimate"].notna().tolist() == [True, False, False]
    assert found.frame["evidence"].tolist() == ["", "", ""]
    assert np.isfinite(found.sd_own).tolist() == [True, False, False]
    assert found.loadings[[1]].nnz == 0


def test_no_lines_at_all():
    lines = make_lines(1).iloc[:0]
    found = prices_of(lines)
    assert found.frame.empty
    assert found.loadings.shape[0] == 0


def test_interval_holds_the_estimate_and_widens_with_confidence(mixed):
    lines, curves = mixed
    narrow, wide = (estimate(lines, curves, as_of=AS_OF, confidence=c).frame for c in (0.5, 0.95))
    assert (narrow["estimate_low"] < narrow["estimate"]).all()
    assert (narrow["estimate"] < narrow["estimate_high"]).all()
    assert (wide["estimate_high"] > narrow["estimate_high"]).all()
    np.testing.assert_allclose(wide["estimate"], narrow["estimate"])


def test_median_and_student_t_interval():
    """Against the t quantile of scipy.stats."""
    from scipy import stats  # noqa: PLC0415  (slow to import, used once)

    frame = prices_of(mixed_lines()).frame
    reach = stats.t.ppf(0.9, frame["dof"]) * frame["sd_log"]
    np.testing.assert_allclose(frame["estimate_high"], frame["estimate"] * np.exp(reach))


def test_a_price_in_another_currency_moves_with_the_rate():
    """ECB reference rates: 1.1102 USD per EUR on 30 June 2016."""
    lines = make_lines(commodity="aluminium", price_currency="USD")
    aluminium = make_prices("aluminium", 2010, [1.0] * 16, "USD")
    frame = prices_of(lines, library=bare_library(), input_prices=pd.concat([flat_inflation(), aluminium])).frame
    then, now = EURO.rate(["USD", "USD"], np.array(["2016-06-30", AS_OF], dtype="M8[D]"))
    assert 1 / then == pytest.approx(1.1102)
    assert frame["walk_currency"].iloc[0] == pytest.approx(10 * (now - then))
    assert frame["estimate"].iloc[0] == pytest.approx(10 * now)


def test_a_raw_material_follows_its_index_and_nothing_else():
    copper = make_prices("copper", 2010, [100.0] * 8 + [250.0] * 9)
    volumes = make_volumes("copper", 2010, GROWN)
    lines = make_lines(commodity="copper")
    frame = prices_of(
        lines, library=bare_library(), input_prices=pd.concat([flat_inflation(), copper]), volumes=volumes
    ).frame
    assert frame["estimate"].iloc[0] == pytest.approx(25.0)
    assert frame["walk_experience"].iloc[0] == 0


def test_material_movements_reach_the_price_by_their_share():
    steel = make_prices("steel", 2010, [100.0] * 8 + [150.0] * 9)
    frame = prices_of(
        make_lines(commodity="bearing"), library=bare_library(), input_prices=pd.concat([flat_inflation(), steel])
    ).frame
    assert frame["walk_input_prices"].iloc[0] == pytest.approx(10 * 0.45 * 0.5)


def test_a_custom_part_gets_part_of_the_learning():
    lines = make_lines(2, commodity="sensor", sourcing=["standard", "custom"])
    frame = prices_of(
        lines, library=bare_library(), input_prices=flat_inflation(), volumes=make_volumes("sensor", 2010, GROWN)
    ).frame
    whole, part = np.log1p(frame["walk_experience"] / 10)
    assert whole < part < 0
    assert part == pytest.approx(0.5 * whole, rel=1e-6)


@pytest.mark.parametrize("volumes", [None, make_volumes("gadget", 2005, [100 * 1.15**k for k in range(21)])])
def test_own_quotes_of_custom_parts_are_followed_as_far_as_those_of_standard_ones(volumes):
    """Five parts fell by 6 % a year for thirteen years; a sixth has no quotes of its own, ten years on."""
    rows = [(f"P{k}", f"{y}-06-30", (k + 1) * np.exp(-0.06 * (y - 2010))) for k in range(5) for y in range(2010, 2024)]

    for sourcing in ("standard", "custom"):
        lines = make_lines(6, commodity="gadget", sourcing=sourcing, basis_date="2013-06-30")
        given = {"quotes": make_quotes(*rows), "library": bare_library(), "input_prices": flat_inflation()}
        line = prices_of(lines, as_of=date(2023, 6, 30), volumes=volumes, **given).frame.iloc[5]
        assert abs(np.log(line["estimate"] / 10) + 0.6) < 1.3 * line["sd_log"]


def test_mark_up_is_added_to_curves_measured_on_costs_only():
    shake_out = 1e6 * np.diff(1 / (1 + 200 * np.exp(-0.7 * np.arange(17))))
    tables = {"library": bare_library(), "input_prices": flat_inflation()}
    cost, price = (
        prices_of(make_lines(commodity=c), volumes=make_volumes(c, 2010, shake_out), **tables).frame
        for c in ("wire_harness", "sensor")
    )
    assert cost["walk_maturity"].iloc[0] < 0
    assert price["walk_maturity"].iloc[0] == 0


def test_mark_up_follows_the_makers_where_they_are_known():
    """One maker of ten more than doubles: with elasticity 2, from 1/(1 - 0.5/2) to 1/(1 - 0.1/2)."""
    volumes = make_volumes("wire_harness", 2010, GROWN, suppliers=[2.0] * 6 + [10.0] * 10)
    frame = prices_of(
        make_lines(commodity="wire_harness"), volumes=volumes, library=bare_library(), input_prices=flat_inflation()
    ).frame
    before = 10 + frame[["walk_currency", "walk_input_prices", "walk_experience"]].iloc[0].sum()
    # interpolated between the ends of 2015 (2 makers) and 2016 (10 makers)
    share = (np.datetime64("2016-06-30") - np.datetime64("2015-12-31")) / (
        np.datetime64("2016-12-31") - np.datetime64("2015-12-31")
    )
    then = 0.5 + share * (0.1 - 0.5)
    expected = before * ((1 - then / 2) / (1 - 0.1 / 2) - 1)
    assert frame["walk_maturity"].iloc[0] == pytest.approx(expected, rel=1e-6)


def test_own_quotes_are_prices_and_already_hold_the_mark_up():
    volumes = make_volumes("wire_harness", 2010, GROWN, suppliers=[2.0] * 6 + [10.0] * 10)
    rows = [(f"P{k}", f"{y}-03-01", 10 * 0.9 ** (y - 2012)) for k in range(4) for y in range(2012, 2026)]
    lines = make_lines(4, commodity="wire_harness", basis_date="2014-03-01", price_at_basis=10 * 0.9**2)
    given = {"volumes": volumes, "library": bare_library()}
    curves = make_curves(lines, quotes=make_quotes(*rows), **given)
    assert curves.drawn[curves.catalogue.names.index("wire_harness")]
    assert (estimate(lines, curves, as_of=AS_OF, confidence=0.8).frame["walk_maturity"] == 0).all()
    assert (prices_of(lines, **given).frame["walk_maturity"] < 0).all()


@pytest.mark.parametrize("kind", ["firm", "catalogue"])
def test_a_quote_of_the_day_is_as_sure_as_two_independent_sources_together(kind):
    """Inverse variances add: what was expected, and the quote with the noise of its kind."""
    lines = make_lines()
    before = prices_of(lines).frame["sd_log"].iloc[0]
    curves = make_curves(lines, quotes=make_quotes(("P0", str(AS_OF), 12.0), kind=kind))
    noise = curves.model.quote_noise[kind]
    after = estimate(lines, curves, as_of=AS_OF, confidence=0.8).frame["sd_log"].iloc[0]
    assert after == pytest.approx((before**-2 + noise**-2) ** -0.5, rel=0.05)


def test_more_of_ones_own_makes_it_cheaper():
    lines = make_lines(2, annual_qty_then=[100.0, 100.0], annual_qty_now=[1000.0, 10.0])
    frame = prices_of(lines, library=bare_library(), input_prices=flat_inflation()).frame
    assert frame["walk_own_volume"].iloc[0] < 0 < frame["walk_own_volume"].iloc[1]
    assert (frame["var_own_volume"] > 0).all()


def test_contract_price_falls_on_anniversaries_until_the_agreement_ends():
    lines = make_lines(
        4, agreed_reduction=[0.02, 0.02, np.nan, 0.02], agreed_until=[None, "2018-12-31", None, None],
        basis_date=["2016-06-30", "2016-06-30", "2016-06-30", "2016-07-01"],
    )  # fmt: skip
    found = prices_of(lines).frame["contract_price"]
    np.testing.assert_allclose(found, [10 * 0.98**10, 10 * 0.98**2, np.nan, 10 * 0.98**9])


def test_an_anniversary_counts_from_its_day_on_and_none_before_the_first_year_is_over():
    lines = make_lines(
        5, agreed_reduction=0.02, agreed_until=["2018-06-29", "2018-06-30", None, None, "2015-01-01"],
        basis_date=["2016-06-30", "2016-06-30", "2026-01-01", "2025-07-01", "2016-06-30"],
    )  # fmt: skip
    found = prices_of(lines).frame["contract_price"]
    np.testing.assert_allclose(found, [10 * 0.98, 10 * 0.98**2, 10, 10, 10])


def test_a_price_without_any_doubt_has_no_parts_of_it():
    lines = make_lines(2, basis_noise=[0.0, 0.03], basis_date=str(AS_OF), price_currency="EUR")
    frame = prices_of(lines).frame
    assert (frame["sd_log"] > 0).tolist() == [False, True]
    assert frame[VAR].sum(axis=1).tolist() == pytest.approx([0, 1])
    ends = frame[["estimate_low", "estimate", "estimate_high"]].iloc[0]
    assert ends.tolist() == pytest.approx([10, 10, 10])


def test_an_unknown_commodity_follows_inflation_very_unsurely():
    lines = make_lines(2, commodity=["", "dc_motor"], commodity_confidence=[0.0, 1.0])
    general = make_prices("general_inflation", 2010, 100 * 1.02 ** np.arange(18))
    frame = prices_of(lines, library=bare_library(), input_prices=general).frame
    assert frame["estimate"].iloc[0] == pytest.approx(10 * 1.02**10, rel=0.01)
    assert frame["sd_log"].iloc[0] > frame["sd_log"].iloc[1]
    assert frame["var_classification"].iloc[0] > 0.5  # more than all else together


def test_doubt_about_the_commodity_widens_the_interval():
    lines = make_lines(2, commodity_confidence=[1.0, 0.6])
    frame = prices_of(lines).frame
    assert frame["var_classification"].tolist()[0] == 0
    assert frame["sd_log"].iloc[1] > frame["sd_log"].iloc[0]


def test_doubt_about_the_date_widens_the_interval():
    frame = prices_of(make_lines(2, basis_date_sd=[0.0, 2.6])).frame
    assert frame["var_date"].iloc[0] == 0
    assert frame["var_date"].iloc[1] > 0.05


def test_without_a_volume_index_the_trend_is_followed_unsurely():
    given = {"library": bare_library(), "input_prices": flat_inflation()}
    lines = make_lines(commodity="sensor")
    none = prices_of(lines, **given).frame.iloc[0]
    steady = prices_of(lines, volumes=make_volumes("sensor", 2010, [100.0] * 16), **given).frame.iloc[0]
    assert none["walk_experience"] < 0
    assert none["sd_log"] > steady["sd_log"]


def test_doubt_about_volumes_before_and_after_the_index_adds_up():
    """The index knows 2014 to 2018: what is guessed before it and after it errs apart."""
    volumes = make_volumes("dc_motor", 2014, GROWN[:5], cumulative_volume=[300.0] + [np.nan] * 4)
    lines = make_lines(3, commodity="dc_motor", basis_date=["2012-06-30", "2013-12-31", "2018-12-31"])
    curves = make_curves(lines, library=bare_library(), volumes=volumes)
    early, start, end = carry(curves, as_arrays(lines, curves, np.asarray(np.datetime64(AS_OF))).spans).volume
    assert early**2 > start**2 == pytest.approx(end**2, rel=1e-6)
    _, sd = curves.volumes.log_cumulative(["dc_motor"] * 2, np.array(["2012-06-30", "2026-06-30"], "datetime64[D]"))
    elasticity = end / sd[1]
    assert early == pytest.approx(elasticity * np.hypot(*sd), rel=0.05)


def test_the_past_knows_nothing_of_the_future(mixed):
    """Quotes after the day asked for do not count."""
    lines, curves = mixed
    frame = estimate(lines, curves, as_of=date(2019, 6, 1), confidence=0.8).frame
    assert (frame["evidence"] == "").all()
    assert (
        estimate(lines, curves, as_of=date(2021, 6, 1), confidence=0.8).frame["evidence"].iloc[1].startswith("1 newer")
    )


def test_on_its_basis_date_a_price_is_what_it_was_booked_at(mixed):
    lines, curves = mixed
    for row, day in enumerate(lines["basis_date"].dt.date):
        frame = estimate(lines, curves, as_of=day, confidence=0.8).frame
        at_todays_quantity = lines["booked_cost"].iloc[row] + frame["walk_own_volume"].iloc[row]
        assert frame["estimate"].iloc[row] == pytest.approx(at_todays_quantity)


def test_before_its_basis_date_a_price_is_carried_backward(mixed):
    lines, curves = mixed
    frame = estimate(lines, curves, as_of=date(2012, 1, 1), confidence=0.8).frame
    assert np.isfinite(frame[["estimate", "sd_log", *WALK]]).all(axis=None)
    assert frame["walk_experience"].iloc[0] > 0


def test_the_future_is_less_sure(mixed):
    lines, curves = mixed
    sds = [estimate(lines, curves, as_of=date(y, 7, 1), confidence=0.8).frame["sd_log"] for y in (2026, 2029, 2033)]
    assert (sds[0] < sds[1]).all()
    assert (sds[1] < sds[2]).all()
    assert (estimate(lines, curves, as_of=date(2029, 7, 1), confidence=0.8).frame["var_currency"] > 0).sum() == 3


def test_blocks_and_threads_change_no_figure(mixed, monkeypatch):
    lines, curves = mixed
    whole = estimate(lines, curves, as_of=AS_OF, confidence=0.8)
    monkeypatch.setattr(bomaudit.estimate, "_BLOCK", 2)
    parts = estimate(lines, curves, as_of=AS_OF, confidence=0.8)
    pd.testing.assert_frame_equal(whole.frame, parts.frame, rtol=1e-12)
    np.testing.assert_allclose(whole.loadings.toarray(), parts.loadings.toarray(), rtol=1e-12)
    np.testing.assert_allclose(whole.sd_own, parts.sd_own, rtol=1e-9)


def test_inputs_are_left_as_they_were(mixed):
    lines, curves = mixed
    before = lines.copy(deep=True), curves.quotes.copy(deep=True)
    estimate(lines, curves, as_of=AS_OF, confidence=0.8)
    pd.testing.assert_frame_equal(lines, before[0])
    pd.testing.assert_frame_equal(curves.quotes, before[1])


def test_results_show_themselves_in_one_line(mixed):
    lines, curves = mixed
    found = estimate(lines, curves, as_of=AS_OF, confidence=0.8)
    assert repr(found) == "Estimates(6 of 6 lines)"
    assert found.to_frame() is found.frame


def test_the_quantile_of_many_degrees_of_freedom_is_that_of_scipy():
    """Of scipy, a general library: inside the usual range a polynomial stands for it, outside scipy itself."""
    dof = np.concatenate([np.geomspace(0.5, 1e6, 2001), [2.0, 1000.0]])
    for probability in (0.6, 0.75, 0.9, 0.975, 0.995):
        np.testing.assert_allclose(_quantiles(probability, dof), stdtrit(dof, probability), rtol=1e-11)
