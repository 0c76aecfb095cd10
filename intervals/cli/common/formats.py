"""The words of `--format`, each with the report that makes it: a new format is a module of `reports/` and a line here in its command.

In: what a question found. Out: an `Answer`, or a file's content. The report is loaded only when its word was typed.
"""

from __future__ import annotations

from enum import StrEnum
from importlib import import_module
from pathlib import Path
from typing import Any, NamedTuple, Self

from intervals.cli.common.output import Answer


class Report(NamedTuple):
    """A word, and what makes it.

    Attributes:
        word: as it is typed, or the name of a file.
        maker: `module:function`.
        is_drawn: whether the function draws lines to a width.
    """

    word: str
    maker: str
    is_drawn: bool


def drawn(word: str, maker: str) -> Report:
    """Return a word for people.

    Args:
        word: as it is typed.
        maker: `module:function`; the function takes what was found and `width`, and returns lines.
    """
    return Report(word, maker, is_drawn=True)


def written(word: str, maker: str) -> Report:
    """Return a word for programs, or a file.

    Args:
        word: as it is typed, or the name of the file.
        maker: `module:function`; the function takes what was found, and returns text, bytes, or plain data that is written as JSON.
    """
    return Report(word, maker, is_drawn=False)


class Format(StrEnum):
    """What a command can print, or the files that it can make; each member is a word and carries its report."""

    maker: str
    is_drawn: bool

    def __new__(cls, word: str, maker: str, is_drawn: bool) -> Self:
        """Make a member of its word; what makes it goes along."""
        member = str.__new__(cls, word)
        member._value_ = word
        member.maker, member.is_drawn = maker, is_drawn
        return member

    def make(self, *found: Any, **options: Any) -> Any:  # noqa: ANN401 - each report takes the document of its own question
        """Return what the report makes: lines where it is drawn, else text or bytes.

        Args:
            found: what the question found.
            options: what the report takes besides.
        """
        module, _, function = self.maker.partition(":")
        made = getattr(import_module(module), function)(*found, **options)
        if not isinstance(made, dict):
            return made
        from intervals.documents import json_text

        return json_text(made)

    def answer(self, *found: Any, output: Path | None = None, exit_code: int = 0, **drawing: Any) -> Answer:  # noqa: ANN401 - as above
        """Return the answer in this form.

        Args:
            found: what the question found.
            output: the file that was named for it, or None.
            exit_code: of the program.
            drawing: what only a report for people takes besides.
        """
        if not self.is_drawn:
            return Answer(self.make(*found), output, exit_code)
        return Answer(lambda width: self.make(*found, width=width, **drawing), output, exit_code)
