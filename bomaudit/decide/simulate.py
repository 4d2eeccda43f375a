"""Joint simulation of all decisions: shared causes move parts together, everything else moves alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse

from bomaudit.decide.accounted import Accounts, per_part
from bomaudit.decide.draws import FURTHEST, REPLICATES, Spread, stated_shape, tails
from bomaudit.decide.elements import Costed
from bomaudit.decide.pricing import Prices

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

_CELLS_A_CHUNK = 2_000_000
"""Parts and ranges × draws held at once: 16 MB an array, which keeps memory flat and the work near the cache."""
_MOST_COLUMNS = 2048
"""Independent columns of scores held at once (64 MB at 4,096 draws). More causes share columns, never within a decision."""


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
    mode, low, high, sd : array, shape (ranges,)
        Stated ranges; sd where no ends are stated. [currency]
    range_element : array of int, shape (ranges,)
        Position of the element.
    """

    accounts: Accounts
    prices: Prices
    part_use: sparse.csr_array
    range_use: sparse.csr_array
    fixed: Floats
    mode: Floats
    low: Floats
    high: Floats
    sd: Floats
    range_element: Ints

    @property
    def by_range(self) -> Bools:
        """Ranges with ends, shape (ranges,); the others have a standard deviation."""
        return self.high > self.low

    def range_mean(self, spread: Spread) -> Floats:
        """Mean of each stated range. [currency]."""
        middle = 4.0 if spread == "pert" else 1.0
        return np.asarray(
            np.where(self.by_range, (self.low + middle * self.mode + self.high) / (middle + 2), self.mode)
        )

    def range_sd(self, spread: Spread) -> Floats:
        """Standard deviation of each stated range. [currency]."""
        mean = self.range_mean(spread)
        pert = (mean - self.low) * (self.high - mean) / 7.0
        square = self.low**2 + self.mode**2 + self.high**2
        triangular = (square - self.low * self.mode - self.low * self.high - self.mode * self.high) / 18.0
        return np.asarray(
            np.where(self.by_range, np.sqrt(np.maximum(pert if spread == "pert" else triangular, 0)), self.sd)
        )


def build_model(accounts: Accounts, costed: Costed) -> Model:
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
    return Model(
        accounts, costed.prices, per_part(accounts, costed.coefficients), range_use, accounts.per_option(certain),
        mode[uncertain], low[uncertain], high[uncertain], sd[uncertain], uncertain,
    )  # fmt: skip


@dataclass(frozen=True)
class Columns:
    """Which column of scores each cause has.

    Attributes
    ----------
    factor, part, spread : array of int, shape (factors,), (parts,), (ranges,)
        -1 where the cause is not used.
    count : int
    """

    factor: Ints
    part: Ints
    spread: Ints
    count: int


def assign_columns(model: Model) -> Columns:
    """Give the shared factors the best-spread columns, then parts and ranges, most important first.

    With more causes than columns, a column serves several causes that meet in no decision.
    """
    weight = np.abs(model.part_use) @ sparse.diags_array(np.nan_to_num(model.prices.median))
    used = np.asarray(abs(weight).sum(axis=0)).ravel()
    loading = np.asarray(abs(model.prices.loadings).T @ used).ravel()
    factors = np.flatnonzero(loading > 0)
    factor = np.full(len(loading), -1)
    factor[factors[np.argsort(-loading[factors], kind="stable")]] = np.arange(len(factors))
    own = used * np.nan_to_num(model.prices.sd_own)
    spread = np.asarray(abs(model.range_use).sum(axis=0)).ravel() * (model.high - model.low + model.sd)
    size = np.concatenate([own, spread])
    room = max(_MOST_COLUMNS - len(factors), 1)
    column = np.full(len(size), -1)
    live = np.flatnonzero(size > 0)
    if len(live) <= room:
        column[live[np.argsort(-size[live], kind="stable")]] = len(factors) + np.arange(len(live))
        taken = len(live)
    else:
        column[live], taken = len(factors) + _coloured(model, live, room), room
    return Columns(factor, column[: len(own)], column[len(own) :], len(factors) + taken)


def _coloured(model: Model, live: Ints, room: int) -> Ints:
    """Columns for more causes than there are, so that no two of one decision share one."""
    use = sparse.hstack([model.part_use, model.range_use]).tocsc()[:, live].tocoo()
    decision = model.accounts.decision_of[use.coords[0]]
    pairs = np.unique(np.stack([use.coords[1], decision]), axis=1)
    first = np.full(len(live), len(model.accounts.products))
    np.minimum.at(first, pairs[0], pairs[1])
    order = np.empty(len(live), dtype=np.int64)
    order[np.argsort(first, kind="stable")] = np.arange(len(live))
    column = order % room
    for step in range(1, room):
        key = pairs[1] * room + column[pairs[0]]
        by_key = np.argsort(key, kind="stable")
        clash = np.flatnonzero(np.diff(key[by_key]) == 0)
        if not len(clash):
            return column
        later = np.unique(np.maximum(pairs[0][by_key[clash]], pairs[0][by_key[clash + 1]]))
        column[later] = (column[later] + step) % room
    raise ValueError(f"a decision has more than {room} uncertain causes")


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
    part_scores: Floats
    range_scores: Floats


def draw_costs(model: Model, columns: Columns, scores: Floats, *, spread: Spread) -> Iterator[Draws]:
    """Draw the cost per product of every option, some decisions at a time.

    Parameters
    ----------
    model : Model
    columns : Columns
    scores : array, shape (columns, draws)
        From :func:`bomaudit.decide.draws.normal_scores`.
    spread : {"pert", "triangular"}

    Yields
    ------
    Draws
        All decisions, in their order.
    """
    for decisions in _chunks(model, scores.shape[1]):
        yield draw_some(model, columns, scores, decisions, spread=spread)


def _chunks(model: Model, draws: int) -> Iterator[range]:
    accounts = model.accounts
    causes = np.diff(model.part_use.indptr) + np.diff(model.range_use.indptr) + 1
    done = np.concatenate([[0], np.cumsum(causes)])[accounts.first_option]
    at, last = 0, len(accounts.first_option) - 1
    while at < last:
        stop = int(np.searchsorted(done, done[at] + max(_CELLS_A_CHUNK // draws, 1), side="right")) - 1
        stop = min(max(stop, at + 1), last)
        yield range(at, stop)
        at = stop


def draw_some(model: Model, columns: Columns, scores: Floats, decisions: range, *, spread: Spread) -> Draws:
    """Draw the decisions of a range; see :func:`draw_costs`."""
    accounts = model.accounts
    options = slice(accounts.first_option[decisions.start], accounts.first_option[decisions.stop])
    part_use, range_use = model.part_use[options], model.range_use[options]
    parts, ranges = np.unique(part_use.indices), np.unique(range_use.indices)
    part_scores = part_normal_scores(model.prices, columns, scores, parts)
    scale = model.prices.parts["sd_log"].to_numpy(dtype=float)[parts, None]
    dof = model.prices.parts["dof"].to_numpy(dtype=float)[parts]
    logs = np.clip(tails(part_scores, dof) * np.nan_to_num(scale), -FURTHEST, FURTHEST)
    price = np.exp(logs, out=logs) * model.prices.median[parts, None]
    from_parts = part_use[:, parts] @ price + model.fixed[options, None]
    if not len(ranges):
        return Draws(decisions, options.start, from_parts, from_parts, parts, ranges, part_scores, np.empty((0, 0)))
    range_scores = scores[columns.spread[ranges]]
    stated = _stated(model, ranges, range_scores, spread=spread)
    use = range_use[:, ranges]
    mean = use @ model.range_mean(spread)[ranges]
    return Draws(
        decisions,
        options.start,
        from_parts + use @ stated,
        from_parts + mean[:, None],
        parts,
        ranges,
        part_scores,
        range_scores,
    )


def part_normal_scores(prices: Prices, columns: Columns, scores: Floats, parts: Ints) -> Floats:
    """Standard normal score of each part's log price: its factors and its own noise, to unit variance.

    Returns
    -------
    array, shape (parts, draws)
    """
    loadings = prices.loadings[parts].tocoo()
    held = columns.factor[loadings.coords[1]] >= 0
    own = np.nan_to_num(prices.sd_own[parts])
    alone = np.flatnonzero(own > 0)
    rows = np.concatenate([loadings.coords[0][held], alone])
    place = np.concatenate([columns.factor[loadings.coords[1][held]], columns.part[parts[alone]]])
    values = np.concatenate([loadings.data[held], own[alone]])
    total = np.sqrt(np.bincount(rows, weights=values**2, minlength=len(parts)))
    values = values / np.where(total > 0, total, 1.0)[rows]
    mix = sparse.csr_array((values, (rows, place)), shape=(len(parts), scores.shape[0]))
    return np.asarray(mix @ scores)


def _stated(model: Model, ranges: Ints, scores: Floats, *, spread: Spread) -> Floats:
    low, high, mode = model.low[ranges], model.high[ranges], model.mode[ranges]
    by_range = model.by_range[ranges]
    result = mode[:, None] + model.sd[ranges, None] * scores
    if by_range.any():
        width = (high - low)[by_range]
        shape = stated_shape((mode - low)[by_range] / width, scores[by_range], spread=spread)
        result[by_range] = low[by_range, None] + width[:, None] * shape
    return result


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
    shares = flags.reshape(REPLICATES, -1).mean(axis=1)
    return float(np.std(shares, ddof=1) / np.sqrt(REPLICATES))
