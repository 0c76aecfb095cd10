"""Lines of text with styles: the one form that every readable report is drawn in.

In: spans of text, each with a style. Out: plain text, or the same text in colour on a terminal. Text that came from a file is
passed through `printable` first, so that no control character of it reaches a terminal.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from typing import NamedTuple, TextIO


class Span(NamedTuple):
    """A run of text in one style (a colour or weight as rich names it, or nothing)."""

    text: str
    style: str = ""


Line = tuple[Span, ...]
BLANK: Line = ()


def line_of(text: str, style: str = "") -> Line:
    """Return a line of one span."""
    return (Span(text, style),)


def printable(text: str) -> str:
    r"""Return text from a file with every character that could steer a terminal written out.

    Example:
        >>> print(printable("G1" + chr(27) + "[2J"))
        G1\x1b[2J
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(character if _is_harmless(character) else _written_out(character) for character in text)


def width_of(text: str) -> int:
    """Return how many columns of a terminal a text takes: wide characters take two, combining ones none."""
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(each) else 2 if unicodedata.east_asian_width(each) in "WF" else 1 for each in text)


def plain_text(lines: Iterable[Line]) -> str:
    """Return the lines without styles, each ended by a line feed and without blanks at its end."""
    return "".join("".join(span.text for span in line).rstrip() + "\n" for line in lines)


def write_lines(lines: Iterable[Line], stream: TextIO, *, in_colour: bool) -> None:
    """Write lines to a stream.

    Args:
        lines: what to write.
        stream: where to.
        in_colour: whether the stream is a terminal; `NO_COLOR` in the environment still takes the colours away.
    """
    if not in_colour:
        stream.write(plain_text(lines))
        return
    from rich.console import Console  # noqa: PLC0415 - rich is loaded only for a terminal
    from rich.text import Text  # noqa: PLC0415 - rich is loaded only for a terminal

    console = Console(file=stream, highlight=False, markup=False, emoji=False, soft_wrap=True)
    for line in lines:
        console.print(Text.assemble(*((span.text, span.style) for span in line)))


def _is_harmless(character: str) -> bool:
    """Return whether a character only shows itself: no control, no format character such as a change of direction."""
    return character == " " or (character.isprintable() and unicodedata.category(character) not in {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"})


def _written_out(character: str) -> str:
    """Return a character by its number, or as a blank where it is one of the blanks."""
    return " " if character in "\t\u00a0\u202f" else character.encode("unicode_escape").decode("ascii")
