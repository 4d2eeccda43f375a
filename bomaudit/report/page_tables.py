"""Tables of the page as cells: text as shown, value to sort by, state or link where a cell has one."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from bomaudit.report import input_words, words
from bomaudit.report.content import FLAGGED, Content, known_sum
from bomaudit.report.inputs import effect_frame, input_frame
from bomaudit.report.numbers import Numbers
from bomaudit.report.page_data import short

Cell = dict[str, Any]
"""text, and optionally sort (a number or ""), tone and state (a tag), line (an id to lead to)."""
Head = dict[str, Any]
"""head, unit, kind: "num" (right-aligned), "code" (never broken), "prose" (wide) or ""."""


def _head(head: str, unit: str = "", *, number: bool = False, kind: str = "") -> Head:
    return {"head": head, "unit": unit, "kind": "num" if number else kind}


def market_name(commodity: str) -> str:
    """Name of a market as words."""
    return commodity.replace("_", " ")


def _cell(text: str, value: float) -> Cell:
    return {"text": text, "sort": short(value) if math.isfinite(value) else ""}


def line_columns(currency: str) -> list[Head]:
    """Heads of the line table; the page's script fills the same columns."""
    return [
        _head("part", kind="code"), _head("description", kind="text"), _head("market"), _head("status", kind="code"),
        _head("booked", f"{currency} each", number=True), _head("estimate", f"{currency} each", number=True),
        _head("interval", f"{currency} each", number=True), _head("drift", number=True),
        _head("chance", "it is stale", number=True), _head("booked above", f"{currency}/year", number=True),
        _head("age", "years", number=True),
    ]  # fmt: skip


def line_rows(content: Content, lines: pd.DataFrame) -> list[list[Cell]]:
    """Lines as cells of :func:`line_columns`."""
    n = content.numbers
    return [
        [
            {"text": r["part_no"] or r["line_id"], "line": r["line_id"]},
            {"text": r["description"]}, {"text": market_name(r["commodity"]) or "–"},
            {"text": r["status"], "tone": "status", "state": r["status"]},
            _cell(n.price(r["booked_cost"]), r["booked_cost"]), _cell(n.price(r["estimate"]), r["estimate"]),
            {"text": n.span(r["estimate_low"], r["estimate_high"], prices=True)},
            _cell(n.share(r["drift"], signed=True), r["drift"]), _cell(n.chance(r["p_stale"]), r["p_stale"]),
            _cell(n.about(r["exposure_per_year"], signed=True), r["exposure_per_year"]),
            _cell(n.years(r["age_years"]), r["age_years"]),
        ]
        for r in lines.to_dict("records")
    ]  # fmt: skip


def REQUOTE_COLUMNS(currency: str) -> list[Head]:  # noqa: N802  (reads as the constants beside it)
    """Heads of the re-quote table."""
    return [
        _head("rank", number=True), _head("part", kind="code"), _head("description", kind="text"),
        _head("booked", f"{currency} each", number=True), _head("estimate", f"{currency} each", number=True),
        _head("interval", f"{currency} each", number=True), _head("worth", f"{currency}, knowing it", number=True),
        _head("decisions"), _head("why", kind="prose"),
    ]  # fmt: skip


def requote_rows(content: Content, most: int) -> list[list[Cell]]:
    """First re-quotes as cells of :func:`REQUOTE_COLUMNS`."""
    n = content.numbers
    return [
        [
            _cell(n.plain(r["rank"]), r["rank"]), {"text": r["part_no"]}, {"text": r["description"]},
            _cell(n.price(r["booked_cost"]), r["booked_cost"]),
            _cell(n.price(r["estimate"]), r["estimate"]),
            {"text": n.span(r["estimate_low"], r["estimate_high"], prices=True)},
            _cell(n.about(r["value_of_asking"], figures=2), r["value_of_asking"]), {"text": r["decisions"]},
            {"text": n.as_written(r["reason"])},
        ]
        for r in content.requotes.head(most).to_dict("records")
    ]  # fmt: skip


def ELEMENT_COLUMNS(currency: str) -> list[Head]:  # noqa: N802  (reads as the constants beside it)
    """Heads of a decision's element table."""
    return [
        _head("option", kind="code"), _head("element", kind="text"), _head("kind"), _head("part", kind="code"),
        _head("as booked", f"{currency} a unit", number=True), _head("today", f"{currency} a unit", number=True),
        _head("low", f"{currency} a unit", number=True), _head("high", f"{currency} a unit", number=True),
        _head("what moved it", f"{currency} a unit", kind="text"),
    ]  # fmt: skip


def _moved(row: dict[Any, Any], n: Numbers) -> str:
    """What moved an element; a one-time cost costs a product more, the fewer are left to bear it."""
    if row["spent"]:
        return "paid already"
    if row["basis"] == "once" and abs(row["today_per_unit"]) > abs(row["booked_per_unit"]):
        return "paid once: fewer products are left to bear it"
    return str(row["moved"]).replace(" -", f" {n.minus}")


def element_rows(content: Content, decision: str) -> list[list[Cell]]:
    """Elements of one decision as cells of :func:`ELEMENT_COLUMNS`."""
    n = content.numbers
    rows = content.elements[content.elements["decision"] == decision]
    most = float(rows["booked_per_unit"].abs().max())
    return [
        [
            {"text": r["option"]}, {"text": r["element"]}, {"text": r["kind"].replace("_", " ")},
            {"text": r["part_no"]},
            *(_cell(n.price(r[c], like=most), r[c]) for c in ("booked_per_unit", "today_per_unit", "low", "high")),
            {"text": _moved(r, n)},
        ]
        for r in rows.to_dict("records")
    ]  # fmt: skip


def market_columns(currency: str) -> list[Head]:
    """Heads of the market table."""
    return [
        _head("market", kind="code"), _head("lines", number=True), _head("flagged", number=True),
        _head("booked above", f"{currency}/year", number=True), _head("learning", "a doubling", number=True),
        _head("±", number=True), _head("quotes", "own", number=True), _head("weight", "of quotes", number=True),
        _head("prior from", kind="prose"),
    ]  # fmt: skip


def market_rows(content: Content) -> list[list[Cell]]:
    """Markets that the BOM buys from, as cells of :func:`market_columns`."""
    n, lines = content.numbers, content.lines[(content.lines["commodity"] != "") & (content.lines["status"] != "")]
    grouped = lines.assign(flagged=lines["status"].isin(FLAGGED)).groupby("commodity").agg(
        lines=("flagged", "size"), flagged=("flagged", "sum"), money=("exposure_per_year", known_sum)
    )  # fmt: skip
    rows = []
    for market, r in grouped.join(content.curves, how="inner").to_dict("index").items():
        rate = 1 - 2 ** -r["exponent"]
        spread = math.log(2) * 2 ** -r["exponent"] * r["exponent_sd"]
        rows.append([
            {"text": market_name(str(market))}, _cell(n.plain(r["lines"]), r["lines"]),
            _cell(n.plain(r["flagged"]), r["flagged"]),
            _cell(n.about(r["money"], signed=True), r["money"]), _cell(n.share(rate), rate),
            _cell(n.share(spread), spread), _cell(n.plain(r["n_quotes"]), r["n_quotes"]),
            _cell(n.share(r["data_weight"]), r["data_weight"]), {"text": str(r["source"])},
        ])  # fmt: skip
    return rows


def input_heads(currency: str) -> list[Head]:
    """Heads of the table of inputs."""
    low, high = (f"+{100 * rise:.0f} % adds" for rise in input_words.RISES)
    return [
        _head("input", kind="code"), _head("carries", f"{currency}/year", number=True),
        _head("share", "of the spend", number=True), _head("lines", number=True),
        _head(low, f"{currency}/year", number=True), _head(high, f"{currency}/year", number=True),
        _head("decisions it turns", f"at +{100 * input_words.RISES[-1]:.0f} %"),
    ]  # fmt: skip


def input_rows(content: Content) -> list[list[Cell]]:
    """Inputs as cells of :func:`input_heads`."""
    n = content.numbers
    return [
        [
            {"text": r["input"]}, _cell(n.about(r["spend_per_year"]), r["spend_per_year"]),
            _cell(n.share(r["share_of_spend"]), r["share_of_spend"]), _cell(n.plain(r["lines"]), r["lines"]),
            *(_cell(n.about(rise * r["spend_per_year"]), rise * r["spend_per_year"]) for rise in input_words.RISES),
            {"text": r["turns"] or "none"},
        ]
        for r in input_frame(content).to_dict("records")
    ]  # fmt: skip


def effect_heads(currency: str) -> list[Head]:
    """Heads of the table of inputs by decision."""
    per = f"{currency} a unit"
    return [
        _head("decision", kind="code"), _head("input", kind="code"), _head("saving today", per, number=True),
        *(_head(f"+{100 * rise:.0f} % adds", per, number=True) for rise in input_words.RISES),
        _head(f"then at +{100 * input_words.RISES[-1]:.0f} %", per, number=True),
        _head("turns sign", "at", number=True),
    ]  # fmt: skip


def effect_rows(content: Content) -> list[list[Cell]]:
    """What inputs do to decisions, as cells of :func:`effect_heads`."""
    n = content.numbers
    rows = []
    for r in effect_frame(content).to_dict("records"):
        money = (r["saving_today"], *(rise * r["saving_change"] for rise in input_words.RISES), r["saving_then"])
        like = max(map(abs, money))
        rows.append([
            {"text": r["decision"]}, {"text": r["input"]}, *(_cell(n.saving(x, like=like), x) for x in money),
            _cell(n.share(r["turns_at"], signed=True), r["turns_at"]),
        ])  # fmt: skip
    return rows


SPREAD_SHARES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
"""Chances that the table of a saving's distribution lists."""


def spread_heads(currency: str) -> list[Head]:
    """Heads of the table of a saving's distribution."""
    return [_head("chance that the saving is lower", number=True), _head("saving", f"{currency} a unit", number=True)]


def spread_cells(content: Content, savings: pd.DataFrame) -> list[list[Cell]]:
    """Distribution of one decision's saving, as cells of :func:`spread_heads`."""
    n, at = content.numbers, savings.set_index(savings["quantile"].round(3))["saving"]
    return [
        [_cell(n.share(q), q), _cell(n.saving(at[q], like=at.abs().max()), at[q])]
        for q in SPREAD_SHARES
        if q in at.index
    ]


ASSUMPTION_COLUMNS = [_head("assumption", kind="text"), _head("value", kind="text"), _head("stated in"),
                      _head("reason or source", kind="prose")]  # fmt: skip
FINDING_COLUMNS = [
    _head("severity", kind="code"), _head("where"), _head("what must hold", kind="text"), _head("found", kind="text"),
    _head("what was done", kind="text"), _head("what you can do", kind="text"),
]  # fmt: skip
MADE_COLUMNS = [_head("file"), _head("SHA-256")]


def assumption_rows(content: Content) -> list[list[Cell]]:
    """Assumptions as cells of :data:`ASSUMPTION_COLUMNS`."""
    columns = ("name", "value", "stated", "source")
    return [[{"text": str(r[c])} for c in columns] for r in content.assumptions.to_dict("records")]


def finding_rows(findings: pd.DataFrame) -> list[list[Cell]]:
    """Findings as cells of :data:`FINDING_COLUMNS`."""
    rows = []
    for r in findings.to_dict("records"):
        number = "" if pd.isna(r["row"]) else f" row {r['row']}"
        where = " ".join(t for t in (r["file"], r["sheet"], r["column"]) if t) + number
        tag = {"text": r["severity"], "tone": "severity", "state": r["severity"]}
        rows.append([tag, {"text": where}, *({"text": r[c]} for c in ("message", "found", "assumed", "advice"))])
    return rows


RECORD_COLUMNS = [
    _head("rule"), _head("typical error", number=True), _head("lean", "above zero: quotes were dearer", number=True),
    _head("spared", f"by the estimate, {words.SPARED}", number=True), _head("estimates", number=True),
    _head("parts", number=True),
]  # fmt: skip
COVERAGE_COLUMNS = [_head("interval"), _head("held", "share of cases inside", number=True)]


def record_rows(content: Content) -> list[list[Cell]]:
    """Errors over all held-out quotes, by rule, as cells of :data:`RECORD_COLUMNS`."""
    n, summary = content.numbers, content.record.summary if content.record else pd.DataFrame({"scope": []})
    rows = []
    for r in summary[summary["scope"] == "all"].to_dict("records"):
        error, lean = math.expm1(r["mae"]), math.expm1(r["bias"])
        skill = math.nan if r["method"] == "estimate" else r["skill"]
        rows.append([
            {"text": words.METHOD[r["method"]]}, _cell(n.share(error), error), _cell(n.share(lean, signed=True), lean),
            _cell(n.share(skill, signed=True), skill), _cell(n.plain(r["n"]), r["n"]),
            _cell(n.plain(r["parts"]), r["parts"]),
        ])  # fmt: skip
    return rows


def coverage_rows(content: Content) -> list[list[Cell]]:
    """How often the intervals held over all held-out quotes, as cells of :data:`COVERAGE_COLUMNS`."""
    n, table = content.numbers, content.record.coverage if content.record else pd.DataFrame({"scope": []})
    return [
        [{"text": f"{n.share(r['nominal'])}"}, _cell(n.share(r["inside"]), r["inside"])]
        for r in table[table["scope"] == "all"].to_dict("records")
    ]


def record_said(content: Content) -> str:
    """Say in one sentence how the estimate did on held-out quotes."""
    if content.record is None:
        return words.NO_RECORD
    summary = content.record.summary
    everything: dict[Any, Any] = summary[summary["scope"] == "all"].set_index("method").to_dict("index")
    inside = content.record.coverage
    inside = inside[(inside["scope"] == "all") & (inside["nominal"] == content.settings.audit.confidence)]
    own, unchanged = everything["estimate"], everything["unchanged"]
    return words.record_sentence(
        content.numbers, quotes=content.record.quotes, estimates=int(own["n"]), parts=int(own["parts"]),
        error=math.expm1(own["mae"]),
        unchanged=math.expm1(unchanged["mae"]), confidence=content.settings.audit.confidence,
        inside=float(inside["inside"].iloc[0]) if len(inside) else math.nan,
        width=content.settings.model.interval_width,
    )  # fmt: skip
