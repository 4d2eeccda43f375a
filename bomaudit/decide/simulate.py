"""Joint simulation of all decisions: shared causes move parts together, everything else moves alone."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

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

_CELLS_A_CHUNK = 200_000
"""Parts and ranges × draws held at once, below 1 MB an array: the work stays in the cache, which is three times as
fast as ten times as much at once."""
_MOST_COLUMNS = 512
"""Independent columns of scores held at once (16 MB at 4,096 draws, in the cache). More causes share columns, never
within a decision."""


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
    """Which column of scores each cause has.

    Attributes
    ----------
    factor, part, spread : array of int, shape (factors,), (parts,), (ranges,)
        -1 where the cause is not used.
    count : int
    mix : csr array, shape (parts, count)
        Score of each part's log price from the columns: its factors and its own noise, to unit variance.
    only : array of int, optional
        The columns that the scores at hand are of, ascending; all of them if not given.
    """

    factor: Ints
    part: Ints
    spread: Ints
    count: int
    mix: sparse.csr_array
    only: Ints | None = None

    def rows(self, columns: Ints) -> Ints:
        """Rows of the scores at hand that hold some columns."""
        return columns if self.only is None else np.searchsorted(self.only, columns)

    def mix_of(self, parts: Ints) -> sparse.csr_array:
        """Weights of the scores at hand in the scores of some parts."""
        mix = self.mix[parts]
        if self.only is None:
            return mix
        at = self.rows(mix.indices.astype(np.int64))
        return sparse.csr_array((mix.data, at, mix.indptr), shape=(len(parts), len(self.only)))

    def for_one(self, model: Model, d: int) -> Columns:
        """The same, with scores at hand only of the columns that one decision needs; at least one."""
        accounts = model.accounts
        options = range(int(accounts.first_option[d]), int(accounts.first_option[d + 1]))
        parts, ranges = _block(model.part_use, options)[0], _block(model.range_use, options)[0]
        used = np.unique(np.concatenate([self.mix[parts].indices, self.spread[ranges]]))
        used = used[used >= 0]
        return replace(self, only=used if len(used) else np.zeros(1, dtype=np.int64))


def mixed(prices: Prices, factor: Ints, part: Ints, count: int) -> sparse.csr_array:
    """Weights of the columns in each part's score; see :class:`Columns`. A part with no column has none."""
    loadings = sparse.coo_array(prices.loadings)
    own = np.where(part >= 0, np.nan_to_num(prices.sd_own), 0.0)
    at, by = loadings.coords
    held, alone = (factor[by] >= 0) & np.isfinite(loadings.data), np.flatnonzero(own > 0)
    rows = np.concatenate([at[held], alone])
    values = np.concatenate([loadings.data[held], own[alone]])
    total = np.sqrt(np.bincount(rows, weights=values**2, minlength=len(own)))
    place = np.concatenate([factor[by[held]], part[alone]])
    weight = (values / np.where(total > 0, total, 1.0)[rows]).astype(np.float32)
    return sparse.csr_array((weight, (rows, place)), shape=(len(own), max(count, 1)))


def assign_columns(model: Model) -> Columns:
    """Give the shared factors the best-spread columns, then parts and ranges, most important first.

    With more causes than columns, a column serves several causes that meet in no decision.
    """
    weight = abs(model.part_use) @ sparse.diags_array(np.nan_to_num(model.prices.median))
    used = np.asarray(abs(weight).sum(axis=0)).ravel()
    loading = np.asarray(abs(model.prices.loadings).T @ used).ravel()
    factors = np.flatnonzero(loading > 0)
    factor = np.full(len(loading), -1)
    factor[factors[np.argsort(-loading[factors], kind="stable")]] = np.arange(len(factors))
    own = used * np.nan_to_num(model.prices.sd_own)
    spread = np.asarray(abs(model.range_use).sum(axis=0)).ravel() * model.ranges.sd
    size = np.concatenate([own, spread])
    room = max(_MOST_COLUMNS - len(factors), 1)
    column = np.full(len(size), -1)
    live = np.flatnonzero(size > 0)
    if len(live) <= room:
        place = np.empty(len(live), dtype=np.int64)
        place[np.argsort(-size[live], kind="stable")] = np.arange(len(live))
    else:
        place = _shared_columns(model, live, room)
    column[live] = len(factors) + place
    count = len(factors) + int(place.max(initial=-1)) + 1
    part = column[: len(own)]
    return Columns(factor, part, column[len(own) :], count, mixed(model.prices, factor, part, count))


def _shared_columns(model: Model, live: Ints, room: int) -> Ints:
    """Columns for more causes than there are, so that no two of one decision share one; more room where it must be.

    Causes of several decisions choose first, the one in most decisions foremost, each the least used column that is
    free in all its decisions. Those of one decision then take what is free there, in order.
    """
    use = sparse.hstack([model.part_use, model.range_use]).tocsc()[:, live].tocoo()
    cause, decision = np.unique(np.stack([use.coords[1], model.accounts.decision_of[use.coords[0]]]), axis=1)
    begin = np.searchsorted(cause, np.arange(len(live) + 1))
    times = np.diff(begin)
    taken = np.zeros((len(model.accounts.products), room), dtype=bool)
    column, load = np.full(len(live), -1), np.zeros(room)
    shared = np.flatnonzero(times > 1)
    for c in shared[np.argsort(-times[shared], kind="stable")]:
        mine = decision[begin[c] : begin[c + 1]]
        free = ~taken[mine].any(axis=0)
        if not free.any():
            taken = np.pad(taken, ((0, 0), (0, 1)))
            free, load = np.append(free, True), np.append(load, 0.0)
        column[c] = int(np.argmin(np.where(free, load, np.inf)))
        taken[mine, column[c]] = True
        load[column[c]] += times[c]
    single = np.flatnonzero(times == 1)
    home = decision[begin[single]]
    order = np.argsort(home, kind="stable")
    rank = np.empty(len(single), dtype=np.int64)
    rank[order] = np.arange(len(single)) - np.searchsorted(home[order], home[order])
    lacking = int((rank + 1 - (~taken).sum(axis=1)[home]).max(initial=0))
    taken = np.pad(taken, ((0, 0), (0, max(lacking, 0))))
    column[single] = np.argsort(taken, axis=1, kind="stable")[home, rank]
    return column


@dataclass(frozen=True)
class Draws:
    """Drawn costs of a run of decisions.

    Attributes
    ----------
    decisions : range
        Positions of the decisions.
    first_option : int
        Position of the first option drawn.
    cost : array, shape (options of these decisions, draws)
        Cost per product. [currency/product]
    parts_only : array, same shape
        The same with every stated range at its mean: what the part prices alone do.
    parts, ranges : array of int
        Positions of the parts and ranges that vary.
    part_scores, range_scores : array, shape (parts, draws), (ranges, draws)
        Standard normal score of each part's price and of each range.
    """

    decisions: range
    first_option: int
    cost: Floats
    parts_only: Floats
    parts: Ints
    ranges: Ints
    part_scores: Scores
    range_scores: Scores


def in_chunks(model: Model, draws: int) -> Iterator[range]:
    """Runs of decisions that are drawn at once, in their order."""
    accounts = model.accounts
    causes = np.diff(model.part_use.indptr) + np.diff(model.range_use.indptr) + 1
    done = np.concatenate([[0], np.cumsum(causes)])[accounts.first_option]
    at, last = 0, len(accounts.first_option) - 1
    while at < last:
        stop = int(np.searchsorted(done, done[at] + max(_CELLS_A_CHUNK // draws, 1), side="right")) - 1
        stop = min(max(stop, at + 1), last)
        yield range(at, stop)
        at = stop


def draw_some(model: Model, columns: Columns, scores: Scores, decisions: range) -> Draws:
    """Draw the cost per product of every option of some decisions.

    Parameters
    ----------
    model : Model
    columns : Columns
    scores : array, shape (columns, draws)
        From :func:`bomaudit.decide.draws.normal_scores`; in single precision at half the time.
    decisions : range
        Positions.

    Returns
    -------
    Draws
    """
    first = model.accounts.first_option
    options = range(int(first[decisions.start]), int(first[decisions.stop]))
    parts, part_use = _block(model.part_use, options)
    ranges, range_use = _block(model.range_use, options)
    part_scores = np.asarray(columns.mix_of(parts) @ scores)
    price = price_ratios(part_scores, model.sd_log[parts], model.dof[parts])
    from_parts = _summed(part_use * model.median[parts], price)
    from_parts += model.fixed[options.start : options.stop, None]
    if not len(ranges):
        return Draws(decisions, options.start, from_parts, from_parts, parts, ranges, part_scores, np.empty((0, 0)))
    range_scores = scores[columns.rows(columns.spread[ranges])]
    certain, share, shape = _stated(model.ranges, ranges, range_scores)
    cost = _summed(range_use * share, shape)
    cost += from_parts
    cost += (range_use @ certain)[:, None]
    from_parts += (range_use @ model.ranges.mean[ranges])[:, None]
    return Draws(decisions, options.start, cost, from_parts, parts, ranges, part_scores, range_scores)


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
