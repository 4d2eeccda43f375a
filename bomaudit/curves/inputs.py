"""Input prices: materials, labour, energy and general inflation, in the currency that the supplier prices in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.library_rules import parse_basket
from bomaudit.curves.pooling import Floats
from bomaudit.curves.spans import Rates, Spans
from bomaudit.curves.timelines import Codes, Timelines, codes_of, years_of
from bomaudit.findings import Finding, note, warning
from bomaudit.frames import most_stated

GENERAL, LABOUR, ENERGY = "general_inflation", "labour", "energy"
RESERVED = (GENERAL, LABOUR, ENERGY)

MATERIAL_NOISE = 0.20
"""Wandering of a material price with no series, about that of the metals of the World Bank. [ln/sqrt(year)]"""
_GENERAL_NOISE = 0.02
"""Wandering of general inflation, labour and energy where no series says more. [ln/sqrt(year)]"""
REAL_RATE_NOISE = 0.075
"""Wandering of the price level of one currency against another's at the exchange rate, where only the other's is known:
changes over 1 to 10 years between those of the library, 2010 to 2025. [ln/sqrt(year)]"""
_LEAST_CHANGES = 5  # yearly changes that a noise is estimated from
_TREND_YEARS = 10.0  # general inflation goes on as it did over so many years
_YEAR, _QUARTER, _MONTH = 1.0, 0.25, 1 / 12
_TODAY_TOLERANCE = 1e-9
_LEAP_DAYS = 0.01
"""Whole calendar years are so much shorter or longer than whole years of 365.25 days at most. [year]"""


@dataclass(frozen=True)
class InputPrices:
    """Input price series.

    Attributes
    ----------
    materials : Timelines
        ln value in each series' own currency, by series. [ln]
    material_currency : tuple of str
        Currency of each series.
    wanted : tuple of str
        Every series that is given or that a basket names; factors and ``slots`` count in it.
    noise : array, shape (wanted,)
        Wandering. [ln/sqrt(year)]
    general, labour, energy : Timelines
        ln index by currency. [ln]
    slots : array of int, shape (commodities, most materials of a basket)
        Series of each basket, position in ``wanted``, -1 for none.
    weights : array, shape as slots
        Shares of the materials. [-]
    """

    materials: Timelines
    material_currency: tuple[str, ...]
    wanted: tuple[str, ...]
    noise: Floats
    general: Timelines
    labour: Timelines
    energy: Timelines
    slots: Codes
    weights: Floats

    def log_ratio(self, series: npt.ArrayLike, then: npt.ArrayLike, now: npt.ArrayLike) -> Floats:
        """Change of ln value of material series between dates, in their own currencies; NaN where not given.

        Parameters
        ----------
        series : array of str, shape (n,)
        then, now : array of datetime64, shape (n,)

        Returns
        -------
        array, shape (n,)
            [ln]
        """
        codes = self.materials.codes(series)
        return self.materials.at(codes, years_of(now)) - self.materials.at(codes, years_of(then))

    def log_inflation(self, currency: npt.ArrayLike, then: npt.ArrayLike, now: npt.ArrayLike) -> Floats:
        """Change of ln general price level of each currency; NaN where no series is known. Arguments as above."""
        codes = self.general.codes(currency)
        return self.general.at(codes, years_of(now)) - self.general.at(codes, years_of(then))


def read_input_prices(
    own: pd.DataFrame, starter: pd.DataFrame, *, baskets: pd.Series, currency: str, as_of: date
) -> tuple[InputPrices, list[Finding]]:
    """Series from the audit's own rows and, for series they lack, the library's.

    Parameters
    ----------
    own, starter : DataFrame
        Table ``input_prices`` of the glossary. An average over a period counts at its middle.
    baskets : Series of str
        Basket of each commodity, in catalogue order.
    currency : str
        Audit currency: of own series that state none.
    as_of : date
        Periods whose middle is later are plans and are left out.

    Returns
    -------
    prices : InputPrices
    findings : list of Finding
    """
    table, findings = _merged(own, starter, currency, as_of)
    general = _by_currency(table, GENERAL)
    labour, energy = (_by_currency(table, name) for name in (LABOUR, ENERGY))
    goods = table[~table["series"].isin(RESERVED)]
    materials = _with_slopes(Timelines.of(goods["series"], goods["time"], goods["log"]), goods, general)
    parsed = [parse_basket(str(b)) for b in baskets]
    wanted = tuple(sorted({*materials.names, *(s for b in parsed for s in b)}))
    width = max((len(b) for b in parsed), default=0)
    slots, weights = np.full((len(parsed), width), -1, dtype=np.int64), np.zeros((len(parsed), width))
    for row, basket in enumerate(parsed):
        slots[row, : len(basket)] = [wanted.index(s) for s in basket]
        weights[row, : len(basket)] = list(basket.values())
    home = goods.drop_duplicates("series").set_index("series")["currency"]
    noise = np.array([_noise(materials, s) for s in wanted], dtype=float)
    prices = InputPrices(
        materials, tuple(str(home[n]) for n in materials.names), wanted, noise, general, labour, energy, slots, weights
    )
    return prices, findings


def _merged(own: pd.DataFrame, starter: pd.DataFrame, currency: str, as_of: date) -> tuple[pd.DataFrame, list[Finding]]:
    home = own["currency"].str.upper()
    own = own.assign(currency=home.where(home != "", currency), own=True)
    table = pd.concat([own, starter.assign(own=False)], ignore_index=True).astype({"own": bool})
    table = table[(table["value"] > 0) & table["period"].notna() & (table["series"] != "")]
    table = table.sort_values(["series", "currency", "period"], kind="stable")
    end = years_of(table["period"].to_numpy())
    group = [table["series"], table["currency"], table["own"]]
    step = pd.Series(end, index=table.index).groupby(group, sort=False).diff()
    steps = step.groupby(group, sort=False)
    step = pd.concat([steps.shift(1), step, steps.shift(-1)], axis=1).median(axis=1).fillna(_YEAR)
    length = np.select([step < (_MONTH + _QUARTER) / 2, step < (_QUARTER + _YEAR) / 2], [_MONTH, _QUARTER], _YEAR)
    table = table.assign(time=end - length / 2, log=np.log(table["value"]))
    later = table["time"] > years_of(np.array([np.datetime64(as_of, "D")]))[0] + _TODAY_TOLERANCE
    plans, table = int((later & table["own"]).sum()), table[~later]
    key = table["series"] + np.where(table["series"].isin(RESERVED), table["currency"], "")
    table = table[table["own"] | ~key.isin(key[table["own"]])]
    table, mixed = _in_one_currency(table)
    file = str(own["source_file"].iloc[0]) if len(own) and "source_file" in own else ""
    findings = [
        warning("I010", f"{name} must be in one currency", file=file, column="currency", found=found,
                assumed=f"only its values in {kept} count", advice="give one of them a name of its own, or convert it")
        for name, found, kept in mixed
    ]  # fmt: skip
    if plans:
        findings.append(
            note("I001", f"{plans} input prices are of periods after {as_of}", file=file, column="period",
                 assumed="left out: plans, not data")
        )  # fmt: skip
    return table, findings


def _in_one_currency(table: pd.DataFrame) -> tuple[pd.DataFrame, list[tuple[str, str, str]]]:
    """Rows of each material in the currency that most of them are in; and of which it is not the only one.

    Returns
    -------
    table : DataFrame
    mixed : list of (str, str, str)
        Series, its currencies, and the one that was kept.
    """
    goods = ~table["series"].isin(RESERVED)
    home = most_stated(table.loc[goods, "currency"], table.loc[goods, "series"])
    stated = table[goods].groupby("series", sort=True)["currency"].unique()
    mixed = [(str(name), ", ".join(sorted(each)), home[str(name)]) for name, each in stated.items() if len(each) > 1]
    other = goods & table["series"].isin(list(home)) & (table["currency"] != table["series"].map(home))
    return table[~other], mixed


def _by_currency(table: pd.DataFrame, series: str) -> Timelines:
    rows = table[table["series"] == series]
    lines = Timelines.of(rows["currency"], rows["time"], rows["log"])
    slope = np.array([_slope(lines, k) for k in range(len(lines.names))], dtype=float)
    return Timelines(lines.names, lines.start, lines.count, lines.time, lines.value, slope, slope)


def _slope(lines: Timelines, k: int) -> float:
    """Mean yearly change over the last years of a series."""
    at = slice(int(lines.start[k]), int(lines.start[k] + lines.count[k]))
    time, value = lines.time[at], lines.value[at]
    recent = time >= time[-1] - _TREND_YEARS - _LEAP_DAYS
    time, value = time[recent], value[recent]
    return float((value[-1] - value[0]) / (time[-1] - time[0])) if len(time) > 1 else 0.0


def _with_slopes(lines: Timelines, goods: pd.DataFrame, general: Timelines) -> Timelines:
    """Material prices stay where they are in real terms outside their points."""
    home = goods.drop_duplicates("series").set_index("series")["currency"].reindex(list(lines.names))
    codes = general.codes(home.to_numpy(dtype=object)) if len(lines.names) else np.zeros(0, dtype=np.int64)
    slope = np.where(codes >= 0, np.append(general.after, 0.0)[codes], 0.0)
    return Timelines(lines.names, lines.start, lines.count, lines.time, lines.value, slope, slope)


def _noise(lines: Timelines, series: str) -> float:
    """Wandering of a series from changes over whole years; the usual one where it is short or not given."""
    if series not in lines.names:
        return MATERIAL_NOISE
    k = lines.names.index(series)
    years = np.arange(lines.first[k], lines.last[k] + _LEAP_DAYS)
    if len(years) <= _LEAST_CHANGES:
        return MATERIAL_NOISE
    return float(np.std(np.diff(lines.at(np.full(len(years), k, dtype=np.int64), years)), ddof=1))


@dataclass(frozen=True)
class Escalation:
    """Ratios of input prices over spans, in the price currency, and how unsure each is.

    Attributes
    ----------
    general, labour, energy : array, shape (spans,)
        Ratios. [-]
    material : array, shape (spans, slots)
        Ratio of each material of the basket. [-]
    general_sd, labour_sd, energy_sd : array, shape (spans,)
    material_sd : array, shape (spans, slots)
        Standard deviation of the ln ratio. [ln]
    """

    general: Floats
    labour: Floats
    energy: Floats
    material: Floats
    general_sd: Floats
    labour_sd: Floats
    energy_sd: Floats
    material_sd: Floats


def escalate(prices: InputPrices, spans: Spans, fx: Rates) -> Escalation:
    """Input price ratios of every span.

    Parameters
    ----------
    prices : InputPrices
    spans : Spans
    fx : Rates
        Carries a series stated in one currency over to the price currency, at the rates of both dates.

    Returns
    -------
    Escalation

    Notes
    -----
    General inflation of the price currency; else that of the audit currency less what the price currency gained on it
    (its prices keep up with the audit currency's at the exchange rate), surely only to within the wandering of real
    exchange rates; else none. Labour and energy follow general inflation where their own series are missing, and so
    does a material that no series is given for, each with the wandering it then may have had.
    """
    general, general_sd = _general(prices, spans, fx)
    labour, labour_sd = _index_ratio(
        prices.labour, _own_code(prices.labour, spans), spans, fallback=(general, general_sd)
    )
    energy, energy_sd = _index_ratio(
        prices.energy, _own_code(prices.energy, spans), spans, fallback=(general, general_sd)
    )
    material, material_sd = _materials(prices, spans, fx, general)
    return Escalation(
        np.exp(general), np.exp(labour), np.exp(energy), material, general_sd, labour_sd, energy_sd, material_sd
    )


def _own_code(lines: Timelines, spans: Spans) -> Codes:
    return np.append(codes_of(np.array(spans.currencies, dtype=object), lines.names), -1)[spans.currency]


def _general(prices: InputPrices, spans: Spans, fx: Rates) -> tuple[Floats, Floats]:
    """Ln ratio of general inflation and its sd, at a constant real exchange rate where the currency's is not known."""
    own = _own_code(prices.general, spans)
    home = prices.general.codes(np.array([fx.currency], dtype=object))[0]
    log, sd = _index_ratio(prices.general, np.where(own >= 0, own, home), spans, fallback=None)
    lent = (own < 0) & (home >= 0)
    if not lent.any():
        return log, sd
    moved = np.nan_to_num(spans.log_rate_change(fx))
    wandered = np.hypot(sd, REAL_RATE_NOISE * np.sqrt(np.abs(spans.years)))
    return np.where(lent, log - moved, log), np.where(lent, wandered, sd)


def _index_ratio(
    lines: Timelines, codes: Codes, spans: Spans, *, fallback: tuple[Floats, Floats] | None
) -> tuple[Floats, Floats]:
    """Ln ratio of an index by currency over spans and its sd; the fallback's, or none, where it is not known."""
    length = np.abs(spans.years)
    unsure = _GENERAL_NOISE * np.sqrt(length)
    log, sd = (np.zeros(len(spans)), unsure) if fallback is None else (fallback[0], np.hypot(fallback[1], unsure))
    known = codes >= 0
    if not known.any():
        return log, sd
    t, u = years_of(spans.then), years_of(spans.now)
    change = lines.at(codes, u) - lines.at(codes, t)
    gap = np.minimum(lines.outside(codes, u) + lines.outside(codes, t), length)
    return np.where(known, change, log), np.where(known, _GENERAL_NOISE * np.sqrt(np.where(known, gap, 0.0)), sd)


def _materials(prices: InputPrices, spans: Spans, fx: Rates, general: Floats) -> tuple[Floats, Floats]:
    """Ratio of each basket slot and sd of its log, shape (spans, slots); empty slots are 1 and 0."""
    width, years = prices.slots.shape[1], np.abs(spans.years)
    log, gap = np.zeros((len(spans), width)), np.zeros((len(spans), width))
    series_of = codes_of(np.array(prices.wanted, dtype=object), prices.materials.names)
    moved = _currency_change(prices, spans, fx)
    t, u = years_of(spans.then), years_of(spans.now)
    slots = prices.slots[spans.commodity]
    for k in range(width):
        wanted = slots[:, k]
        series = np.where(wanted >= 0, np.append(series_of, -1)[wanted], -1)
        change = prices.materials.at(series, u) - prices.materials.at(series, t)
        outside = prices.materials.outside(series, u) + prices.materials.outside(series, t)
        given = series >= 0
        log[:, k] = np.where(given, change + moved(series), np.where(wanted >= 0, general, 0.0))
        gap[:, k] = np.where(given, np.minimum(outside, years), np.where(wanted >= 0, years, 0.0))
    return np.exp(log), np.append(prices.noise, 0.0)[slots] * np.sqrt(gap)


def _currency_change(prices: InputPrices, spans: Spans, fx: Rates) -> Callable[[Codes], Floats]:
    """Function of series: ln change over each span of the series' currency, in units of the price currency."""
    homes = tuple(dict.fromkeys(prices.material_currency))
    of_series = np.append(codes_of(np.array(prices.material_currency, dtype=object), homes), -1)
    own = spans.log_rate_change(fx)
    table = np.stack([np.nan_to_num(spans.log_rate_change(fx, h) - own) for h in homes] or [np.zeros(len(spans))])

    def change(series: Codes) -> Floats:
        home = np.maximum(of_series[series], 0)
        return np.asarray(table[0] if len(table) == 1 else np.take_along_axis(table, home[None, :], axis=0)[0])

    return change
