"""The verdicts: which rule fires for a decision. This page is the whole of it; thresholds are those of ``[decide]``.

In this order, the first that holds:

1. ``no_price``: an element has no price at all → requote
2. ``no_volume``: products a year are not known, so that money cannot be compared → requote
3. ``worth_it``: switching is worth ``reopen_npv`` even at the low end of its interval, and pays back with at least
   ``reopen_probability`` → reopen
4. ``worth_knowing``: it is not clear that the choice holds (switching pays back with more than 1 -
``reopen_probability``)
   and the best single quote is worth ``worth_asking`` times its cost → requote
5. ``likely``: it pays back with ``reopen_probability``, is worth ``reopen_npv`` at the central estimate, and no quote
would
   pay for itself → reopen
6. ``tips_later``: switching comes to be worth ``reopen_npv`` on a day within the years left → watch
7. ``not_worth_it``: an alternative is cheaper per product today, but not by enough to pay for the change → stands
8. ``still_cheapest``: everything else → stands

A decision that bears on safety is never more than ``review``: where 3 or 5 would re-open it, the rule's name gets
``safety_`` in front and the verdict is review, engineering review needed before re-opening.
"""

from __future__ import annotations

import math
from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd

from bomaudit.settings import DecideSection

RULES = {
    "no_price": "requote",
    "no_volume": "requote",
    "worth_it": "reopen",
    "worth_knowing": "requote",
    "likely": "reopen",
    "tips_later": "watch",
    "not_worth_it": "stands",
    "still_cheapest": "stands",
}
"""Rule → verdict, in the order in which they are tried."""

SAFETY = "safety_"


def judge(facts: pd.DataFrame, rules: DecideSection) -> pd.DataFrame:
    """Verdict and rule of each decision.

    Parameters
    ----------
    facts : DataFrame, one row a decision
        priced (bool), npv, npv_low, npv_later, value_of_asking [currency], p_pays_back [-], saving_today (positive: the
        choice is cheaper) [currency/product], tips_on (date), safety_relevant (bool).
    rules : DecideSection

    Returns
    -------
    DataFrame
        verdict, rule; index of ``facts``.
    """
    sure, least = rules.reopen_probability, rules.reopen_npv
    p, npv = facts["p_pays_back"], facts["npv"]
    undecided = p > 1.0 - sure
    fires = {
        "no_price": ~facts["priced"],
        "no_volume": npv.isna(),
        "worth_it": (facts["npv_low"] >= least) & (p >= sure),
        "worth_knowing": undecided & (facts["value_of_asking"] >= rules.worth_asking * rules.cost_of_asking),
        "likely": (p >= sure) & (npv >= least),
        "tips_later": facts["tips_on"].notna() & (facts["npv_later"] >= least),
        "not_worth_it": facts["saving_today"] < 0,
        "still_cheapest": pd.Series(True, index=facts.index),
    }
    rule = np.select([fires[name].to_numpy(dtype=bool) for name in RULES], list(RULES), default="still_cheapest")
    verdict = pd.Series(rule, index=facts.index).map(RULES)
    held = (verdict == "reopen") & facts["safety_relevant"]
    return pd.DataFrame(
        {
            "verdict": verdict.mask(held, "review").astype("str"),
            "rule": pd.Series(np.where(held, SAFETY + rule.astype(object), rule), index=facts.index, dtype="str"),
        }
    )


def say_why(facts: pd.DataFrame, rules: DecideSection, *, currency: str, confidence: float) -> pd.Series:
    """Why each rule fired, in words with its numbers.

    Parameters
    ----------
    facts : DataFrame
        As in :func:`judge`, with rule, switch_to and ask_first.
    rules : DecideSection
    currency : str
    confidence : float

    Returns
    -------
    Series of str
    """
    said = [_sentence(row, rules, currency, confidence) for row in facts.to_dict("records")]
    return pd.Series(said, index=facts.index, dtype="str")


_WHY = {
    "no_price": "An element has no price: ask for it first; nothing can be compared until then.",
    "no_volume": "The annual volume is not known, so that one-time costs cannot be spread: state it first.",
    "worth_it": "Switching to {switch_to} is worth {npv}, still {npv_low} at the low end of the {confidence} interval,"
    " and pays back with {chance}.",
    "worth_knowing": "Switching to {switch_to} pays back with {chance}, too close to call; one quote for {ask_first} is"
    " worth {value_of_asking} and costs {cost_of_asking}.",
    "likely": "Switching to {switch_to} is worth {npv} and pays back with {chance}; no quote would pay for itself.",
    "tips_later": "Not yet: switching to {switch_to} would come to {npv} today, but passes break-even about {tips_on}"
    " and can reach {npv_later}.",
    "not_worth_it": "{switch_to} is cheaper per product today, but switching comes to {npv} once the change is paid"
    " for, and pays back with {chance} only.",
    "too_little": "{switch_to} is cheaper per product today and switching comes to {npv}, less than the {reopen_npv}"
    " that a change must be worth; it pays back with {chance}.",
    "still_cheapest": "The choice is still the cheapest: switching to {switch_to} would come to {npv} and pays back"
    " with {chance}.",
}
_SURE = 0.99
_FIRST_SAFETY = "Engineering review needed before re-opening, a part bears on safety. "


def _sentence(row: dict[Hashable, Any], rules: DecideSection, currency: str, confidence: float) -> str:
    rule = str(row["rule"])
    why = rule.removeprefix(SAFETY)
    little = why == "not_worth_it" and 0 <= row["npv"] < rules.reopen_npv
    money = {"npv": 3, "npv_low": 3, "npv_later": 3, "value_of_asking": 2}
    text = _WHY["too_little" if little else why].format(
        switch_to=row["switch_to"], ask_first=row["ask_first"], chance=_chance(row["p_pays_back"]),
        confidence=f"{100 * confidence:g} %", cost_of_asking=_whole(rules.cost_of_asking, currency),
        reopen_npv=_whole(rules.reopen_npv, currency),
        tips_on=f"{row['tips_on']:%Y-%m}" if pd.notna(row["tips_on"]) else "",
        **{name: about(row[name], currency, figures=figures) for name, figures in money.items()},
    )  # fmt: skip
    return _FIRST_SAFETY + text if rule.startswith(SAFETY) else text


def about(amount: float, currency: str, *, figures: int = 3) -> str:
    """Write an estimated amount with the figures that it can bear: of what knowing a price is worth two. [currency]."""
    digits = figures - 1 - math.floor(math.log10(abs(amount))) if math.isfinite(amount) and amount else 0
    return _whole(round(amount, min(digits, 0)), currency)


def _whole(amount: float, currency: str) -> str:
    return f"{amount:,.0f}".replace(",", " ") + f" {currency}"


def _chance(p: float) -> str:
    """Write a probability; never as certain or impossible, which no estimate can say."""
    return (
        "a chance over 99 %" if p > _SURE else "a chance under 1 %" if p < 1 - _SURE else f"a chance of {100 * p:.0f} %"
    )
