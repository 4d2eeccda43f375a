"""backtest: the estimate's own record on the client's quotes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bomaudit.cli.shell import (
    AsJson,
    AsOf,
    Change,
    Folder,
    bad_input_ends,
    console,
    given,
    opened,
    print_json,
    show_given,
    talking,
)


def backtest(
    folder: Folder,
    out: Annotated[Path | None, typer.Option("--out", help="Also write every held-out quote to this csv file.")] = None,
    as_of: AsOf = None,
    change: Change = None,
    as_json: AsJson = False,
) -> None:
    """Estimate quotes that were held out, from older ones only, beside four simple rules."""
    with bad_input_ends(), talking(quiet=False) as stage:
        read = opened(folder, as_of, change)
        from bomaudit.backtest import backtest_folder
        from bomaudit.report import terminal_backtest
        from bomaudit.report.files import write_csv

        stage("estimating held-out quotes")
        result = backtest_folder(read)
        if out is not None:
            write_csv(result.cases, out)
    if as_json:
        print_json(terminal_backtest.as_data(result) | given(read))
    else:
        terminal_backtest.show_backtest(result, read.title, console())
        show_given(read)
