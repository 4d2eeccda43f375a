"""init: start an audit folder from a spreadsheet."""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from bomaudit.cli.shell import EXIT_BAD_INPUT, bad_input_ends, console

if TYPE_CHECKING:
    from bomaudit.tables.start import Proposal


def _table(name: str) -> Any:
    return typer.Option(f"--{name.replace('_', '-')}", help=f"Spreadsheet or text file of the table {name}.")


def init(
    folder: Annotated[Path, typer.Argument(help="Audit folder to start; made where it is missing.")],
    bom: Annotated[Path, typer.Option("--bom", help="Spreadsheet or text file of the bill of materials; not copied.")],
    quotes: Annotated[Path | None, _table("quotes")] = None,
    volumes: Annotated[Path | None, _table("volumes")] = None,
    input_prices: Annotated[Path | None, _table("input_prices")] = None,
    decisions: Annotated[Path | None, _table("decisions")] = None,
    alternates: Annotated[Path | None, _table("alternates")] = None,
    standards: Annotated[Path | None, _table("standards")] = None,
    fx: Annotated[Path | None, _table("fx")] = None,
) -> None:
    """Start an audit folder: detect the columns, write audit.toml to review, say what is missing."""
    with bad_input_ends():
        from bomaudit.tables.start import propose_audit

        given = {
            "quotes": quotes,
            "volumes": volumes,
            "input_prices": input_prices,
            "decisions": decisions,
            "alternates": alternates,
            "standards": standards,
            "fx": fx,
        }
        proposal = propose_audit(bom, {name: path for name, path in given.items() if path}, folder=folder)
    _refuse_to_overwrite(folder, proposal)
    asked = sys.stdin.isatty() and sys.stdout.isatty()
    if not asked:
        _write(folder, proposal)  # before anything is shown: whoever reads a pipe may stop reading
    _show(proposal)
    if asked:
        typer.confirm(f"Write {', '.join(proposal.files)} into {folder}?", default=True, abort=True)
        _write(folder, proposal)
    sys.stdout.write(f"review {folder / 'audit.toml'}, then: bomaudit check {folder}\n")


def _write(folder: Path, proposal: Proposal) -> None:
    from bomaudit.report.files import write_all

    write_all({n: partial(Path.write_text, data=t, encoding="utf-8", newline="\n") for n, t in proposal.files.items()},
              folder)  # fmt: skip


def _refuse_to_overwrite(folder: Path, proposal: Proposal) -> None:
    there = [name for name in proposal.files if (folder / name).exists()]
    if there:
        sys.stderr.write(f"bomaudit: {folder} holds {', '.join(there)} already; name another folder or move them\n")
        raise typer.Exit(EXIT_BAD_INPUT)


def _show(proposal: Proposal) -> None:
    from rich.text import Text

    from bomaudit.report.pieces import heading, put, section, table_of
    from bomaudit.report.terminal_inputs import show_findings

    out = console()
    mapping = proposal.read["bom"].mapping
    shown = mapping.assign(sure=mapping["confidence"].map("{:.0%}".format))
    put(out, heading("What was understood", str(mapping["file"].iloc[0]) if len(mapping) else ""))
    put(out, table_of(shown, {"canonical": "column", "header": "header in the file", "how": "how", "sure": "sure"}))
    for name, got in proposal.read.items():
        if got.unused:
            wanted = f"name one in [columns.{name}] of audit.toml if it is wanted"
            put(out, Text(f"columns of {name} that are not used: {', '.join(got.unused)}; {wanted}"))
    put(out, section("What is missing, the most useful first"))
    put(out, table_of(proposal.missing, {"what": "", "why": "without it", "where": "give it"}))
    missing = set(proposal.missing["what"])
    put(out, section("Findings"))
    show_findings([f for f in proposal.findings if f.message not in missing], out)
