"""What the draws say of each decision: chances, intervals, and the value of knowing."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from threading import Lock

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.decide.causes import KINDS, Causes, find_causes
from bomaudit.decide.draws import Draws as Scores
from bomaudit.decide.draws import power_of_two
from bomaudit.decide.kept_draws import kept_scores
from bomaudit.decide.simulate import Columns, Draws, Model, assign_columns, draw, options_of, standard_error
from bomaudit.decide.value_of_asking import most_it_could_be, perfect_information, regress, reliability
from bomaudit.progress import told
from bomaudit.settings import DecideSection

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_MOST_DRAWS = 1 << 17
"""Where the draws stop growing: 131,072 points bring a probability below 0.14 % even if they were plain random."""

_WORKERS = 2
_ROUNDING = 1e-6
"""Differences below this share of the cost are rounding (prices are drawn in single precision): options that are alike
must not seem to flip."""
_WORTH_LOOKING = 0.1
"""A cause is looked at if knowing it could be worth a tenth of a quote."""


@dataclass(frozen=True)
class Outcomes:
    """Results of the draws.

    Attributes
    ----------
    decisions : DataFrame, one row a decision
        p_flip, p_pays_back, p_error [-]; saving_low, saving_high (the choice against the target, [currency/product]);
        npv_low, npv_high, npv_mean, evpi (all parts), evpi_all (ranges too) [currency]; draws; and the saving at each
        of ``SAVINGS`` [currency/product].
    known : DataFrame
        d, kind (part, factor, element), position, evpi, evsi (parts only: one quote with its noise). [currency]. Only
        of decisions in which knowing all parts is worth more than one quote costs; in the others no single part can
        be.
    """

    decisions: pd.DataFrame
    known: pd.DataFrame


def simulate(model: Model, target: Ints, *, rules: DecideSection, confidence: float, quote_noise: float) -> Outcomes:
    """Draw each decision by itself and read off what matters; more draws where a probability is not yet sure enough.

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
    reader = _Reader(model, target, find_causes(model), rules, confidence, quote_noise)
    with ThreadPoolExecutor(_WORKERS) as pool:  # the array work lets other threads run; results come in order
        count = len(model.accounts.first_option) - 1
        found = list(told("drawing decisions", pool.map(reader.sure, range(count)), count))
    heads = pd.DataFrame([head for head, _ in found], columns=_HEAD)
    return Outcomes(heads, _tabulated([k for _, k in found if k is not None]))


@dataclass(frozen=True)
class _Known:
    d: int
    kind: Ints
    position: Ints
    evpi: Floats
    evsi: Floats


def _tabulated(known: list[_Known]) -> pd.DataFrame:
    def joined(name: str, kind: type) -> npt.NDArray[np.generic]:
        return np.concatenate([np.empty(0, dtype=kind), *(np.asarray(getattr(k, name), dtype=kind) for k in known)])

    d = np.repeat(np.array([k.d for k in known], dtype=np.int64), [len(k.kind) for k in known])
    kind = np.array(KINDS, dtype=object)[joined("kind", np.int64)]
    return pd.DataFrame(
        {"d": d, "kind": kind, "position": joined("position", np.int64), "evpi": joined("evpi", np.float64),
         "evsi": joined("evsi", np.float64)}
    )  # fmt: skip


SAVINGS = {f"saving_{k / 40:g}": k / 40 for k in range(1, 40)}
"""Columns that hold the saving below which a share of the draws lies, every 2.5 %, and that share."""
_HEAD = [
    "p_flip", "p_pays_back", "p_error", "saving_low", "saving_high", "npv_low", "npv_high", "npv_mean", "evpi",
    "evpi_all", "draws", *SAVINGS,
]  # fmt: skip


@dataclass(frozen=True)
class _Reader:
    model: Model
    target: Ints
    causes: Causes
    rules: DecideSection
    confidence: float
    quote_noise: float

    def sure(self, d: int) -> tuple[dict[str, float], _Known | None]:
        """Read a decision, with more draws until its probabilities are sure enough."""
        columns = assign_columns(self.model, d)
        draws = power_of_two(self.rules.draws)
        head, known = self.read(d, columns, draws=draws)
        while head["p_error"] > self.rules.standard_error and draws < _MOST_DRAWS:
            draws *= 2
            head, known = self.read(d, columns, draws=draws)
        return head, known

    def read(self, d: int, columns: Columns, *, draws: int) -> tuple[dict[str, float], _Known | None]:
        """Read a decision from so many draws, its most important causes in the best-spread columns."""
        with _MAKING:
            scores = _scores(1 << (columns.count - 1).bit_length(), draws, self.rules.seed)
        drawn = draw(self.model, columns, scores, d)
        accounts = self.model.accounts
        options = np.asarray(options_of(self.model, d))
        chosen, others = options[accounts.chosen[options]], options[~accounts.chosen[options]]
        cost, parts_only = drawn.cost, drawn.parts_only
        saved = cost[chosen - options[0]] - cost[others - options[0]]
        products, paid = accounts.products[d], accounts.switch_cost[others][:, None]
        to = int(np.flatnonzero(others == self.target[d])[0])
        npv = products * saved - paid
        nothing = _ROUNDING * np.abs(cost[chosen - options[0]])
        flip, pays = (saved > nothing).any(axis=0), npv[to] > products * nothing[0]
        tail = (1.0 - self.confidence) / 2.0
        low, high, *spread = _quantiles(-saved[to], (tail, 1.0 - tail, *SAVINGS.values()))
        money = (products * np.array([-high, -low]) - paid[to]) if np.isfinite(products) else np.full(2, np.nan)
        of_parts = products * (parts_only[chosen - options[0]] - parts_only[others - options[0]]) - paid
        known = np.isfinite(products)
        head = {
            "p_flip": float(flip.mean()), "p_pays_back": float(pays.mean()) if known else np.nan,
            "p_error": max(standard_error(flip), standard_error(pays)),
            "saving_low": low, "saving_high": high, "npv_low": money[0], "npv_high": money[1],
            "npv_mean": float(npv[to].mean()), "evpi": perfect_information(of_parts) if known else np.nan,
            "evpi_all": perfect_information(npv) if known else np.nan, "draws": float(cost.shape[1]),
            **dict(zip(SAVINGS, spread, strict=True)),
        }  # fmt: skip
        if not known or head["evpi_all"] <= self.rules.cost_of_asking:
            return head, None
        return head, self._known(drawn, d, npv, columns, scores, perfect=(head["evpi"], head["evpi_all"]))

    def _known(
        self, drawn: Draws, d: int, npv: Floats, columns: Columns, scores: Scores, *, perfect: tuple[float, float]
    ) -> _Known:
        """Value of knowing each part, range and shared factor that could be worth a quote."""
        model, causes = self.model, self.causes
        held = causes.of(d)
        could_be = most_it_could_be(npv.mean(axis=1), causes.reach[held] * model.accounts.products[d])
        rows = np.flatnonzero(could_be > self.rules.cost_of_asking * _WORTH_LOOKING) + held.start
        kind, position = causes.kind[rows], causes.position[rows]
        score = np.empty((len(rows), npv.shape[1]), dtype=scores.dtype)
        score[kind == 0] = drawn.part_scores[np.searchsorted(columns.parts, position[kind == 0])]
        if (kind == 1).any():
            score[kind == 1] = drawn.range_scores[np.searchsorted(columns.ranges, position[kind == 1])]
        score[kind == 2] = scores[columns.factor[position[kind == 2]]]  # noqa: PLR2004  (third of KINDS)
        found = regress(npv, score)
        share = np.ones(len(rows))
        of_part = position[kind == 0]
        share[kind == 0] = reliability(model.sd_log[of_part], self.quote_noise)
        # no single cause is worth more than all of its kind together: the regression's own error must not say so
        most = np.where(kind == 0, perfect[0], perfect[1])
        evpi = np.minimum(found.value(), most)
        evsi = np.where(kind == 0, np.minimum(found.value(share), evpi), np.nan)
        return _Known(d, kind, position, evpi, evsi)


_MAKING = Lock()
"""Threads that want the same scores make them once."""


@lru_cache(maxsize=16)
def _scores(columns: int, draws: int, seed: int) -> Scores:
    """Scores for decisions of about as many causes: the same for all of them."""
    return kept_scores(columns, draws=draws, seed=seed)


def _quantiles(values: Floats, shares: tuple[float, ...]) -> list[float]:
    """Quantiles: the draws in those places, in one pass."""
    places = [round(share * (len(values) - 1)) for share in shares]
    held = np.partition(values, places)
    return [float(held[place]) for place in places]
