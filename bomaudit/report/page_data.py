"""What the page's scripts get: lines packed by column, rows of each chart, words and rules, as JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from bomaudit.glossary import VARIANCE_PARTS, WALK_STEPS
from bomaudit.report import charts, look, words
from bomaudit.report.content import Content
from bomaudit.report.numbers import Numbers
from bomaudit.report.stories import Bar, DecisionStory, follows, learning

_FIGURES = 9
"""Significant figures of packed numbers: so many more than a cell shows that rounding twice changes nothing."""
_STACKS = 14
"""Places side by side that equally likely savings are stacked in."""
_MOST_INPUTS = 3
"""Input prices that a tornado shows even where they move it little: they are asked after."""
_LOCALES = {
    "en": {"decimal": ".", "thousands": ",", "grouping": [3], "currency": ["", ""]},
    "de": {"decimal": ",", "thousands": ".", "grouping": [3], "currency": ["", ""]},
    "fr": {"decimal": ",", "thousands": "\u202f", "grouping": [3], "currency": ["", ""]},
}
_TEXTS = {"id": "line_id", "part": "part_no", "description": "description", "supplier": "supplier", "uom": "uom",
          "commodity": "commodity", "status": "status", "basis": "basis", "stage": "stage", "reason": "reason",
          "file": "source_file"}  # fmt: skip
_VALUES = {"booked": "booked_cost", "estimate": "estimate", "low": "estimate_low", "high": "estimate_high",
           "drift": "drift", "p": "p_stale", "money": "exposure_per_year", "age": "age_years",
           "row": "source_row", "qty": "qty_per",
           "volume": "annual_volume"} | {f"walk_{s}": f"walk_{s}" for s in WALK_STEPS}  # fmt: skip


def packed(content: Content, lines: pd.DataFrame, stories: dict[str, DecisionStory]) -> str:
    """Pack everything for the scripts.

    Parameters
    ----------
    content : Content
    lines : DataFrame
        Rows of ``content.lines`` that the page shows, in its order.
    stories : dict of str to DecisionStory
        Of each decision, by its key.

    Returns
    -------
    str
        JSON without "<", so that nothing in it can end the element that holds it.
    """
    n, npv = content.numbers, content.decisions.set_index("decision")["npv"]
    data = {
        "language": n.language,
        "locale": _LOCALES[n.language],
        "currency": content.currency,
        "confidence": n.share(content.settings.audit.confidence),
        "materiality": n.share(content.settings.audit.materiality),
        "steps": list(WALK_STEPS),
        "parts": list(VARIANCE_PARTS),
        "words": {
            "step": dict(words.STEP),
            "basis": dict(words.BASIS),
            "stage": dict(words.STAGE),
            "surer": dict(words.SURER),
            "line_sentence": words.LINE_SENTENCE,
            "surer_sentence": words.SURER_SENTENCE,
            "worth_sentence": words.WORTH_SENTENCE,
        },
        "marks": marks(),
        "tones": chart_tones(),
        "specifications": charts.specifications(content.currency),
        "charts": {
            "ageing": ageing_rows(content.lines),
            "bridge": {name: bridge_rows(story.bridge) for name, story in stories.items()},
            "tornado": {
                str(k): tornado_rows(f, n, npv[k], content.called)
                for k, f in content.tornado.groupby("decision", sort=False)
            },
            "spread": {str(k): spread_rows(f, n) for k, f in content.savings.groupby("decision", sort=False)},
            "curve": {str(k): curve_rows(f) for k, f in content.markets.groupby("commodity", sort=True)},
            "paths": {str(k): path_rows(f, content) for k, f in content.paths.groupby("decision", sort=False)},
        },
        "learning": {c: said for c in sorted(set(lines["commodity"])) if (said := learning(content, c, n))},
        "lines": line_columns(content, lines),
    }
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def marks() -> dict[str, dict[str, str]]:
    """Mark of each state, so that none is told by colour alone."""
    groups = {"status": look.STATUS, "verdict": look.VERDICT, "severity": look.SEVERITY}
    return {group: {state: tone.mark for state, tone in tones.items()} for group, tones in groups.items()}


def chart_tones() -> dict[str, str]:
    """Colours as the charts declare them → variables of the page."""
    states = {tone.light: f"var(--verdict-{state})" for state, tone in look.VERDICT.items()}
    states |= {tone.light: f"var(--status-{state})" for state, tone in look.STATUS.items()}
    return states | {charts.FRAME: "var(--frame)", look.INK: "var(--ink)", look.GROUND: "var(--ground)"}


def line_columns(content: Content, lines: pd.DataFrame) -> dict[str, Any]:
    """Pack lines by column: texts that repeat as positions in a list, numbers shortened, missing as null."""
    n = content.numbers
    out: dict[str, Any] = {name: _texts(lines[column]) for name, column in _TEXTS.items()}
    out |= {name: _numbers(lines[column]) for name, column in _VALUES.items()}
    out |= {f"var_{v}": _numbers(lines[f"var_{v}"].round(3)) for v in VARIANCE_PARTS}
    out["dated"] = _texts(lines["basis_date"].map(n.day, na_action=None))
    out["reason"] = _texts(lines["reason"].map(n.as_written))
    out["follows"] = _texts(pd.Series(_follows(content, lines), dtype="str"))
    out["evidence"] = _texts(content.evidence.reindex(lines["line_id"]).fillna(""))
    return out


def _follows(content: Content, lines: pd.DataFrame) -> list[str]:
    """What each line's price follows, in the words of its story."""
    return ["; ".join(follows(content, r, content.numbers)) for r in lines[["line_id", "estimate"]].to_dict("records")]


def spread_rows(frame: pd.DataFrame, n: Numbers) -> list[dict[str, object]]:
    """Rows of the chart ``spread`` for one decision: equally likely savings, stacked where they lie close.

    A dot stands in the middle of the share of the draws that it is for: of 20 dots at 2.5 %, 7.5 % … 97.5 %.
    """
    saving = frame["saving"].to_numpy(dtype=float)[::2]
    low, high = min(saving.min(), 0.0), max(saving.max(), 0.0)
    width = (high - low) / _STACKS or 1.0
    stack = np.floor(saving / width)
    place = (stack + 0.5) * width
    rank = pd.Series(stack).groupby(stack).cumcount()
    side = np.where(saving >= 0, "choice saves", "choice costs more")
    return [
        {"saving": short(at), "rank": int(r), "side": str(s), "text": n.saving(x, like=np.abs(saving).max())}
        for at, r, s, x in zip(place.tolist(), rank, side, saving.tolist(), strict=True)
    ]


def _texts(values: pd.Series) -> object:
    codes, unique = pd.factorize(values)
    if len(unique) > len(values) / 2:
        return values.tolist()
    return {"values": unique.tolist(), "at": codes.tolist()}


def _numbers(values: pd.Series) -> list[float | int | None]:
    return [short(v) for v in values.tolist()]


def short(value: float) -> float | int | None:
    """Round to nine significant figures; missing as None, whole numbers without a point."""
    if not math.isfinite(value):
        return None
    rounded = float(f"{value:.{_FIGURES}g}")
    return int(rounded) if rounded.is_integer() else rounded


_OLDEST_SHOWN = 60
"""Ages up to which a year without spend keeps its place on the axis; one wrong date must not stretch it. [year]"""


def ageing_rows(lines: pd.DataFrame) -> list[dict[str, object]]:
    """Booked spend a year by whole years of age and status; lines without volume or age have none.

    Years without spend are rows of nought: the axis shows every year.
    """
    spend = lines["booked_cost"] * lines["qty_per"] * lines["annual_volume"]
    frame = pd.DataFrame({"age": np.floor(lines["age_years"]), "status": lines["status"], "spend": spend}).dropna()
    grouped = frame[frame["status"] != ""].groupby(["age", "status"], as_index=False).agg(
        spend=("spend", "sum"), lines=("spend", "size")
    )  # fmt: skip
    rank = {s: i for i, s in enumerate(("stale", "drifting", "unknown", "current"))}
    ages = set(grouped["age"].astype(int))
    none = sorted(set(range(min(ages, default=0), min(max(ages, default=0), _OLDEST_SHOWN))) - ages)
    gaps = [{"age": a, "status": "current", "spend": 0.0, "lines": 0, "rank": rank["current"]} for a in none]
    return gaps + [
        {"age": int(r["age"]), "status": r["status"], "spend": short(r["spend"]), "lines": r["lines"],
         "rank": rank[r["status"]]}
        for r in grouped.to_dict("records")
    ]  # fmt: skip


def bridge_rows(bars: Sequence[Bar]) -> list[dict[str, object]]:
    """Rows of the chart ``bridge`` for one decision."""
    rows = []
    for rank, bar in enumerate(bars):
        kind = "saving" if bar.level else "helps the choice" if bar.end >= bar.start else "speaks against it"
        rows.append({"rank": rank, "label": bar.label, "start": short(bar.start), "end": short(bar.end), "kind": kind,
                     "text": bar.text, "right": short(max(bar.start, bar.end, 0.0))})  # fmt: skip
    return rows


def tornado_rows(
    frame: pd.DataFrame, n: Numbers, npv: float, called: dict[str, str], *, most: int = 10
) -> list[dict[str, object]]:
    """Rows of the chart ``tornado``: the widest first, as the frame has them."""
    columns = ["kind", "low", "high", "at_low", "at_high"]
    inputs = frame["kind"] == "input"
    shown = frame[(np.arange(len(frame)) < most) | (inputs & (inputs.cumsum() <= _MOST_INPUTS))]
    named = _told_apart([words.driver(called.get(d, d)) for d in shown["driver"]])
    return [
        {"rank": i, "driver": named[i], "low": short(low), "high": short(high), "now": short(npv),
         "at_low": _end(n, kind, at_low), "at_high": _end(n, kind, at_high)}
        for i, (kind, low, high, at_low, at_high) in enumerate(_rows(shown, columns))
    ]  # fmt: skip


def _told_apart(names: list[str]) -> list[str]:
    """Number names that come again: a chart draws those of one name over each other."""
    series = pd.Series(names, dtype="str")
    again = series.groupby(series).cumcount()
    return [f"{name} ({k + 1})" if k else name for name, k in zip(names, again, strict=True)]


def _end(n: Numbers, kind: str, value: float) -> str:
    if kind == "input":
        return n.share(value, signed=True)
    return n.plain(value, 0 if abs(value) >= 100 else 1) if kind == "what_if" else n.price(value)  # noqa: PLR2004


def path_rows(frame: pd.DataFrame, content: Content) -> list[dict[str, object]]:
    """Rows of the chart ``paths``: costs, the choice first, and marks for today and for when the balance tips."""
    decision = content.decisions.set_index("decision").loc[str(frame["decision"].iloc[0])]
    frame = frame.sort_values("option", key=lambda option: option != decision["chosen"], kind="stable")
    rows: list[dict[str, object]] = [
        {"option": o, "date": t.date().isoformat(), "cost": short(c)}
        for o, t, c in _rows(frame, ["option", "date", "cost_per_unit"])
        if math.isfinite(c)
    ]
    marks = [("today", pd.Timestamp(content.as_of)), ("tipped", decision["tipped_on"]), ("tips", decision["tips_on"])]
    known = [(m, t) for m, t in marks if not pd.isna(t)]
    return rows + [{"mark": m, "date": t.date().isoformat(), "level": k} for k, (m, t) in enumerate(known)]


def curve_rows(frame: pd.DataFrame) -> list[dict[str, object]]:
    """Rows of the chart ``curve`` for one market."""
    rows = _rows(frame, ["kind", "date", "volume", "price", "low", "high", "label"])
    return [
        {"kind": k, "date": t.date().isoformat(), "volume": short(v), "price": short(p), "low": short(low),
         "high": short(high), "label": label}
        for k, t, v, p, low, high, label in rows
    ]  # fmt: skip


def _rows(frame: pd.DataFrame, columns: Sequence[str]) -> list[tuple[Any, ...]]:
    return list(zip(*(frame[c].tolist() for c in columns), strict=True))
