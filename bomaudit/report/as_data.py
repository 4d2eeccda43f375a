"""Results as plain data: what ``--json`` prints and ``summary.json`` holds, keys in a fixed order, missing as null."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

import pandas as pd

from bomaudit.findings import Finding, Severity, to_frame
from bomaudit.provenance import SUMMARY, Held, library_hashes, versions
from bomaudit.report import words
from bomaudit.report.content import (
    Content,
    by_verdict,
    count_statuses,
    count_verdicts,
    gather,
    held_of,
    idle_lines,
    stake,
)
from bomaudit.report.stories import given

if TYPE_CHECKING:
    from bomaudit.audit import Audit
    from bomaudit.history.compare import Compared
    from bomaudit.opened import Opened

LAYOUTS = {
    "lines.csv": "bomaudit-lines/1", "lines.parquet": "bomaudit-lines/1", "decisions.csv": "bomaudit-decisions/1",
    "requotes.csv": "bomaudit-requotes/1", "findings.csv": "bomaudit-findings/1", "summary.json": SUMMARY,
    "report.xlsx": "bomaudit-workbook/1", "report.html": "bomaudit-page/1",
}  # fmt: skip
"""Layout of each file out; a number rises when a column or key changes its meaning or goes. A csv file cannot carry it
without breaking its readers: for those it stands in ``summary.json``."""
_DECISION = (
    "decision", "title", "chosen", "best_today", "switch_to", "saving_booked", "saving_today", "saving_low",
    "saving_high", "p_flip", "npv", "npv_low", "npv_high", "payback_years", "tips_on", "safety_relevant", "verdict",
    "rule", "reason",
)  # fmt: skip
_REQUOTE = ("rank", "part_no", "description", "estimate", "value_of_asking", "cost_of_asking", "reason")


def summarise(content: Content) -> dict[str, Any]:
    """Collect the figures of the summary, keys in a fixed order.

    Parameters
    ----------
    content : Content

    Returns
    -------
    dict
        schema, audit, money, lines, decisions, requotes, requotes_left_out (a count: they are in requotes.csv),
        findings, absent_tables, redacted, usable, broken, caution, given_for_this_run, settings, inputs, library, seed,
        versions, files. Missing figures are null.
    """
    money, settings = stake(content.lines), content.settings
    levels, held = content.findings["severity"], held_of(len(content.requotes))
    return {
        "schema": SUMMARY,
        "audit": {
            "title": content.title,
            "as_of": content.as_of.isoformat(),
            "currency": content.currency,
            "confidence": settings.audit.confidence,
            "invented": settings.audit.invented,
        },
        "money": {
            "booked_above_estimate_per_year": plain(money.above),
            "booked_below_estimate_per_year": plain(money.below),
            "lines_above": money.lines_above,
            "lines_below": money.lines_below,
        },
        "lines": _counted_lines(content),
        "verdicts": count_verdicts(content.decisions),
        "decisions": records(by_verdict(content.decisions), _DECISION),
        "requotes": records(content.requotes.head(held), _REQUOTE),
        "requotes_left_out": len(content.requotes) - held,
        "findings": {s.value: int(levels.eq(s.value).sum()) for s in Severity},
        "absent_tables": list(content.absent),
        "redacted": list(content.dropped),
        "usable": not content.broken,
        "broken": list(content.broken),
        "caution": words.CAUTION,
        "given_for_this_run": given(content),
        "settings": settings.model_dump(mode="json"),
        "inputs": {name: {"sha256": digest} for name, digest in content.hashes.items()},
        "library": library_hashes(),
        "seed": settings.decide.seed,
        "versions": versions(),
        "files": dict(LAYOUTS),
    }


def _counted_lines(content: Content) -> dict[str, int]:
    lines = content.lines
    sizes = {"rows": len(lines), "audited": len(content.audited)}
    return sizes | count_statuses(lines) | {"not_built_in": idle_lines(lines)[0]}


def as_json(value: object) -> str:
    """Write as indented JSON, keys in their order; figures that are not finite are refused.

    Raises
    ------
    ValueError
        If a figure is not finite: it should have been null.
    """
    return json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def summary(audit: Audit) -> dict[str, Any]:
    """Summarise an audit; the same as :func:`summarise` of its content."""
    return summarise(gather(audit))


def requotes(audit: Audit, top: int) -> dict[str, Any]:
    """List the ``top`` parts to ask new quotes for, every column of glossary ``REQUOTES``."""
    frame = audit.decided.requotes.head(top)
    return {
        "schema": "bomaudit-requotes/1",
        "currency": audit.currency,
        "requotes": records(frame, tuple(map(str, frame.columns))),
    }


def checked(opened: Opened) -> dict[str, Any]:
    """Say what was read: rows and columns of each table, and every finding."""
    inputs = opened.inputs
    return {
        "schema": "bomaudit-check/1",
        "title": opened.title,
        "as_of": opened.as_of.isoformat(),
        "currency": opened.fx.currency,
        "tables": {t: {"rows": len(inputs.tables[t]), "columns": list(c)} for t, c in inputs.present.items()},
        "findings": records(to_frame(opened.findings), tuple(f.name for f in fields(Finding))),
    }


def compared_with(held: Sequence[Held]) -> dict[str, Any]:
    """Say whether a folder is what was audited: states counted, files, values given, and all that differs."""
    return {
        "schema": "bomaudit-provenance/1",
        "same_as_audited": not any(h.counts for h in held),
        "same_files": all(h.state == "same" for h in held if h.kind == "input"),
        "counts": {s: sum(h.state == s for h in held) for s in ("same", "changed", "missing", "new")},
        "inputs": [asdict(h) for h in held if h.kind == "input"],
        "given": [asdict(h) for h in held if h.kind == "given"],
        "differs": [asdict(h) for h in held if h.kind != "input" and h.state != "same"],
    }


def compared(result: Compared, scores: pd.DataFrame, record: pd.DataFrame) -> dict[str, Any]:
    """Give the difference between two audits, the older one's estimates against later quotes, and the whole record."""
    lines = result.lines[result.lines["change"] != "same"]
    decisions = result.decisions[result.decisions["change"] != "same"]
    frames = {
        "decisions": decisions, "lines": lines, "settings": result.settings, "inputs": result.inputs,
        "scores": scores, "record": record,
    }  # fmt: skip
    return {
        "schema": "bomaudit-compare/1",
        "old": result.old.as_of.isoformat(),
        "new": result.new.as_of.isoformat(),
        "currency": result.new.currency,
        "counts": result.counts,
        **{name: records(frame, tuple(map(str, frame.columns))) for name, frame in frames.items()},
        "findings": [str(f) for f in result.findings],
    }


def where_used(reach: pd.DataFrame) -> list[dict[str, object]]:
    """List what a part goes into and what its move to today's estimate does there."""
    return records(reach, tuple(map(str, reach.columns)))


def records(frame: pd.DataFrame, columns: tuple[str, ...]) -> list[dict[str, object]]:
    """Rows of a frame as dictionaries of plain values; see :func:`plain`."""
    rows = frame[list(columns)].astype(object).to_dict("records")
    return [{str(k): plain(v) for k, v in row.items()} for row in rows]


def plain(value: object) -> object:
    """Turn a cell into what JSON can hold: missing as null, days as ISO text, whole numbers as such."""
    if value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and not math.isfinite(value)):
        return None
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return value
