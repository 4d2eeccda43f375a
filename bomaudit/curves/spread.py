"""How sure: the variance of the log price in its parts, and the loadings that lines share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bomaudit.curves.fitted import Curves
from bomaudit.curves.level import (
    CLASSIFICATION,
    CURRENCY,
    EXPONENT,
    FIRST_INPUT,
    MARKUP,
    OWN_COLUMNS,
    OWN_VOLUME,
    PROCESS,
    VOLUME,
    Level,
    Newer,
)
from bomaudit.curves.pooling import DAYS_PER_YEAR, Floats
from bomaudit.curves.spans import Spans
from bomaudit.glossary import VARIANCE_PARTS

_MOST_DOF = 1000.0  # a Student t with more is normal to any digit printed


@dataclass(frozen=True)
class Spread:
    """Variance of ln price.

    Attributes
    ----------
    loadings : array, shape (lines, factors)
        Change of ln price per standard deviation of each shared factor. [ln]
    sd_own : array, shape (lines,)
        Standard deviation of what each line does not share. [ln]
    parts : array, shape (lines, variance parts)
        Variances, columns as ``glossary.VARIANCE_PARTS``. [ln²]
    total : array, shape (lines,)
        Their sum. [ln²]
    dof : array, shape (lines,)
        Degrees of freedom of the Student t.
    """

    loadings: Floats
    sd_own: Floats
    parts: Floats
    total: Floats
    dof: Floats


def find_spread(level: Level, newer: Newer, currency: Floats, *, width: float = 1.0) -> Spread:
    r"""Add up what is unsure.

    Parameters
    ----------
    level : Level
    newer : Newer
    currency : array, shape (lines,)
        Loading on the exchange rate. [ln]
    width : float
        Every standard deviation is so many times what the model gives. [-]

    Returns
    -------
    Spread

    Notes
    -----
    Exponent and wandering are estimated from data with few degrees of freedom :math:`d`, the rest is taken as known;
    Satterthwaite's rule gives :math:`\nu = d \, (v / v_e)^2` with :math:`v_e` their share of the variance :math:`v`.

    References
    ----------
    .. [1] F. E. Satterthwaite, "An Approximate Distribution of Estimates of Variance Components", Biometrics Bulletin
       2(6), 1946 (from memory).
    """
    shared = newer.loadings[:, :-OWN_COLUMNS].copy()
    shared[:, PROCESS] = np.sqrt(level.carried.wander.shared * newer.wander)
    shared[:, CURRENCY + OWN_COLUMNS] = currency
    part = {
        "basis": newer.left**2 * level.basis + newer.noise,
        "exponent": shared[:, EXPONENT] ** 2,
        "volume_index": shared[:, VOLUME] ** 2,
        "input_prices": (shared[:, FIRST_INPUT : CURRENCY + OWN_COLUMNS] ** 2).sum(axis=1),
        "process": newer.wander + newer.loadings[:, MARKUP] ** 2,
        "currency": currency**2,
        "own_volume": shared[:, OWN_VOLUME] ** 2,
        "date": newer.left**2 * level.date,
        "classification": newer.loadings[:, CLASSIFICATION] ** 2,
    }
    parts = np.column_stack([part[name] for name in VARIANCE_PARTS])
    total = parts.sum(axis=1)
    own = np.maximum(total - (shared**2).sum(axis=1), 0.0)
    estimated = part["exponent"] + newer.wander
    ratio = total / np.where(estimated > 0, estimated, 1.0)
    dof = np.where(estimated > 0, np.minimum(level.carried.dof * ratio**2, _MOST_DOF), _MOST_DOF)
    return Spread(shared * width, np.sqrt(own) * width, parts * width**2, total * width**2, dof)


def currency_loading(curves: Curves, spans: Spans) -> Floats:
    """Loading on the exchange rate: none up to the curves' own day, widening after it.

    Parameters
    ----------
    curves : Curves
    spans : Spans

    Returns
    -------
    array, shape (spans,)
        [ln]
    """
    ahead = (spans.now - np.datetime64(curves.as_of, "D")).astype(np.float64) / DAYS_PER_YEAR
    yearly = np.nan_to_num(curves.fx.log_sd_per_year(np.array(spans.currencies, dtype=object)))
    return np.asarray(np.append(yearly, 0.0)[spans.currency] * np.sqrt(np.maximum(ahead, 0.0)))
