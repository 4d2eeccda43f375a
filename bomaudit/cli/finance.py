"""reconcile: standard costs against what is booked, paid, agreed and estimated."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bomaudit.cli.shell import (
    AsJson,
    AsOf,
    Change,
    Folder,
    Quiet,
    bad_input_ends,
    console,
    given,
    opened,
    print_json,
    run_whole,
    say,
    show_given,
    talking,
)


def reconcile(
    folder: Folder,
    out: Annotated[
        Path, typer.Option("--out", help="Folder for the files out; approvals written into its csv are kept.")
    ],
    as_of: AsOf = None,
    change: Change = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Reconcile standard costs: bridge, variances, proposed standards, stock value, journal lines."""
    with bad_input_ends(), talking(quiet) as stage:
        read = opened(folder, as_of, change)
        from bomaudit.finance.approvals import read_approvals
        from bomaudit.finance.reconcile import reconcile_audit
        from bomaudit.report import finance_files, terminal_finance

        stage("estimating")
        audited = run_whole(read)
        stage("reconciling")
        approvals, odd = read_approvals(out / finance_files.PROPOSED)
        say(odd)
        result = reconcile_audit(audited, approvals=approvals)
        finance_files.write_reconciled(result, out, finance=read.settings.finance, approvals=approvals)
    if as_json:
        print_json(finance_files.as_data(result, read.settings.finance) | given(read))
    elif not quiet:
        terminal_finance.show_reconciled(result, audited.title, console())
        show_given(read)
