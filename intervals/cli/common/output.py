"""Where a command's answer goes: standard output, or a file written whole.

In: an `Answer`: text, bytes or lines. Out: bytes. Documents are UTF-8 wherever they go; what a person reads keeps to the terminal's
encoding.
"""

from __future__ import annotations

import errno
import os
import shutil
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple, TextIO

if TYPE_CHECKING:
    from intervals.reports.lines import Line

Draw = Callable[[int | None], Sequence["Line"]]
"""Yields lines for a width; None where the width does not matter."""
_USUAL_SIZE = os.terminal_size((80, 24))


class Answer(NamedTuple):
    """What a command answers.

    Attributes:
        content: a document, or what draws lines; None where it has said everything already.
        output: the file that was named for it, or None for standard output.
        exit_code: of the program.
        beside: files that are written as well, all made before the first is written.
    """

    content: str | bytes | Draw | None = None
    output: Path | None = None
    exit_code: int = 0
    beside: Mapping[Path, str | bytes] = MappingProxyType({})

    def deliver(self) -> None:
        """Write the files beside, then the content.

        Raises:
            RequestProblemError: a file cannot be written (code CLI110).
        """
        for path, content in self.beside.items():
            _write_file(path, content)
        if callable(self.content):
            deliver_lines(self.content, self.output)
        elif self.content is not None:
            deliver_document(self.content, self.output)


def deliver_document(content: str | bytes, output: Path | None) -> None:
    """Write a document for other programs.

    Args:
        content: the whole document.
        output: the file, or None for standard output.

    Raises:
        RequestProblemError: the file cannot be written (code CLI110).
    """
    if output is not None:
        _write_file(output, content)
        return
    _check_open()
    sys.stdout.flush()
    sys.stdout.buffer.write(content.encode("utf-8") if isinstance(content, str) else content)
    sys.stdout.flush()


def deliver_lines(draw: Draw, output: Path | None = None) -> None:
    """Write lines for a person: in colour and to the width of a terminal, else plain and as long as they need to be.

    Args:
        draw: yields the lines for a width; None where the width does not matter.
        output: the file, or None for standard output.

    Raises:
        RequestProblemError: the file cannot be written (code CLI110).
    """
    from intervals.reports.lines import plain_text, write_lines

    if output is not None:
        _write_file(output, plain_text(draw(None)))
        return
    _check_open()
    reconfigure = getattr(sys.stdout, "reconfigure", None)
    if reconfigure is not None:
        # a terminal that lacks a character gets its number instead of an error
        reconfigure(errors="backslashreplace")
    width = width_of_terminal(sys.stdout)
    write_lines(draw(width), sys.stdout, in_colour=width is not None)
    sys.stdout.flush()


def width_of_terminal(stream: TextIO) -> int | None:
    """Return how many columns the terminal has that a stream writes to, or None where it writes to none.

    Args:
        stream: standard output, or standard error where the other one may be no terminal.
    """
    if not stream.isatty():
        return None
    try:
        own = os.get_terminal_size(stream.fileno())
    except OSError:
        own = _USUAL_SIZE
    return shutil.get_terminal_size(fallback=own if own.columns else _USUAL_SIZE).columns


def _check_open() -> None:
    """Refuse to write where standard output is closed."""
    if sys.stdout is None:
        raise OSError(errno.EBADF, "is closed")


def _write_file(output: Path, content: str | bytes) -> None:
    """Write a file whole."""
    from intervals.writing import write_whole

    write_whole(output, content)
