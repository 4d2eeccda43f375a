"""Newer quotes: what was stated after the basis date moves the estimate, as much as it deserves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bomaudit.curves.carry import Carried, Wander, carry
from bomaudit.curves.fitted import Curves
from bomaudit.curves.level import OWN_VOLUME, Level, Newer, Priced, doubt_per_year, with_own_columns
from bomaudit.curves.offers import NewerQuotes
from bomaudit.curves.own_volume import log_quantity_change
from bomaudit.curves.pooling import Floats
from bomaudit.curves.spans import Days, log_rate
from bomaudit.curves.timelines import Codes

_OTHER_SUPPLIER = 0.06
"""Spread of prices between suppliers of one part, added where quote and BOM name different ones; engineering judgement,
no published source. [ln]"""
_FAR_OFF = 6.0
"""A quote further off than so many standard deviations counts as if it were at most that far: a slip of the unit or of
the part is likelier than the market. Engineering judgement."""
_GIVEN = 0.001
"""Noise that a price given for one run is weighed with: it is meant, so it counts whole; of two, each half. [ln]"""


@dataclass(frozen=True)
class Evidence:
    """What newer quotes do to the estimate of each line.

    Attributes
    ----------
    shift : array, shape (lines,)
        Change of ln price. [ln]
    weight : array, shape (pairs,)
        Weight of each quote in the estimate.
    total : array, shape (lines,)
        Sum of the weights of a line: what is left to the booked cost is 1 minus this.
    left : array, shape (lines,)
        Variance of the price's own wandering that is left after the quotes. [ln²]
    """

    shift: Floats
    weight: Floats
    total: Floats
    left: Floats


@dataclass(frozen=True)
class Told:
    """Newer quotes of lines, as deviations from what was expected.

    Attributes
    ----------
    line : array of int, shape (pairs,)
        Line of each quote, rising; within a line by date.
    years : array, shape (pairs,)
        Years from the basis date to the quote. [year]
    deviation : array, shape (pairs,)
        ln quote minus ln price that was expected at its date. [ln]
    noise : array, shape (pairs,)
        Standard deviation of the quote around the market price. [ln]
    loadings : array, shape (pairs, factors)
        Change of the expected ln price at the quote's date per standard deviation of each uncertain factor. [ln]
    """

    line: Codes
    years: Floats
    deviation: Floats
    noise: Floats
    loadings: Floats


def weigh(told: Told, wander: Wander, *, start: Floats, years: Floats, loadings: Floats) -> Evidence:
    r"""Best linear estimate of today's ln price from newer quotes, for every line at once.

    Parameters
    ----------
    told : Told
    wander : Wander
        Of each line.
    start : array, shape (lines,)
        Variance of the starting level: basis noise and date. [ln²]
    years : array, shape (lines,)
        Years from the basis date to the as-of date. [year]
    loadings : array, shape (lines, factors)
        As those of the quotes, at the as-of date. [ln]

    Returns
    -------
    Evidence

    Notes
    -----
    The level starts with variance :math:`v_0`, drifts as expected but for the factors' errors, wanders by :math:`\ell`
    a year, and carries a passing deviation of variance :math:`p` that is forgotten over :math:`m` years: a local-level
    model with an autoregressive deviation. Its Kalman filter is, for a fixed set of dates, the regression
    :math:`w = (K + R)^{-1} k` with :math:`K_{ij} = v_0 + c(\tau_i, \tau_j) + \sum_f l_{if} l_{jf}`,
    :math:`c(s, t) = \ell \min(s, t) + p (e^{-|s-t|/m} - e^{-s/m} - e^{-t/m} + 1)`, :math:`R = diag(r_i^2)`; it is
    solved for all lines with the same number of quotes together, line by line to the last bit: the products are of one
    line each, so that a line comes out the same in whatever company (sums of ``einsum`` do not).

    References
    ----------
    .. [1] J. Durbin and S. J. Koopman, Time Series Analysis by State Space Methods, 2nd ed., 2012, chapter 2 (from
       memory).
    """
    lines = len(start)
    count = np.bincount(told.line, minlength=lines)
    first = np.cumsum(count) - count
    weight, shift, total = np.zeros(len(told.line)), np.zeros(lines), np.zeros(lines)
    left = _covariance(wander, np.arange(lines), years, years)
    for n in np.unique(count[count > 0]):
        rows = np.flatnonzero(count == n)
        at = first[rows][:, None] + np.arange(n)[None, :]
        tau, load, v0 = told.years[at], told.loadings[at], start[rows][:, None]
        toward = _covariance(wander, rows[:, None], tau, years[rows][:, None])
        among = _covariance(wander, rows[:, None, None], tau[:, :, None], tau[:, None, :])
        covariance = v0[:, :, None] + among + load @ np.swapaxes(load, 1, 2)
        covariance = covariance + (told.noise[at] ** 2)[:, :, None] * np.eye(n)
        cross = v0 + toward + (load @ loadings[rows][:, :, None])[:, :, 0]
        solved = np.linalg.solve(covariance, cross[:, :, None])[:, :, 0]
        weight[at] = solved
        shift[rows], total[rows] = (solved * told.deviation[at]).sum(axis=1), solved.sum(axis=1)
        kept = (solved[:, None, :] @ among @ solved[:, :, None])[:, 0, 0]
        left[rows] += kept - 2 * (solved * toward).sum(axis=1)
    return Evidence(shift, weight, total, np.maximum(left, 0.0))


def _covariance(wander: Wander, rows: Codes, s: Floats, t: Floats) -> Floats:
    """Covariance of what a price has wandered after s and after t years."""
    level, passing, memory = wander.level[rows], wander.passing[rows], wander.memory[rows]
    fading = np.exp(-np.abs(s - t) / memory) - np.exp(-s / memory) - np.exp(-t / memory) + 1
    return np.asarray(level * np.minimum(s, t) + passing * fading)


def take_newer(
    lines: Priced, level: Level, pairs: NewerQuotes, curves: Curves
) -> tuple[Newer, npt.NDArray[np.object_]]:
    """Move the estimates by newer quotes.

    Parameters
    ----------
    lines : Priced
    level : Level
    pairs : NewerQuotes
    curves : Curves

    Returns
    -------
    newer : Newer
    text : array of str, shape (lines,)
        Which quotes counted, in words; "" where there are none.
    """
    size, line = len(lines), pairs.line
    text = np.full(size, "", dtype=object)
    if not len(line):
        none = np.zeros(size)
        return Newer(none, none, none + 1, level.loadings, level.carried.process), text
    then = carry(curves, lines.spans.take(line, now=curves.offers.day[pairs.quote]))
    told = _told(lines, level, then, pairs, curves=curves)
    weighed = weigh(
        told, level.carried.wander, start=level.basis + level.date, years=level.carried.years, loadings=level.loadings
    )
    moved = level.loadings.copy()
    for k in np.flatnonzero(told.loadings.any(axis=0)):
        moved[:, k] -= _sum(line, weighed.weight * told.loadings[:, k], size)
    _describe(text, pairs, curves.offers.day[pairs.quote], weighed.total)
    quoted = np.bincount(line, minlength=size) > 0
    noise = np.maximum(told.noise, curves.offers.noise[pairs.quote])  # also of a given price: it is one of its kind
    newer = Newer(
        weighed.shift, _sum(line, (weighed.weight * noise) ** 2, size), 1 - weighed.total, moved,
        np.where(quoted, weighed.left, level.carried.process),
    )  # fmt: skip
    return newer, text


def _told(lines: Priced, level: Level, then: Carried, pairs: NewerQuotes, *, curves: Curves) -> Told:
    """Quotes as deviations from what was expected; one that is far off counts less, one given for this run whole."""
    line = pairs.line
    deviation, loadings = _deviation(lines, level, then, pairs, curves=curves)
    noise = np.hypot(curves.offers.noise[pairs.quote], np.where(pairs.other, _OTHER_SUPPLIER, 0.0))
    expected = (level.basis + level.date)[line] + then.process + (loadings**2).sum(axis=1)
    slip = np.sqrt(np.maximum((deviation / _FAR_OFF) ** 2 - expected, 0.0))
    noise = np.where(curves.offers.given[pairs.quote], _GIVEN, np.maximum(noise, slip))
    return Told(line, then.years, deviation, noise, loadings)


def _sum(line: Codes, values: Floats, size: int) -> Floats:
    """Sum of the values of each line's quotes."""
    return np.bincount(line, values, minlength=size).astype(np.float64)


def _deviation(
    lines: Priced, level: Level, then: Carried, pairs: NewerQuotes, *, curves: Curves
) -> tuple[Floats, Floats]:
    """Ln quote, brought to today's quantity, minus what was expected at its date; and the loadings of that.

    A quote that states no annual quantity is taken to be for today's.
    """
    line, offers, day = pairs.line, curves.offers, curves.offers.day[pairs.quote]
    money = log_rate(curves.fx, lines.spans.take(line, now=day), day)
    ratio = offers.log_price[pairs.quote] - money - np.log(lines.price[line])
    to_now = log_quantity_change(offers.annual[pairs.quote], lines.quantity_now[line])
    deviation = ratio + level.slope[line] * to_now - then.total - level.quantity[line]
    loadings = with_own_columns(then, doubt_per_year(lines, curves)[line] * np.abs(then.years))
    loadings[:, OWN_VOLUME] = level.slope_sd[line] * (level.quantity_change[line] - to_now)
    return deviation, loadings


def _describe(text: npt.NDArray[np.object_], pairs: NewerQuotes, day: Days, total: Floats) -> None:
    last = np.append(np.flatnonzero(np.diff(pairs.line)), len(pairs.line) - 1)
    rows = pairs.line[last]
    count, weight = np.bincount(pairs.line)[rows], 100 * np.minimum(total[rows], 1.0)
    over = pairs.passed_over[rows]
    told = zip(rows, count, np.datetime_as_string(day[last]), weight, over, strict=True)
    for row, n, newest, share, dropped in told:
        plural = "s" if n > 1 else ""
        text[row] = f"{n} newer quote{plural}, newest {newest}, weight {share:.0f} %" + (
            f"; {dropped} other price break{'s' if dropped > 1 else ''} passed over" if dropped else ""
        )
