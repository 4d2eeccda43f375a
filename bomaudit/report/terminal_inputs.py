"""What was read, what was found in it, whether it is what was audited: on the terminal, without loading a report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd
from rich.console import Console, Group, RenderableType
from rich.markup import escape
from rich.text import Text

from bomaudit.findings import Finding, Severity, to_frame
from bomaudit.report import words
from bomaudit.report.look import SEVERITY
from bomaudit.report.numbers import Numbers
from bomaudit.report.pieces import heading, put, section, table

if TYPE_CHECKING:
    from bomaudit.opened import Opened
    from bomaudit.provenance import Held


def show_check(opened: Opened, console: Console) -> None:
    """Print what was read: each table, its rows and columns, and every finding."""
    n = Numbers(opened.settings.report.language, minus="-")
    put(console, heading(opened.title, f"prices of {n.day(opened.as_of)}, {opened.inputs.settings.files.bom}"))
    grid = table("table", "rows", "columns found")
    for name, columns in opened.inputs.present.items():
        grid.add_row(name, n.plain(len(opened.inputs.tables[name])), ", ".join(columns))
    put(console, grid)
    put(console, section("Findings"))
    put(console, finding_lines(to_frame(opened.findings), None))


def show_provenance(held: Sequence[Held], console: Console) -> None:
    """Print whether a folder is what an audit was made from: files, what was given instead, whatever else differs."""
    differs = any(h.counts for h in held)
    put(console, heading("Not what was audited" if differs else "What was audited", "inputs, settings and library"))
    put(console, *map(Text, words.held_against(
        same_files=all(h.state == "same" for h in held if h.kind == "input"),
        then=[h.name for h in held if h.kind == "given" and h.then],
        now=[h.name for h in held if h.kind == "given" and h.now],
    )))  # fmt: skip
    grid = table("", "", "then", "now")
    for h in held:
        if h.kind in ("input", "given") or h.state != "same":
            short = [t[:12] if h.kind in ("input", "library") else t for t in (h.then, h.now)]
            grid.add_row(h.state, escape(f"{h.kind} {h.name}"), *(escape(t) for t in short))
    put(console, grid)


def show_findings(findings: Iterable[Finding], console: Console) -> None:
    """Print findings one a line, worst first: place, what must hold, what was found, what was done, the remedy."""
    put(console, finding_lines(to_frame(findings), None))


def finding_lines(findings: pd.DataFrame, most: int | None) -> RenderableType:
    """Findings one a line, at most so many, then how many there are in all."""
    if findings.empty:
        return Text("none")
    shown = findings.head(most) if most else findings
    lines: list[RenderableType] = [
        Text.assemble((f"{SEVERITY[f['severity']].mark} {f['severity']} ", SEVERITY[f["severity"]].terminal), _said(f))
        for f in shown.to_dict("records")
    ]
    if len(findings) > len(shown):
        counted = findings["severity"].value_counts()
        lines.append(Text("  in all: " + ", ".join(Numbers().count(counted[s], s) for s in SEVERITY if s in counted)
                          + "; every one stands in findings.csv", style="italic"))  # fmt: skip
    return Group(*lines)


def _said(row: dict[Any, Any]) -> str:
    place = {k: row[k] for k in ("code", "message", "file", "sheet", "column", "found", "assumed", "advice")}
    number = row["row"]
    return str(Finding(**place, severity=Severity(row["severity"]), row=None if pd.isna(number) else int(number)))
