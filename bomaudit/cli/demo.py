"""Copy a sample audit folder to try the tool on."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import Annotated

import typer

from bomaudit.cli.shell import EXIT_BAD_INPUT

_DEFAULT = "floor_scrubber"


def demo(
    folder: Annotated[Path | None, typer.Argument(help="Where to; default: a folder named as the sample.")] = None,
    sample: Annotated[str, typer.Option(help="Which sample.")] = _DEFAULT,
) -> None:
    """Copy an invented sample audit to a new folder."""
    from bomaudit.resources import data_folder

    source = data_folder("sample_boms") / sample
    target = folder or Path(sample)
    names = sorted(p.name for p in source.parent.iterdir() if (p / "audit.toml").is_file())
    if sample not in names:
        sys.stderr.write(f"bomaudit: no sample is called {sample}; there are {', '.join(names)}\n")
        raise typer.Exit(EXIT_BAD_INPUT)
    if target.exists():
        sys.stderr.write(f"bomaudit: {target} exists already; name another folder\n")
        raise typer.Exit(EXIT_BAD_INPUT)
    shutil.copytree(source, target)
    sys.stdout.write(f"{target} holds an invented sample audit; next: bomaudit audit {target} --out out\n")
