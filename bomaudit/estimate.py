"""Today's price of every line: booked cost, currency, inputs, experience, maturity, own volume, newer quotes.

Puts the fitted curves together. Everything is in logs and over all lines at once; ``as_of`` may lie before or after the
day the curves were fitted.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date
from functools import cache

import numpy as np
import numpy.typing as npt
import pandas as pd
from numpy.polynomial import Chebyshev
from scipy.sparse import csr_array
from scipy.special import stdtrit

from bomaudit.curves.carry import factor_codes, factor_names
from bomaudit.curves.fitted import Curves
from bomaudit.curves.level import Priced, as_arrays, find_level, usable_rows
from bomaudit.curves.maturity import stage_of
from bomaudit.curves.offers import NewerQuotes, find_newer
from bomaudit.curves.pooling import Floats
from bomaudit.curves.spans import Days, log_rate
from bomaudit.curves.spread import Spread, currency_loading, find_spread
from bomaudit.curves.timelines import Codes
from bomaudit.evidence import take_newer
from bomaudit.glossary import VARIANCE_PARTS, WALK_STEPS
from bomaudit.progress import told

_BLOCK = 50_000  # lines; what a processor's cache holds, and enough for a second processor to share the work
_WORKERS = 2
_FIGURES = (
    "estimate", "estimate_low", "estimate_high", "contract_price", "sd_log", "dof",
    *(f"walk_{s}" for s in WALK_STEPS), *(f"var_{v}" for v in VARIANCE_PARTS),
)  # fmt: skip
_TEXTS = ("stage", "evidence")


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


def estimate(lines: pd.DataFrame, curves: Curves, *, as_of: date | Days, confidence: float) -> Estimates:
    r"""Estimate every auditable line as of a day.

    Parameters
    ----------
    lines : DataFrame
        Prepared lines, from :func:`bomaudit.prepare.lines.prepare_lines`.
    curves : Curves
    as_of : date, or array of datetime64[D] of shape (lines,)
        One day for all lines or one each. Past: only quotes up to it count. After the curves' own day: volumes are
        forecast, input prices stay where they are in real terms, currencies where they are, all with widening
        intervals. Annual quantities are today's either way.
    confidence : float
        Coverage of the interval. [-]

    Returns
    -------
    Estimates

    Notes
    -----
    :math:`P_T = B \, e^{s}` with the steps :math:`s` of the cost walk; the interval is
    :math:`P_T \\, e^{\pm t_\nu \sigma}`, ``sd_log`` being the scale :math:`\sigma` of the Student t.
    """
    usable = usable_rows(lines)
    known = lines if bool(usable.all()) else lines[usable]
    today = np.asarray(as_of, dtype="datetime64[D]")
    priced = as_arrays(known, curves, today[usable] if today.ndim else today)
    pairs = find_newer(
        priced.asked(curves.fx), curves.offers, as_of=np.minimum(priced.spans.now, np.datetime64(curves.as_of, "D"))
    )
    blocks = [slice(k, min(k + _BLOCK, len(known))) for k in range(0, len(known), _BLOCK)]

    def of_block(rows: slice) -> _Block:
        return _estimate_block(priced.some(rows), pairs.part(rows), curves, confidence)

    return _assemble(lines, usable, _each(of_block, blocks), factor_names(curves, priced.spans.currencies))


@dataclass(frozen=True)
class _Block:
    figures: Floats  # (lines, figures)
    stage: npt.NDArray[np.str_]
    evidence: npt.NDArray[np.object_]
    loadings: Floats  # the kept ones, row by row
    codes: Codes
    count: Codes  # kept loadings of each line
    sd_own: Floats


def _each(work: Callable[[slice], _Block], blocks: list[slice]) -> list[_Block]:
    """Results in the order of the blocks; several blocks run on two threads, which changes no figure."""
    if len(blocks) < _WORKERS:
        return [work(rows) for rows in blocks]
    with ThreadPoolExecutor(_WORKERS) as pool:
        return list(told("estimating blocks of lines", pool.map(work, blocks), len(blocks)))


def _estimate_block(lines: Priced, pairs: NewerQuotes, curves: Curves, confidence: float) -> _Block:
    level = find_level(lines, curves)
    newer, evidence = take_newer(lines, level, pairs, curves)
    carried = level.carried
    steps = np.column_stack([carried.inputs, carried.experience, carried.maturity, level.quantity, newer.shift])
    here = lines.price * np.exp(log_rate(curves.fx, lines.spans, lines.spans.now))
    levels = np.column_stack([lines.booked, here, here[:, None] * np.exp(np.cumsum(steps, axis=1))])
    currency = currency_loading(curves, lines.spans)
    spread = find_spread(level, newer, currency, width=curves.model.interval_width)
    declining = curves.volumes.declining(curves.volume_codes)[lines.spans.commodity]
    codes = factor_codes(curves, lines.spans)
    kept = (codes >= 0) & (spread.loadings != 0)
    return _Block(
        _figures(lines, levels, spread, confidence), stage_of(carried.share, declining), evidence,
        spread.loadings[kept], codes[kept], kept.sum(axis=1), spread.sd_own,
    )  # fmt: skip


def _figures(lines: Priced, levels: Floats, spread: Spread, confidence: float) -> Floats:
    """Columns as ``_FIGURES``."""
    price, scale = levels[:, -1], np.sqrt(spread.total)
    reach = np.exp(_quantiles(0.5 + confidence / 2, spread.dof) * scale)
    shares = spread.parts / np.where(spread.total > 0, spread.total, 1.0)[:, None]
    contract = _contract(lines, levels[:, 1])
    return np.column_stack(
        [price, price / reach, price * reach, contract, scale, spread.dof, np.diff(levels, axis=1), shares]
    )


def _quantiles(probability: float, dof: Floats) -> Floats:
    """Quantile of Student's t at one probability, many degrees of freedom: scipy's, at an eighth of its time."""
    found = np.asarray(_in_usual(probability)(1 / dof), dtype=np.float64)
    rare = (dof < _USUAL_DOF[0]) | (dof > _USUAL_DOF[1])
    found[rare] = stdtrit(dof[rare], probability)
    return found


@cache
def _in_usual(probability: float) -> Chebyshev:
    """Polynomial in 1/dof: the quantile is smooth in it."""
    ends = [1 / dof for dof in reversed(_USUAL_DOF)]
    return Chebyshev.interpolate(lambda u: stdtrit(1 / u, probability), _DEGREE, domain=ends)


_USUAL_DOF, _DEGREE = (2.0, 1000.0), 20  # from degree 20 on the two differ by 1e-14, measured from 50 % to 99 %


def _contract(lines: Priced, here: Floats) -> Floats:
    """Booked cost along the agreed yearly reductions, at today's exchange rate; NaN where none is agreed.

    A reduction falls due on each anniversary of the basis date, up to the last day of the agreement.
    """
    today, until = lines.spans.now, lines.reduced_until
    end = np.where(np.isnat(until), today, np.minimum(until, today))
    fallen_due = (1 - np.nan_to_num(lines.reduction)) ** _anniversaries(lines.spans.then, end)
    return np.where(np.isfinite(lines.reduction), here * fallen_due, np.nan)


def _anniversaries(start: npt.NDArray[np.datetime64], end: npt.NDArray[np.datetime64]) -> Floats:
    """Anniversaries of ``start`` up to ``end``, none before it."""
    months = (end.astype("datetime64[M]") - start.astype("datetime64[M]")).astype(np.int64)
    day = (start - start.astype("datetime64[M]")).astype(np.int64)
    reached = (end - end.astype("datetime64[M]")).astype(np.int64) >= day
    return np.asarray(np.maximum((months - ~reached) // 12, 0), dtype=float)


def _assemble(
    lines: pd.DataFrame, usable: npt.NDArray[np.bool_], blocks: list[_Block], factors: tuple[str, ...]
) -> Estimates:
    """Estimates of all lines: those that are not auditable stay empty."""
    size, count = len(lines), np.zeros(len(lines), dtype=np.int64)
    figures, own = np.full((size, len(_FIGURES)), np.nan), np.full(size, np.nan)
    words = {name: np.full(size, "", dtype=object) for name in _TEXTS}
    rows = np.flatnonzero(usable)
    for block in blocks:
        at, rows = rows[: len(block.figures)], rows[len(block.figures) :]
        figures[at], count[at], own[at] = block.figures, block.count, block.sd_own
        words["stage"][at], words["evidence"][at] = block.stage, block.evidence
    frame = pd.DataFrame(figures, columns=list(_FIGURES), index=lines.index, copy=False)
    frame = frame.assign(**{name: pd.Series(text, index=lines.index, dtype="str") for name, text in words.items()})
    loadings = np.concatenate([b.loadings for b in blocks] or [np.zeros(0)])
    codes = np.concatenate([b.codes for b in blocks] or [np.zeros(0, dtype=np.int64)])
    pointer = np.concatenate([[0], np.cumsum(count)])
    return Estimates(frame, factors, csr_array((loadings, codes, pointer), shape=(size, len(factors))), own)
