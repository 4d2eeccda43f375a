"""How wide intervals must be by the client's own held-out quotes, beside published series."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import ndtri, stdtr

from bomaudit.findings import in_order, note
from bomaudit.opened import Opened

_PUBLISHED = 16.0
"""Commodities that published series count for; ``tests/benchmarks/own_record.py`` says what other weights do."""
_FARTHEST = 3.0
"""Standard deviations that a held-out quote is off by at most: a slip must not widen every interval."""


def learned_width(cases: pd.DataFrame, width: float) -> float:
    r"""How many times as wide as published series say intervals should be, learned from held-out quotes.

    Parameters
    ----------
    cases : DataFrame
        commodity, part_no, error_estimate, sd_log [ln], dof.
    width : float
        Factor that is in ``sd_log`` already. [-]

    Returns
    -------
    float
        At least 1.

    Notes
    -----
    With :math:`g` the normal scores of the held-out quotes in their forecasts, cut at three, and :math:`m_c` the mean
    of :math:`g^2` over the parts of commodity :math:`c`, the squared factor is
    :math:`(n_0 + \sum_c m_c) / (n_0 + C)`: errors within a commodity go together, so a commodity counts once.
    Published series count as :math:`n_0 = 16` commodities. On them a record of up to eight technologies says next to
    nothing of the coverage that follows, since fits learn how much a market wavers; what only a client's quotes can
    show is the doubt of his own parts and suppliers. Narrowing by a good record lost coverage and density there,
    widening by a bad one lost neither at this weight, and a smaller weight made what followed a bad record too wide.
    """
    z = cases["error_estimate"] / cases["sd_log"] * width
    score = ndtri(stdtr(cases["dof"].to_numpy(dtype=float), z.to_numpy(dtype=float)))
    squared = pd.Series(np.clip(score, -_FARTHEST, _FARTHEST) ** 2, index=cases.index)
    by_part = squared.groupby([cases["commodity"], cases["part_no"]]).mean()
    by_commodity = by_part.groupby("commodity").mean()
    return max(1.0, float(np.sqrt((_PUBLISHED + by_commodity.sum()) / (_PUBLISHED + len(by_commodity)))))


def widened(opened: Opened, width: float, *, quotes: int) -> Opened:
    """Ask for intervals as wide as the client's own record says, unless the settings state how wide.

    Parameters
    ----------
    opened : Opened
    width : float
        From :func:`learned_width`. [-]
    quotes : int
        Held-out quotes that it was learned from.

    Returns
    -------
    Opened
        With the setting, and finding ``S018`` that says so.
    """
    model = opened.settings.model
    if width == 1.0 or "interval_width" in model.model_fields_set:
        return opened
    kept = round(width, 3)
    settings = opened.settings.model_copy(update={"model": model.model_copy(update={"interval_width": kept})})
    said = note("S018", "a setting was learned from own quotes", found=f"model.interval_width={kept:g}",
                assumed=f"{quotes} held-out quotes beside published series, which count as {_PUBLISHED:g} commodities",
                advice="state it in audit.toml to keep it for later audits")  # fmt: skip
    findings = tuple(in_order([*opened.findings, said]))
    return replace(opened, inputs=replace(opened.inputs, settings=settings), findings=findings)
