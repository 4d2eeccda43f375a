"""Fit every curve an audit needs, knowing the world up to a day and no further."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from made_market import (
    AS_OF,
    bare_library,
    flat_inflation,
    make_curves,
    make_lines,
    make_prices,
    make_quotes,
    make_volumes,
)

from bomaudit.estimate import estimate

GROWN = [100 * 1.3**k for k in range(16)]  # 2010 to 2025


def codes(curves):
    return {f.code: str(f) for f in curves.findings}


def test_nothing_after_the_day_is_used():
    """Quotes, volumes and input prices of later dates change no figure."""
    day, lines = date(2020, 6, 30), make_lines(2, commodity="sensor")
    quotes = make_quotes(("P0", "2015-01-01", 9.0), ("P0", "2019-01-01", 6.0))
    volumes, copper = make_volumes("sensor", 2010, GROWN[:10]), make_prices("copper", 2010, [100.0] * 10)
    early = make_curves(lines, quotes=quotes, volumes=volumes, input_prices=copper, as_of=day)
    late = make_curves(
        lines, as_of=day,
        quotes=pd.concat([quotes, make_quotes(("P0", "2024-01-01", 99.0))], ignore_index=True),
        volumes=pd.concat([volumes, make_volumes("sensor", 2020, [9e9] * 5)], ignore_index=True),
        input_prices=pd.concat([copper, make_prices("copper", 2021, [900.0] * 4)], ignore_index=True),
    )  # fmt: skip
    frames = [estimate(lines, c, as_of=day, confidence=0.8).frame for c in (early, late)]
    pd.testing.assert_frame_equal(*frames)


def test_quotes_before_the_basis_date_help_the_exponent_only():
    lines = make_lines(commodity="gadget", basis_date="2024-06-30")
    rows = [("P0", f"{y}-12-31", 10 * 0.8 ** (y - 2011)) for y in range(2011, 2024)]
    given = {
        "volumes": make_volumes("gadget", 2010, GROWN),
        "input_prices": flat_inflation(),
        "library": bare_library(),
    }
    with_past, without = make_curves(lines, quotes=make_quotes(*rows), **given), make_curves(lines, **given)
    assert with_past.experience.frame.loc["gadget", "exponent"] > without.experience.frame.loc["gadget", "exponent"]
    assert estimate(lines, with_past, as_of=AS_OF, confidence=0.8).frame["walk_newer_quotes"].iloc[0] == 0


def test_what_is_missing_is_said():
    lines = make_lines(3, commodity=["dc_motor", "gadget", "copper"], price_currency=["EUR", "SEK", "EUR"])
    told = codes(make_curves(lines, library=bare_library()))
    assert "none for 2: dc_motor, gadget" in told["E001"]  # a raw material needs no volume index
    assert "gadget" in told["E002"]
    assert "magnets" in told["E005"]
    assert "EUR, SEK" in told["E006"]
    assert "no inflation is used" in told["E006"]
    told = codes(make_curves(lines, input_prices=flat_inflation(), library=bare_library()))
    assert "in SEK;" in told["E006"]
    assert (
        "that of EUR and the change of the exchange rate, which widens the interval: wandering by 7.5 % a year"
        in told["E006"]
    )


def test_an_index_that_ends_early_and_a_market_before_its_peak_are_said():
    lines = make_lines(commodity="sensor")
    told = codes(make_curves(lines, volumes=make_volumes("sensor", 2010, GROWN)))
    assert "sensor" in told["E003"]
    assert "sensor" in told["E004"]
    assert "V004" in told


def test_a_complete_audit_says_nothing():
    """A raw material with its own index and inflation known: nothing is assumed."""
    prices = pd.concat([flat_inflation(), make_prices("copper", 2010, [1.0] * 17)], ignore_index=True)
    prices = prices[prices["period"] < pd.Timestamp("2026-01-01")]
    curves = make_curves(make_lines(commodity="copper"), input_prices=prices, library=bare_library())
    assert curves.findings == ()


def test_lines_that_are_not_auditable_raise_no_finding():
    lines = make_lines(2, commodity=["copper", "gadget"], auditable=[True, False])
    assert "E002" not in codes(make_curves(lines))


@pytest.fixture(scope="module")
def assumptions():
    lines = make_lines(2, commodity=["dc_motor", "solar_module"])
    return make_curves(lines).assumptions


def test_every_figure_that_the_library_gave_is_listed_with_its_source(assumptions):
    assert list(assumptions.columns) == ["name", "value", "stated", "source"]
    names = set(assumptions["name"])
    for commodity in ("dc_motor", "solar_module"):
        assert {f"{commodity}: {w}" for w in ("learning rate", "materials share", "price-break slope")} <= names
    assert "solar_module: maturity" in names
    assert (assumptions["source"].str.len() > 0).all()


def test_order_of_tables_does_not_matter():
    lines = make_lines(3, commodity="gadget")
    rows = [(f"P{p}", f"{y}-12-31", (p + 1) * 0.9 ** (y - 2011)) for p in range(3) for y in range(2011, 2024)]
    volumes = make_volumes("gadget", 2010, GROWN)
    straight = make_curves(lines, quotes=make_quotes(*rows), volumes=volumes)
    mixed = make_curves(
        lines, quotes=make_quotes(*rows[::-1]), volumes=volumes.sample(frac=1, random_state=2, ignore_index=True)
    )
    a, b = (estimate(lines, c, as_of=AS_OF, confidence=0.8).frame["estimate"] for c in (straight, mixed))
    np.testing.assert_allclose(a, b, rtol=1e-9)
