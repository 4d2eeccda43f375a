"""A screening on the terminal: how much is stale, where, what to re-open, what was passed over; and its progress."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pandas as pd
from rich.console import Console, RenderableType
from rich.text import Text

from bomaudit.report import words
from bomaudit.report.numbers import Numbers
from bomaudit.report.pieces import heading, put, section, table

if TYPE_CHECKING:
    from bomaudit.screen.run import Progress, Screened

_FIRST = 5  # rows of a ranking on the terminal; the files hold all
_TITLES = {"bom": "BOMs", "commodity": "Commodities", "supplier": "Suppliers", "part": "Parts"}
_UNNAMED = "(not stated)"


def show_screened(screened: Screened, console: Console) -> None:
    """Print the summary of a screening.

    Parameters
    ----------
    screened : Screened
    console : Console
    """
    n = Numbers("en", minus="-")
    for block in _blocks(screened, n):
        put(console, block)


def _blocks(screened: Screened, n: Numbers) -> Iterator[RenderableType]:
    totals, plan = screened.summary.totals, screened.plan
    yield heading("Screening", f"{totals['bom']:,} BOMs, prices of {n.day(plan.as_of)}, {plan.currency}")
    if any(d.invented for d in screened.done):
        yield Text(words.INVENTED)
    yield Text(
        f"{totals['stale']:,} of {totals['audited']:,} audited lines are stale and {totals['drifting']:,} drifting; on "
        f"these booked costs stand {n.about(totals['above_per_year'])} {plan.currency} a year above today's estimates "
        f"and {n.about(totals['below_per_year'])} below them. Of {n.about(totals['spend_per_year'])} a year "
        f"{n.about(totals['stale_spend_per_year'])} is spent on stale lines. {totals['unknown']:,} could not be judged."
    )
    if totals["decisions"]:
        yield Text(
            f"{totals['reopen']:,} of {totals['decisions']:,} decisions are worth re-opening or reviewing: "
            f"{n.about(totals['reopen_npv'])} {plan.currency} after the cost of change."
        )
    for by, title in _TITLES.items():
        yield section(f"{title} with most at stake")
        yield _ranking(screened.summary.rankings[by], by, n, plan.currency)
    if screened.passed_over:
        yield section("Passed over")
        for done in screened.passed_over[:_FIRST]:
            yield Text(f"- {done.piece.name}: " + "; ".join(str(f) for f in done.findings[:1]))
        if len(screened.passed_over) > _FIRST:
            yield Text(f"  and {len(screened.passed_over) - _FIRST} more in findings.csv", style="dim")
    yield Text("")
    yield Text(words.CAUTION)


def _ranking(frame: pd.DataFrame, by: str, n: Numbers, currency: str) -> RenderableType:
    result = table("", "lines", "stale", f"above, {currency}/year", f"below, {currency}/year")
    for column in result.columns[1:]:
        column.justify = "right"
    for row in frame.head(_FIRST).to_dict("records"):
        name = str(row["name"]) or _UNNAMED
        shown = f"{name} {row['description']}".strip() if by == "part" else name
        money = (n.about(float(row["above_per_year"])), n.about(float(row["below_per_year"])))
        result.add_row(Text(shown), f"{row['lines']:,}", f"{row['stale']:,}", *money)
    return result


@contextmanager
def progress_bar(quiet: bool, console: Console) -> Iterator[Callable[[Progress], None]]:
    """Show progress, rate and time left; silent where the console is no terminal.

    Parameters
    ----------
    quiet : bool
    console : Console
        On standard error.

    Yields
    ------
    Callable[[Progress], None]
    """
    if quiet or not console.is_terminal:
        yield lambda _progress: None
        return
    from rich import progress as bar  # noqa: PLC0415  (only on a terminal)

    columns = (bar.TextColumn("{task.description}"), bar.BarColumn(), bar.MofNCompleteColumn(),
               bar.TextColumn("{task.fields[told]}"))  # fmt: skip
    with bar.Progress(*columns, console=console, transient=True) as shown:
        task = shown.add_task("reading", total=None, told="")

        def tell(now: Progress) -> None:
            shown.update(task, description=now.stage, total=now.pieces, completed=now.done, told=_told(now))

        yield tell


def _told(now: Progress) -> str:
    """Rate and time left in words."""
    rate = f"{now.rate:,.0f} lines/s" if now.lines else ""
    if math.isnan(now.left):
        return rate
    minutes, seconds = divmod(round(now.left), 60)
    return f"{rate}  {minutes}:{seconds:02d} left".strip()
