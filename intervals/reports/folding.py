"""Lines that are wider than the terminal, folded at blanks: a terminal would cut them in the middle of a word.

In: lines, and the terminal's width. Out: lines that fit. A word that is wider than the terminal stays whole. Tables are laid out by
`columns` and fit already.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from intervals.reports.lines import Line, Span, width_of
from intervals.reports.text_columns import SET_IN

_BLANKS_OR_WORD = re.compile(r" +|[^ ]+")


def fold_lines(lines: Sequence[Line], width: int | None, *, set_in: int = SET_IN) -> list[Line]:
    """Return the lines, each that is too wide on several lines, the further ones set in.

    Args:
        lines: the lines.
        width: columns of the terminal, or None where lines may be as long as they need.
        set_in: by how many columns the further ones are set in.
    """
    if width is None:
        return list(lines)
    return [part for line in lines for part in ([line] if _width(line) <= width else _folded(line, width, set_in))]


def _folded(line: Line, width: int, set_in: int) -> Iterator[Line]:
    """Yield the lines that a line becomes; blanks where it is folded go."""
    row: list[Span] = []
    for blanks, word in _words_of(line):
        if row and _width([*row, Span(blanks), *word]) > width:
            yield tuple(row)
            row = [Span(" " * set_in)]
        else:
            row.append(Span(blanks))
        row += word
    yield tuple(row)


def _words_of(line: Line) -> Iterator[tuple[str, list[Span]]]:
    """Yield each word of a line with the blanks before it; a word may be in several styles."""
    blanks, word = "", list[Span]()
    for span in line:
        for part in _BLANKS_OR_WORD.findall(span.text):
            if not part.isspace():
                word.append(Span(part, span.style))
            elif word:
                yield blanks, word
                blanks, word = part, []
            else:
                blanks += part
    if word:
        yield blanks, word


def _width(line: Sequence[Span]) -> int:
    """Return how many columns a line takes."""
    return sum(width_of(span.text) for span in line)
