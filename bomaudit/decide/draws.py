"""Quasi-random draws: scrambled Sobol points, normal scores, the shapes of stated ranges and of price tails."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv, ndtr, ndtri, stdtrit

Floats = npt.NDArray[np.float64]
Draws = npt.NDArray[np.floating]
"""One value a draw, in single or double precision; functions of this module keep to the precision they are given."""
Ints = npt.NDArray[np.int64]
Spread = Literal["pert", "triangular"]

REPLICATES = 8
"""Randomisations that the draws are split into: their spread is the standard error of the result."""
_BITS = 30
FURTHEST = np.log(10.0)
"""No draw leaves a tenth to ten times the estimate: the tails of Student's t would give the price no mean. [ln]"""
FURTHEST_SCORE = 6.0
"""Scores stay within ±6: beyond lie two draws in a thousand million."""
_NORMAL_DOF = 200.0
"""From here on Student's t is taken as normal: the 95 % points differ by half a per cent."""
_EXPANSION_DOF = 6.0
_KNOTS = np.linspace(-FURTHEST_SCORE, FURTHEST_SCORE, 513)
_LAST_PLACE = len(_KNOTS) - 1 - 1e-9
_SHAPES = 64
"""Modes between which quantiles are read linearly, within 0.0001 of the range."""


def normal_scores(columns: int, *, draws: int, seed: int) -> Floats:
    """Standard normal scores, each column evenly spread, columns independent of each other.

    Parameters
    ----------
    columns : int
        Independent causes; the first ones are spread best.
    draws : int
        Power of two, at least ``REPLICATES``.
    seed : int
        Of the scramblings.

    Returns
    -------
    array, shape (columns, draws)
        ``REPLICATES`` randomisations one after the other.

    Notes
    -----
    One scrambled Sobol set, shifted digit by digit at random for each replicate: every replicate is as evenly spread
    as the set, uniform on its own and, given the set, independent of the others.

    References
    ----------
    .. [1] A. B. Owen, "Scrambling Sobol' and Niederreiter-Xing Points", J. Complexity 14(4), 1998.
    """
    from scipy.stats import qmc  # noqa: PLC0415  (0.6 s to import; only decisions need it)

    each = draws // REPLICATES
    rng = np.random.default_rng(seed)
    points = qmc.Sobol(columns, scramble=True, bits=_BITS, rng=rng).random(each)
    cells = (points.T * 2.0**_BITS).astype(np.uint32)
    scores = np.empty((columns, draws))
    for k in range(REPLICATES):
        shift = rng.integers(0, 1 << _BITS, size=(columns, 1), dtype=np.uint32)
        scores[:, k * each : (k + 1) * each] = ndtri(((cells ^ shift) + 0.5) * 2.0**-_BITS)
    return np.clip(scores, -FURTHEST_SCORE, FURTHEST_SCORE, out=scores)


def power_of_two(draws: int) -> int:
    """Smallest power of two that is not below ``draws``."""
    return 1 << (max(draws, REPLICATES) - 1).bit_length()


def tails(scores: Draws, dof: Floats) -> Draws:
    """Student-t quantiles at normal scores: same rank, heavier tails.

    Parameters
    ----------
    scores : array, shape (parts, draws)
        Within ±``FURTHEST_SCORE``, or hardly beyond.
    dof : array, shape (parts,)

    Returns
    -------
    array, shape (parts, draws)

    Notes
    -----
    A Gaussian copula with t margins: each part has the interval that its line shows, and the correlation of the
    scores. From 6 degrees of freedom on by the expansion in 1/dof (within 0.1 % to score 3, 1 % to score 4), below
    read linearly between exact quantiles of as many to two places.

    References
    ----------
    .. [1] M. Abramowitz and I. A. Stegun, "Handbook of Mathematical Functions", 26.7.5.
    """
    known = np.where(np.isfinite(dof) & (dof > 0), dof, _NORMAL_DOF)
    if (known >= _NORMAL_DOF).all():
        return scores
    result = _expanded(scores, known)
    few = np.flatnonzero(known < _EXPANSION_DOF)
    if len(few):
        table = np.stack([_students(round(v, 2)) for v in known[few].tolist()])
        result[few] = _read_off(table.astype(scores.dtype), scores[few])
    return result


@lru_cache(maxsize=1024)
def _students(dof: float) -> Floats:
    """Student-t quantiles at the scores of _KNOTS."""
    half = stdtrit(dof, ndtr(_KNOTS[: len(_KNOTS) // 2 + 1]))  # the upper tail would lose its digits
    return np.concatenate([half, -half[-2::-1]])


def _expanded(scores: Draws, dof: Floats) -> Draws:
    """Student-t quantiles by the expansion in 1/dof, of ``_EXPANSION_DOF`` where there are fewer."""
    v = np.maximum(dof, _EXPANSION_DOF)[:, None]
    powers = (
        1 + 1 / (4 * v) + 3 / (96 * v**2) - 15 / (384 * v**3) - 945 / (92160 * v**4),
        1 / (4 * v) + 16 / (96 * v**2) + 17 / (384 * v**3) - 1920 / (92160 * v**4),
        5 / (96 * v**2) + 19 / (384 * v**3) + 1482 / (92160 * v**4),
        3 / (384 * v**3) + 776 / (92160 * v**4),
        79 / (92160 * v**4),
    )
    square = scores * scores
    result = square * powers[-1].astype(scores.dtype)
    for power in powers[-2:0:-1]:
        result += power.astype(scores.dtype)
        result *= square
    result += powers[0].astype(scores.dtype)
    result *= scores
    return result


def price_ratios(scores: Draws, sd_log: Floats, dof: Floats) -> Draws:
    """Drawn price over its median: exp(sd × Student-t quantile) at normal scores, within a tenth and ten times.

    Parameters
    ----------
    scores : array, shape (parts, draws)
    sd_log, dof : array, shape (parts,)
        [ln, -]

    Returns
    -------
    array, shape (parts, draws)
        [-]

    """
    logs = tails(scores, dof) * sd_log[:, None].astype(scores.dtype)
    np.clip(logs, -FURTHEST, FURTHEST, out=logs)
    return np.exp(logs, out=logs)


def _read_off(table: Draws, scores: Draws) -> Draws:
    """Read each row of a table over ``_KNOTS`` at that row's scores, linearly between the knots."""
    place = scores * scores.dtype.type((len(_KNOTS) - 1) / (2 * FURTHEST_SCORE))
    place += (len(_KNOTS) - 1) // 2
    np.clip(place, 0.0, _LAST_PLACE, out=place)
    low = place.astype(np.intp)
    place -= low.astype(scores.dtype)
    low += (np.arange(len(table)) * len(_KNOTS))[:, None]
    steps = np.diff(table, axis=1, append=table[:, -1:]).ravel()
    place *= steps.take(low)
    place += table.ravel().take(low)
    return place


def stated_shape(position: npt.ArrayLike, scores: Draws, *, spread: Spread) -> Draws:
    """Quantiles on 0…1 of a range with a most likely point.

    Parameters
    ----------
    position : array, shape (ranges,)
        Place of the most likely value in the range, 0 at its low end and 1 at its high end. [-]
    scores : array, shape (ranges, draws)
        Normal scores.
    spread : {"pert", "triangular"}

    Returns
    -------
    array, shape (ranges, draws)

    Notes
    -----
    PERT: Beta(1 + 4m, 5 - 4m), whose mean is (low + 4 mode + high) / 6. Triangular: closed form.

    References
    ----------
    .. [1] D. G. Malcolm, J. H. Roseboom, C. E. Clark and W. Fazar, "Application of a Technique for Research and
       Development Program Evaluation", Operations Research 7(5), 1959.
    """
    m = np.atleast_1d(np.asarray(position, dtype=float))
    if spread == "triangular":
        p, mode = ndtr(scores), m[:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            shape = np.where(p < mode, np.sqrt(p * mode), 1.0 - np.sqrt((1.0 - p) * (1.0 - mode)))
        return shape.astype(scores.dtype)
    table = _pert_quantiles()
    at = np.minimum((m * _SHAPES).astype(np.int64), _SHAPES - 1)
    part = (m * _SHAPES - at)[:, None]
    return _read_off((table[at] + part * (table[at + 1] - table[at])).astype(scores.dtype), scores)


@lru_cache(maxsize=1)
def _pert_quantiles() -> Floats:
    """Quantiles at the scores of _KNOTS for modes at 0, 1/_SHAPES, … 1; the same for every audit."""
    mode = np.linspace(0.0, 1.0, _SHAPES + 1)[:, None]
    return np.asarray(betaincinv(1 + 4 * mode, 5 - 4 * mode, ndtr(_KNOTS)[None, :]))
