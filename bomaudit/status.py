"""Is a booked cost out of date? The one place where current, drifting, stale and unknown are defined."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import stdtr

from bomaudit.glossary import LINES, STATUSES, VARIANCE_PARTS, WALK_STEPS
from bomaudit.settings import AuditSection

EVEN_ODDS = 0.5
"""A line drifts from the point on where a material drift is as likely as not."""
_SURE = 0.99
"""Chances beyond are not told to the percent: no estimate is certain."""

STATUS_CODES = ("", *STATUSES)
"""Statuses by the codes that :func:`find_status` gives; "" is a row that is no part."""

_TAKEN_OVER = (
    "estimate", "estimate_low", "estimate_high", "contract_price", "sd_log", "dof", "stage",
    *(f"walk_{s}" for s in WALK_STEPS), *(f"var_{v}" for v in VARIANCE_PARTS),
)  # fmt: skip


def probability_of_drift(
    booked: npt.ArrayLike, estimate: npt.ArrayLike, sd_log: npt.ArrayLike, dof: npt.ArrayLike, *, materiality: float
) -> npt.NDArray[np.float64]:
    r"""Probability that today's price differs from the booked cost by more than the materiality.

    Parameters
    ----------
    booked, estimate : array, shape (lines,)
        Booked cost and median estimate. [currency/uom]
    sd_log : array, shape (lines,)
        Scale of the log of today's price. [ln]
    dof : array, shape (lines,)
        Degrees of freedom of its Student t.
    materiality : float
        Relative drift that matters, > 0. [-]

    Returns
    -------
    array, shape (lines,)
        [-]

    Notes
    -----
    :math:`P(P_T > B(1+m)) + P(P_T < B(1-m))`; a fall by the whole price or more is impossible, so the second term is
    nought where :math:`m \ge 1`.
    """
    booked, estimate = np.asarray(booked, dtype=float), np.asarray(estimate, dtype=float)
    scale, dof = np.maximum(np.asarray(sd_log, dtype=float), np.finfo(float).tiny), np.asarray(dof, dtype=float)
    booked = np.where(booked > 0, booked, np.nan)  # free issue and credits have no drift to speak of
    away = np.log(booked) - np.log(estimate)
    above = 1.0 - stdtr(dof, (away + np.log1p(materiality)) / scale)
    if materiality >= 1:
        return np.asarray(above)
    return np.asarray(above + stdtr(dof, (away + np.log1p(-materiality)) / scale))


def find_status(
    *,
    no_part: npt.NDArray[np.bool_],
    known: npt.NDArray[np.bool_],
    p_stale: npt.NDArray[np.float64],
    much: npt.NDArray[np.bool_],
    confidence: float,
) -> npt.NDArray[np.int8]:
    """Status of each line; the rule itself is that of :func:`judge_lines`.

    Parameters
    ----------
    no_part : bool array, shape (lines,)
        Assemblies and charges.
    known : bool array, shape (lines,)
        There is a booked cost and a commodity to follow.
    p_stale : array, shape (lines,)
        From :func:`probability_of_drift`. [-]
    much : bool array, shape (lines,)
        From :func:`much_at_stake`.
    confidence : float
        Of the audit. [-]

    Returns
    -------
    array of int8, shape (lines,)
        Positions in :data:`STATUS_CODES`.
    """
    code = {name: STATUS_CODES.index(name) for name in STATUS_CODES}
    picked = np.select(
        [no_part, ~known, p_stale >= confidence, (p_stale >= EVEN_ODDS) | much],
        [code[""], code["unknown"], code["stale"], code["drifting"]],
        default=code["current"],
    )
    return np.asarray(picked, dtype=np.int8)


def much_at_stake(
    booked: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike, exposure: npt.ArrayLike, *, rules: AuditSection
) -> npt.NDArray[np.bool_]:
    """Whether the interval leaves the booked cost out and more than ``materiality_per_year`` is at stake.

    Parameters
    ----------
    booked, low, high : array, shape (lines,)
        Booked cost and ends of the interval. [currency/uom]
    exposure : array, shape (lines,)
        [currency/year]
    rules : AuditSection

    Returns
    -------
    bool array, shape (lines,)
    """
    cost = np.asarray(booked, dtype=float)
    outside = (cost < np.asarray(low, dtype=float)) | (cost > np.asarray(high, dtype=float))
    return np.asarray(outside & (np.abs(np.asarray(exposure, dtype=float)) > rules.materiality_per_year))


def judge_lines(lines: pd.DataFrame, estimates: pd.DataFrame, rules: AuditSection) -> pd.DataFrame:
    """Audited lines: estimate, drift, exposure, status and the reason for it.

    Parameters
    ----------
    lines : DataFrame
        Prepared lines, from :func:`bomaudit.prepare.lines.prepare_lines`.
    estimates : DataFrame
        ``Estimates.frame`` of the same lines.
    rules : AuditSection
        confidence, materiality, materiality_per_year.

    Returns
    -------
    DataFrame, shape (lines, columns of glossary ``LINES``)

    Notes
    -----
    * empty: assemblies and charges, which are not bought in a market.
    * unknown: no booked cost, or no commodity: there is nothing to follow.
    * stale: a material drift is at least as likely as the confidence of the audit.
    * drifting: it is as likely as not, or the interval leaves the booked cost out and the exposure is above
      materiality_per_year.
    * current: everything else.
    """
    audited = lines.assign(**{name: estimates[name] for name in _TAKEN_OVER})
    booked, estimate = audited["booked_cost"].to_numpy(), audited["estimate"].to_numpy()
    p_stale = probability_of_drift(
        booked, estimate, audited["sd_log"].to_numpy(), audited["dof"].to_numpy(), materiality=rules.materiality
    )
    exposure = (booked - estimate) * audited["qty_per"].to_numpy() * audited["annual_volume"].to_numpy()
    exposure += 0.0  # no quantity times a loss is 0, not -0
    much = much_at_stake(booked, audited["estimate_low"], audited["estimate_high"], exposure, rules=rules)
    status = find_status(
        no_part=~lines["row_kind"].isin(["part", "alternative"]).to_numpy(dtype=bool),
        known=(lines["auditable"] & (lines["commodity"] != "")).to_numpy(dtype=bool),
        p_stale=p_stale,
        much=much,
        confidence=rules.confidence,
    )
    audited = audited.assign(
        drift=estimate / booked - 1.0,
        p_stale=np.where(lines["auditable"], p_stale, np.nan),
        exposure_per_year=exposure,
        status=pd.Series(np.array(STATUS_CODES, dtype=object)[status], index=lines.index, dtype="str"),
    )
    return audited.assign(reason=_reasons(audited, rules, much & (p_stale < EVEN_ODDS)))[list(LINES.names)]


def _reasons(audited: pd.DataFrame, rules: AuditSection, by_money: npt.NDArray[np.bool_]) -> pd.Series:
    percent = (100 * audited["drift"]).map("{:+.0f} %".format).replace({"+0 %": "0 %", "-0 %": "0 %"})
    chance = audited["p_stale"].to_numpy(dtype=float)
    sure = (100 * audited["p_stale"]).map("{:.0f} %".format)
    sure = sure.mask(chance > _SURE, ">99 %").mask(chance < 1 - _SURE, "<1 %")
    for limit in (EVEN_ODDS, rules.confidence):  # 79.7 % is no 80 % where 80 % would be another status
        said = f"{100 * limit:g} %"
        sure = sure.mask((chance < limit) & (sure == said), f"just under {said}")
    age = audited["age_years"].map("{:.1f}".format)
    matter = f"{100 * rules.materiality:g} %"
    moved = f"a drift of {matter} or more is " + sure + " likely"
    found = "; estimate " + percent + " after " + age + " years"
    confidence = f"{100 * rules.confidence:g} %"
    much = f"{rules.materiality_per_year:,.12g}".replace(",", " ")
    money = f"interval leaves the booked cost out and more than {much} a year is at stake"
    text = np.select(
        [
            ~audited["auditable"],
            audited["commodity"] == "",
            audited["status"] == "stale",
            by_money & (audited["status"] == "drifting"),
            audited["status"] == "drifting",
        ],
        [
            audited["why_not"],
            "no commodity: only inflation is followed",
            moved + f", stale from {confidence} on" + found,
            money + found,
            moved + f", drifting from 50 % to {confidence}" + found,
        ],
        default=moved + ", below 50 %" + found,
    )
    reason = pd.Series(text, index=audited.index, dtype="str")
    out = audited["not_fitted"] if "not_fitted" in audited else pd.Series(data=False, index=audited.index)
    return reason.mask(out, "not fitted: counts no quantity; " + reason)
