"""Carry a price from one date to another: inputs, experience, mark-up, each with what it is unsure about."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bomaudit.curves.fitted import Curves
from bomaudit.curves.inputs import ENERGY, GENERAL, LABOUR, Escalation, escalate
from bomaudit.curves.markup import cournot_markup, stage_markup
from bomaudit.curves.pooling import SHARED_WANDER, Floats
from bomaudit.curves.spans import Spans
from bomaudit.curves.structure import (
    InputRatios,
    PriceBasis,
    WholePriceLearning,
    as_conversion,
    conversion_ratio,
    whole_price_ratio,
)
from bomaudit.curves.timelines import Codes, years_of

_MARKUP_SD = 0.5  # share of the mark-up's own change that is unsure; engineering judgement, no published source


@dataclass(frozen=True)
class Wander:
    """How prices wander about what is expected of them.

    Attributes
    ----------
    level : array, shape (spans,)
        Variance per year that stays. [ln²/year]
    passing : array, shape (spans,)
        Variance of the deviation of any one day that is forgotten again. [ln²]
    memory : array, shape (spans,)
        How long it keeps. [year]
    shared : array, shape (spans,)
        Share that all parts of the commodity have in common. [-]
    """

    level: Floats
    passing: Floats
    memory: Floats
    shared: Floats


@dataclass(frozen=True)
class Carried:
    """Change of ln price over spans, in the price currency.

    Attributes
    ----------
    inputs, experience, maturity : array, shape (spans,)
        Steps of ln price, in this order. [ln]
    exponent, volume : array, shape (spans,)
        Loading on the commodity's exponent (or trend) and on its volume index: change of ln price per standard
        deviation of the factor. [ln]
    materials : array, shape (spans, slots)
        Loadings on the series of the basket. [ln]
    bought : array, shape (spans, slots)
        Share of the price at the end of the span that follows each material of the basket. [-]
    general, labour, energy : array, shape (spans,)
        Loadings on general inflation, labour and energy of the price currency. [ln]
    markup : array, shape (spans,)
        Loading on the line's own doubt about the mark-up. [ln]
    process : array, shape (spans,)
        Variance of the price's own wandering. [ln²]
    wander : Wander
        What that variance consists of.
    dof : array, shape (spans,)
        Degrees of freedom of exponent and wandering.
    share : array, shape (spans,)
        Share of the ultimate market at the end of the span; NaN where unknown. [-]
    years : array, shape (spans,)
        Length, negative where the span runs backward. [year]
    """

    inputs: Floats
    experience: Floats
    maturity: Floats
    exponent: Floats
    volume: Floats
    materials: Floats
    bought: Floats
    general: Floats
    labour: Floats
    energy: Floats
    markup: Floats
    process: Floats
    wander: Wander
    dof: Floats
    share: Floats
    years: Floats

    @property
    def loadings(self) -> Floats:
        """Loadings in the columns of :func:`factor_codes`; wandering, own volume and currency are 0."""
        none = np.zeros(len(self.years))
        return np.column_stack(
            [self.exponent, self.volume, none, none, self.materials, self.general, self.labour, self.energy, none]
        )

    @property
    def total(self) -> Floats:
        """Change of ln price, all steps."""
        return self.inputs + self.experience + self.maturity


@dataclass(frozen=True)
class _Experience:
    """Change of ln cumulative volume and its unsureness, share of the ultimate market at both ends."""

    change: Floats
    sd: Floats
    share_then: Floats
    share_now: Floats


def carry(curves: Curves, spans: Spans) -> Carried:
    """Carry prices over spans.

    Parameters
    ----------
    curves : Curves
    spans : Spans
        May run backward, for dates before a basis.

    Returns
    -------
    Carried
    """
    years = spans.years
    escalation = escalate(curves.inputs, spans, curves.fx)
    grown = _grown(curves, spans)
    sign = np.where(years < 0, -1.0, 1.0)
    count = np.where(spans.custom, curves.model.spillover, 1.0)
    names = np.array(curves.catalogue.names, dtype=object)[spans.commodity]
    projected = curves.experience.project(
        names, sign * grown.change, np.abs(years), start=np.minimum(spans.then, spans.now)
    )
    learning = sign * count * projected.log_ratio
    ratios = _Ratios(curves, spans, escalation)
    inputs, both = ratios.log_price(np.zeros(len(years))), ratios.log_price(learning)
    unsure = count * np.sqrt(projected.var_exponent)
    maturity = _markup(curves, spans, grown)
    moved = ratios.sensitivity(learning, both)
    return Carried(
        inputs=inputs, experience=both - inputs, maturity=maturity,
        exponent=-sign * moved.experience * unsure,
        volume=moved.experience * count * projected.elasticity * np.nan_to_num(grown.sd),
        materials=moved.materials * escalation.material_sd, bought=moved.materials,
        general=moved.general * escalation.general_sd, labour=moved.labour * escalation.labour_sd,
        energy=moved.energy * escalation.energy_sd,
        markup=_MARKUP_SD * maturity, process=projected.var_process,
        wander=_wander(curves, spans, np.isfinite(grown.change)),
        dof=projected.dof, share=grown.share_now, years=years,
    )  # fmt: skip


def _grown(curves: Curves, spans: Spans) -> _Experience:
    codes = curves.volume_codes[spans.commodity]
    then, stock_then, ahead_then, share_then = curves.volumes.at(codes, years_of(spans.then))
    now, stock_now, ahead_now, share_now = curves.volumes.at(codes, years_of(spans.now))
    # squares with their signs: errors of a backcast and of a forecast add up, two on one side share the smaller
    signed = np.abs(ahead_now) * ahead_now - np.abs(ahead_then) * ahead_then
    sd = np.sqrt((stock_now - stock_then) ** 2 + np.abs(signed))
    return _Experience(now - then, sd, share_then, share_now)


def _wander(curves: Curves, spans: Spans, indexed: npt.NDArray[np.bool_]) -> Wander:
    fit, code = curves.experience, spans.commodity

    def pick(with_index: Floats, without: Floats) -> Floats:
        return np.where(indexed, with_index[code], without[code])

    market, own = (pick(getattr(fit.with_volume, c), getattr(fit.without_volume, c)) for c in ("noise", "own"))
    told = (fit.pools.with_volume, fit.pools.without_volume)
    stays, memory, tail = (
        np.where(indexed, *(getattr(p, c) for p in told)) for c in ("level_share", "noise_memory", "tail_dof")
    )
    dof = np.minimum(pick(fit.with_volume.dof, fit.without_volume.dof), tail)
    total = (market + own) * (dof - 2) / dof  # from variance to squared scale, as in the projection
    shared = np.where(own > 0, market / np.maximum(market + own, np.finfo(float).tiny), SHARED_WANDER)
    return Wander(stays * total, (1 - stays) * total, memory, shared)


@dataclass(frozen=True)
class _Moved:
    experience: Floats
    materials: Floats
    general: Floats
    labour: Floats
    energy: Floats


class _Ratios:
    """Price ratio of spans as a function of learning, inputs held."""

    def __init__(self, curves: Curves, spans: Spans, escalation: Escalation) -> None:
        code = spans.commodity
        self.floor = curves.model.material_floor
        self.share = curves.column("materials_share")[code]
        self.labour, self.energy = (curves.column(c)[code] for c in ("labour_share", "energy_share"))
        self.weights = curves.inputs.weights[code]
        self.e = escalation
        rest = 1 - self.labour - self.energy
        bare = 1 - self.weights.sum(axis=1)
        self.inputs = InputRatios(
            general=escalation.general,
            materials=(self.weights * escalation.material).sum(axis=1) + bare * escalation.general,
            conversion=self.labour * escalation.labour + self.energy * escalation.energy + rest * escalation.general,
        )
        self.whole, self.real = curves.whole_price[code], curves.is_("price_basis", "real")[code]
        whole, real = self.whole, self.real
        self.groups: list[tuple[npt.NDArray[np.bool_], bool, PriceBasis]] = [
            (whole & real, True, "real"), (whole & ~real, True, "nominal"),
            (~whole & real, False, "real"), (~whole & ~real, False, "nominal"),
        ]  # fmt: skip

    def log_price(self, learning: Floats) -> Floats:
        """Change of ln price where ln whole price learned by so much."""
        result = np.zeros(len(learning))
        for rows, whole, basis in self.groups:
            if not rows.any():
                continue
            inputs = InputRatios(self.inputs.general[rows], self.inputs.materials[rows], self.inputs.conversion[rows])
            learned, share = WholePriceLearning(learning[rows], basis), self.share[rows]
            if whole:
                ratio = whole_price_ratio(learned, inputs, materials_share=share, floor=self.floor)
            else:
                ratio = conversion_ratio(as_conversion(learned, materials_share=share), inputs, materials_share=share)
            result[rows] = np.log(ratio)
        return result

    def sensitivity(self, learning: Floats, log_price: Floats) -> _Moved:
        """Change of ln price per unit of learning and of each ln input ratio, at the given learning.

        The material floor is left out of the first: where it holds, the price is no surer for it.
        """
        price, g = np.exp(log_price), self.inputs.general
        whole, real = self.whole, self.real
        bare = 1 - self.weights.sum(axis=1)
        carried = np.exp(learning / np.where(whole, 1.0, np.maximum(1 - self.share, _LEAST_CONVERSION)))
        bought = self.share * (self.inputs.materials - g)
        learned = carried * np.where(real, np.where(whole, g, self.inputs.conversion), 1.0)
        above = np.maximum(learned + bought, np.finfo(float).tiny)
        experience = np.where(whole, np.minimum(learned / above, 1.0), learned / price)
        conversion = (1 - self.share) * carried / price
        of_general = np.where(
            whole, (carried * real - self.share * (1 - bare)) * g / price,
            (conversion * (1 - self.labour - self.energy) * real + self.share * bare / price) * g,
        )  # fmt: skip
        material = self.share[:, None] * self.weights * self.e.material / price[:, None]
        other = np.where(whole | ~real, 0.0, conversion)
        return _Moved(
            experience, material, of_general, other * self.labour * self.e.labour, other * self.energy * self.e.energy
        )


_LEAST_CONVERSION = 1e-9  # a raw material is all materials; its learning is pinned at 0 anyway


def _markup(curves: Curves, spans: Spans, grown: _Experience) -> Floats:
    """Change of ln mark-up, for curves measured on costs only; 0 where nothing is known of the market."""
    code = spans.commodity
    takes = curves.takes_markup[code]
    if not takes.any():
        return np.zeros(len(code))
    early, mature, elastic = (curves.column(c)[code] for c in ("markup_early", "markup_mature", "elasticity"))
    by_stage = np.log(stage_markup(grown.share_now, early, mature) / stage_markup(grown.share_then, early, mature))
    makers = curves.volumes.concentration
    codes = makers.codes(np.array(curves.catalogue.names, dtype=object))[code]
    then, now = (makers.at(codes, years_of(d)) for d in (spans.then, spans.now))
    by_makers = np.log(cournot_markup(now, elastic) / cournot_markup(then, elastic))
    return np.where(takes, np.nan_to_num(np.where(np.isfinite(by_makers), by_makers, by_stage)), 0.0)


def factor_names(curves: Curves, currencies: tuple[str, ...]) -> tuple[str, ...]:
    """Names of the shared factors, in the order that :func:`factor_codes` counts in."""
    commodities = curves.catalogue.names
    return (
        *(f"{kind}:{c}" for kind in COMMODITY_FACTORS for c in commodities),
        *(f"input:{s}" for s in curves.inputs.wanted),
        *(f"input:{kind}:{c}" for kind in (GENERAL, LABOUR, ENERGY) for c in currencies),
        *(f"fx:{c}" for c in currencies),
    )


COMMODITY_FACTORS = ("exponent", "volume", "process", "own_volume")


def factor_codes(curves: Curves, spans: Spans) -> Codes:
    """Factor of each loading column: exponent, volume, process, own volume, the basket, general, labour, energy, fx.

    Returns
    -------
    array of int, shape (spans, 8 + slots)
        -1 for an empty slot of a basket.
    """
    size, money = len(curves.catalogue.names), len(spans.currencies)
    first = len(COMMODITY_FACTORS) * size
    slots = curves.inputs.slots[spans.commodity]
    by_currency = first + len(curves.inputs.wanted)
    return np.column_stack(
        [
            *(spans.commodity + k * size for k in range(len(COMMODITY_FACTORS))),
            np.where(slots >= 0, first + slots, -1),
            *(by_currency + k * money + spans.currency for k in range(4)),
        ]
    )
