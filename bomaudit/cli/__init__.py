"""The commands: thin shells that parse, call a documented function, show its result and set the exit status."""

from __future__ import annotations

import gc
import os
import sys

# The matrices here are small: more threads of the linear algebra would only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import typer

from bomaudit.cli import audit, backtest, curves, demo, explain, finance, history, screen, start
from bomaudit.cli.shell import EXIT_BAD_INPUT, EXIT_INTERNAL

_SAID_OF_IT = 200
"""Characters of an error of our own that are shown: enough to report it, too few to spill a file. [characters]"""

app = typer.Typer(
    name="bomaudit",
    help="Find the out-of-date costs in a bill of materials, and the past decisions they flip.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
for command in (
    start.init,
    demo.demo,
    audit.check,
    audit.audit,
    explain.explain,
    explain.requote,
    finance.reconcile,
    history.compare,
    backtest.backtest,
    screen.screen,
):
    app.command()(command)
app.add_typer(curves.app, name="curves")


def main() -> None:
    """Run the program; the entry point of the installed script."""
    gc.set_threshold(200_000, 10, 10)  # looking for garbage in cycles took a third of the sample's time, and found none
    try:
        app()
    except OSError as problem:
        from bomaudit.safe_text import printable

        where = problem.filename2 or problem.filename
        place = f" ({printable(str(where))})" if where else ""
        sys.stderr.write(
            f"bomaudit: a file or folder could not be used: {problem.strerror or type(problem).__name__}{place}; check "
            "its name, that it may be written and that its disk has room\n"
        )
        sys.exit(EXIT_BAD_INPUT)
    except Exception as problem:  # noqa: BLE001  (the last line of defence: a user never sees a traceback)
        from bomaudit.safe_text import printable

        said = " ".join(str(problem).split())[:_SAID_OF_IT]
        sys.stderr.write(
            f"bomaudit: internal error ({type(problem).__name__}: {printable(said)}); "
            "the input was not changed and nothing was written\n"
        )
        sys.exit(EXIT_INTERNAL)
    finally:
        gc.freeze()  # the process frees everything at once: looking through it first took a third of a second
