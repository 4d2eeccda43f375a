"""Whole-price and conversion exponents are different things."""

import numpy as np
import pytest

from bomaudit.curves.structure import (
    ConversionLearning,
    InputRatios,
    WholePriceLearning,
    as_conversion,
    as_whole_price,
    conversion_ratio,
    whole_price_ratio,
)

ONE = np.ones(1)
SHARE = np.array([0.4])


def inputs(general=1.0, materials=1.0, conversion=1.0):
    return InputRatios(np.array([general]), np.array([materials]), np.array([conversion]))


def learned(ratio, basis="real", kind=WholePriceLearning):
    return kind(np.log(np.array([ratio])), basis)


def test_a_whole_price_exponent_is_refused_by_the_conversion_formula():
    with pytest.raises(TypeError, match="conversion"):
        conversion_ratio(learned(0.8), inputs(), materials_share=SHARE)


def test_a_conversion_exponent_is_refused_by_the_whole_price_formula():
    with pytest.raises(TypeError, match="whole prices"):
        whole_price_ratio(learned(0.8, kind=ConversionLearning), inputs(), materials_share=SHARE, floor=0.9)


def test_whole_price_follows_learning_inflation_and_materials():
    ratio = whole_price_ratio(learned(0.8), inputs(1.2, 1.5), materials_share=SHARE, floor=0.9)
    assert ratio[0] == pytest.approx(1.2 * 0.8 + 0.4 * (1.5 - 1.2))


def test_conversion_learns_and_materials_do_not():
    ratio = conversion_ratio(learned(0.8, kind=ConversionLearning), inputs(1.2, 1.5, 1.3), materials_share=SHARE)
    assert ratio[0] == pytest.approx(0.4 * 1.5 + 0.6 * 1.3 * 0.8)


def test_material_floor_stops_learning():
    ratio = whole_price_ratio(learned(0.05), inputs(1.2, 1.2), materials_share=SHARE, floor=0.9)
    assert ratio[0] == pytest.approx(0.9 * 0.4 * 1.2)


def test_nominal_learning_holds_inflation_already():
    whole = whole_price_ratio(learned(0.8, "nominal"), inputs(1.2, 1.2), materials_share=SHARE, floor=0.9)
    assert whole[0] == pytest.approx(0.8)
    conversion = learned(0.8, "nominal", ConversionLearning)
    assert conversion_ratio(conversion, inputs(1.2, 1.5, 1.3), materials_share=SHARE)[0] == pytest.approx(0.6 + 0.48)


def test_a_conversion_exponent_on_the_conversion_alone_falls_less_than_on_the_whole():
    whole = whole_price_ratio(learned(0.7), inputs(), materials_share=SHARE, floor=0.9)
    part = conversion_ratio(learned(0.7, kind=ConversionLearning), inputs(), materials_share=SHARE)
    assert part[0] > whole[0]


def test_carrying_over_and_back_changes_nothing():
    start = learned(0.83)
    back = as_whole_price(as_conversion(start, materials_share=SHARE), materials_share=SHARE)
    np.testing.assert_allclose(back.log_ratio, start.log_ratio)
    assert back.price_basis == start.price_basis
