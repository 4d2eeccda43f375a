"""Quasi-random draws: scrambled Sobol points, normal scores, the shapes of stated ranges and of price tails."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv, ndtr, ndtri, stdtrit

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Spread = Literal["pert", "triangular"]

REPLICATES = 8
"""Independent scramblings that the draws are split into: their spread is the standard error of the result."""
FURTHEST = np.log(10.0)
"""No draw leaves a tenth to ten times the estimate: the tails of Student's t would give the price no mean. [ln]"""
_NORMAL_DOF = 200.0
"""From here on Student's t is taken as normal: the 95 % points differ by half a per cent."""
_KNOTS = 2049
_EXACT_SHAPES = 64
"""Up to so many different modes each has its own exact quantiles; beyond, they are read between a grid of so many."""


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
        ``REPLICATES`` independent scramblings one after the other.

    References
    ----------
    .. [1] A. B. Owen, "Scrambling Sobol' and Niederreiter-Xing Points", J. Complexity 14(4), 1998.
    """
    from scipy.stats import qmc  # noqa: PLC0415  (0.6 s to import; only decisions need it)

    each = draws // REPLICATES
    scores = np.empty((columns, draws))
    for k in range(REPLICATES):
        points = qmc.Sobol(columns, scramble=True, rng=np.random.default_rng((seed, k))).random(each)
        scores[:, k * each : (k + 1) * each] = ndtri(np.clip(points, 2.0**-31, 1 - 2.0**-31)).T
    return scores


def power_of_two(draws: int) -> int:
    """Smallest power of two that is not below ``draws``."""
    return 1 << (max(draws, REPLICATES) - 1).bit_length()


def tails(scores: Floats, dof: Floats) -> Floats:
    """Student-t quantiles at normal scores: same rank, heavier tails.

    Parameters
    ----------
    scores : array, shape (parts, draws)
    dof : array, shape (parts,)

    Returns
    -------
    array, shape (parts, draws)

    Notes
    -----
    A Gaussian copula with t margins: each part has exactly the interval that its line shows, and the correlation of the
    scores. Read linearly between quantiles at 2,049 scores in ±6.
    """
    few = np.flatnonzero(np.isfinite(dof) & (dof < _NORMAL_DOF))
    if not len(few):
        return scores
    result = scores.copy()
    knots = np.linspace(-6.0, 6.0, _KNOTS)
    values, which = np.unique(dof[few], return_inverse=True)
    for k, nu in enumerate(values):
        rows = few[which == k]
        half = stdtrit(nu, ndtr(knots[: _KNOTS // 2 + 1]))  # the lower tail keeps its digits; the upper one mirrors it
        table = np.concatenate([half, -half[-2::-1]])
        place = np.clip((scores[rows] + 6.0) * ((_KNOTS - 1) / 12.0), 0.0, _KNOTS - 1.0)
        low = np.minimum(place.astype(np.int64), _KNOTS - 2)
        result[rows] = table[low] + (place - low) * (table[low + 1] - table[low])
    return result


def stated_shape(position: npt.ArrayLike, scores: Floats, *, spread: Spread) -> Floats:
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
    .. [1] D. G. Malcolm, J. H. Roseboom, C. E. Clark and W. Fazar, "Application of a Technique for Research and Development
       Program Evaluation", Operations Research 7(5), 1959.
    """
    m = np.atleast_1d(np.asarray(position, dtype=float))
    if spread == "triangular":
        p, mode = ndtr(scores), m[:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.where(p < mode, np.sqrt(p * mode), 1.0 - np.sqrt((1.0 - p) * (1.0 - mode))))
    values, which = np.unique(m, return_inverse=True)
    if len(values) > _EXACT_SHAPES:
        values, which = np.linspace(0.0, 1.0, _EXACT_SHAPES + 1), None
    knots = np.linspace(-6.0, 6.0, 257)
    table = betaincinv(1 + 4 * values[:, None], 5 - 4 * values[:, None], ndtr(knots)[None, :])
    if which is None:
        at = np.minimum((m * _EXACT_SHAPES).astype(np.int64), _EXACT_SHAPES - 1)
        part = (m * _EXACT_SHAPES - at)[:, None]
        rows = table[at] + part * (table[at + 1] - table[at])
    else:
        rows = table[which]
    place = np.clip((scores + 6.0) * ((len(knots) - 1) / 12.0), 0.0, len(knots) - 1.0)
    low = np.minimum(place.astype(np.int64), len(knots) - 2)
    left = np.take_along_axis(rows, low, axis=1)
    return np.asarray(left + (place - low) * (np.take_along_axis(rows, low + 1, axis=1) - left))
