"""Findings: what the data did not say, said twice or said wrongly, each with its place and a remedy.

Findings are values. Every step returns the ones it made; they are collected over the whole input and shown together, so
that one run reports all that is wrong. A user never sees a traceback for something that is in a file.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from difflib import get_close_matches
from enum import StrEnum

import pandas as pd


class Severity(StrEnum):
    """How much a finding matters: an error left something out, a warning assumed something, a note explains."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


_RANK = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing found in the input.

    Attributes
    ----------
    code : str
        Stable code, table letter and number, for example ``B014``; documented where it is made.
    severity : Severity
    message : str
        What must hold, in one sentence without a full stop.
    file, sheet : str
        Where; empty when the finding is about no single file or sheet.
    row : int or None
        1-based row of the spreadsheet, record of the text file; None when not about one row.
    column : str
        Column letter or header as the file writes it; empty when not about one column.
    found, assumed, advice : str
        What was found, what was done about it, what the user can do.
    """

    code: str
    severity: Severity
    message: str
    file: str = ""
    sheet: str = ""
    row: int | None = None
    column: str = ""
    found: str = ""
    assumed: str = ""
    advice: str = ""

    def __str__(self) -> str:
        """One line: place, what must hold, what was found, what was done, the remedy."""
        place = self.place()
        parts = [self.message + (f", found {self.found}" if self.found else "")]
        parts += [text for text in (self.assumed, self.advice) if text]
        return (f"{place}: " if place else "") + "; ".join(parts)

    def place(self) -> str:
        """File, sheet and cell as ``bom.xlsx:BOM!F14``."""
        cell = f"{self.column}{self.row}" if self.row is not None and len(self.column) <= 3 else ""  # noqa: PLR2004
        if not cell:
            cell = " ".join(t for t in (self.column, f"row {self.row}" if self.row is not None else "") if t)
        inner = f"{self.sheet}!{cell}" if self.sheet and cell else self.sheet or cell
        return f"{self.file}:{inner}" if self.file and inner else self.file or inner


class BadInput(Exception):  # noqa: N818  (the trade says bad input, not bad input error)
    """The input cannot be used at all; carries the findings that say why."""

    def __init__(self, *findings: Finding) -> None:
        super().__init__("; ".join(str(f) for f in findings))
        self.findings = findings


def error(code: str, message: str, **where: object) -> Finding:
    """Make a finding of severity error; keyword arguments as in :class:`Finding`."""
    return Finding(code=code, severity=Severity.ERROR, message=message, **where)  # type: ignore[arg-type]


def warning(code: str, message: str, **where: object) -> Finding:
    """Make a finding of severity warning; keyword arguments as in :class:`Finding`."""
    return Finding(code=code, severity=Severity.WARNING, message=message, **where)  # type: ignore[arg-type]


def note(code: str, message: str, **where: object) -> Finding:
    """Make a finding of severity note; keyword arguments as in :class:`Finding`."""
    return Finding(code=code, severity=Severity.NOTE, message=message, **where)  # type: ignore[arg-type]


def near(name: str, names: Iterable[str]) -> str:
    """Advice on a name that is not held: the nearest of those that are, or some of them where none is near."""
    held = sorted({n for n in names if n})
    found = get_close_matches(name.lower(), [n.lower() for n in held], n=3, cutoff=0.6)
    alike = [n for n in held if n.lower() in found]
    if alike:
        return f"did you mean {', '.join(alike)}?"
    return f"there are {', '.join(held[:5])}{' and others' if len(held) > 5 else ''}" if held else "there are none"  # noqa: PLR2004


def in_order(findings: Iterable[Finding]) -> list[Finding]:
    """Worst first, then by place: the order in which they are shown and written."""
    return sorted(
        set(findings),
        key=lambda f: (_RANK[f.severity], f.file, f.sheet, f.row or 0, f.column, f.code, f.message, f.found),
    )


def to_frame(findings: Iterable[Finding]) -> pd.DataFrame:
    """Tabulate findings, columns as the fields of :class:`Finding`, in the order of :func:`in_order`."""
    rows = [asdict(f) | {"severity": f.severity.value} for f in in_order(findings)]
    frame = pd.DataFrame(rows, columns=[f.name for f in fields(Finding)])
    return frame.astype({"row": "Int64"})
