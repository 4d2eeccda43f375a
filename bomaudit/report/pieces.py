"""Pieces that every terminal result is put together from."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd
from rich.console import Console, ConsoleOptions, RenderableType
from rich.markup import escape
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from bomaudit.safe_text import printable

WIDEST = 120
"""Wider lines do not read well, however wide the terminal. [characters]"""


class SafeConsole(Console):
    """A console on which no text of a file can steer the terminal: control characters are shown, not sent."""

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Render as its base does, control characters within texts replaced."""
        for text, style, control in super().render(renderable, options):
            yield Segment(text, style, control) if control else Segment(printable(text), style)


def heading(title: str, subtitle: str) -> Text:
    """Title of a result and, more quietly, what it is about."""
    return Text.assemble((title, "bold"), "  ", (subtitle, "dim"))


def section(title: str) -> Text:
    """Title of a part of a result, with a blank line before it."""
    return Text.assemble("\n", (title, "bold underline"))


def table(*headers: str, pad: bool = True) -> Table:
    """Start a table without rules; its cells fold rather than lose letters."""
    result = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0) if pad else (0, 1, 0, 0), show_header=bool(headers),
                   header_style="dim")  # fmt: skip
    for header in headers:
        result.add_column(header, vertical="top", overflow="fold")
    return result


def table_of(frame: pd.DataFrame, headers: dict[str, str]) -> Table:
    """Table of some columns of a frame whose cells are texts already.

    Parameters
    ----------
    frame : DataFrame
    headers : dict of str to str
        Column to its header, in order.

    Returns
    -------
    Table
    """
    result = table(*headers.values())
    for row in frame[list(headers)].itertuples(index=False):
        result.add_row(*(escape(str(cell)) for cell in row))
    return result


def put(console: Console, *blocks: RenderableType) -> None:
    """Print blocks no wider than reads well; without trailing blanks where they go to a file or a pipe."""
    width = min(console.width, WIDEST)
    for block in blocks:
        if console.is_terminal:
            console.print(block, width=width, highlight=False)
            continue
        with console.capture() as held:
            console.print(block, width=width, highlight=False)
        console.file.writelines(line.rstrip() + "\n" for line in held.get().splitlines())
