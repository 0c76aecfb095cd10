"""The command `intervals`: its commands, its global options, and the one place where an error becomes an exit code.

In: the command line. Out: an exit code (0, 1 or 2). Refuses by what `common/print_problems.py` prints.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

_HELP = """
Says for every engine and maintenance task whether it is overdue, upcoming, in interval or unknown, what was skipped, by how
much, and why: from an operating log, service records and a rule set.

\b
Start here:
  intervals init my-site                        a new site to fill in
  intervals check sample_logs/brackwater        judge a site
  intervals explain SITE ENGINE TASK            the whole sum behind one line
"""
_EPILOG = """
\b
Exit codes, the same for every command:
  0  done, nothing to report
  1  done, and something needs you (see the command's own help)
  2  cannot be done; every problem is listed on standard error
"""


_INTERRUPTED = 130
"""What shells answer for a program that was interrupted."""


class CommandGroup(TyperGroup):
    """The group of all commands; whatever a command raises ends here."""

    def make_context(self, *args: Any, **kwargs: Any) -> Any:  # noqa: ANN401 - the library's types are its own
        """Read the options before a command's name; what --version and --help cannot write ends here.

        Args:
            args: as the library hands them over.
            kwargs: likewise.

        Raises:
            typer.Exit: with the exit code, after an error was printed.
        """
        try:
            return super().make_context(*args, **kwargs)
        except OSError as error:
            from intervals.cli.common.print_problems import answer_error

            raise typer.Exit(answer_error(error, debug=False)) from error

    def invoke(self, ctx: Any) -> Any:  # noqa: ANN401 - the library's types are its own
        """Run a command, and turn what it raises into words and an exit code.

        Args:
            ctx: the command line, parsed.

        Raises:
            typer.Exit: with the exit code, after an error was printed.
        """
        try:
            return super().invoke(ctx)
        except (typer.Exit, typer.Abort, typer.TyperException):
            raise
        except KeyboardInterrupt:
            _leave_at_once()
            raise
        except Exception as error:
            # whatever it is, a person gets a line and not a traceback
            from intervals.cli.common.print_problems import answer_error

            raise typer.Exit(answer_error(error, debug=bool(ctx.params.get("debug")))) from error


def _leave_at_once() -> None:
    """End the program as one that was interrupted, if a log is being read.

    Arrow's threads may still be parsing a piece of it. One that lets go of the piece while the interpreter is taken down ends in an abort.
    """
    if "pyarrow" in sys.modules:
        for stream in (sys.stdout, sys.stderr):
            with suppress(OSError, ValueError):
                stream.flush()
        os._exit(_INTERRUPTED)


app = typer.Typer(
    name="intervals",
    cls=CommandGroup,
    help=_HELP,
    epilog=_EPILOG,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _say_version(*, wanted: bool) -> None:
    """Print the version and end."""
    if wanted:
        from intervals.version import __version__

        typer.echo(f"intervals {__version__}")
        raise typer.Exit


@app.callback()
def global_options(
    *,
    version: Annotated[
        bool, typer.Option("--version", callback=lambda value: _say_version(wanted=value), is_eager=True, help="Print the version and end.")
    ] = False,
    debug: Annotated[
        bool, typer.Option("--debug", help="Show the traceback where a command fails. Write it before the command's name.")
    ] = False,
) -> None:
    """Take the options that stand before a command's name."""


def _register(program: typer.Typer) -> None:
    """Add every module of this folder to the program: each is a command and offers it as `COMMAND`."""
    names = [path.stem for path in Path(__file__).parent.glob("*.py") if path.stem not in ("__init__", "main")]
    commands = [(name, import_module(f"intervals.cli.{name}").COMMAND) for name in names]
    for name, command in sorted(commands, key=lambda entry: entry[1].place):
        command.register(program, name)


_register(app)
