"""What to be warned of in a commodity's own history: a break in its rate, outliers, a short span, rising prices."""

from __future__ import annotations

import numpy as np

from bomaudit.curves.pooling import Floats, Series

SUP_WALD_5_PERCENT = 8.85
"""Critical value of the largest of many tests for one break in one coefficient, dates in the middle 70 %, 5 % level.

D. W. K. Andrews, "Tests for Parameter Instability and Structural Change with Unknown Change Point", Econometrica 61(4),
1993, table 1; from memory.
"""

_TRIMMED = 0.15
_FEWEST = 8  # changes, for a break to be looked for at all


def rate_break(surprise: Floats, end: Floats) -> float:
    """Date at which the rate of change broke, NaN where none shows.

    Parameters
    ----------
    surprise : array, shape (changes,)
        Deviations of the changes from one steady rate, in standard deviations.
    end : array, shape (changes,)
        Dates of the changes. [years since 2000]

    Returns
    -------
    float
        [years since 2000]
    """
    order = np.argsort(end, kind="stable")
    z, n = surprise[order], len(end)
    if n < _FEWEST:
        return float("nan")
    spread = np.median(np.abs(z - np.median(z))) / 0.6745 or 1.0
    before = np.arange(1, n)
    total = np.cumsum(z)[:-1]
    gap = total / before - (z.sum() - total) / (n - before)
    wald = (gap / spread) ** 2 / (1 / before + 1 / (n - before))
    inside = (before >= np.ceil(_TRIMMED * n)) & (before <= n - np.ceil(_TRIMMED * n))
    best = int(np.argmax(np.where(inside, wald, 0.0)))
    return float(end[order][best]) if wald[best] > SUP_WALD_5_PERCENT else float("nan")


def warnings_of(series: Series, surprise: Floats, outliers: int) -> str:
    """Warnings in words, joined by semicolons; empty where there are none."""
    if not len(series.start):
        return ""
    found = []
    broke = rate_break(surprise, series.end)
    if np.isfinite(broke):
        found.append(f"rate of change broke about {2000 + int(np.floor(broke))}")
    if outliers:
        found.append(f"{outliers} change{'s' if outliers > 1 else ''} out of line, weighed down")
    return "; ".join(found)
