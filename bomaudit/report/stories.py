"""One line or one decision in full: the story that terminal, page and JSON tell in the same words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from bomaudit.glossary import VARIANCE_PARTS, WALK_STEPS
from bomaudit.report import headline, input_words, words
from bomaudit.report.content import Content, at_stake, count_statuses, count_verdicts, idle_lines, money_known, size_of
from bomaudit.report.numbers import Numbers

MOST_MOVES = 8
"""Elements that a bridge names; the rest is summed."""
_MOST_INPUTS = 3
_LEAST_SHARE = 0.01
"""Inputs of a smaller share of a price are not named."""

Section = tuple[str, tuple[str, ...]]
"""Title and its points."""


@dataclass(frozen=True)
class Bar:
    """One step of a walk.

    Attributes
    ----------
    label : str
    start, end : float
        Levels before and after the step; a level bar starts at nought. [currency]
    text : str
        Its figure as written.
    level : bool
        True for the two ends of the walk.
    """

    label: str
    start: float
    end: float
    text: str
    level: bool = False

    def cells(self, width: int, low: float, high: float) -> tuple[int, int]:
        """Cells before the bar and of it, of ``width`` that stand for low to high; a step is never invisible."""
        left, right = sorted((self.start, self.end))
        lead, end = (round(width * (x - low) / ((high - low) or 1.0)) for x in (left, right))
        return min(lead, width - 1), max(end - lead, 1 if right > left else 0)


@dataclass(frozen=True)
class LineStory:
    """A line in words and bars; ``walk`` is empty where the line has no estimate."""

    title: str
    subtitle: str
    status: str
    lead: str
    walk: tuple[Bar, ...]
    sections: tuple[Section, ...]


@dataclass(frozen=True)
class DecisionStory:
    """A decision in words and bars."""

    title: str
    subtitle: str
    verdict: str
    lead: str
    step: str
    bridge: tuple[Bar, ...]
    sections: tuple[Section, ...]


def given(content: Content) -> list[str]:
    """What was given for this run only, and what that means."""
    rows = content.findings[content.findings["code"] == "S013"]
    return [": ".join(t for t in pair if t) for pair in zip(rows["found"], rows["assumed"], strict=True)]


def found(content: Content, n: Numbers) -> list[str]:
    """Say in three sentences what was found: lines, decisions, the first quote to ask for; before, what was given."""
    counts, cur, known = count_statuses(content.lines), content.currency, money_known(content)
    first = content.requotes.head(1)
    return [
        *words.given_for_this_run(given(content)),
        headline.found_lines(
            n, audited=len(content.audited), stale=counts["stale"], drifting=counts["drifting"],
            unknown=counts["unknown"],
            unpriced=int((content.lines["status"].eq("unknown") & content.lines["estimate"].isna()).sum()),
            above=at_stake(content, 1), below=at_stake(content, -1), currency=cur, money_known=known,
            idle=idle_lines(content.lines), day=n.day(content.as_of)),
        headline.found_decisions(n, counts=count_verdicts(content.decisions), currency=cur,
                              reopen=_worth_of(content, "reopen"), review=_worth_of(content, "review")),
        headline.found_next(
            n, part="".join(first["part_no"]), description="".join(first["description"]),
            value=float(first["value_of_asking"].sum()), currency=cur, audited=len(content.audited), money_known=known),
    ]  # fmt: skip


def _worth_of(content: Content, verdict: str) -> headline.Worth:
    """What the decisions of a verdict add to the total, and at their cautious ends; a shared change is paid once."""
    counted = content.portfolio[content.portfolio["counted"] & content.portfolio["verdict"].eq(verdict)]
    low = counted["decision"].map(content.decisions.set_index("decision")["npv_low"]).astype(float)  # also of none
    return float(counted["npv_counted"].sum()), float((low + counted["npv_counted"] - counted["npv"]).sum())


def tell_line(content: Content, line: dict[Any, Any], n: Numbers) -> LineStory:
    """Tell a line, given as a row of ``content.lines``."""
    title = " ".join(t for t in (line["part_no"], line["description"]) if t)
    place = f"{line['source_file']} row {n.plain(line['source_row'])}"
    subtitle = f"{line['line_id']}, {place}"
    if not math.isfinite(line["estimate"]):
        return LineStory(title, subtitle, line["status"], line["reason"], (), ())
    audit = content.settings.audit
    lead = words.line_sentence(
        n, booked=line["booked_cost"], estimate=line["estimate"], low=line["estimate_low"], high=line["estimate_high"],
        drift=line["drift"], p_stale=line["p_stale"], currency=content.currency, uom=line["uom"],
        materiality=audit.materiality, confidence=audit.confidence,
    )  # fmt: skip
    return LineStory(title, subtitle, line["status"], lead, walk_bars(line, n), _line_sections(content, line, n))


def walk_bars(line: dict[Any, Any], n: Numbers) -> tuple[Bar, ...]:
    """Steps from the booked cost to today's estimate; steps of nought are left out."""
    level, bars = (
        line["booked_cost"],
        [Bar("booked", 0.0, line["booked_cost"], n.price(line["booked_cost"]), level=True)],
    )
    for step in WALK_STEPS:
        change = line[f"walk_{step}"]
        if change:
            like = max(abs(change), min(line["booked_cost"], 0.001))  # of small prices alone more than four decimals
            bars.append(Bar(words.STEP[step], level, level + change, n.price(change, signed=True, like=like)))
            level += change
    return (*bars, Bar("estimate today", 0.0, line["estimate"], n.price(line["estimate"]), level=True))


def _line_sections(content: Content, line: dict[Any, Any], n: Numbers) -> tuple[Section, ...]:
    evidence = str(content.evidence.get(line["line_id"], ""))
    surer = words.surer(n, {v: line[f"var_{v}"] for v in VARIANCE_PARTS})
    return tuple((t, tuple(p)) for t, p in (
        ("Why this status", [n.as_written(line["reason"])]),
        ("What it is worth", _worth(line, n)),
        ("What its price follows", follows(content, line, n)),
        ("Evidence", [*_evidence(content, line, n), *filter(None, evidence.split("; "))]),
        ("What would make this surer", surer),
    ) if p)  # fmt: skip


def _worth(line: dict[Any, Any], n: Numbers) -> list[str]:
    money, quantity = line["exposure_per_year"], line["qty_per"] * line["annual_volume"]
    if not math.isfinite(money):
        return ["annual volume is not known, so neither is the money at stake"]
    return [words.worth_sentence(n, money=money, currency=line["currency"], quantity=quantity, uom=line["uom"])]


def _evidence(content: Content, line: dict[Any, Any], n: Numbers) -> list[str]:
    day = n.day(line["basis_date"])
    dated = f"{words.BASIS.get(line['basis'], line['basis'])}: {day}, {n.years(line['age_years'])} years ago"
    market = line["commodity"].replace("_", " ") or "unknown"
    how = f" ({line['commodity_basis']}, {n.share(line['commodity_confidence'])} sure)" if line["commodity"] else ""
    said = [f"booked cost {dated}", f"market: {market}{how}"]
    if curve := learning(content, line["commodity"], n):
        said.append(curve)
    if line["safety_relevant"] is True:
        said.append(words.SAFETY_FIRST)
    if line["stage"]:
        said.append(f"stage of the market: {words.STAGE.get(line['stage'], line['stage'])}")
    return said


def follows(content: Content, line: dict[Any, Any], n: Numbers) -> list[str]:
    """Say which inputs the price of a line follows."""
    row, shares = content.row_of[line["line_id"]], content.shares.share
    of_line = slice(shares.indptr[row], shares.indptr[row + 1])
    rows = sorted(zip((-shares.data[of_line]).tolist(), shares.indices[of_line].tolist(), strict=True))
    named = [(content.shares.inputs[k], -share) for share, k in rows if -share >= _LEAST_SHARE]
    return input_words.follows(n, named, estimate=line["estimate"], currency=content.currency)


def learning(content: Content, commodity: str, n: Numbers) -> str:
    """Say how a market learns and what that rests on; "" where the market is not known."""
    if commodity == "" or commodity not in content.curves.index:
        return ""
    fit: dict[Any, Any] = content.curves.loc[commodity].to_dict()
    return words.curve_sentence(
        n, exponent=fit["exponent"], exponent_sd=fit["exponent_sd"], n_obs=int(fit["n_quotes"]),
        n_parts=int(fit["n_parts"]), data_weight=fit["data_weight"], source=str(fit["source"]))  # fmt: skip


def tell_decisions(content: Content) -> dict[str, DecisionStory]:
    """Tell every decision, by its key."""
    return {d["decision"]: tell_decision(content, d, content.numbers) for d in content.decisions.to_dict("records")}


def tell_decision(content: Content, decision: dict[Any, Any], n: Numbers) -> DecisionStory:
    """Tell a decision, given as a row of ``content.decisions``."""
    d, cur = decision, content.currency
    lead = words.decision_sentence(
        n, chosen=d["chosen"], switch_to=d["switch_to"], booked=d["saving_booked"], today=d["saving_today"],
        low=d["saving_low"], high=d["saving_high"], p_flip=d["p_flip"], currency=cur,
        confidence=content.settings.audit.confidence, like=size_of(d),
    )  # fmt: skip
    bridge = bridge_bars(content, d, n)
    tips = n.day(d["tips_on"]) if not pd.isna(d["tips_on"]) else ""
    step = words.next_step(d["verdict"], ask_first=d["ask_first"], tips_on=tips, safety=bool(d["safety_relevant"]))
    inputs = content.inputs[content.inputs["decision"] == d["decision"]].head(_MOST_INPUTS)
    moved = list(inputs[["driver", "saving_today", "saving_change", "tips_at"]].itertuples(index=False, name=None))
    told: tuple[tuple[str, Sequence[str]], ...] = (
        ("Why this verdict", [n.as_written(d["reason"]), words.VERDICT[d["verdict"]]]),
        (
            "What it is worth",
            words.worth_points(
                n,
                currency=cur,
                decision=d,
                once=_paid_once(content, d),
                stated=d["decision"] not in content.silent,
            ),
        ),
        ("If an input price moves", input_words.if_inputs_move(n, moved, currency=cur, like=size_of(d))),
        ("Where the doubt comes from", words.doubts(n, doubts_of(content, d["decision"]))),
    )
    sections = tuple((title, tuple(points)) for title, points in told if points)
    return DecisionStory(d["title"] or d["decision"], d["decision"], d["verdict"], lead, step, bridge, sections)


def _paid_once(content: Content, decision: dict[Any, Any]) -> list[str]:
    """One-time elements of the option to switch to that are not paid yet: they are due with the cost of change."""
    rows = content.elements[content.elements["decision"] == decision["decision"]]
    due = rows["option"].eq(decision["switch_to"]) & rows["basis"].eq("once") & ~rows["spent"].astype(bool)
    return [str(element) for element in rows.loc[due, "element"]]


def doubts_of(content: Content, decision: str, *, most: int = 5) -> list[tuple[str, float]]:
    """Name the causes of a decision's variance and their shares, largest first."""
    rows = content.drivers[(content.drivers["decision"] == decision) & (content.drivers["variance_share"] >= 0.02)]  # noqa: PLR2004
    named = zip(rows["driver"].head(most), rows["variance_share"].head(most), strict=True)
    return [(words.driver(content.called.get(d, d)), float(s)) for d, s in named]


def bridge_bars(content: Content, decision: dict[Any, Any], n: Numbers) -> tuple[Bar, ...]:
    """Steps from the saving as booked to the saving today, both against the option to switch to.

    Where another option was the best alternative as booked, the first bar says which one it is against. No steps where
    an element has no price.
    """
    if not math.isfinite(decision["saving_today"]):
        return ()
    rows = content.elements[content.elements["decision"] == decision["decision"]]
    sign = rows["option"].map({decision["switch_to"]: 1.0, decision["chosen"]: -1.0}).fillna(0.0)
    level, today = float((sign * rows["booked_per_unit"]).sum()), decision["saving_today"]
    same = math.isclose(level, decision["saving_booked"], rel_tol=1e-6, abs_tol=1e-9)
    first = "choice saves, as booked" if same else f"choice saves against {decision['switch_to']}, as booked"

    def bar(label: str, start: float, end: float, *, ends: bool = False) -> Bar:
        return Bar(label, start, end, n.saving(end - start, like=size_of(decision)), level=ends)

    bars = [bar(first, 0.0, level, ends=True)]
    for label, change in moves(rows, sign):
        bars.append(bar(label, level, level + change))
        level += change
    return (*bars, bar("choice saves, today", 0.0, today, ends=True))


def moves(rows: pd.DataFrame, sign: pd.Series) -> Sequence[tuple[str, float]]:
    """Elements that moved since, as changes of the saving, largest first; those of one name and small ones together.

    Parameters
    ----------
    rows : DataFrame
        Elements of one decision.
    sign : Series
        1 for the option to switch to, -1 for the chosen one, 0 for others.
    """
    label = rows["option"] + ": " + rows["element"]
    change = (sign * (rows["today_per_unit"] - rows["booked_per_unit"])).groupby(label, sort=False).sum()
    order = change.abs().sort_values(ascending=False, kind="stable").index
    named = [(str(i), float(change[i])) for i in order if change[i]]
    rest = sum(c for _, c in named[MOST_MOVES:])
    return [*named[:MOST_MOVES], *([("all others", rest)] if rest else [])]
