"""What the handbook and README.md say of the commands and of the faults, made from the program itself.

In: the commands as they are registered, the kinds of faults. Out: Markdown. `python -m intervals.cli.pages.command_pages` writes it into a
clone; with `--check` it only says what is not current, and ends with 1. So neither can rot.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import Any

import typer

from intervals.cli.common.print_problems import CLI_CODES
from intervals.cli.main import app
from intervals.faults import FAULT_KINDS

_BEGIN, _END = "<!-- commands: made from the program -->", "<!-- end of commands -->"


def commands_of(command: Any, path: str = "intervals") -> Iterator[tuple[str, Any]]:  # noqa: ANN401 - the library's types are its own
    """Yield every command with the words that call it; a group only by what is in it.

    Args:
        command: the command line, or a part of it.
        path: the words that lead to it.
    """
    inner = getattr(command, "commands", {})
    if not inner:
        yield path, command
    for name, each in inner.items():
        yield from commands_of(each, f"{path} {name}")


def command_table() -> str:
    """Return one row per command: how it is called, and the first line of its help."""
    rows = [f"| `{_called(path, command)}` | {_first_line(command)} |" for path, command in _all()]
    return "\n".join(["| command | what it does |", "|---|---|", *rows])


def commands_page() -> str:
    """Return the handbook's page of the commands, with every option."""
    parts = ["# Commands", "", "Every command with its options, as `--help` shows them.", ""]
    parts += ["`intervals --version` prints the version. `intervals --debug COMMAND` shows a traceback where a command fails.", ""]
    for path, command in _all():
        parts += [f"## {path}", "", f"`{_called(path, command)}`", "", _first_line(command), ""]
        options = [each for each in command.params if each.param_type_name == "option" and each.name != "help"]
        if options:
            parts += ["| option | what it does |", "|---|---|", *(f"| {_option(each)} | {_cell(each.help)} |" for each in options), ""]
    parts += ["## Exit codes", "", "| code | meaning |", "|---|---|"]
    parts += ["| 0 | done, nothing to report |", "| 1 | done, and something needs you |"]
    parts += ["| 2 | cannot be done; every problem is listed on standard error |", ""]
    parts += ["## Problem codes of the command line", "", "| code | meaning |", "|---|---|"]
    parts += [f"| `{code}` | {_cell(CLI_CODES[code])} |" for code in sorted(CLI_CODES)]
    return "\n".join([*parts, ""])


def faults_page() -> str:
    """Return the handbook's page of problems and faults."""
    rows = "\n".join(f"| `{kind}` | {_cell(meaning)} |" for kind, meaning in sorted(FAULT_KINDS.items()))
    return _FAULTS.format(rows=rows)


_FAULTS = """# Problems and faults

What stops the program, and what it works around.

A **problem** stops the run: a file that cannot be parsed, a column that is not there, a time in `site.yaml` that the clock skips or
shows twice, an empty log, an engine that was asked for and is not there. All problems are reported in one run, each with its
code, file, line, what was found and what to write. The exit code is 2.

A **fault** does not stop the run: the judgement works around it, and it is listed with file and line.
Rows read are always rows accepted plus rows set aside.

| fault | meaning |
|---|---|
{rows}
"""


def pages_made(root: Path) -> dict[Path, str]:
    """Return what each made file of a clone must hold.

    Args:
        root: the clone's top folder.
    """
    readme = root / "README.md"
    before, _, rest = readme.read_text("utf-8").partition(_BEGIN)
    _, _, after = rest.partition(_END)
    handbook = root / "intervals" / "handbook"
    return {
        readme: f"{before}{_BEGIN}\n{command_table()}\n{_END}{after}",
        handbook / "commands.md": commands_page(),
        handbook / "faults.md": faults_page(),
    }


def main() -> int:
    """Write the made files, or with `--check` say which are not current."""
    stale = [(path, text) for path, text in pages_made(Path.cwd()).items() if not path.exists() or path.read_text("utf-8") != text]
    for path, text in stale:
        if "--check" in sys.argv:
            typer.echo(f"{path.relative_to(Path.cwd())} is not current: run python -m intervals.cli.pages.command_pages")
        else:
            path.write_text(text, encoding="utf-8")
    return int("--check" in sys.argv and bool(stale))


def _all() -> list[tuple[str, Any]]:
    """Return all commands in the order of the help."""
    return list(commands_of(typer.main.get_command(app)))


def _called(path: str, command: Any) -> str:  # noqa: ANN401 - the library's types are its own
    """Return how a command is called: its words and its arguments."""
    arguments = [each.metavar or each.name.upper() for each in command.params if each.param_type_name == "argument"]
    return _cell(" ".join([path, *arguments]))


def _option(option: Any) -> str:  # noqa: ANN401 - the library's types are its own
    """Return an option with what it takes."""
    of_type = option.type_descriptor.annotation
    choices = "|".join(of_type) if isinstance(of_type, type) and issubclass(of_type, StrEnum) else "VALUE"
    takes = "" if option.is_flag else f" {option.metavar or choices}"
    return f"`{_cell(option.opts[0] + takes)}`"


def _first_line(command: Any) -> str:  # noqa: ANN401 - the library's types are its own
    """Return what a command does, in a line."""
    return _cell(command.help.strip().split("\n\n")[0])


def _cell(text: str) -> str:
    """Return text that fits a cell of a Markdown table."""
    return " ".join(text.split()).replace("|", "\\|")


if __name__ == "__main__":
    raise SystemExit(main())
