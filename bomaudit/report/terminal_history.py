"""Two audits compared, on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
from rich.console import Console
from rich.text import Text

from bomaudit.report.numbers import Numbers, price_decimals
from bomaudit.report.pieces import heading, put, section, table_of

if TYPE_CHECKING:
    from bomaudit.history.compare import Compared

_MOST = 15  # rows of a table on the terminal; --json gives all


def show_compared(compared: Compared, console: Console) -> None:
    """Show what changed between two audits: decisions, lines, settings and inputs.

    Parameters
    ----------
    compared : Compared
    console : Console
    """
    n = Numbers("en", minus="-")
    old, new = compared.old, compared.new
    put(console, heading(new.title, f"{n.day(old.as_of)} against {n.day(new.as_of)}, {new.currency}"))
    put(console, Text(", ".join(f"{count} {what}" for what, count in compared.counts.items() if count) or "no change"))
    decisions = compared.decisions[compared.decisions["change"] != "same"]
    _show(console, "Decisions", decisions, ("verdict", "saving_today"), "decision")
    lines = compared.lines[compared.lines["change"] != "same"]
    lines = lines.assign(part_no=lines["part_no"].where(lines["part_no"] != "", lines["description"]))
    _show(console, "Lines", lines, ("status", "estimate"), "part_no")
    for title, frame in (("Settings", compared.settings), ("Inputs", compared.inputs)):
        if len(frame):
            put(console, section(title), table_of(frame.astype("str"), {str(c): str(c) for c in frame}))


def show_scores(scores: pd.DataFrame, record: pd.DataFrame, console: Console) -> None:
    """Show what the older audit said of parts quoted since, and how well all kept audits did."""
    put(console, section("What we said, and what was quoted since"))
    if scores.empty:
        put(console, Text("no part of the older audit was quoted after it"))
        return
    worst = scores.loc[scores["error"].abs().sort_values(ascending=False, kind="stable").index].head(_MOST)
    said = worst["estimate"].map(_text) + " (" + worst["estimate_low"].map(_text) + " to "
    shown = pd.DataFrame(
        {
            "part": worst["part_no"],
            "we said": said + worst["estimate_high"].map(_text) + ")",
            "quote": worst["quote"].map(_text)
            + " "
            + worst["kind"]
            + " "
            + worst["quote_date"].dt.strftime("%Y-%m-%d"),
            "inside": worst["inside"].map({True: "yes", False: "no"}),
        }
    )
    put(console, table_of(shown, {str(c): str(c) for c in shown}))
    whole = record.iloc[-1]
    if whole["quotes"]:
        limits = f"{whole['covered_low']:.0%} to {whole['covered_high']:.0%}"
        inside = (
            f"{whole['covered']:.0%} of {Numbers().count(int(whole['quotes']), 'quote')} fell inside "
            f"{whole['confidence']:.0%} intervals"
        )
        nearer = f"{whole['closer_than_booked']:.0%} were nearer to the estimate than to the booked cost"
        put(console, Text(f"all kept audits: {inside} (90% limits {limits}); {nearer}"))


def _show(console: Console, title: str, frame: pd.DataFrame, pairs: tuple[str, str], name: str) -> None:
    put(console, section(title))
    if frame.empty:
        put(console, Text("none changed"))
        return
    shown = frame.head(_MOST)
    columns = {name: shown[name], "change": shown["change"]}
    for pair in pairs:
        columns[pair] = shown[f"{pair}_old"].map(_text) + " → " + shown[f"{pair}_new"].map(_text)
    table = pd.DataFrame(columns | {"why": shown["why"]})
    put(console, table_of(table, {str(c): str(c).replace("_", " ") for c in table}))
    if len(frame) > _MOST:
        put(console, Text(f"  and {len(frame) - _MOST} more; --json gives all", style="dim"))


def _text(value: object) -> str:
    if isinstance(value, float):
        return f"{value:,.{max(2, price_decimals(value))}f}" if pd.notna(value) else "-"
    return str(value) or "-"
