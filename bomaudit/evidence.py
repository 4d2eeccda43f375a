"""Newer quotes: what was stated after the basis date moves the estimate, as much as it deserves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bomaudit.curves.carry import Carried, carry
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
    """

    shift: Floats
    weight: Floats
    total: Floats


def weigh(
    line: Codes,
    deviation: Floats,
    noise: Floats,
    loadings: Floats,
    wander: Floats,
    *,
    target_loadings: Floats,
    start: Floats,
) -> Evidence:
    r"""Best linear estimate of today's ln price from newer quotes, for every line at once.

    Parameters
    ----------
    line : array of int, shape (pairs,)
        Line of each quote, rising; within a line by date.
    deviation : array, shape (pairs,)
        ln quote minus ln price that was expected at its date. [ln]
    noise : array, shape (pairs,)
        Standard deviation of the quote around the market price. [ln]
    loadings : array, shape (pairs, factors)
        Change of the expected ln price at the quote's date per standard deviation of each uncertain factor. [ln]
    wander : array, shape (pairs,)
        Variance that the market's wandering has built up by the quote's date, not falling within a line. [ln²]
    target_loadings : array, shape (lines, factors)
        As ``loadings``, at the as-of date.
    start : array, shape (lines,)
        Variance of the starting level: basis noise and date. [ln²]

    Returns
    -------
    Evidence

    Notes
    -----
    The level starts with variance :math:`v_0`, drifts as expected but for the factors' errors, and wanders as a
    Brownian motion: a local-level model. Its Kalman filter is, for a fixed set of dates, the regression
    :math:`w = (K + R)^{-1} k` with :math:`K_{ij} = v_0 + \min(q_i, q_j) + \sum_f l_{if} l_{jf}`,
    :math:`R = diag(r_i^2)` and :math:`k_i = v_0 + q_i + \sum_f l_{if} l_{Tf}`; it is solved here for all lines with the
    same number of quotes together.

    References
    ----------
    .. [1] J. Durbin and S. J. Koopman, Time Series Analysis by State Space Methods, 2nd ed., 2012, chapter 2 (from
       memory).
    """
    lines = len(start)
    count = np.bincount(line, minlength=lines)
    first = np.concatenate([[0], np.cumsum(count)[:-1]]).astype(np.int64)
    weight, shift, total = np.zeros(len(line)), np.zeros(lines), np.zeros(lines)
    for n in np.unique(count[count > 0]):
        rows = np.flatnonzero(count == n)
        at = first[rows][:, None] + np.arange(n)[None, :]
        load, grown, v0 = loadings[at], wander[at], start[rows]
        cross = v0[:, None] + grown + np.einsum("gnf,gf->gn", load, target_loadings[rows])
        covariance = v0[:, None, None] + np.minimum(grown[:, :, None], grown[:, None, :])
        covariance = covariance + np.einsum("gnf,gmf->gnm", load, load) + (noise[at] ** 2)[:, :, None] * np.eye(n)
        solved = np.linalg.solve(covariance, cross[:, :, None])[:, :, 0]
        weight[at] = solved
        shift[rows], total[rows] = (solved * deviation[at]).sum(axis=1), solved.sum(axis=1)
    return Evidence(shift, weight, total)


def left_to_wander(line: Codes, weight: Floats, wander: Floats, target_wander: Floats) -> Floats:
    r"""Variance of wandering that is left after the quotes, per line.

    Parameters
    ----------
    line, weight, wander
        As in :func:`weigh`, weights from its result.
    target_wander : array, shape (lines,)
        As ``wander``, at the as-of date, at least that of every quote.

    Returns
    -------
    array, shape (lines,)
        :math:`q_T - 2 \sum w_i q_i + \sum_{ij} w_i w_j \min(q_i, q_j)`. [ln²]

    Notes
    -----
    With :math:`q` rising within a line the double sum is the sum over quotes of the increment of :math:`q` times the
    squared weight of that quote and all later ones.
    """
    lines = len(target_wander)
    tail = np.zeros(len(line))
    once = np.bincount(line, weight * wander, minlength=lines)
    if len(line):
        reverse = np.cumsum(weight[::-1])[::-1]
        ends = np.append(np.flatnonzero(np.diff(line)) + 1, len(line))
        after = np.append(reverse, 0.0)[ends][np.searchsorted(ends, np.arange(len(line)), side="right")]
        tail = reverse - after
    starts = np.concatenate([[True], np.diff(line) > 0]) if len(line) else np.zeros(0, dtype=bool)
    increment = np.where(starts, wander, np.diff(wander, prepend=0.0))
    twice = np.bincount(line, increment * tail**2, minlength=lines)
    return np.asarray(np.maximum(target_wander - 2 * once + twice, 0.0))


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
    offers, day = curves.offers, curves.offers.day[pairs.quote]
    then = carry(curves, lines.spans.take(line, now=day))
    deviation, loadings = _deviation(lines, level, then, pairs, curves=curves)
    noise = np.hypot(offers.noise[pairs.quote], np.where(pairs.other, _OTHER_SUPPLIER, 0.0))
    start = level.basis + level.date
    wide = np.sqrt(start[line] + then.process + (loadings**2).sum(axis=1))
    noise = np.maximum(noise, np.sqrt(np.maximum((deviation / _FAR_OFF) ** 2 - wide**2, 0.0)))
    told = weigh(line, deviation, noise, loadings, then.process, target_loadings=level.loadings, start=start)
    moved = level.loadings.copy()
    for k in np.flatnonzero(loadings.any(axis=0)):
        moved[:, k] -= _sum(line, told.weight * loadings[:, k], size)
    _describe(text, pairs, day, told.total)
    newer = Newer(
        told.shift, _sum(line, (told.weight * noise) ** 2, size), 1 - told.total, moved,
        left_to_wander(line, told.weight, then.process, level.carried.process),
    )  # fmt: skip
    return newer, text


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
            f"; {dropped} other price breaks passed over" if dropped else ""
        )
