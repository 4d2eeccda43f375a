"""What to be warned of in a commodity's own history: a break in its rate, changes out of line, a short span."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bomaudit.curves.pooling import Floats, Series

SUP_F_5_PERCENT = 8.85
"""Critical value of the largest F of one coefficient's break over dates in the middle 70 %, at the 5 % level.

D. W. K. Andrews, "Tests for Parameter Instability and Structural Change with Unknown Change Point", Econometrica 61(4),
1993, table 1; from memory, checked by simulation in the tests.
"""

_TRIMMED = 0.15
_FEWEST = 8  # changes, for a break to be looked for at all
SHORT = 3.0
"""Doublings of cumulative volume under which a fitted exponent is read off too short a span; common practice."""
_SOME = 4  # changes from which own data are worth a warning about their span


def rate_break(change: Floats, exposure: Floats, end: Floats) -> float:
    r"""Date at which the rate of change broke, NaN where none shows.

    Parameters
    ----------
    change : array, shape (changes,)
        Changes of ln price, each divided by the root of its years. [ln/sqrt(year)]
    exposure : array, shape (changes,)
        What the rate multiplies: change of ln cumulative volume, or years, divided likewise.
    end : array, shape (changes,)
        Dates of the changes. [years since 2000]

    Returns
    -------
    float
        End of the last change at the old rate. [years since 2000]

    Notes
    -----
    One slope through the origin against two, for every date in the middle: the largest
    :math:`(S_0 - S_1) / (S_1 / (n - 2))` against :data:`SUP_F_5_PERCENT`.
    """
    order = np.argsort(end, kind="stable")
    y, x, n = change[order], exposure[order], len(end)
    if n < _FEWEST or not np.any(x):
        return float("nan")
    sums = [np.cumsum(a)[:-1] for a in (x * x, x * y)]
    xx, xy = x @ x, x @ y
    with np.errstate(divide="ignore", invalid="ignore"):
        explained = np.nan_to_num(sums[1] ** 2 / sums[0]) + np.nan_to_num((xy - sums[1]) ** 2 / (xx - sums[0]))
    left = np.maximum(y @ y - explained, 1e-12)
    largest = (explained - xy**2 / xx) / (left / (n - 2))
    before = np.arange(1, n)
    edge = np.ceil(_TRIMMED * n)
    inside = (before >= edge) & (before <= n - edge)
    best = int(np.argmax(np.where(inside, largest, -np.inf)))
    return float(end[order][best]) if largest[best] > SUP_F_5_PERCENT else float("nan")


def warnings_of(series: Series, outliers: int) -> str:
    """Warnings in words, joined by semicolons; empty where there are none.

    Parameters
    ----------
    series : Series
    outliers : int
        Changes whose weight was taken off.
    """
    found = []
    years = series.end - series.start
    root = np.sqrt(np.maximum(years, 1e-9))
    indexed = bool(np.any(series.log_experience))
    exposure = series.log_experience if indexed else years
    broke = rate_break(series.log_price / root, exposure / root, series.end)
    if np.isfinite(broke):
        found.append(f"rate of change broke about {2000 + int(np.floor(broke - _END_OF_YEAR))}")
    if outliers:
        found.append(f"{outliers} change{'s' if outliers > 1 else ''} out of line, weighed down")
    if indexed and len(years) >= _SOME:
        doublings = _span(series) / np.log(2)
        if doublings < SHORT:
            found.append(f"{_SPAN} {doublings:.1f} doublings of cumulative volume, under {SHORT:.0f}")
    return "; ".join(found)


_SPAN = "own quotes span"


def apart(told: Mapping[str, str]) -> tuple[dict[str, float], dict[str, str]]:
    """Warnings of many commodities: those of a short span apart from the others.

    Parameters
    ----------
    told : mapping of str to str
        Commodity → warnings, as :func:`warnings_of` words them.

    Returns
    -------
    spans : dict of str to float
        Doublings that the quotes of a commodity span, where they are too few; fewest first.
    others : dict of str to str
        What else is to be said of a commodity.
    """
    spans: dict[str, float] = {}
    others: dict[str, list[str]] = {}
    for name, text in told.items():
        for part in filter(None, text.split("; ")):
            if part.startswith(_SPAN):
                spans[name] = float(part.removeprefix(_SPAN).split()[0])
            else:
                others.setdefault(name, []).append(part)
    ordered = dict(sorted(spans.items(), key=lambda item: (item[1], item[0])))
    return ordered, {name: "; ".join(parts) for name, parts in others.items()}


_END_OF_YEAR = 0.01  # a price of 31 December is of the year that ends, not of the next


def _span(series: Series) -> float:
    """Growth of ln cumulative volume from the first quote to the last, taken as even within a change."""
    years = series.end - series.start
    rate = np.sum(series.log_experience) / np.sum(years)
    return float(rate * (series.end.max() - series.start.min()))
