"""Every sentence of the report: pure functions from figures to words that a cost engineer would use."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from bomaudit.report.numbers import Numbers

CAUTION = (
    "These are estimates from learning curves, market volumes and index movements. An estimate is not a quote: "
    "ask before you negotiate, re-source or re-value on it."
)
BROKEN = "NOT TO BE USED: figures of this result contradict each other, by a mistake of the program"
INVENTED = "The data of this audit are invented. They show how the report reads, not what any part costs."

CANDIDATES = (
    "No decision was given. These are candidates to confirm, found from the lines alone: nobody has said that such a "
    "choice was ever made, and only prices of parts were looked at, not what else a change would cost. Write down "
    "those that were made in the table of decisions."
)
LOOK_ALIKES = (
    "Another market does the same and got cheaper: an alternative that would have cost so many times the part when it "
    "was booked is the cheaper one today. Those that hold at the cautious end of the interval are shown."
)
HEADROOM = (
    "The drift of these lines against the general price level: it alone undoes any smaller saving that was booked for "
    "a part that got dearer, or against one that got cheaper."
)
SAFETY_FIRST = "It bears on safety: engineering must review any change first."


def given_for_this_run(given: Sequence[str]) -> list[str]:
    """Say that the result rests on values given for this run; nothing where none were."""
    return [f"Given for this run only: {'; '.join(given)}."] if given else []


def held_against(*, same_files: bool, then: Sequence[str], now: Sequence[str]) -> list[str]:
    """Say whether the files are those of an audit, and which values the audit or this run takes from elsewhere."""
    said = [f"The files are {'' if same_files else 'not '}those that the audit read."]
    if then:
        said.append(
            "The audit did not rest on its files alone: these inputs were given for that run only, as its summary.json "
            f"records under given_for_this_run: {'; '.join(then)}."
        )
    if now and now != then:
        said.append(f"Given for this run: {'; '.join(now)}.")
    if then and not now:
        said.append("Give them again with --set to hold that run against this folder.")
    return said


def headroom_side(headroom: float) -> str:
    """Which decisions a line's drift undoes. [currency/unit]."""
    return "for it: it got dearer" if headroom > 0 else "against it: it got cheaper"


STATUS: Mapping[str, str] = {
    "current": "booked cost still holds",
    "drifting": "booked cost has more likely than not moved by more than matters",
    "stale": "booked cost has very probably moved by more than matters",
    "unknown": "cannot be judged from what is known",
}
VERDICT: Mapping[str, str] = {
    "reopen": "re-open now: worth it even at the cautious end",
    "review": "worth re-opening, but engineering must review a safety-relevant part first",
    "requote": "ask for quotes first: knowing is worth more than asking",
    "watch": "leave it for now, it tips later",
    "stands": "the choice still holds",
}
VERDICT_NAME: Mapping[str, str] = {
    "reopen": "re-open",
    "review": "review",
    "requote": "re-quote",
    "watch": "watch",
    "stands": "stands",
}
STEP: Mapping[str, str] = {
    "currency": "currency",
    "input_prices": "materials, labour, energy, inflation",
    "experience": "experience: the market made more of them",
    "maturity": "maturity: mark-up of a young market gone",
    "own_volume": "own annual quantity",
    "newer_quotes": "newer quotes",
}
SURER: Mapping[str, tuple[str, str]] = {
    "basis": ("how well the booked cost was known", "a firm quote in place of a budgetary or catalogue price"),
    "exponent": ("how fast the commodity learns", "more quotes of parts of this commodity at different dates"),
    "volume_index": ("how much the market made", "volumes of this commodity up to today"),
    "input_prices": ("input prices and the materials share", "a current index, or the part's own material basket"),
    "process": ("what prices do that no curve explains", "a new quote, and nothing else"),
    "currency": ("exchange rates", "the currency in which the supplier really prices"),
    "own_volume": ("the effect of the annual quantity", "price breaks from the supplier"),
    "date": ("the date of the booked cost", "the date on which this cost was really quoted"),
    "classification": ("which commodity the part belongs to", "the commodity, stated in the BOM"),
}
"""Part of the variance: what it is, and what would make it smaller."""
SURER_SENTENCE = "{share} of the uncertainty is {what}; narrower with {advice}"
LINE_SENTENCE = (
    "Booked at {booked} {unit}; today's should-be price is estimated at {estimate} ({span} at {confidence} "
    "confidence), {drift}. The chance that it is more than {materiality} off is {chance}."
)
WORTH_SENTENCE = "{money} {currency} a year booked {way} the estimate, on {quantity} {uom} a year"
"""All three are also filled in by the page's script."""
BASIS: Mapping[str, str] = {
    "quote": "dated by the quote behind it",
    "cost_date": "dated by the cost date in the BOM",
    "programme": "dated by the sourcing programme",
    "undated": "no date; a range of ages is assumed",
}
STAGE: Mapping[str, str] = {
    "emerging": "emerging (few made, prices far apart)",
    "growth": "growth (volumes rise fast)",
    "shake-out": "shake-out (early margins go)",
    "mature": "mature (most of the market is reached)",
    "declining": "declining (volumes fall)",
}
ABSENT: Mapping[str, str] = {
    "quotes": "No quotes were given: learning rates come from the library alone and every interval is wider.",
    "volumes": "No market volumes were given: only the library's starter volumes, or trends, carry the estimates.",
    "input_prices": "No input prices were given: only bundled general inflation, where there is any, moves materials.",
    "decisions": "No decisions were given: the report names lines, not choices.",
    "standards": "No standard costs were given: nothing is reconciled.",
    "alternates": "No alternates were given.",
    "fx": "No exchange rates were given: the bundled central-bank reference rates are used.",
}


def list_of(items: Sequence[str], *, most: int = 6) -> str:
    """Join as prose, the rest counted."""
    shown = list(items[:most])
    if len(items) > most:
        shown.append(f"{len(items) - most} more")
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " and " + shown[-1] if shown else "none"


def side(numbers: Numbers, saving: float, currency: str, rival: str, *, like: float) -> str:
    """Say what a saving per unit means: positive when the choice is cheaper than its rival."""
    if not math.isfinite(saving):
        return f"cannot be compared with {rival}"
    money = f"{numbers.saving(abs(saving), like=like).removeprefix('+')} {currency} a unit"
    return f"saves {money} against {rival}" if saving >= 0 else f"costs {money} more than {rival}"


def decision_sentence(
    numbers: Numbers, *, chosen: str, switch_to: str, booked: float, today: float, low: float, high: float,
    p_flip: float, currency: str, confidence: float, like: float,
) -> str:  # fmt: skip
    """Say in one sentence how a decision looks as booked and today; savings with the decimals of ``like``."""
    if not math.isfinite(today):
        return f"{chosen} cannot be compared with {switch_to}: an element has no price."
    ends = f"{numbers.saving(low, like=like)} and {numbers.saving(high, like=like)}"
    then = side(numbers, booked, currency, "its best alternative", like=like)
    now = side(numbers, today, currency, switch_to, like=like)
    return (
        f"As booked, {chosen} {then}. Today, everything counted, it {now} (its saving is between {ends} at "
        f"{numbers.share(confidence)} confidence). The chance that another option is the cheaper one today is "
        f"{numbers.chance(p_flip)}."
    )


def next_step(verdict: str, *, ask_first: str, tips_on: str, safety: bool) -> str:
    """Say what to do about a decision; whatever it is, engineering comes before a change that bears on safety."""
    if verdict == "review":
        return "Engineering review needed before re-opening: the decision bears on safety."
    if verdict == "reopen":
        return "Re-open the decision; confirm the pivotal prices with firm quotes while you do."
    first = f" {SAFETY_FIRST}" if safety else ""
    if verdict == "requote":
        part = f" of {ask_first}" if ask_first else ""
        return f"Ask for a firm quote{part}, then decide.{first}"
    if verdict == "watch":
        return (f"Look again before {tips_on}." if tips_on else "Look again at the next audit.") + first
    return "Nothing to do."


def line_sentence(
    numbers: Numbers, *, booked: float, estimate: float, low: float, high: float, drift: float, p_stale: float,
    currency: str, uom: str, materiality: float, confidence: float,
) -> str:  # fmt: skip
    """Say in one sentence what is thought about a line."""
    return LINE_SENTENCE.format(
        booked=numbers.price(booked), unit=f"{currency}/{uom}" if uom else f"{currency} each",
        estimate=numbers.price(estimate), span=numbers.span(low, high, prices=True),
        confidence=numbers.share(confidence), drift=numbers.share(drift, signed=True),
        materiality=numbers.share(materiality), chance=numbers.chance(p_stale),
    )  # fmt: skip


def surer(numbers: Numbers, parts: Mapping[str, float], *, most: int = 3) -> list[str]:
    """Say what the uncertainty comes from and what would narrow it, largest part first."""
    ranked = sorted(((v, k) for k, v in parts.items() if math.isfinite(v) and v >= 0.03), reverse=True)  # noqa: PLR2004
    return [
        SURER_SENTENCE.format(share=numbers.share(v), what=SURER[k][0], advice=SURER[k][1]) for v, k in ranked[:most]
    ]


def left_out(numbers: Numbers, shown: int, total: int, *, of: str = "lines", file: str = "lines.csv") -> str:
    """Say that a list is cut, and where the rest is."""
    if shown >= total:
        return ""
    return f"Shown: {numbers.plain(shown)} of {numbers.plain(total)} {of}, most money first; all are in {file}."


def curve_sentence(
    numbers: Numbers, *, exponent: float, exponent_sd: float, n_obs: int, n_parts: int, data_weight: float, source: str
) -> str:
    """Say how a commodity learns, from what."""
    rate, spread = 1 - 2**-exponent, math.log(2) * 2**-exponent * exponent_sd
    own = (
        f"{numbers.count(n_obs, 'own quote')} of {numbers.count(n_parts, 'part')} {'carry' if n_obs > 1 else 'carries'}"
        f" {numbers.share(data_weight)} of it"
        if n_obs
        else "no own quotes bear on it"
    )
    way = "falls" if rate >= 0 else "rises"
    return (
        f"learning: price {way} {numbers.share(abs(rate))} (± {numbers.share(spread)}) with each doubling of "
        f"cumulative volume; {own}; prior: {source}"
    )


def change_cost(numbers: Numbers, money: float, *, stated: bool) -> str:
    """Write what a change costs once, and that nobody stated it where that is so."""
    return numbers.about(money) if stated else f"not stated, counted as {numbers.about(money)}"


def worth_points(
    numbers: Numbers, *, currency: str, decision: Mapping[str, Any], once: Sequence[str], stated: bool
) -> list[str]:
    """Say what switching costs and brings; takes a row of ``decisions``, and what else has to be paid once.

    A cost of change that nobody ``stated`` counts as 0, which is said: it favours switching.
    """
    d = decision
    worth = (
        f"switching comes to {numbers.about(d['npv'], signed=True)} {currency} "
        f"({numbers.span(d['npv_low'], d['npv_high'], signed=True)}) over {numbers.years(d['years_left'])} years at "
        f"{numbers.plain(d['annual_volume'])} products a year"
    )
    known = math.isfinite(d["npv"])
    said = [
        *([worth] if known else []),
        (f"one-time cost of change: {change_cost(numbers, d['change_cost'], stated=stated)} {currency}")
        + ("" if stated else ", which favours switching")
        + (f"; counted as well, as elements: {list_of(once)}" if once else ""),
        *([f"chance that it pays back in time: {numbers.chance(d['p_pays_back'])}"] if known else []),
    ]
    if math.isfinite(d["payback_years"]):
        said.append(f"payback: {numbers.years(d['payback_years'])} years")
    if d["break_even_part"] and math.isfinite(d["break_even_price"]):
        said.append(f"break-even: {d['break_even_part']} at {numbers.price(d['break_even_price'])} {currency}")
    if math.isfinite(d["evpi"]):
        said.append(f"knowing all prices for sure would be worth {numbers.about(d['evpi'], figures=2)} {currency}")
    return said


def worth_sentence(numbers: Numbers, *, money: float, currency: str, quantity: float, uom: str) -> str:
    """Say what a line is worth a year."""
    return WORTH_SENTENCE.format(
        money=numbers.about(abs(money)), currency=currency, way="above" if money >= 0 else "below",
        quantity=numbers.plain(quantity), uom=uom or "pieces",
    )  # fmt: skip


def stake_words(numbers: Numbers, *, above: float, below: float, currency: str) -> str:
    """Say by how much booked costs stand above and below the estimates a year; nothing where they do not."""
    sides = ((above, "above"), (below, "below"))
    said = [f"{numbers.about(money)} {currency} a year booked {way} estimate" for money, way in sides if money > 0]
    return ", ".join(said)


def cautions(absent: Sequence[str]) -> list[str]:
    """Say what follows from each table that was not given."""
    return [ABSENT[t] for t in absent if t in ABSENT]


def more_findings(numbers: Numbers, shown: int, total: int) -> str:
    """Say that a list of findings is cut, and where the rest is."""
    return f"Shown: {numbers.plain(shown)} of {numbers.plain(total)} findings, worst first; all are in findings.csv."


SHEET: Mapping[str, str] = {
    "Decisions": "One row a decision. Positive saving: the choice is the cheaper one. Tinted cells may be changed.",
    "Elements": "Every element of every option, in money a unit.",
    "Lines": "One row a line of the BOM, most pressing first. Tinted cells may be changed; formulas follow.",
    "Re-quotes": "What to ask for first: what knowing the price is worth against the cost of asking.",
    "Reconciliation": "Standards in force against booked, paid and estimated costs, and what new ones would change.",
    "Inputs": "What materials and currencies carry of a year's spend. Enter a change; what it adds follows.",
    "Inputs by decision": "What the changes entered in Inputs do to each decision, one input at a time.",
    "Markets": "How each market's price moves with the number of units made, and what that rests on.",
    "Assumptions": "Everything that was assumed rather than read. Where it was stated, and why this value.",
    "Look-alikes": "Candidates to confirm, not decisions: other markets that do the same and got cheaper.",
    "Headroom": "Candidates to confirm, not decisions: how large a booked saving the drift of a line alone would undo.",
    "Findings": "What was missing, doubtful or contradictory, where it stands, and what was done about it.",
}
"""What a sheet of the workbook holds."""

_DRIVER_KIND: Mapping[str, str] = {
    "process": "what {0} prices do that no curve explains",
    "exponent": "how fast {0} learns",
    "volume": "how many {0} the market made",
    "input": "price of {0}",
    "fx": "exchange rate of {0}",
    "own_volume": "own quantity of {0}",
}


def driver(name: str) -> str:
    """Name a shared cause of price changes in words; parts and elements keep their own names."""
    kind, colon, of = name.partition(":")
    if kind == "input" and ":" in of:
        series, _, currency = of.partition(":")
        return f"{series.replace('_', ' ')} in {currency}"
    if colon and kind in _DRIVER_KIND:
        return _DRIVER_KIND[kind].format(of.replace("_", " "))
    return _DRIVER_KIND[kind].format("all parts") if kind in _DRIVER_KIND else name


def doubts(numbers: Numbers, shares: Sequence[tuple[str, float]]) -> list[str]:
    """Say what the doubt about a decision comes from: drivers by name and their shares of the variance."""
    return [f"{numbers.share(share)} of the doubt: {name}" for name, share in shares]


NO_RECORD = (
    "Not tested on these quotes. 'bomaudit audit --backtest' holds out the newest quotes of each part, estimates them "
    "from older ones and says here how far off the estimates were, beside four simple rules."
)
SPARED = "of the error as a logarithm"
"""What the error spared is a share of; the errors beside it are shown as percentages of a price."""
METHOD: Mapping[str, str] = {
    "estimate": "this estimate",
    "unchanged": "booked cost left as it is",
    "inflation": "booked cost with general inflation",
    "price_down": "a constant price-down every year",
    "trend": "the past trend of the market's own quotes",
}


def record_sentence(
    numbers: Numbers, *, quotes: int, estimates: int, parts: int, error: float, unchanged: float, confidence: float,
    inside: float, width: float,
) -> str:  # fmt: skip
    """Say how the estimate did on held-out quotes, most of them estimated from what was known on several days."""
    held = (
        f" Its {numbers.share(confidence)} interval held the quote in {numbers.share(inside)} of the cases."
        if math.isfinite(inside)
        else ""
    )
    wider = (
        f" All intervals of this report are {numbers.plain(width, 2)} times as wide as published series alone would "
        "have them (model.interval_width)."
        if width != 1
        else ""
    )
    return (
        f"{numbers.count(quotes, 'quote')} of {numbers.count(parts, 'part')} that it was not shown were estimated "
        f"{numbers.count(estimates, 'time')}, each from what was known on an earlier day. The estimate was off by "
        f"{numbers.share(error)} on average; leaving the booked cost as it was would have been off by "
        f"{numbers.share(unchanged)}.{held}{wider}"
    )
