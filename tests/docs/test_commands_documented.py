"""Every command and every option is documented where a person looks first."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from intervals.cli.common.print_problems import CLI_CODES
from intervals.cli.main import app

ROOT = Path(__file__).parents[2]


def commands(command: Any, path: str = "intervals") -> Iterator[tuple[str, Any]]:  # noqa: ANN401 - the library's types are its own
    """Yield every command with the words that call it."""
    yield path, command
    for name, inner in getattr(command, "commands", {}).items():
        yield from commands(inner, f"{path} {name}")


ALL = dict(commands(typer.main.get_command(app)))
OPTIONS = sorted(
    {(path, option) for path, command in ALL.items() for each in command.params for option in each.opts if option.startswith("--")}
)


@pytest.fixture(scope="module")
def readme() -> str:
    """Return the text of README.md."""
    return (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", [path for path in sorted(ALL) if not hasattr(ALL[path], "commands")])
def test_every_command_is_in_the_readme(readme: str, path: str) -> None:
    """The words that call a command stand in README.md."""
    assert path in readme


@pytest.mark.parametrize(("path", "option"), OPTIONS)
def test_every_option_is_in_the_handbook(path: str, option: str) -> None:
    """Each option stands in the handbook's page of the commands, below its command; those of the program itself above all."""
    page = (ROOT / "intervals" / "handbook" / "commands.md").read_text(encoding="utf-8")
    _, _, section = page.partition("\n" if path == "intervals" else f"\n## {path}\n")
    assert option in section.partition("\n## ")[0]


@pytest.mark.parametrize("path", sorted(ALL))
def test_every_command_and_parameter_has_help(path: str) -> None:
    """A command says what it does; each option and argument says what it is for."""
    assert ALL[path].help.strip()
    assert all(each.help for each in ALL[path].params)


@pytest.mark.parametrize("path", [path for path in sorted(ALL) if not hasattr(ALL[path], "commands")])
def test_every_command_shows_an_example(path: str) -> None:
    """The help of each command ends with a command that can be typed."""
    assert f"\n  {path}" in ALL[path].help


def test_every_code_of_the_command_line_is_used_and_explained() -> None:
    """Each code stands in the source once it is said what it means."""
    source = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "intervals").rglob("*.py") if path.name != "print_problems.py")
    own = (ROOT / "intervals/cli/common/print_problems.py").read_text(encoding="utf-8")
    for code in CLI_CODES:
        assert code in source or own.count(code) > 1
