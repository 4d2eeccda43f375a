"""Invented prices that agree with invented markets: the process behind the quotes of a sample audit.

For a part booked at price B on its quote date t, the price on day d is ::

    B · [ I(d)/I(t) · (X(d)/X(t))^-a  +  s · (M(d)/M(t) - I(d)/I(t)) ] · exp(W(d) - W(t)) · exp(e)

with I general inflation, X the cumulative volume of the part's market, a = -log2(1 - learning rate) of the market (half
of it for custom parts), s the share of materials, M the price of the market's basket of materials, W a random walk with
the market's noise, and e the noise of the kind of quote. Quantity n instead of the booked one multiplies by
(n / booked)^-0.06. All noise is drawn from seeds made of the part numbers, so that it is the same on every machine.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import accumulate

import numpy as np

AS_OF = date(2026, 6, 30)
FIRST_QUOTES = date(2013, 1, 1)
PLAN_HELD_UNTIL = date(2018, 12, 31)  # the planned quantity of 2015; today's after it
FIRST_YEAR, LAST_PUBLISHED = 2008, 2025  # of market volumes
INPUT_YEARS = range(2010, 2026)
PRICE_BREAK_SLOPE = 0.06
CUSTOM_LEARNING = 0.5  # share of its market's learning that a custom part gets
VOLUME_NOISE = 0.03
QUOTE_NOISE = {"firm": 0.015, "purchase": 0.01, "budgetary": 0.05, "catalogue": 0.06}
TOOLS = {  # EUR, one-time
    "moulded_part": 22000, "casting_aluminium": 30000, "rotational_moulding": 9000, "sheet_metal_part": 2500,
}  # fmt: skip
FRIDAY = 4


def noise(*what: object) -> random.Random:
    """Random numbers of its own for each named purpose, the same on every machine."""
    return random.Random(":".join(str(w) for w in what))  # noqa: S311  (invented prices, not secrets)


def decimal_year(day: date) -> float:
    """Moment as a decimal year."""
    return day.year + (day - date(day.year, 1, 1)).days / 365.25


def workday(day: date) -> date:
    """Day itself, or the Monday after a weekend."""
    return day + timedelta(days=(7 - day.weekday()) if day.weekday() > FRIDAY else 0)


def neat(price: float) -> float:
    """Price as a supplier writes it: four significant digits."""
    return float(f"{price:.4g}")


@dataclass(frozen=True)
class Market:
    """One commodity: how its price learns, what it is made of, how many were made by the end of each year."""

    name: str
    exponent: float
    materials_share: float
    basket: dict[str, float]
    noise: float
    unit: str
    volumes: dict[int, float]
    cumulative: dict[int, float]
    makers: tuple[float, float]
    rises: bool

    def log_cumulative(self, when: float) -> float:
        """Log of cumulative volume at a decimal year, log-linear between year ends."""
        return float(np.interp(when, [y + 1.0 for y in self.cumulative], np.log(list(self.cumulative.values()))))

    def makers_in(self, year: int) -> int:
        """Makers in a year, on a geometric path."""
        first, last = self.makers
        return round(first * (last / first) ** ((year - FIRST_YEAR) / (LAST_PUBLISHED - FIRST_YEAR)))


def market(cells: list[str], seed: int) -> Market:
    """One market from its row, volumes with their noise."""
    name, learning, share, basket, sd, unit, before, form, makers = cells
    draw = noise(seed, "volume", name)
    volumes = {
        year: float(f"{_volume(form, year) * math.exp(draw.gauss(0, VOLUME_NOISE)):.3g}")
        for year in range(FIRST_YEAR, AS_OF.year + 1)
    }
    totals = list(accumulate(volumes.values(), initial=float(before)))[1:]
    first, last = (float(n) for n in makers.split(">"))
    return Market(
        name=name,
        exponent=-math.log2(1 - float(learning)),
        materials_share=float(share),
        basket={series: float(w) for series, w in (pair.split(":") for pair in basket.split(";"))},
        noise=float(sd),
        unit=unit,
        volumes=volumes,
        cumulative={year: float(f"{total:.5g}") for year, total in zip(volumes, totals, strict=True)},
        makers=(first, last),
        rises=form.startswith("rise"),
    )


def _volume(form: str, year: int) -> float:
    shape, *texts = form.split()
    numbers = [float(t) for t in texts]
    if shape == "rise":
        ceiling, middle, steepness = numbers
        return ceiling / (1 + math.exp(-steepness * (year - middle)))
    start, rate = numbers
    return start * (1 + rate) ** (year - FIRST_YEAR)


@dataclass(frozen=True)
class Part:
    """A part with the price and day on which its price history hangs."""

    no: str
    price: float
    currency: str
    on: date
    history: str
    market: str
    supplier: str
    machines: tuple[float, float]  # pieces a year for the plan of 2015 and now
    custom: bool = False


@dataclass(frozen=True)
class World:
    """Markets and input prices, and the prices that follow from them."""

    seed: int
    markets: dict[str, Market]
    inputs: dict[str, list[float]]

    def input_ratio(self, series: str, then: float, now: float) -> float:
        """Ratio of an input price; a yearly mean counts at mid-year, linear between, flat outside."""
        middle = [y + 0.5 for y in INPUT_YEARS]
        before, after = np.interp([then, now], middle, self.inputs[series])
        return float(after / before)

    def expected(self, part: Part, day: date) -> float:
        """Price without noise: the formula at the head of this file."""
        bought_from, then, now = self.markets[part.market], decimal_year(part.on), decimal_year(day)
        inflation = self.input_ratio("general_inflation", then, now)
        materials = sum(w * self.input_ratio(series, then, now) for series, w in bought_from.basket.items())
        exponent = bought_from.exponent * (CUSTOM_LEARNING if part.custom else 1.0)
        learned = math.exp(-exponent * (bought_from.log_cumulative(now) - bought_from.log_cumulative(then)))
        return part.price * (inflation * learned + bought_from.materials_share * (materials - inflation))

    def price(self, part: Part, walk: float, day: date, kind: str) -> float:
        """Price on one occasion; exactly the booked one on its own day."""
        if day == part.on:
            return part.price
        surprise = noise(self.seed, "quote", part.no, day).gauss(0, QUOTE_NOISE[kind])
        return self.expected(part, day) * math.exp(walk + surprise)

    def walk(self, part: Part, days: list[date]) -> dict[date, float]:
        """Random walk of a part's price around its market, 0 on the part's own day."""
        draw, level = noise(self.seed, "walk", part.no), {part.on: 0.0}
        later, earlier = sorted(d for d in days if d > part.on), sorted((d for d in days if d < part.on), reverse=True)
        for way in (later, earlier):
            before = part.on
            for day in way:
                years = abs((day - before).days) / 365.25
                level[day] = level[before] + draw.gauss(0, 1) * self.markets[part.market].noise * math.sqrt(years)
                before = day
        return level


def occasions(part: Part, seed: int) -> dict[date, str]:
    """Days on which a part was quoted or bought, and how firm the price was."""
    draw = noise(seed, "occasions", part.no)

    def after(years: float) -> date:
        return workday(part.on + timedelta(days=round(365.25 * years + draw.uniform(-60, 60))))

    def window(year: int) -> date:
        return workday(date(year, 2, 8) + timedelta(days=draw.randrange(300)))

    bought_later = ((2, "purchase"), (4, "purchase"), (6.5, "firm"), (8.5, "budgetary"))
    plans: dict[str, list[tuple[date, str]]] = {
        "o": [(after(-0.7), "budgetary")],
        "q": [(after(-0.7), "budgetary"), (date(2024, 10, 15), "budgetary")],
        "w": [(workday(date(year, 5, 12)), "firm") for year in (2019, 2021, 2023, 2025, 2026)],
        "r": [(window(2016), "firm"), (window(2019), "purchase"), (window(2022), "firm")],
        "b": [(after(-draw.uniform(1.2, 2.0)), draw.choice(["budgetary", "firm"]))],
        "h": [(after(-1.5), "firm"), *((after(draw.uniform(y, y + 1)), kind) for y, kind in bought_later)],
        "s": [(after(1.5 + 1.7 * k), draw.choice(["firm", "purchase", "purchase", "catalogue"])) for k in range(8)],
    }
    if part.history == "r":
        plans["r"].append((workday(date(2026, 2, 3) + timedelta(days=draw.randrange(60))), "purchase"))
    found = {day: kind for day, kind in plans[part.history] if FIRST_QUOTES <= day < AS_OF and day != part.on}
    return dict(sorted((found | {part.on: "budgetary" if part.history in "oq" else "firm"}).items()))


def quotes(world: World, parts: list[Part]) -> list[list[object]]:
    """Quote rows with their price breaks."""
    result: list[list[object]] = []
    for part in parts:
        planned = occasions(part, world.seed)
        walk, draw = world.walk(part, list(planned)), noise(world.seed, "breaks", part.no)
        for day, kind in planned.items():
            pieces = part.machines[0] if day <= PLAN_HELD_UNTIL else part.machines[1]
            level = world.price(part, walk[day], day, kind)
            if day != part.on:
                level *= (pieces / part.machines[0 if part.on <= PLAN_HELD_UNTIL else 1]) ** -PRICE_BREAK_SLOPE
            steps = draw.choice([(0.1, 0.3, 1.0), (0.2, 1.0), (1.0,)]) if kind in ("firm", "catalogue") else (1.0,)
            valid = "" if kind == "purchase" else day + timedelta(days=draw.choice([60, 90, 180]))
            tools = (
                round(TOOLS.get(part.market, 0) * draw.uniform(0.6, 1.8), -2) if part.custom and day == part.on else ""
            )
            for step in steps:
                lot = max(1, round(pieces * step / 4))
                paid = neat(level * step**-PRICE_BREAK_SLOPE)
                once = tools if step == 1.0 and tools else ""
                who = [part.supplier, kind, valid, once, part.market]
                result.append([part.no, day, paid, part.currency, lot, round(pieces), *who])
    return sorted(result, key=lambda r: (str(r[0]), str(r[1]), r[4]))
