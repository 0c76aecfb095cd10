"""Rows of cells laid out in columns that fit a width: the one layout of every table.

In: a heading and cells a column. Out: lines. The last column is prose: it is wrapped into what is left of the width; where that is
too little it goes below its row, and where not even the other columns fit, each row is written as a short paragraph, in which every
figure stands beside its heading.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from textwrap import wrap

from intervals.reports.lines import Line, Span, width_of
from intervals.shown_numbers import UNKNOWN

_BETWEEN = "  "
_FIGURES_END = ";"
_LEAST_PROSE = 32
SET_IN = 4
"""By how many columns a line is set in that goes on with the one above it."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Attributes:
        heading: what stands above its cells.
        to_right: whether its cells stand to the right, as figures do.
        is_plain: whether a cell says without its heading what it is, as an engine, a standing or a sentence does.
    """

    heading: str
    to_right: bool = False
    is_plain: bool = False


def lay_out(columns: Sequence[Column], rows: Sequence[Sequence[Span]], *, width: int | None, heading_style: str = "bold") -> list[Line]:
    """Return the heading and the rows, aligned.

    Args:
        columns: at least two; the last one holds prose. Where no column has a heading, there is no heading line.
        rows: one cell a column.
        width: columns of the terminal, or None where lines may be as long as they need.
        heading_style: style of the heading line.

    Returns:
        The heading line and one or more lines a row; nothing at all where there are no rows.
    """
    if not rows:
        return []
    fixed = len(columns) - 1
    widths = [max(width_of(columns[index].heading), *(width_of(row[index].text) for row in rows)) for index in range(fixed)]
    start = sum(widths) + len(_BETWEEN) * fixed
    headings = [[Span(column.heading, heading_style) for column in columns]] if any(column.heading for column in columns) else []
    if width is None or width - start >= _LEAST_PROSE:
        room = None if width is None else width - start
        return [line for row in [*headings, *rows] for line in _beside(columns, row, widths, start, room)]
    if start - len(_BETWEEN) <= width:
        return [
            *(_aligned(columns, row, widths) for row in headings),
            *(line for row in rows for line in _below(columns, row, widths, width)),
        ]
    return [line for row in rows for line in _paragraph(columns, row, width)]


def _aligned(columns: Sequence[Column], row: Sequence[Span], widths: Sequence[int]) -> Line:
    """Return the cells but the last, padded to their columns."""
    spans = []
    for column, cell, width in zip(columns, row, widths, strict=False):
        blanks = " " * (width - width_of(cell.text))
        if column.to_right:
            spans += [Span(blanks), cell, Span(_BETWEEN)]
        else:
            spans += [cell, Span(blanks + _BETWEEN)]
    return tuple(spans)


def _beside(columns: Sequence[Column], row: Sequence[Span], widths: Sequence[int], start: int, room: int | None) -> list[Line]:
    """Return a row with its prose beside it."""
    prose = row[-1]
    parts = [prose.text] if room is None else wrap_prose(prose.text, room) or [""]
    first = (*_aligned(columns, row, widths), Span(parts[0], prose.style))
    return [first, *((Span(" " * start), Span(part, prose.style)) for part in parts[1:])]


def _below(columns: Sequence[Column], row: Sequence[Span], widths: Sequence[int], width: int) -> list[Line]:
    """Return a row with its prose on the lines below it."""
    return [_aligned(columns, row, widths), *_prose(columns[-1], row[-1], width)]


def _paragraph(columns: Sequence[Column], row: Sequence[Span], width: int) -> list[Line]:
    """Return a row as a paragraph: what names it, then each figure beside its heading, as many as fit a line; then the prose."""
    lines: list[list[Span]] = [[]]
    used = 0
    between = ""
    for heading, cell in _with_headings(columns, row):
        takes = width_of(heading + cell.text)
        if used and used + len(between) + takes + len(_FIGURES_END) > width:
            lines[-1].append(Span(between.rstrip()))
            lines.append([Span(" " * SET_IN)])
            used, before = SET_IN, ""
        else:
            before = between
        lines[-1] += [Span(before), Span(heading, "dim"), cell]
        used += len(before) + takes
        between = f"{_FIGURES_END} " if heading or between.startswith(_FIGURES_END) else _BETWEEN
    return [*(tuple(line) for line in lines), *_prose(columns[-1], row[-1], width)]


def _with_headings(columns: Sequence[Column], row: Sequence[Span]) -> Iterator[tuple[str, Span]]:
    """Yield the cells but the last, each with what goes before it; a bare question mark says of what it is."""
    for column, cell in zip(columns[:-1], row, strict=False):
        if cell.text.strip():
            is_bare = not column.heading or (column.is_plain and cell.text != UNKNOWN)
            yield ("" if is_bare else f"{column.heading.strip()} "), cell


def _prose(column: Column, cell: Span, width: int) -> list[Line]:
    """Return prose wrapped and set in, where no heading stands above it after its own."""
    text = cell.text if column.is_plain or not column.heading or not cell.text else f"{column.heading}: {cell.text}"
    return [(Span(" " * SET_IN), Span(part, cell.style)) for part in wrap_prose(text, max(width - SET_IN, 20))]


def wrap_prose(text: str, width: int) -> list[str]:
    """Return prose on lines of a width; an id, a date or a file is not broken at its hyphens: it is to be found again, and pasted."""
    return wrap(text, width, break_on_hyphens=False)
