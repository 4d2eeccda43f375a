"""Joint simulation of a decision: shared causes move parts together, everything else moves alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse

from bomaudit.decide.accounted import Accounts, per_part
from bomaudit.decide.draws import REPLICATES, Spread, price_ratios, stated_shape
from bomaudit.decide.draws import Draws as Scores
from bomaudit.decide.elements import Costed
from bomaudit.decide.pricing import Prices

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Ranges:
    """Stated elements that are uncertain.

    Attributes
    ----------
    element : array of int, shape (ranges,)
        Position of the element.
    low, mode, high : array, shape (ranges,)
        [currency]
    by_ends : array of bool, shape (ranges,)
        The range has ends; the others have a standard deviation and are normal.
    mean, sd : array, shape (ranges,)
        [currency]
    spread : {"pert", "triangular"}
        Distribution of the ranges with ends.
    """

    element: Ints
    low: Floats
    mode: Floats
    high: Floats
    by_ends: Bools
    mean: Floats
    sd: Floats
    spread: Spread


def stated_ranges(element: Ints, low: Floats, mode: Floats, high: Floats, sd: Floats, *, spread: Spread) -> Ranges:
    """Moments of stated ranges.

    Parameters
    ----------
    element : array of int, shape (ranges,)
    low, mode, high, sd : array, shape (ranges,)
        sd counts where low and high are the same. [currency]
    spread : {"pert", "triangular"}

    Returns
    -------
    Ranges

    Notes
    -----
    PERT: mean (low + 4 mode + high) / 6, variance (mean - low)(high - mean) / 7 (of its Beta distribution; the
    textbook's ((high - low) / 6)² is an approximation to it). Triangular: mean (low + mode + high) / 3, variance
    (low² + mode² + high² - low mode - low high - mode high) / 18.
    """
    by_ends = high > low
    middle = 4.0 if spread == "pert" else 1.0
    mean = np.where(by_ends, (low + middle * mode + high) / (middle + 2), mode)
    if spread == "pert":
        variance = (mean - low) * (high - mean) / 7.0
    else:
        variance = (low**2 + mode**2 + high**2 - low * mode - low * high - mode * high) / 18.0
    return Ranges(
        element, low, mode, high, by_ends, mean, np.where(by_ends, np.sqrt(np.maximum(variance, 0.0)), sd), spread
    )


@dataclass(frozen=True)
class Model:
    """What is uncertain about the costs per product, in the form that is drawn.

    Attributes
    ----------
    accounts : Accounts
    prices : Prices
    part_use : csr array, shape (options, parts)
        Quantity per product. [uom/product]
    range_use : csr array, shape (options, ranges)
        Quantity per product of each stated element with a range.
    fixed : array, shape (options,)
        Cost per product that is certain. [currency/product]
    ranges : Ranges
    median, sd_log, dof : array, shape (parts,)
        Of the parts' prices, 0 where unknown; dof 0 also for a normal log price. [currency/uom, ln, -]
    """

    accounts: Accounts
    prices: Prices
    part_use: sparse.csr_array
    range_use: sparse.csr_array
    fixed: Floats
    ranges: Ranges
    median: Floats
    sd_log: Floats
    dof: Floats


def build_model(accounts: Accounts, costed: Costed, *, spread: Spread) -> Model:
    """Split the cost per product into parts, stated ranges and what is certain."""
    e = costed.elements
    mode = e["mode"].to_numpy(dtype=float)
    stated = np.isfinite(mode)
    sd = np.nan_to_num(e["sd"].to_numpy(dtype=float))
    low, high = e["low"].to_numpy(dtype=float), e["high"].to_numpy(dtype=float)
    size = accounts.unit_weight * accounts.quantity
    uncertain = np.flatnonzero(stated & ((high > low) | (sd > 0)) & (size != 0))
    certain = np.where(stated, mode, e["constant"].to_numpy(dtype=float))
    certain[uncertain] = 0.0
    range_use = sparse.csr_array(
        (size[uncertain], (accounts.option_of[uncertain], np.arange(len(uncertain)))),
        shape=(accounts.n_options, len(uncertain)),
    )
    ranges = stated_ranges(uncertain, low[uncertain], mode[uncertain], high[uncertain], sd[uncertain], spread=spread)
    part_use = per_part(accounts, costed.coefficients)
    margins = (
        np.nan_to_num(costed.prices.parts[name].to_numpy(dtype=float), posinf=0.0)
        for name in ("estimate", "sd_log", "dof")
    )
    return Model(accounts, costed.prices, part_use, range_use, accounts.per_option(certain), ranges, *margins)


@dataclass(frozen=True)
class Columns:
    """Which column of scores each cause of one decision has.

    Attributes
    ----------
    parts, ranges : array of int
        Positions of the parts and ranges that the decision's options use.
    part_use, range_use : array, shape (options, parts of the decision), (options, ranges of the decision)
        How much of each an option uses. [1/product]
    factor, spread : array of int, shape (factors,), (ranges of the decision,)
        -1 where the cause is not used.
    count : int
    mix : csr array, shape (parts of the decision, count)
        Score of each part's log price from the columns: its factors and its own noise, to unit variance.
    """

    parts: Ints
    ranges: Ints
    part_use: Floats
    range_use: Floats
    factor: Ints
    spread: Ints
    count: int
    mix: sparse.csr_array


def assign_columns(model: Model, d: int) -> Columns:
    """Give the shared factors of a decision the best-spread columns, then its parts and ranges, most important first.

    Nothing but the decision itself counts: its draws are the same whatever other decisions are judged beside it.
    """
    options = options_of(model, d)
    parts, part_use = _block(model.part_use, options)
    ranges, range_use = _block(model.range_use, options)
    used = np.abs(part_use).sum(axis=0) * model.median[parts]
    at, by, shared = _loaded(model.prices.loadings, parts)
    moved = np.bincount(by, weights=np.abs(shared) * used[at], minlength=model.prices.loadings.shape[1])
    factors = np.flatnonzero(moved > 0)
    factor = np.full(len(moved), -1)
    factor[factors[np.argsort(-moved[factors], kind="stable")]] = np.arange(len(factors))
    own = np.nan_to_num(model.prices.sd_own[parts])
    size = np.concatenate([used * own, np.abs(range_use).sum(axis=0) * model.ranges.sd[ranges]])
    live = np.flatnonzero(size > 0)
    column = np.full(len(size), -1)
    column[live[np.argsort(-size[live], kind="stable")]] = len(factors) + np.arange(len(live))
    part = column[: len(parts)]
    held, alone = factor[by] >= 0, np.flatnonzero((part >= 0) & (own > 0))
    rows, values = np.concatenate([at[held], alone]), np.concatenate([shared[held], own[alone]])
    place = np.concatenate([factor[by[held]], part[alone]])
    count = max(len(factors) + len(live), 1)
    mix = _mixed(rows, place, values, shape=(len(parts), count))
    return Columns(parts, ranges, part_use, range_use, factor, column[len(parts) :], count, mix)


def _loaded(loadings: sparse.csr_array, parts: Ints) -> tuple[Ints, Ints, Floats]:
    """Finite loadings of some parts: position among them, factor, loading. By hand: scipy takes a millisecond."""
    first = loadings.indptr[parts].astype(np.int64)
    count = loadings.indptr[parts + 1] - first
    at = np.repeat(np.arange(len(parts)), count)
    entry = np.repeat(first - (np.cumsum(count) - count), count) + np.arange(len(at))
    held = np.isfinite(loadings.data[entry])
    return at[held], loadings.indices[entry][held].astype(np.int64), loadings.data[entry][held]


def _mixed(rows: Ints, place: Ints, values: Floats, *, shape: tuple[int, int]) -> sparse.csr_array:
    """Weights of the columns in each part's score, to unit variance; see :class:`Columns`."""
    total = np.sqrt(np.bincount(rows, weights=values**2, minlength=shape[0]))
    weight = (values / np.where(total > 0, total, 1.0)[rows]).astype(np.float32)
    order = np.lexsort((place, rows))
    indptr = np.concatenate([[0], np.cumsum(np.bincount(rows, minlength=shape[0]))])
    return sparse.csr_array((weight[order], place[order], indptr), shape=shape)


def options_of(model: Model, d: int) -> range:
    """Positions of the options of a decision."""
    first = model.accounts.first_option
    return range(int(first[d]), int(first[d + 1]))


@dataclass(frozen=True)
class Draws:
    """Drawn costs of one decision.

    Attributes
    ----------
    cost : array, shape (options of the decision, draws)
        Cost per product. [currency/product]
    parts_only : array, same shape
        The same with every stated range at its mean: what the part prices alone do.
    part_scores, range_scores : array, shape (parts, draws), (ranges, draws)
        Standard normal score of each part's price and of each range, in the order of the columns' parts and ranges.
    """

    cost: Floats
    parts_only: Floats
    part_scores: Scores
    range_scores: Scores


def draw(model: Model, columns: Columns, scores: Scores, d: int) -> Draws:
    """Draw the cost per product of every option of a decision.

    Parameters
    ----------
    model : Model
    columns : Columns
        Of the decision.
    scores : array, shape (at least columns, draws)
        From :func:`bomaudit.decide.draws.normal_scores`; in single precision at half the time.
    d : int
        Position of the decision.

    Returns
    -------
    Draws
    """
    options, parts, ranges = options_of(model, d), columns.parts, columns.ranges
    part_scores = np.asarray(columns.mix @ scores[: columns.count])
    price = price_ratios(part_scores, model.sd_log[parts], model.dof[parts])
    from_parts = _summed(columns.part_use * model.median[parts], price)
    from_parts += model.fixed[options.start : options.stop, None]
    if not len(ranges):
        return Draws(from_parts, from_parts, part_scores, np.empty((0, 0)))
    range_scores = scores[columns.spread]
    certain, share, shape = _stated(model.ranges, ranges, range_scores)
    cost = _summed(columns.range_use * share, shape)
    cost += from_parts
    cost += (columns.range_use @ certain)[:, None]
    from_parts += (columns.range_use @ model.ranges.mean[ranges])[:, None]
    return Draws(cost, from_parts, part_scores, range_scores)


def _summed(weight: Floats, drawn: Scores) -> Floats:
    """Weighted sums of draws, at the draws' own precision whatever the unit of the weights."""
    scale = float(np.abs(weight).max(initial=0.0)) or 1.0
    total = ((weight / scale).astype(drawn.dtype) @ drawn).astype(np.float64)
    total *= scale
    return total


def _block(use: sparse.csr_array, options: range) -> tuple[Ints, Floats]:
    """Columns that some options use, and their dense block: few rows, few columns, many of them."""
    start, stop = use.indptr[options.start], use.indptr[options.stop]
    columns, place = np.unique(use.indices[start:stop], return_inverse=True)
    block = np.zeros((len(options), len(columns)))
    rows = np.repeat(np.arange(len(options)), np.diff(use.indptr[options.start : options.stop + 1]))
    np.add.at(block, (rows, place), use.data[start:stop])
    return columns.astype(np.int64), block


def _stated(ranges: Ranges, rows: Ints, scores: Scores) -> tuple[Floats, Floats, Scores]:
    """Drawn amounts of some ranges: certain + share × shape, shapes (rows,), (rows,) [currency] and (rows, draws)."""
    low, high, mode = ranges.low[rows], ranges.high[rows], ranges.mode[rows]
    by_ends = ranges.by_ends[rows]
    certain, share = np.where(by_ends, low, mode), np.where(by_ends, high - low, ranges.sd[rows])
    position = (mode - low) / np.where(by_ends, share, 1.0)
    if by_ends.all():
        return certain, share, stated_shape(position, scores, spread=ranges.spread)
    shape = scores.copy()
    if by_ends.any():
        shape[by_ends] = stated_shape(position[by_ends], scores[by_ends], spread=ranges.spread)
    return certain, share, shape


def standard_error(flags: npt.NDArray[np.bool_]) -> float:
    """Standard error of the share of true draws, from the spread between the independent scramblings.

    Parameters
    ----------
    flags : array of bool, shape (draws,)

    Returns
    -------
    float
        [-]
    """
    shares = flags.reshape(REPLICATES, -1).mean(axis=1).tolist()
    mean = sum(shares) / REPLICATES
    return math.sqrt(sum((x - mean) ** 2 for x in shares) / (REPLICATES - 1) / REPLICATES)
