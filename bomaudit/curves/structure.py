r"""Materials and conversion: how a price follows its inputs and the experience of its market.

An exponent measured on whole prices and one measured on the conversion share are different things. Each has its own
type here and its own formula; giving one to the other's formula raises.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from bomaudit.curves.pooling import Floats

PriceBasis = Literal["real", "nominal"]


@dataclass(frozen=True)
class WholePriceLearning:
    """Change of ln price from experience, measured on whole prices.

    Attributes
    ----------
    log_ratio : array, shape (lines,)
        [ln]
    price_basis : {"real", "nominal"}
        Money it was measured in. Nominal already holds general inflation, so none is added.
    """

    log_ratio: Floats
    price_basis: PriceBasis


@dataclass(frozen=True)
class ConversionLearning:
    """Change of ln conversion cost from experience, measured on labour or process cost without materials.

    Attributes
    ----------
    log_ratio : array, shape (lines,)
        [ln]
    price_basis : {"real", "nominal"}
        As in :class:`WholePriceLearning`.
    """

    log_ratio: Floats
    price_basis: PriceBasis


@dataclass(frozen=True)
class InputRatios:
    """Ratios of input prices between two dates, in the price currency.

    Attributes
    ----------
    general, materials, conversion : array, shape (lines,)
        General inflation, the basket of materials, and labour with energy. [-]
    """

    general: Floats
    materials: Floats
    conversion: Floats


def whole_price_ratio(
    learning: WholePriceLearning, inputs: InputRatios, *, materials_share: Floats, floor: float
) -> Floats:
    r"""Price ratio for an exponent that was measured on whole prices.

    Parameters
    ----------
    learning : WholePriceLearning, shape (lines,)
    inputs : InputRatios, shape (lines,)
    materials_share : array, shape (lines,)
        Share of materials in the price at the basis date. [-]
    floor : float
        The price never falls below this share of its materials. [-]

    Returns
    -------
    array, shape (lines,)
        Price then to price now. [-]

    Raises
    ------
    TypeError
        If the learning was measured on the conversion share: the fall would be understated.

    Notes
    -----
    :math:`\max\{E_g L + s_m (E_m - E_g),\; f s_m E_m\}`; with nominal learning :math:`L` in the place of :math:`E_g L`.
    """
    if not isinstance(learning, WholePriceLearning):
        raise TypeError("whole_price_ratio takes learning measured on whole prices")
    carried = inputs.general if learning.price_basis == "real" else 1.0
    moved = carried * np.exp(learning.log_ratio) + materials_share * (inputs.materials - inputs.general)
    return np.asarray(np.maximum(moved, floor * materials_share * inputs.materials))


def conversion_ratio(learning: ConversionLearning, inputs: InputRatios, *, materials_share: Floats) -> Floats:
    r"""Price ratio for an exponent that was measured on the conversion share.

    Parameters
    ----------
    learning : ConversionLearning, shape (lines,)
    inputs : InputRatios, shape (lines,)
    materials_share : array, shape (lines,)
        Share of materials in the price at the basis date. [-]

    Returns
    -------
    array, shape (lines,)
        Price then to price now. [-]

    Raises
    ------
    TypeError
        If the learning was measured on whole prices.

    Notes
    -----
    :math:`s_m E_m + (1 - s_m) E_v L`; with nominal learning :math:`L` in the place of :math:`E_v L`. Materials never
    learn here, so the price cannot fall below them.
    """
    if not isinstance(learning, ConversionLearning):
        raise TypeError("conversion_ratio takes learning measured on the conversion share")
    carried = inputs.conversion if learning.price_basis == "real" else 1.0
    return np.asarray(materials_share * inputs.materials + (1 - materials_share) * carried * np.exp(learning.log_ratio))


def as_conversion(learning: WholePriceLearning, *, materials_share: Floats) -> ConversionLearning:
    r"""Learning of the conversion share that moves the whole price by as much, at unchanged input prices.

    Notes
    -----
    :math:`\ln\{(L - s_m)/(1 - s_m)\}` is not defined for a fall below the materials, so the first-order form
    :math:`\ln L / (1 - s_m)` is used, the inverse of :func:`as_whole_price`.
    """
    return ConversionLearning(learning.log_ratio / (1 - materials_share), learning.price_basis)


def as_whole_price(learning: ConversionLearning, *, materials_share: Floats) -> WholePriceLearning:
    r"""Learning of the whole price that a learning of its conversion share amounts to, to first order.

    Notes
    -----
    :math:`d \ln P / d \ln L = (1 - s_m)` at unchanged input prices.
    """
    return WholePriceLearning(learning.log_ratio * (1 - materials_share), learning.price_basis)
