"""Where a command's answer goes: standard output, or a file written whole.

In: text or lines. Out: bytes. Documents are UTF-8 wherever they go; what a person reads keeps to the terminal's encoding.
"""

from __future__ import annotations

import errno
import os
import shutil
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from intervals.reports.lines import Line

_USUAL_SIZE = os.terminal_size((80, 24))


def deliver_document(text: str, output: Path | None) -> None:
    """Write a document for other programs.

    Args:
        text: the whole document.
        output: the file, or None for standard output.

    Raises:
        RequestProblemError: the file cannot be written (code CLI110).
    """
    if output is not None:
        _write_file(output, text)
        return
    _check_open()
    sys.stdout.flush()
    sys.stdout.buffer.write(text.encode("utf-8"))
    sys.stdout.flush()


def deliver_lines(draw: Callable[[int | None], Sequence[Line]], output: Path | None = None) -> None:
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


def _write_file(output: Path, text: str) -> None:
    """Write a file whole."""
    from intervals.writing import write_whole

    write_whole(output, text)
