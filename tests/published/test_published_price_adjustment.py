"""Price adjustment and index ratios against published formulas and statistics."""

import numpy as np
import pandas as pd
import pytest
from made_market import EURO, bare_library, make_curves, make_lines, make_prices, make_quotes, make_volumes

from bomaudit.curves.inputs import escalate, read_input_prices
from bomaudit.curves.library import load_library
from bomaudit.curves.spans import Spans
from bomaudit.curves.structure import ConversionLearning, InputRatios, conversion_ratio
from bomaudit.estimate import estimate
from bomaudit.prepare.currency import reference_rates

COPPER = (5510.456667, 8822.365833)
"""World Bank commodity prices (Pink Sheet, May 2025): copper 2015 and 2022, USD/t."""


def middle_of(year):
    return np.datetime64(f"{year}-07-02")


def test_price_revision_clause():
    r"""P1 = P0 (a + b M1/M0 + c S1/S0) with a = 0.15, b = 0.50 copper, c = 0.35 labour 100 to 123.4: 1.3824113.

    Form of the clause: UNECE General Conditions 188 and 574, 1957 (from memory); the value is exact arithmetic.
    Materials are half the price; labour is 0.35/0.50 of the conversion, the rest of it is fixed.
    """
    labour_share = 0.35 / 0.50
    inputs = InputRatios(
        general=np.ones(1), materials=np.array([COPPER[1] / COPPER[0]]),
        conversion=np.array([labour_share * 1.234 + (1 - labour_share)]),
    )  # fmt: skip
    ratio = conversion_ratio(ConversionLearning(np.zeros(1), "real"), inputs, materials_share=np.array([0.5]))
    assert ratio[0] == pytest.approx(1.3824113, abs=5e-8)


def test_price_revision_clause_through_the_whole_chain():
    """The same clause as an audit sees it: series in, price out."""
    library = bare_library()
    row = library.commodities[library.commodities["commodity"] == "wire_harness"].assign(
        commodity="clause_part", materials_share=0.5, basket="metal:1", labour_share=0.35 / 0.50, energy_share=0.0,
        trend=0.0, trend_sd=1e-9,
    )  # fmt: skip
    library = type(library)(
        library.curves, pd.concat([library.commodities, row], ignore_index=True), library.volumes, library.input_prices
    )
    years = 2022 - 2015
    prices = pd.concat(
        [
            make_prices("metal", 2015, np.geomspace(*COPPER, years + 1)),
            make_prices("labour", 2015, np.geomspace(100, 123.4, years + 1)),
            make_prices("general_inflation", 2015, [100.0] * (years + 1)),
        ],
        ignore_index=True,
    )
    lines = make_lines(commodity="clause_part", basis_date=str(middle_of(2015)), price_at_basis=100.0)
    curves = make_curves(lines, library=library, input_prices=prices)
    day = pd.Timestamp(middle_of(2022)).date()
    assert estimate(lines, curves, as_of=day, confidence=0.8).frame["estimate"].iloc[0] == pytest.approx(
        138.24, abs=0.01
    )


def test_an_index_moves_a_price_by_per_cent_and_not_by_points():
    """129.9 to 136.0 is 6.1 points and 4.7 per cent.

    US Bureau of Labor Statistics, escalation guide (from memory); the arithmetic is exact: 4.696 %.
    """
    prices, _ = read_input_prices(
        make_prices("general_inflation", 2015, [129.9, 136.0]), make_prices("x", 2015, []),
        baskets=pd.Series([""]), currency="EUR", as_of=pd.Timestamp("2020-01-01").date(),
    )  # fmt: skip
    found = np.expm1(prices.log_inflation(["EUR"], [middle_of(2015)], [middle_of(2016)]))[0]
    assert 100 * found == pytest.approx(4.696, abs=0.02)


STALE = [
    # US consumer prices, all items (BLS CPI-U annual averages) and World Bank metals: 2015 to 2024, 2019 to 2024
    ("general_inflation", 1.3235, 1.2270), ("aluminium", 1.4531, 1.3480), ("copper", 1.6591, 1.5211),
    ("nickel", 1.4174, 1.2084), ("tin", 1.8713, 1.6112), ("zinc", 1.4370, 1.0884), ("lead", 1.1575, 1.0365),
    ("silver", 1.7982, 1.7431), ("platinum", 0.9069, 1.1055), ("oil", 1.5409, 1.2603),
]  # fmt: skip


@pytest.mark.parametrize(("series", "since_2015", "since_2019"), STALE)
def test_bundled_series_reproduce_published_stale_factors(series, since_2015, since_2019):
    library = load_library()
    prices, _ = read_input_prices(
        library.input_prices.iloc[:0], library.input_prices, baskets=pd.Series([f"{series}:1"]), currency="USD",
        as_of=pd.Timestamp("2026-01-01").date(),
    )  # fmt: skip
    for year, factor in ((2015, since_2015), (2019, since_2019)):
        spans = Spans(
            np.array([0]), np.array([0]), ("USD",), np.array([False]),
            np.array([middle_of(year)], dtype="M8[D]"), np.asarray(middle_of(2024)),
        )  # fmt: skip
        found = escalate(prices, spans, EURO)
        ratio = found.general[0] if series == "general_inflation" else found.material[0, 0]
        assert ratio == pytest.approx(factor, rel=5e-3)


RAW = [row for row in STALE if row[0] in load_library().commodities["commodity"].tolist()]


@pytest.mark.parametrize(("metal", "since_2015", "since_2019"), RAW)
def test_raw_commodities_follow_their_index_and_learn_nothing(metal, since_2015, since_2019):
    """Bought by the same metal: World Bank commodity prices (Pink Sheet, May 2025), 2015 to 2024 and 2019 to 2024.

    Volumes that doubled in between change nothing, nor does the trend of eleven own quotes that fell by a tenth a year.
    """
    dates = [str(middle_of(y)) for y in (2015, 2019)]
    lines = make_lines(2, part_no=["A", "B"], commodity=metal, price_currency="USD", basis_date=dates)
    quotes = make_quotes(*[("C", f"{2008 + k}-07-02", 9.0 * 0.9**k) for k in range(11)], currency="USD")
    curves = make_curves(
        lines, quotes=quotes.assign(commodity=metal), volumes=make_volumes(metal, 2005, np.geomspace(1, 9, 20)),
        fx=reference_rates("USD"),
    )  # fmt: skip
    found = estimate(lines, curves, as_of=pd.Timestamp(middle_of(2024)).date(), confidence=0.8).frame
    assert (found["walk_experience"] == 0).all()
    assert (found["walk_maturity"] == 0).all()
    ratio = found["estimate"].to_numpy() / 10.0
    assert ratio == pytest.approx([since_2015, since_2019], rel=5e-3)
