"""What helps without a register: choices worth writing down as decisions, as terminal, page and workbook show them."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
from rich.markup import escape
from rich.table import Table

from bomaudit.report import words
from bomaudit.report.book import Col
from bomaudit.report.content import Content
from bomaudit.report.numbers import Numbers
from bomaudit.report.page_tables import Cell, Head, market_name
from bomaudit.report.pieces import table

MOST = 25
"""Candidates that the page shows; the workbook holds more."""
MOST_IN_BOOK = 1000


def look_alike_table(content: Content, n: Numbers, *, top: int) -> Table:
    """Look-alikes for the terminal."""
    grid = table("part", "instead of → candidate", "may have cost\ntimes as much", f"bought,\n{content.currency}/year")
    for r in content.candidates.head(top).to_dict("records"):
        grid.add_row(
            f"[b]{escape(r['part_no'] or r['line_id'])}[/b] {escape(r['description'])}",
            f"{market_name(r['commodity'])} → {market_name(r['alternative'])}",
            f"{n.plain(r['premium'], 2)} ({n.plain(r['premium_low'], 2)} to {n.plain(r['premium_high'], 2)})",
            n.about(r["spend_per_year"]),
        )
    return grid


def headroom_table(content: Content, n: Numbers, *, top: int) -> Table:
    """Lines by headroom for the terminal."""
    unit = f"{content.currency} a unit"
    grid = table("part", "market", f"undoes a saving\nbelow, {unit}", f"money,\n{content.currency}/year")
    for r in content.headroom.head(top).to_dict("records"):
        grid.add_row(
            f"[b]{escape(r['part_no'] or r['line_id'])}[/b] {escape(r['description'])}",
            f"{market_name(r['commodity']) or '-'}\n{words.headroom_side(r['headroom'])}",
            f"{n.price(abs(r['headroom']))}\n({_interval(r, n)})",
            n.about(abs(r["per_year"])),
        )
    return grid


def _interval(row: dict[Any, Any], n: Numbers) -> str:
    """Interval of the saving that is undone; that of a part that got cheaper is its headroom with the other sign."""
    low, high = row["headroom_low"], row["headroom_high"]
    low, high = (low, high) if row["headroom"] > 0 else (-high, -low)
    return n.span(low, high, prices=True, signed=True)


def page_part(content: Content) -> dict[str, Any]:
    """What the page's template needs; the lists are empty where decisions were given."""
    shown = not len(content.decisions)
    return {
        "look_alikes": _look_alike_rows(content) if shown else [],
        "look_alike_columns": _heads(_LOOK_ALIKE_HEADS, content.currency),
        "headroom": _headroom_rows(content) if shown else [],
        "headroom_columns": _heads(_HEADROOM_HEADS, content.currency),
        "candidates_say": words.CANDIDATES, "look_alikes_say": words.LOOK_ALIKES, "headroom_says": words.HEADROOM,
    }  # fmt: skip


_LOOK_ALIKE_HEADS = (
    ("part", "", "code"), ("description", "", "text"), ("market", "", ""), ("candidate", "another market", ""),
    ("may have cost", "times the part then", "num"), ("interval", "", "num"), ("bought", "{}/year", "num"),
)  # fmt: skip
_HEADROOM_HEADS = (
    ("part", "", "code"), ("description", "", "text"), ("market", "", ""), ("undoes a saving booked", "", ""),
    ("below", "{} a unit", "num"), ("interval", "{} a unit", "num"), ("money", "{}/year", "num"),
)  # fmt: skip


def _heads(heads: tuple[tuple[str, str, str], ...], currency: str) -> list[Head]:
    return [{"head": head, "unit": unit.format(currency), "kind": kind} for head, unit, kind in heads]


def _cell(text: str, value: float) -> Cell:
    return {"text": text, "sort": float(f"{value:.6g}") if math.isfinite(value) else ""}


def _look_alike_rows(content: Content) -> list[list[Cell]]:
    n = content.numbers
    return [
        [
            {"text": r["part_no"] or r["line_id"]}, {"text": r["description"]}, {"text": market_name(r["commodity"])},
            {"text": market_name(r["alternative"])}, _cell(n.plain(r["premium"], 2), r["premium"]),
            {"text": f"{n.plain(r['premium_low'], 2)} to {n.plain(r['premium_high'], 2)}"},
            _cell(n.about(r["spend_per_year"]), r["spend_per_year"]),
        ]
        for r in content.candidates.head(MOST).to_dict("records")
    ]  # fmt: skip


def _headroom_rows(content: Content) -> list[list[Cell]]:
    n = content.numbers
    return [
        [
            {"text": r["part_no"] or r["line_id"]}, {"text": r["description"]},
            {"text": market_name(r["commodity"]) or "–"}, {"text": words.headroom_side(r["headroom"])},
            _cell(n.price(abs(r["headroom"])), abs(r["headroom"])), {"text": _interval(r, n)},
            _cell(n.about(abs(r["per_year"])), abs(r["per_year"])),
        ]
        for r in content.headroom.head(MOST).to_dict("records")
    ]  # fmt: skip


def look_alike_columns(content: Content) -> list[Col]:
    """Columns of the sheet ``Look-alikes``."""
    return [
        Col("line_id"), Col("part_no", width=16), Col("description", width=40), Col("commodity", width=20),
        Col("alternative", width=20, note="another market that does the same"), Col("function"),
        Col("premium", "number", note="how many times the part's booked cost an alternative may have cost at the same "
            "date and be the cheaper one today"),
        Col("premium_low", "number", note="low end of the interval"),
        Col("premium_high", "number", note="high end of the interval"),
        Col("spend_per_year", "money", note=f"booked spend [{content.currency}/year]"),
    ]  # fmt: skip


def headroom_columns(content: Content) -> list[Col]:
    """Columns of the sheet ``Headroom``."""
    unit = f"[{content.currency}/unit]"
    return [
        Col("line_id"), Col("part_no", width=16), Col("description", width=40), Col("commodity", width=20),
        Col("drift", "signed_share"),
        Col("headroom", "signed_price", note=f"cost above the general price level {unit}; positive: undoes a smaller "
            "saving booked for the part, negative: one booked against it"),
        Col("headroom_low", "signed_price", note=f"low end of the interval {unit}"),
        Col("headroom_high", "signed_price", note=f"high end of the interval {unit}"),
        Col("per_year", "signed", note=f"headroom × annual volume [{content.currency}/year]", width=14),
    ]  # fmt: skip


def book_frames(content: Content) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Rows of the sheets ``Look-alikes`` and ``Headroom``."""
    return content.candidates.head(MOST_IN_BOOK), content.headroom.head(MOST_IN_BOOK)
