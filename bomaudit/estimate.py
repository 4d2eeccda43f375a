"""Today's price of every line: booked cost, currency, inputs, experience, maturity, own volume, newer quotes.

Puts the fitted curves together. Everything is in logs and over all lines at once; ``as_of`` may lie before or after the
day the curves were fitted.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.sparse import csr_array
from scipy.special import stdtrit

from bomaudit.curves.carry import Carried, carry, factor_codes, factor_names
from bomaudit.curves.fitted import Curves
from bomaudit.curves.inputs import Spans
from bomaudit.curves.observations import order_quantity
from bomaudit.curves.own_volume import log_quantity_change
from bomaudit.curves.pooling import DAYS_PER_YEAR, Floats
from bomaudit.curves.timelines import Codes, codes_of
from bomaudit.curves.volumes import stage_of
from bomaudit.evidence import NewerQuotes, find_newer, left_to_wander, weigh
from bomaudit.glossary import VARIANCE_PARTS, WALK_STEPS

SHARED_WANDER = 0.5
"""Share of a market's wandering that all its parts have in common; the rest is each part's own. Engineering judgement."""

_MOST_DOF = 1000.0  # a Student t with more is normal to any digit printed
_EXPONENT, _VOLUME, _PROCESS, _OWN_VOLUME, _FIRST_INPUT = range(5)
_CLASSIFICATION, _MARKUP = -2, -1  # columns of a line's own, behind those of the shared factors


@dataclass(frozen=True)
class Estimates:
    """Estimates of lines.

    Attributes
    ----------
    frame : DataFrame, index of the lines
        estimate, estimate_low, estimate_high, contract_price [audit currency/uom], sd_log [ln], dof, walk_*
        [audit currency/uom], var_* (shares), stage, evidence (text). NaN and "" where a line is not auditable.
    factors : tuple of str
        Shared uncertain factors: "exponent:dc_motor", "volume:dc_motor", "input:copper", "fx:USD" …
    loadings : csr_array, shape (lines, factors)
        Change of ln price per standard deviation of each factor. [ln]
    sd_own : array, shape (lines,)
        Standard deviation of the rest, independent between lines: sd_log² is the row's loadings squared plus this
        squared. [ln]
    """

    frame: pd.DataFrame
    factors: tuple[str, ...]
    loadings: csr_array
    sd_own: Floats

    def to_frame(self) -> pd.DataFrame:
        """Frame of the estimates."""
        return self.frame

    def __repr__(self) -> str:
        return f"Estimates({int(self.frame['estimate'].notna().sum())} of {len(self.frame)} lines)"


def estimate(lines: pd.DataFrame, curves: Curves, *, as_of: date, confidence: float) -> Estimates:
    """Estimate every auditable line as of a day.

    Parameters
    ----------
    lines : DataFrame
        Prepared lines, from :func:`bomaudit.prepare.lines.prepare_lines`.
    curves : Curves
    as_of : date
        Past: only quotes up to it count. After the curves' own day: volumes are forecast, input prices stay where they
        are in real terms, currencies where they are, all with widening intervals.
    confidence : float
        Coverage of the interval. [-]

    Returns
    -------
    Estimates
    """
    usable = lines["auditable"].to_numpy(dtype=bool) & (lines["price_at_basis"] > 0).to_numpy()
    usable &= lines["basis_date"].notna().to_numpy()
    known = lines[usable]
    today = np.datetime64(as_of, "D")
    spans = _spans(known, curves, today)
    carried = carry(curves, spans)
    owned = _own_volume(known, curves, spans)
    level = _Level.of(known, curves, spans, carried, owned)
    newer = _newer(known, curves, spans, carried, owned, level, as_of)
    steps = np.column_stack([carried.inputs, carried.experience, carried.maturity, owned.step, newer.shift])
    money = _money(known, curves, spans, steps)
    spread = _Spread.of(level, newer, carried, _currency(curves, spans, today))
    frame = _frame(known, curves, spans, carried, money, spread, newer, confidence, today)
    return _whole(lines, usable, frame, spread, curves, spans)


def _spans(known: pd.DataFrame, curves: Curves, today: np.datetime64) -> Spans:
    money, labels = known["price_currency"].to_numpy(dtype=object), known["commodity"].to_numpy(dtype=object)
    currencies = tuple(sorted(str(c) for c in pd.unique(known["price_currency"])))
    return Spans(
        commodity=np.maximum(codes_of(labels, curves.catalogue.names), 0),
        currency=codes_of(money, currencies),
        currencies=currencies,
        custom=(known["sourcing"] == "custom").to_numpy(dtype=bool),
        then=known["basis_date"].to_numpy().astype("datetime64[D]"),
        now=np.full(len(known), today),
    )


@dataclass(frozen=True)
class _OwnVolume:
    change: Floats  # ln quantity now over then
    slope: Floats
    slope_sd: Floats

    @property
    def step(self) -> Floats:
        return self.slope * self.change


def _own_volume(known: pd.DataFrame, curves: Curves, spans: Spans) -> _OwnVolume:
    slope, sd = (curves.own_volume[c].to_numpy(dtype=float)[spans.commodity] for c in ("slope", "slope_sd"))
    return _OwnVolume(log_quantity_change(known["annual_qty_then"], known["annual_qty_now"]), slope, sd)


@dataclass(frozen=True)
class _Level:
    """Before newer quotes: variance of the starting level, and loadings at the as-of date."""

    basis: Floats  # variance, ln²
    date: Floats  # variance, ln²
    loadings: Floats  # (lines, shared factors + classification + markup)

    @classmethod
    def of(cls, known: pd.DataFrame, curves: Curves, spans: Spans, carried: Carried, owned: _OwnVolume) -> _Level:
        loadings = _own_columns(carried.loadings, _doubt(known, curves, spans) * np.abs(carried.years), carried.markup)
        loadings[:, _OWN_VOLUME] = owned.slope_sd * owned.change
        return cls(known["basis_noise"].to_numpy(dtype=float) ** 2, _date_doubt(known, curves, spans), loadings)


def _own_columns(shared: Floats, classification: Floats, markup: Floats) -> Floats:
    return np.column_stack([shared, classification, markup])


def _doubt(known: pd.DataFrame, curves: Curves, spans: Spans) -> Floats:
    """Standard deviation of yearly price change from not being sure of the commodity. [ln/year]"""
    sure = np.nan_to_num(known["commodity_confidence"].to_numpy(dtype=float), nan=1.0)
    sure = np.where(spans.commodity == 0, 0.0, np.clip(sure, 0.0, 1.0))
    return np.asarray(np.sqrt(1 - sure) * np.hypot(*curves.classification))


def _date_doubt(known: pd.DataFrame, curves: Curves, spans: Spans) -> Floats:
    """Variance from not knowing the basis date: how far the price moves within its standard deviation. [ln²]"""
    sd = np.nan_to_num(known["basis_date_sd"].to_numpy(dtype=float))
    result, rows = np.zeros(len(known)), np.flatnonzero(sd > 0)
    if len(rows):
        step = np.round(sd[rows] * DAYS_PER_YEAR).astype("timedelta64[D]")
        some = spans.take(rows)
        early, late = (
            carry(curves, Spans(some.commodity, some.currency, some.currencies, some.custom, then, some.now))
            for then in (some.then - step, np.minimum(some.then + step, some.now))
        )
        result[rows] = ((early.total - late.total) / 2) ** 2 + np.abs(early.process - late.process) / 2
    return result


@dataclass(frozen=True)
class _Newer:
    shift: Floats
    noise: Floats  # variance from the quotes' own noise
    left: Floats  # share left to the booked cost
    loadings: Floats  # after the quotes, (lines, factors)
    wander: Floats  # variance left
    text: npt.NDArray[np.object_]


def _newer(
    known: pd.DataFrame,
    curves: Curves,
    spans: Spans,
    carried: Carried,
    owned: _OwnVolume,
    level: _Level,
    as_of: date,
) -> _Newer:
    pairs = find_newer(known, curves.quotes, as_of=min(as_of, curves.as_of))
    if not len(pairs.line):
        none = np.zeros(len(known))
        return _Newer(none, none, none + 1, level.loadings, carried.process, np.full(len(known), "", dtype=object))
    asked = curves.quotes.iloc[pairs.quote]
    day = asked["quote_date"].to_numpy().astype("datetime64[D]")
    then = carry(curves, spans.take(pairs.line, now=day))
    to_now, to_then = _quantities(known, asked, pairs.line, owned)
    expected = then.total + owned.step[pairs.line]
    deviation = _log_price_ratio(known, curves, spans, asked, pairs.line, day) + owned.slope[pairs.line] * to_now
    doubt = (
        level.loadings[pairs.line, _CLASSIFICATION]
        * np.abs(then.years)
        / np.maximum(np.abs(carried.years[pairs.line]), 1 / DAYS_PER_YEAR)
    )
    loadings = _own_columns(then.loadings, doubt, then.markup)
    loadings[:, _OWN_VOLUME] = owned.slope_sd[pairs.line] * to_then
    noise = (
        asked["kind"].map(curves.model.quote_noise).fillna(curves.model.quote_noise["budgetary"]).to_numpy(dtype=float)
    )
    told = weigh(
        pairs.line, deviation - expected, noise, loadings, then.process,
        target_loadings=level.loadings, start=level.basis + level.date,
    )  # fmt: skip
    size = len(known)
    moved = level.loadings.copy()
    for k in range(moved.shape[1]):
        moved[:, k] -= np.bincount(pairs.line, told.weight * loadings[:, k], minlength=size)
    return _Newer(
        told.shift, np.bincount(pairs.line, (told.weight * noise) ** 2, minlength=size), 1 - told.total, moved,
        left_to_wander(pairs.line, told.weight, then.process, carried.process),
        _evidence_text(pairs, day, told.total, size),
    )  # fmt: skip


def _quantities(known: pd.DataFrame, asked: pd.DataFrame, line: Codes, owned: _OwnVolume) -> tuple[Floats, Floats]:
    """Ln quantity now over the quote's, and the quote's over then; a quote that states none is for today's."""
    quoted, now = asked["annual_qty"].to_numpy(dtype=float), known["annual_qty_now"].to_numpy(dtype=float)[line]
    to_now = log_quantity_change(quoted, now)
    return to_now, owned.change[line] - to_now


def _log_price_ratio(
    known: pd.DataFrame, curves: Curves, spans: Spans, asked: pd.DataFrame, line: Codes, day: npt.NDArray[np.datetime64]
) -> Floats:
    """Ln quote over booked price, in the price currency at the quote's date."""
    money = np.array(spans.currencies, dtype=object)[spans.currency[line]]
    quoted = asked["unit_price"].to_numpy(dtype=float) * curves.fx.rate(asked["currency"].to_numpy(dtype=object), day)
    return np.asarray(
        np.log(quoted / curves.fx.rate(money, day)) - np.log(known["price_at_basis"].to_numpy(dtype=float)[line])
    )


def _evidence_text(
    pairs: NewerQuotes, day: npt.NDArray[np.datetime64], total: Floats, size: int
) -> npt.NDArray[np.object_]:
    text = np.full(size, "", dtype=object)
    last = np.append(np.flatnonzero(np.diff(pairs.line)), len(pairs.line) - 1)
    rows = pairs.line[last]
    count = np.bincount(pairs.line, minlength=size)[rows]
    for row, n, newest in zip(rows, count, np.datetime_as_string(day[last]), strict=True):
        over = pairs.passed_over[row]
        text[row] = f"{n} newer quote{'s' if n > 1 else ''}, newest {newest}, weight {100 * total[row]:.0f} %" + (
            f"; {over} other price breaks passed over" if over else ""
        )
    return text


def _currency(curves: Curves, spans: Spans, today: np.datetime64) -> Floats:
    """Loading on the exchange rate: none up to the curves' own day, widening after it. [ln]"""
    ahead = max(float((today - np.datetime64(curves.as_of, "D")).astype(float)) / DAYS_PER_YEAR, 0.0)
    yearly = np.nan_to_num(curves.fx.log_sd_per_year(np.array(spans.currencies, dtype=object)))
    return np.asarray(np.append(yearly, 0.0)[spans.currency] * np.sqrt(ahead))


@dataclass(frozen=True)
class _Spread:
    loadings: Floats  # shared factors only
    sd_own: Floats
    parts: Floats  # variances, columns as VARIANCE_PARTS
    total: Floats
    dof: Floats

    @classmethod
    def of(cls, level: _Level, newer: _Newer, carried: Carried, currency: Floats) -> _Spread:
        shared = newer.loadings[:, :_CLASSIFICATION].copy()
        shared[:, _PROCESS] = np.sqrt(SHARED_WANDER * newer.wander)
        shared[:, -1] = currency
        classified, marked = newer.loadings[:, _CLASSIFICATION] ** 2, newer.loadings[:, _MARKUP] ** 2
        part = {
            "basis": newer.left**2 * level.basis + newer.noise,
            "exponent": shared[:, _EXPONENT] ** 2,
            "volume_index": shared[:, _VOLUME] ** 2,
            "input_prices": (shared[:, _FIRST_INPUT:-1] ** 2).sum(axis=1),
            "process": newer.wander + marked,
            "currency": currency**2,
            "own_volume": shared[:, _OWN_VOLUME] ** 2,
            "date": newer.left**2 * level.date,
            "classification": classified,
        }
        parts = np.column_stack([part[name] for name in VARIANCE_PARTS])
        total = parts.sum(axis=1)
        own = np.maximum(total - (shared**2).sum(axis=1), 0.0)
        estimated = part["exponent"] + part["process"]
        with np.errstate(divide="ignore", invalid="ignore"):
            dof = np.where(estimated > 0, carried.dof * (total / estimated) ** 2, _MOST_DOF)
        return cls(shared, np.sqrt(own), parts, total, np.minimum(dof, _MOST_DOF))


@dataclass(frozen=True)
class _Money:
    levels: Floats  # (lines, steps + 1): booked, then after each step of the walk; audit currency


def _money(known: pd.DataFrame, curves: Curves, spans: Spans, steps: Floats) -> _Money:
    rates = curves.fx.rate(
        np.array(spans.currencies, dtype=object),
        np.full(len(spans.currencies), spans.now[0] if len(spans.now) else np.datetime64("NaT")),
    )
    here = known["price_at_basis"].to_numpy(dtype=float) * np.append(rates, np.nan)[spans.currency]
    booked = known["booked_cost"].to_numpy(dtype=float)
    return _Money(np.column_stack([booked, here, here[:, None] * np.exp(np.cumsum(steps, axis=1))]))


def _frame(
    known: pd.DataFrame,
    curves: Curves,
    spans: Spans,
    carried: Carried,
    money: _Money,
    spread: _Spread,
    newer: _Newer,
    confidence: float,
    today: np.datetime64,
) -> pd.DataFrame:
    price, scale = money.levels[:, -1], np.sqrt(spread.total)
    reach = stdtrit(spread.dof, 0.5 + confidence / 2) * scale
    walk = np.diff(money.levels, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = spread.parts / spread.total[:, None]
    declining = curves.volumes.declining(curves.volume_codes)[spans.commodity]
    return pd.DataFrame(
        {
            "estimate": price,
            "estimate_low": price * np.exp(-reach),
            "estimate_high": price * np.exp(reach),
            "contract_price": _contract(known, money.levels[:, 1], today),
            "sd_log": scale,
            "dof": spread.dof,
            **{f"walk_{s}": walk[:, k] for k, s in enumerate(WALK_STEPS)},
            **{f"var_{v}": shares[:, k] for k, v in enumerate(VARIANCE_PARTS)},
            "stage": stage_of(carried.share, declining),
            "evidence": newer.text,
        },
        index=known.index,
    )


def _contract(known: pd.DataFrame, here: Floats, today: np.datetime64) -> Floats:
    """Booked cost along the agreed yearly reductions, at today's exchange rate; NaN where none is agreed.

    A reduction falls due on each anniversary of the basis date, up to ``agreed_until``.
    """
    reduction = known["agreed_reduction"].to_numpy(dtype=float)
    until = known["agreed_until"].to_numpy().astype("datetime64[D]")
    end = np.where(np.isnat(until), today, np.minimum(until, today))
    start = known["basis_date"].to_numpy().astype("datetime64[D]")
    years = _anniversaries(start, end)
    return np.where(np.isfinite(reduction), here * (1 - np.nan_to_num(reduction)) ** years, np.nan)


def _anniversaries(start: npt.NDArray[np.datetime64], end: npt.NDArray[np.datetime64]) -> Floats:
    months = (end.astype("datetime64[M]") - start.astype("datetime64[M]")).astype(np.int64)
    day = (start - start.astype("datetime64[M]")).astype(np.int64)
    reached = (end - end.astype("datetime64[M]")).astype(np.int64) >= day
    return np.asarray(np.maximum((months - ~reached) // 12, 0), dtype=float)


def _whole(
    lines: pd.DataFrame,
    usable: npt.NDArray[np.bool_],
    frame: pd.DataFrame,
    spread: _Spread,
    curves: Curves,
    spans: Spans,
) -> Estimates:
    """Estimates of all lines: those that are not auditable stay empty."""
    texts = ["stage", "evidence"]
    whole = frame.reindex(lines.index)
    whole = whole.assign(**{t: whole[t].where(usable, "").astype("str") for t in texts})
    factors = factor_names(curves, spans.currencies)
    codes = factor_codes(curves, spans)
    kept = (codes >= 0) & (spread.loadings != 0)
    count = np.zeros(len(lines), dtype=np.int64)
    count[usable] = kept.sum(axis=1)
    pointer = np.concatenate([[0], np.cumsum(count)])
    loadings = csr_array((spread.loadings[kept], codes[kept], pointer), shape=(len(lines), len(factors)))
    own = np.full(len(lines), np.nan)
    own[usable] = spread.sd_own
    return Estimates(whole, factors, loadings, own)
