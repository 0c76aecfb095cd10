"""How a module becomes a command, a word of --format a report, and an answer output and an exit code."""

from __future__ import annotations

import inspect
from importlib import import_module
from pathlib import Path
from typing import Annotated

import pytest
import typer
from typer.testing import CliRunner

from intervals.cli.common.command import Command, answers
from intervals.cli.common.formats import Format, drawn, written
from intervals.cli.common.output import Answer
from intervals.cli.main import app
from intervals.reports.lines import Line, line_of

CLI = Path(__file__).parents[2] / "intervals" / "cli"
MODULES = sorted(path.stem for path in CLI.glob("*.py") if path.stem not in ("__init__", "main"))
FORMATS = {
    value
    for name in MODULES
    for value in vars(import_module(f"intervals.cli.{name}")).values()
    if isinstance(value, type) and issubclass(value, Format) and value is not Format
}


def test_every_module_of_the_folder_is_a_command_of_its_own_name() -> None:
    """The program has exactly the modules of `cli/` as commands, a hyphen for each underscore, in the order of their places."""
    words = {import_module(f"intervals.cli.{name}").COMMAND.place: name.replace("_", "-") for name in MODULES}
    assert len(words) == len(MODULES)
    assert list(typer.main.get_command(app).commands) == [words[place] for place in sorted(words)]  # type: ignore[attr-defined] # a group


@pytest.mark.parametrize("word", sorted((word for each in FORMATS for word in each), key=repr), ids=repr)
def test_every_word_of_a_format_has_a_report(word: Format) -> None:
    """The function that a word names is there; one that draws takes the width, and no other does."""
    module, _, function = word.maker.partition(":")
    takes = inspect.signature(getattr(import_module(module), function)).parameters
    assert ("width" in takes) == word.is_drawn


class Shout(Format):
    """What the command of these tests prints."""

    TABLE = drawn("table", f"{__name__}:shout_lines")
    TEXT = written("text", f"{__name__}:shout_text")
    BYTES = written("bytes", f"{__name__}:shout_bytes")
    JSON = written("json", f"{__name__}:shout_document")


def shout_lines(said: str, *, width: int | None = None, mark: str = "!") -> list[Line]:
    """Return a line."""
    return [line_of(f"{said}{mark} {width}")]


def shout_text(said: str) -> str:
    """Return text."""
    return f"{said}."


def shout_bytes(said: str) -> bytes:
    """Return bytes."""
    return said.encode("utf-16-be")


def shout_document(said: str) -> dict[str, str]:
    """Return plain data."""
    return {"said": said}


@answers
def shout(said: str, output_format: Annotated[Shout, typer.Option("--format")] = Shout.TABLE, output: Path | None = None) -> Answer:
    """Say a word again."""
    return output_format.answer(said, output=output, exit_code=len(said), mark="?")


@answers
def silent() -> Answer:
    """Say nothing."""
    return Answer()


@pytest.fixture
def program() -> typer.Typer:
    """Return a program with two commands, of which one shouts."""
    program = typer.Typer()
    Command(shout, place=10).register(program, "shout_it")
    Command(silent, place=20).register(program, "silent")
    return program


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), b"ab? None\n"),
        (("--format", "text"), b"ab."),
        (("--format", "bytes"), b"\0a\0b"),
        (("--format", "json"), b'{\n  "said": "ab"\n}\n'),
    ],
)
def test_an_answer_is_written_in_the_form_asked_for(program: typer.Typer, tmp_path: Path, words: tuple[str, ...], told: bytes) -> None:
    """Lines, text, bytes and plain data go to standard output or to the file named; the exit code is the answer's."""
    printed = CliRunner().invoke(program, ["shout-it", "ab", *words])
    assert (printed.stdout_bytes, printed.exit_code) == (told, 2)
    file = tmp_path / "said"
    filed = CliRunner().invoke(program, ["shout-it", "ab", *words, "--output", str(file)])
    assert (filed.stdout_bytes, filed.exit_code, file.read_bytes()) == (b"", 2, told)


def test_an_answer_of_nothing_is_silent_and_good(program: typer.Typer) -> None:
    """A command that has said everything already answers nothing, and the program exits with 0."""
    done = CliRunner().invoke(program, ["silent"])
    assert (done.output, done.exit_code) == ("", 0)


def test_files_beside_an_answer_are_written_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that cannot be written is refused before anything is printed."""
    with pytest.raises(Exception, match="there is no folder"):
        Answer("printed", beside={tmp_path / "gone" / "x": "beside"}).deliver()
    assert capsys.readouterr().out == ""
    Answer(beside={tmp_path / "x": "beside"}).deliver()
    assert (tmp_path / "x").read_text("utf-8") == "beside"
