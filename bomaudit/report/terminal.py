"""The quick look: an audit, one line, one decision, what to ask for; on 80 columns, without colour."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import pandas as pd
from rich.console import Console, Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from bomaudit.report import headline, words
from bomaudit.report.content import (
    FLAGGED,
    Content,
    by_verdict,
    count_statuses,
    gather,
    money_known,
    size_of,
    stake,
)
from bomaudit.report.look import STATUS, VERDICT, Tone
from bomaudit.report.numbers import Numbers
from bomaudit.report.pieces import heading, put, section, table
from bomaudit.report.stories import Bar, DecisionStory, LineStory, found
from bomaudit.report.terminal_inputs import finding_lines
from bomaudit.report.unregistered import headroom_table, look_alike_table

if TYPE_CHECKING:
    from bomaudit.audit import Audit

FIRST = 5
"""Lines and findings that the quick look names; the files hold the rest."""


def numbers_for(content: Content) -> Numbers:
    """Number format for the terminal: a plain hyphen as minus sign, so that output can be searched."""
    return Numbers(content.settings.report.language, minus="-")


def show_audit(audit: Audit, console: Console) -> None:
    """Print the summary of an audit.

    Parameters
    ----------
    audit : Audit
    console : Console
        Where to print; plain text where it is no terminal.
    """
    show_summary(gather(audit), console)


def show_summary(content: Content, console: Console) -> None:
    """Print the summary of what was collected; as :func:`show_audit`."""
    for block in _summary(content):
        put(console, block)


def _summary(content: Content) -> Iterable[RenderableType]:
    n = numbers_for(content)
    yield heading(content.title, f"prices of {n.day(content.as_of)}, {content.currency}")
    if content.settings.audit.invented:
        yield Text(words.INVENTED, style="italic")
    yield from (Text(s) for s in found(content, n))
    yield section("Lines")
    yield _status_table(content, n)
    yield section("Decisions")
    yield _decision_table(content, n) if len(content.decisions) else Text("none given")
    if not len(content.decisions):
        yield from _candidates(content, n)
    yield section("Ask first for a new quote")
    yield _requote_table(content.requotes.head(FIRST), content, n)
    yield section("Findings")
    yield finding_lines(content.findings, FIRST)
    yield Text()
    yield Text(words.CAUTION, style="italic")


def _candidates(content: Content, n: Numbers) -> Iterable[RenderableType]:
    """What to look at where no decision was given."""
    if len(content.candidates) or len(content.headroom):
        yield section("Candidates to confirm")
        yield Text(words.CANDIDATES)
    if len(content.candidates):
        yield Text("\n" + words.LOOK_ALIKES)
        yield look_alike_table(content, n, top=FIRST)
    if len(content.headroom):
        yield Text("\n" + words.HEADROOM)
        yield headroom_table(content, n, top=FIRST)


def _status_table(content: Content, n: Numbers) -> Table:
    grid = table("", "lines", "booked above", "booked below", "")
    for status, count in count_statuses(content.lines).items():
        part = stake(content.lines[content.lines["status"].eq(status)])
        money = (n.about(part.above), n.about(part.below)) if status in FLAGGED else ("", "")
        grid.add_row(_tag(STATUS[status], status), n.plain(count), *money, words.STATUS[status])
    others = int(content.lines["status"].eq("").sum())
    if others:
        grid.add_row("  no part", n.plain(others), "", "", "assemblies and charges, listed in lines.csv")
    grid.columns[2].header, grid.columns[3].header = (f"{h}\n{content.currency}/year" for h in ("above", "below"))
    return grid


def _decision_table(content: Content, n: Numbers) -> Table:
    unit = f"{content.currency} a unit"
    grid = table(
        "", "decision", f"choice saves, {unit}\nbooked → today (interval)", "chance\nto flip", "worth\nof change"
    )
    for d in by_verdict(content.decisions).to_dict("records"):
        booked, today = (n.saving(d[f"saving_{s}"], like=size_of(d)) for s in ("booked", "today"))
        span = f"({n.savings(d['saving_low'], d['saving_high'], like=size_of(d))})"
        safety = "\n[italic]bears on safety: review first[/]" if _true(d["safety_relevant"]) else ""
        grid.add_row(
            _tag(VERDICT[d["verdict"]], words.VERDICT_NAME[d["verdict"]]),
            f"[b]{escape(d['decision'])}[/b] {escape(d['title'])}".rstrip() + safety,
            f"{booked} → {today}\n{span}",
            n.chance(d["p_flip"]),
            n.about(d["npv"], signed=True),
        )
    return grid


def show_requotes(audit: Audit, console: Console, *, top: int) -> None:
    """Print the ``top`` parts to ask new quotes for, most worth knowing first."""
    show_requote_list(gather(audit), console, top=top)


def show_requote_list(content: Content, console: Console, *, top: int) -> None:
    """Print the ``top`` parts of what was collected; as :func:`show_requotes`."""
    n = numbers_for(content)
    put(console, heading("Ask for new quotes", f"{content.title}, prices of {n.day(content.as_of)}"))
    put(console, _requote_table(content.requotes.head(top), content, n, why=True))


def _requote_table(requotes: pd.DataFrame, content: Content, n: Numbers, *, why: bool = False) -> RenderableType:
    if requotes.empty:
        return Text(headline.nothing_to_ask(audited=len(content.audited), money_known=money_known(content)))
    cur = content.currency
    grid = table("", "part", f"booked → estimate\n{cur} each", f"worth of\nknowing, {cur}", "for")
    for r in requotes.to_dict("records"):
        text = f"[b]{escape(r['part_no'])}[/b] {escape(r['description'])}"
        grid.add_row(
            n.plain(r["rank"]),
            text + (f"\n{escape(n.as_written(r['reason']))}" if why else ""),
            f"{n.price(r['booked_cost'])} → {n.price(r['estimate'])}\n"
            f"({n.span(r['estimate_low'], r['estimate_high'], prices=True)})",
            n.about(r["value_of_asking"], figures=2),
            escape(r["decisions"]),
        )
    return grid


def show_line(story: LineStory, console: Console) -> None:
    """Print all that is known of one line."""
    put(console, heading(story.title, story.subtitle))
    put(console, Text.assemble(_tag(STATUS[story.status], story.status) if story.status else Text(""), " ", story.lead))
    if story.walk:
        put(console, section("From booked to today"))
        put(console, _bars(story.walk))
    for title, points in story.sections:
        put(console, section(title))
        put(console, _points(points))
    put(console, Text())
    put(console, Text(words.CAUTION, style="italic"))


def show_decision(story: DecisionStory, console: Console) -> None:
    """Print all that is known of one decision."""
    put(console, heading(story.title, story.subtitle))
    put(console, Text.assemble(_tag(VERDICT[story.verdict], words.VERDICT_NAME[story.verdict]), " ", story.lead))
    put(console, Text(story.step, style="bold"))
    if story.bridge:
        put(console, section("What moved, per unit"))
        put(console, _bars(story.bridge))
    for title, points in story.sections:
        put(console, section(title))
        put(console, _points(points))
    put(console, Text())
    put(console, Text(words.CAUTION, style="italic"))


def _bars(bars: Sequence[Bar]) -> Table:
    """Draw steps as bars of characters between the lowest and the highest level; nought is always in view."""
    grid = table(pad=False)
    for _ in range(3):
        grid.add_column(no_wrap=False)
    grid.columns[1].justify = "right"
    grid.columns[1].no_wrap = grid.columns[2].no_wrap = True
    ends = [0.0, *(x for b in bars for x in (b.start, b.end))]
    for bar in bars:
        lead, body = bar.cells(26, min(ends), max(ends))
        mark = "█" if bar.level else "▓" if bar.end >= bar.start else "░"
        grid.add_row(bar.label, bar.text, " " * lead + mark * body)
    return grid


def _points(points: Sequence[str]) -> RenderableType:
    return Group(*(Padding(Text(f"- {p}"), (0, 0, 0, 0)) for p in points))


def _tag(tone: Tone, word: str) -> Text:
    return Text(f"{tone.mark} {word}", style=tone.terminal)


def _true(value: object) -> bool:
    return value is True or (isinstance(value, float) and math.isfinite(value) and value == 1)
