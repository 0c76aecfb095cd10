"""How a module of `cli/` becomes a command, and how what it answers becomes output and an exit code.

In: a function that returns an `Answer`. Out: a command of the program. A module's name is the command's word: `what_if.py` is `what-if`.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import NamedTuple, ParamSpec

import typer

from intervals.cli.common.output import Answer

Typed = ParamSpec("Typed")


def answers(command: Callable[Typed, Answer]) -> Callable[Typed, None]:
    """Return a command as typer runs it: what it answers is written, and its exit code is the program's.

    Args:
        command: a function of options and arguments.
    """

    @wraps(command)
    def run(*args: Typed.args, **options: Typed.kwargs) -> None:
        answer = command(*args, **options)
        answer.deliver()
        if answer.exit_code:
            raise typer.Exit(answer.exit_code)

    return run


class Command(NamedTuple):
    """A command, or a group of them, as a module of `cli/` offers it under the name `COMMAND`.

    Attributes:
        run: the function with its options, or a group.
        place: where it stands in `--help`, counted in tens so that another fits between; the first ones are what a new user needs first.
        short_help: its line in `--help`, where the first sentence of its own help is too long for one.
    """

    run: Callable[..., object] | typer.Typer
    place: int
    short_help: str | None = None

    def register(self, app: typer.Typer, module: str) -> None:
        """Add it to the program.

        Args:
            app: the program.
            module: the name of its module.
        """
        word = module.replace("_", "-")
        if isinstance(self.run, typer.Typer):
            app.add_typer(self.run, name=word)
        else:
            app.command(word, short_help=self.short_help)(self.run)
