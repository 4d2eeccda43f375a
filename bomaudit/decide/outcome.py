"""What the draws say of each decision: chances, intervals, and the value of knowing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.decide.draws import REPLICATES, normal_scores, power_of_two
from bomaudit.decide.simulate import Columns, Draws, Model, assign_columns, draw_costs, draw_some, standard_error
from bomaudit.decide.value_of_asking import partial_information, perfect_information, reliability
from bomaudit.settings import DecideSection

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_MOST_DRAWS = 1 << 17
"""Where the draws stop growing: 131,072 points bring a probability below 0.14 % even if they were plain random."""


@dataclass(frozen=True)
class Outcomes:
    """Results of the draws.

    Attributes
    ----------
    decisions : DataFrame, one row a decision
        p_flip, p_pays_back, p_error [-]; saving_low, saving_high (the choice against the target, [currency/product]);
        npv_low, npv_high, npv_mean, evpi (all parts), evpi_all (ranges too) [currency]; draws.
    known : DataFrame
        d, kind (part, factor, element), position, evpi, evsi (parts only: one quote with its noise). [currency]. Only of
        decisions in which knowing all parts is worth more than one quote costs; in the others no single part can be.
    """

    decisions: pd.DataFrame
    known: pd.DataFrame


def simulate(model: Model, target: Ints, *, rules: DecideSection, confidence: float, quote_noise: float) -> Outcomes:
    """Draw all decisions together and read off what matters; more draws where a probability is not yet sure enough.

    Parameters
    ----------
    model : Model
    target : array of int, shape (decisions,)
        Position of the option that switching means.
    rules : DecideSection
    confidence : float
        Coverage of the intervals. [-]
    quote_noise : float
        Standard deviation of the log of a firm quote. [ln]

    Returns
    -------
    Outcomes
    """
    columns = assign_columns(model)
    draws = power_of_two(rules.draws)
    scores = normal_scores(max(columns.count, 1), draws=draws, seed=rules.seed)
    heads: list[dict[str, float]] = []
    known: list[pd.DataFrame] = []
    reader = _Reader(model, target, rules, confidence, quote_noise)
    for drawn in draw_costs(model, columns, scores, spread=rules.spread):
        for d in drawn.decisions:
            head, parts = reader.read(drawn, d, columns, scores)
            while head["p_error"] > rules.standard_error and head["draws"] < _MOST_DRAWS:
                head, parts = reader.again(d, draws=int(head["draws"]) * 4)
            heads.append(head)
            known.append(parts)
    names = ["d", "kind", "position", "evpi", "evsi"]
    found = [k for k in known if len(k)]
    return Outcomes(
        pd.DataFrame(heads, columns=_HEAD),
        pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=names),
    )


_HEAD = [
    "p_flip", "p_pays_back", "p_error", "saving_low", "saving_high", "npv_low", "npv_high", "npv_mean", "evpi", "evpi_all",
    "draws",
]  # fmt: skip


@dataclass(frozen=True)
class _Reader:
    model: Model
    target: Ints
    rules: DecideSection
    confidence: float
    quote_noise: float

    def read(self, drawn: Draws, d: int, columns: Columns, scores: Floats) -> tuple[dict[str, float], pd.DataFrame]:
        accounts = self.model.accounts
        rows = slice(accounts.first_option[d] - drawn.first_option, accounts.first_option[d + 1] - drawn.first_option)
        options = np.arange(accounts.first_option[d], accounts.first_option[d + 1])
        chosen, others = options[accounts.chosen[options]], options[~accounts.chosen[options]]
        cost, parts_only = drawn.cost[rows], drawn.parts_only[rows]
        saved = cost[chosen - options[0]] - cost[others - options[0]]
        products, paid = accounts.products[d], accounts.switch_cost[others][:, None]
        to = int(np.flatnonzero(others == self.target[d])[0])
        npv = products * saved - paid
        flip, pays = saved.max(axis=0) > 0, npv[to] > 0
        tail = (1.0 - self.confidence) / 2.0
        low, high = np.quantile(-saved[to], [tail, 1.0 - tail])
        money = (products * np.array([-high, -low]) - paid[to]) if np.isfinite(products) else np.full(2, np.nan)
        of_parts = products * (parts_only[chosen - options[0]] - parts_only[others - options[0]]) - paid
        known = np.isfinite(products)
        head = {
            "p_flip": float(flip.mean()), "p_pays_back": float(pays.mean()) if known else np.nan,
            "p_error": max(standard_error(flip), standard_error(pays)),
            "saving_low": low, "saving_high": high, "npv_low": money[0], "npv_high": money[1],
            "npv_mean": float(npv[to].mean()), "evpi": perfect_information(of_parts) if known else np.nan,
            "evpi_all": perfect_information(npv) if known else np.nan, "draws": float(cost.shape[1]),
        }  # fmt: skip
        if not known or head["evpi_all"] <= self.rules.cost_of_asking:
            return head, pd.DataFrame()
        return head, self._known(drawn, d, npv, options, columns, scores)

    def _known(
        self, drawn: Draws, d: int, npv: Floats, options: Ints, columns: Columns, scores: Floats
    ) -> pd.DataFrame:
        """Value of knowing each part, range and shared factor of the decision."""
        model, held = self.model, slice(options[0], options[-1] + 1)
        parts = np.unique(model.part_use[held].indices)
        own = np.searchsorted(drawn.parts, parts)
        sure = reliability(model.prices.parts["sd_log"].to_numpy(dtype=float)[parts], self.quote_noise)
        part_scores = drawn.part_scores[own]
        moving = np.flatnonzero(part_scores.any(axis=1))
        parts, part_scores, sure = parts[moving], part_scores[moving], sure[moving]
        ranges = np.unique(model.range_use[held].indices)
        range_scores = drawn.range_scores[np.searchsorted(drawn.ranges, ranges)]
        factors = np.unique(model.prices.loadings[parts].indices)
        factors = factors[columns.factor[factors] >= 0]
        stacked = [part_scores, *([range_scores] if len(ranges) else []), scores[columns.factor[factors]]]
        evpi = partial_information(npv, np.concatenate(stacked))
        evsi = partial_information(npv, part_scores, sure)
        kind = ["part"] * len(parts) + ["element"] * len(ranges) + ["factor"] * len(factors)
        frame = pd.DataFrame({"d": d, "kind": kind, "position": np.concatenate([parts, ranges, factors]), "evpi": evpi})
        return frame.assign(evsi=np.concatenate([evsi, np.full(len(ranges) + len(factors), np.nan)]))

    def again(self, d: int, *, draws: int) -> tuple[dict[str, float], pd.DataFrame]:
        """Read one decision from more draws, in columns of its own, the most important causes in the first ones."""
        columns = columns_of(self.model, d)
        scores = normal_scores(max(columns.count, 1), draws=draws, seed=self.rules.seed)
        drawn = draw_some(self.model, columns, scores, range(d, d + 1), spread=self.rules.spread)
        return self.read(drawn, d, columns, scores)


def columns_of(model: Model, d: int) -> Columns:
    """Columns for one decision alone."""
    first, last = model.accounts.first_option[d], model.accounts.first_option[d + 1]
    prices = model.prices
    parts, ranges = np.unique(model.part_use[first:last].indices), np.unique(model.range_use[first:last].indices)
    use = abs(model.part_use[first:last]).sum(axis=0)[parts] * np.nan_to_num(prices.median[parts])
    loading = np.asarray(abs(prices.loadings[parts]).T @ use).ravel()
    factors = np.flatnonzero(loading > 0)
    spread = abs(model.range_use[first:last]).sum(axis=0)[ranges] * (model.high - model.low + model.sd)[ranges]
    size = np.concatenate([loading[factors], use * np.nan_to_num(prices.sd_own[parts]), spread])
    place = np.empty(len(size), dtype=np.int64)
    place[np.argsort(-size, kind="stable")] = np.arange(len(size))
    full = [np.full(n, -1) for n in (len(prices.factors), len(prices.parts), len(model.mode))]
    stops = np.cumsum([len(factors), len(parts), len(ranges)])
    for column, rows, where in zip(full, (factors, parts, ranges), np.split(place, stops[:-1]), strict=True):
        column[rows] = where
    return Columns(full[0], full[1], full[2], len(size))


def error_bound(draws: int) -> float:
    """Standard error of a probability of one half from as many plain random draws, for comparison. [-]."""
    return float(0.5 / np.sqrt(max(draws, REPLICATES)))
