"""What was found, in three sentences: lines, decisions, which quote to ask for first; the same wherever it is read."""

from __future__ import annotations

from collections.abc import Mapping

from bomaudit.report.numbers import Numbers
from bomaudit.report.words import list_of

NO_VOLUME = "the annual volume is missing, set annual_volume under [audit] or in the BOM"
NOTHING_AUDITED = "No line could be audited"
NO_DECISIONS = "No decisions were given, so nothing can be said about past choices."

Interval = tuple[float, float, float]
"""Estimate, low end, high end."""
Idle = tuple[int, int]
"""Audited lines that are not built in, and those of them that are stale or drifting."""
Worth = tuple[float, float]
"""What switching is worth, and what it is worth at the cautious end. [currency]"""


def found_lines(
    numbers: Numbers, *, audited: int, stale: int, drifting: int, unknown: int, unpriced: int, above: Interval,
    below: Interval, currency: str, money_known: bool, idle: Idle = (0, 0), day: str = "",
) -> str:  # fmt: skip
    """Say how many lines are out of date and what that is worth a year, with intervals; and which count no money.

    Of the lines of unknown status some are ``unpriced``: they are not among those ``audited``.
    """
    n = numbers.plain
    known = f"{n(stale)} of {numbers.count(audited, 'audited line')} {_are(stale)} stale and {n(drifting)} drifting"
    counted = known if audited else NOTHING_AUDITED
    sides = ((above, "above today's estimates"), (below, "below them" if above[0] > 0 else "below today's estimates"))
    money = [f"{_between(numbers, side)} {currency} a year {where}" for side, where in sides if side[0] > 0]
    tail = f" {n(unknown - unpriced)} could not be judged." if unknown > unpriced else ""
    more, has = "more " if tail else "", "has" if unpriced == 1 else "have"
    tail += f" {n(unpriced)} {more}{has} no usable booked cost and could not be audited." if unpriced else ""
    tail += _idle(numbers, idle, day) if any(idle) else ""
    tail += "" if money_known else f" What that is worth a year is not known: {NO_VOLUME}."
    return counted + (f"; on these booked costs stand {' and '.join(money)}" if money else "") + "." + tail


def _idle(numbers: Numbers, idle: Idle, day: str) -> str:
    lines, flagged = idle
    some = f", {numbers.plain(flagged)} stale or drifting"
    which = "" if not flagged else ", being stale or drifting" if lines == 1 else some
    many, of = "" if lines == 1 else "s", numbers.plain(lines)
    why = "(not in effect, an alternative, or of quantity 0)"
    count = "count" if many else "counts"
    return f" {of} audited line{many} {_are(lines)} not built in on {day} {why} and {count} no money{which}."


def _between(numbers: Numbers, money: Interval) -> str:
    return f"{numbers.about(money[0])} ({numbers.span(money[1], money[2])})"


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


def found_decisions(numbers: Numbers, *, counts: Mapping[str, int], currency: str, reopen: Worth, review: Worth) -> str:
    """Say how many decisions fall on each verdict and what switching is worth, at its cautious end too.

    What must be reviewed first is never part of what re-opening is worth: nobody may count on it yet.
    """
    total = sum(counts.values())
    if not total:
        return NO_DECISIONS
    say = [f"{numbers.plain(n)} {text[n != 1]}" for verdict, text in _COUNTED.items() if (n := counts.get(verdict, 0))]
    after = "after the cost of change"
    worth = (
        f" Re-opening is worth {numbers.about(reopen[0])} {currency} {after}, {_cautious(numbers, reopen[1])}."
        if reopen[0] > 0
        else ""
    )
    held = (
        f" What engineering must review first would be worth {numbers.about(review[0])} {currency} "
        f"{'more' if worth else after}, {_cautious(numbers, review[1])}."
        if review[0] > 0
        else ""
    )
    return f"Of {numbers.count(total, 'decision')}, {list_of(say)}.{worth}{held}"


def _cautious(numbers: Numbers, money: float) -> str:
    return f"{'and still' if money > 0 else 'but'} {numbers.about(money)} if each comes out at its cautious end"


_COUNTED = {
    "reopen": ("should be re-opened", "should be re-opened"),
    "review": ("needs an engineering review", "need an engineering review"),
    "requote": ("needs quotes first", "need quotes first"),
    "watch": ("will tip later", "will tip later"),
    "stands": ("still stands", "still stand"),
}
"""What is said of one decision and of several."""


def nothing_to_ask(*, audited: int, money_known: bool) -> str:
    """Say why no quote is asked for."""
    if not audited:
        return f"{NOTHING_AUDITED}, so what a quote is worth is not known."
    if not money_known:
        return f"What a quote is worth is not known: {NO_VOLUME}."
    return "No single quote is worth more than the cost of asking for it."


def found_next(
    numbers: Numbers, *, part: str, description: str, value: float, currency: str, audited: int, money_known: bool
) -> str:
    """Say which quote to ask for first."""
    if not part:
        return nothing_to_ask(audited=audited, money_known=money_known)
    name = f"{part} ({description})" if description else part
    worth = f"{numbers.about(value, figures=2)} {currency}"
    return f"Ask first for a new quote of {name}: knowing its price is worth {worth}."
