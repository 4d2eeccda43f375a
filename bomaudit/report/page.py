"""The page: one file for the client, nothing loaded from anywhere, readable without scripts, printable."""

from __future__ import annotations

import base64
import hashlib
import math
from importlib.resources import files
from pathlib import Path
from typing import Any

import pandas as pd
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from bomaudit.provenance import versions
from bomaudit.report import headline, input_words, look, runtime, words
from bomaudit.report.as_data import LAYOUTS
from bomaudit.report.content import Content, by_verdict, by_weight, count_statuses, money_known, size_of, stake
from bomaudit.report.page_data import marks, packed
from bomaudit.report.page_tables import (
    ASSUMPTION_COLUMNS,
    COVERAGE_COLUMNS,
    ELEMENT_COLUMNS,
    FINDING_COLUMNS,
    MADE_COLUMNS,
    RECORD_COLUMNS,
    REQUOTE_COLUMNS,
    assumption_rows,
    coverage_rows,
    effect_heads,
    effect_rows,
    element_rows,
    finding_rows,
    input_heads,
    input_rows,
    line_columns,
    line_rows,
    market_columns,
    market_rows,
    record_rows,
    record_said,
    requote_rows,
    spread_cells,
    spread_heads,
)
from bomaudit.report.stories import DecisionStory, found, tell_decisions
from bomaudit.report.unregistered import page_part

MOST_LINES = 1500
MOST_REQUOTES = 500
"""Lines that the page holds, most money first; more would make it too large to mail. All are in lines.csv."""
MOST_FINDINGS = 500
WITHOUT_SCRIPTS = 25
"""Lines that are written into the page itself, for readers without scripts."""

SECTIONS = (
    ("found", "What we found"), ("decisions", "Decisions"), ("lines", "Lines"), ("ask", "Ask first"),
    ("inputs", "What if"), ("ageing", "Age"), ("markets", "Markets"), ("record", "Record"),
    ("assumed", "Assumptions"), ("findings", "Data"), ("made", "Made from"),
)  # fmt: skip


def write(content: Content, path: Path) -> None:
    """Write the page of an audit to a file; UTF-8."""
    path.write_text(render(content), encoding="utf-8")


def render(content: Content) -> str:
    """Make the page of an audit.

    Parameters
    ----------
    content : Content

    Returns
    -------
    str
        HTML; its content security policy forbids every connection and every script but its own two, by their hashes.
    """
    waiting = runtime.start()
    lines = by_weight(content.lines[content.lines["status"] != ""]).head(MOST_LINES)
    stories = tell_decisions(content)
    data, script = packed(content, lines, stories), _asset("page.js")
    context = _context(content, lines, stories)
    engine = waiting.result()
    template = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True).from_string(
        _asset("template.html")
    )
    return template.render(
        **context,
        css=Markup(_css()),  # noqa: S704  (our own file)
        data=Markup(data),  # noqa: S704  (JSON with every "<" escaped)
        runtime=Markup(engine),  # noqa: S704  (bundled by the package that made it)
        script=Markup(script),  # noqa: S704  (our own file)
        hashes=Markup(f"{_digest(engine)} {_digest(script)}"),  # noqa: S704  (base64)
    )


def _asset(name: str) -> str:
    return files("bomaudit.report").joinpath(name).read_text(encoding="utf-8")


def _digest(code: str) -> str:
    return "'sha256-" + base64.b64encode(hashlib.sha256(code.encode()).digest()).decode() + "'"


def _css() -> str:
    """Style sheet with the colours of :mod:`look` as variables, light and dark."""
    groups = {"status": look.STATUS, "verdict": look.VERDICT, "severity": look.SEVERITY}
    tones = {f"{g}-{s}": t for g, states in groups.items() for s, t in states.items()}
    tones |= {"up": look.UP, "down": look.DOWN}
    light = " ".join(f"--{k}: {t.light}; --{k}-soft: {t.soft};" for k, t in tones.items())
    dark = " ".join(f"--{k}: {t.dark}; --{k}-soft: {t.soft_dark};" for k, t in tones.items())
    css = _asset("page.css")
    for name, value in (("DARK_GROUND", look.GROUND_DARK), ("DARK_INK", look.INK_DARK), ("LIGHT", light),
                        ("DARK", dark), ("GROUND", look.GROUND), ("INK", look.INK)):  # fmt: skip
        css = css.replace(name, value)
    return css


def _context(content: Content, lines: pd.DataFrame, stories: dict[str, DecisionStory]) -> dict[str, Any]:
    n, audit = content.numbers, content.settings.audit
    return {
        "title": content.title,
        "as_of": n.day(content.as_of),
        "currency": content.currency,
        "confidence": n.share(audit.confidence),
        "materiality": n.share(audit.materiality),
        "materiality_money": f"{n.amount(audit.materiality_per_year)} {content.currency}",
        "invented": words.INVENTED if audit.invented else "",
        "broken": [words.BROKEN, *content.broken] if content.broken else [],
        "dropped": words.list_of(content.dropped) if content.dropped else "",
        "sections": [{"id": i, "title": t} for i, t in SECTIONS],
        "marks": marks(),
        "found": found(content, n),
        "caution": words.CAUTION,
        **_states(content),
        **_decisions(content, stories),
        **page_part(content),
        **_line_part(content, lines),
        "requotes": requote_rows(content, MOST_REQUOTES),
        "more_requotes": words.left_out(n, MOST_REQUOTES, len(content.requotes), of="parts", file="requotes.csv"),
        "cost_of_asking": n.amount(content.settings.decide.cost_of_asking),
        "requote_columns": REQUOTE_COLUMNS(content.currency),
        "no_requotes": headline.nothing_to_ask(audited=len(content.audited), money_known=money_known(content)),
        "inputs_said": input_words.INPUTS_SAID,
        "inputs": input_rows(content),
        "input_columns": input_heads(content.currency),
        "effects": effect_rows(content),
        "effect_columns": effect_heads(content.currency),
        "ageing_words": "Booked spend a year by age of the booked cost and status",
        "markets": market_rows(content),
        "market_columns": market_columns(content.currency),
        "curves": _curves(content),
        **_record(content),
        **_foot(content),
        "layout": LAYOUTS["report.html"],
    }


def _states(content: Content) -> dict[str, Any]:
    n, strip = content.numbers, []
    for status, count in count_statuses(content.lines).items():
        part = stake(content.lines[content.lines["status"] == status])
        money = words.stake_words(n, above=part.above, below=part.below, currency=content.currency)
        strip.append({"status": status, "count": count, "text": n.count(count, "line"), "money": money,
                      "meaning": words.STATUS[status]})  # fmt: skip
    return {"strip": strip, "strip_words": ", ".join(f"{s['text']} {s['status']}" for s in strip)}


def _decisions(content: Content, stories: dict[str, DecisionStory]) -> dict[str, Any]:
    return {
        "decisions": [
            _decision(content, d, stories[d["decision"]]) for d in by_verdict(content.decisions).to_dict("records")
        ],
        "element_columns": ELEMENT_COLUMNS(content.currency),
        "spread_columns": spread_heads(content.currency),
        "no_decisions": headline.NO_DECISIONS,
    }


def _decision(content: Content, d: dict[Any, Any], story: DecisionStory) -> dict[str, Any]:
    n, cur = content.numbers, content.currency
    span = n.savings(d["saving_low"], d["saving_high"], like=size_of(d))
    booked, today = (n.saving(d[f"saving_{s}"], like=size_of(d)) for s in ("booked", "today"))
    title, name = story.title, d["decision"]
    return {
        "key": name, "title": title, "verdict": d["verdict"], "verdict_name": words.VERDICT_NAME[d["verdict"]],
        "step": story.step, "lead": story.lead,
        "sections": [{"title": t, "points": p} for t, p in story.sections],
        "picture": _picture(d),
        "picture_words": f"as booked {booked} {cur}, today {today}, interval {span}",
        "booked": booked, "today": today,
        "chance": n.chance(d["p_flip"]), "npv": n.about(d["npv"], signed=True),
        "cost": words.change_cost(n, d["change_cost"], stated=name not in content.silent),
        "elements": element_rows(content, name),
        **_spread(content, name, title),
        "bridge_words": f"{title}: saving as booked, what moved, saving today, {cur} a unit",
        "tornado": bool((content.tornado["decision"] == name).any()),
        "tornado_words": f"{title}: what switching is worth at the low and high end of each driver, {cur}",
        "paths": bool((content.paths["decision"] == name).any()),
        "paths_words": f"{title}: cost per unit of the options over time, {cur} of today",
    }  # fmt: skip


def _spread(content: Content, name: str, title: str) -> dict[str, Any]:
    """Distribution of a decision's saving: a sentence, a table, and what its picture shows."""
    savings = content.savings[content.savings["decision"] == name]
    if savings.empty:
        return {"spread": [], "spread_said": "", "spread_words": ""}
    dots, at = savings["saving"].to_numpy()[::2], savings.set_index(savings["quantile"].round(3))["saving"]
    against = int((dots < 0).sum())
    said = input_words.outcomes(content.numbers, against=against, of=len(dots), low=at[0.25], high=at[0.75],
                                currency=content.currency)  # fmt: skip
    return {"spread": spread_cells(content, savings), "spread_said": said, "spread_words": f"{title}: {said}"}


def _picture(d: dict[Any, Any]) -> Markup:
    """Draw the saving of a decision: nought in the middle, ring as booked, dot today, bar its interval."""
    ends = ("saving_booked", "saving_today", "saving_low", "saving_high")
    reach = max((abs(d[k]) for k in ends if math.isfinite(d[k])), default=0.0) or 1.0
    at = {k: 50 + 46 * (d[k] if math.isfinite(d[k]) else 0.0) / reach for k in ends}
    tone = f"var(--verdict-{d['verdict']})"
    return Markup(  # noqa: S704  (numbers and our own names)
        '<svg aria-hidden="true"><line x1="50%" x2="50%" y1="1" y2="27" stroke="var(--frame)"/>'
        f'<line x1="{at["saving_low"]:.2f}%" x2="{at["saving_high"]:.2f}%" y1="14" y2="14" stroke="{tone}" '
        'stroke-width="8" stroke-opacity="0.35"/>'
        f'<line x1="{at["saving_booked"]:.2f}%" x2="{at["saving_today"]:.2f}%" y1="14" y2="14" stroke="{tone}"/>'
        f'<circle cx="{at["saving_booked"]:.2f}%" cy="14" r="5" fill="var(--ground)" stroke="{tone}" stroke-width="2"/>'
        f'<circle cx="{at["saving_today"]:.2f}%" cy="14" r="6" fill="{tone}"/></svg>'
    )


def _line_part(content: Content, lines: pd.DataFrame) -> dict[str, Any]:
    n, total = content.numbers, int((content.lines["status"] != "").sum())
    flagged = lines["status"].isin(["stale", "drifting"]).sum()
    return {
        "first_lines": line_rows(content, lines.head(WITHOUT_SCRIPTS)),
        "without_scripts": f"shown: {n.plain(min(WITHOUT_SCRIPTS, len(lines)))} of {n.count(total, 'line')}, stale "
                           "ones and most money first",
        "line_columns": line_columns(content.currency),
        "left_out": words.left_out(n, len(lines), total),
        "map_words": f"{n.count(len(lines), 'line')} by age and drift, {n.plain(flagged)} of them stale or drifting",
    }  # fmt: skip


def _curves(content: Content) -> list[dict[str, str]]:
    n, made = content.numbers, []
    for name in sorted(set(content.markets["commodity"])):
        rate = 1 - 2 ** -float(content.curves.loc[name, "exponent"])
        said = f"{n.share(rate)} a doubling, {content.stages.get(name) or 'stage unknown'}"
        shown = name.replace("_", " ")
        made.append({"key": name, "name": shown, "said": said, "words": f"{shown}: real price against units made"})
    return made


def _record(content: Content) -> dict[str, Any]:
    if content.record is None or content.record.cases.empty:
        return {"record_said": words.NO_RECORD, "record": [], "coverage": [], "record_columns": [],
                "coverage_columns": []}  # fmt: skip
    return {"record_said": record_said(content), "record": record_rows(content), "record_columns": RECORD_COLUMNS,
            "coverage": coverage_rows(content), "coverage_columns": COVERAGE_COLUMNS}  # fmt: skip


def _foot(content: Content) -> dict[str, Any]:
    n = content.numbers
    shown = content.findings.head(MOST_FINDINGS)
    cut = len(content.findings) > len(shown)
    return {
        "cautions": [words.CAUTION, *words.cautions(content.absent)],
        "assumptions": assumption_rows(content),
        "assumption_columns": ASSUMPTION_COLUMNS,
        "findings": finding_rows(shown),
        "finding_columns": FINDING_COLUMNS,
        "more_findings": words.more_findings(n, len(shown), len(content.findings)) if cut else "",
        "made": [[{"text": name}, {"text": digest}] for name, digest in content.hashes.items()],
        "made_columns": MADE_COLUMNS,
        "versions": ", ".join(f"{name} {number}" for name, number in versions().items()),
    }
