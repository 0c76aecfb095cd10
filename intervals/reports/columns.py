"""Rows of cells laid out in columns that fit a width: the one layout of every table.

In: a heading and cells a column. Out: lines. The last column is prose: it is wrapped into what is left of the width; where that is
too little it goes below its row, and where not even the other columns fit, each row is told as a short paragraph.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from intervals.reports.lines import Line, Piece, width_of

_BETWEEN = "  "
_LEAST_PROSE = 32
_BELOW = 4


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, and whether its cells stand to the right as figures do."""

    heading: str
    to_right: bool = False


def lay_out(columns: Sequence[Column], rows: Sequence[Sequence[Piece]], *, width: int | None, heading_style: str = "bold") -> list[Line]:
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
    headings = [[Piece(column.heading, heading_style) for column in columns]] if any(column.heading for column in columns) else []
    if width is None or width - start >= _LEAST_PROSE:
        room = None if width is None else width - start
        return [line for row in [*headings, *rows] for line in _beside(columns, row, widths, start, room)]
    if start - len(_BETWEEN) <= width:
        return [
            *(_aligned(columns, row, widths) for row in headings),
            *(line for row in rows for line in _below(columns, row, widths, width)),
        ]
    return [line for row in rows for line in _told(row, width)]


def _aligned(columns: Sequence[Column], row: Sequence[Piece], widths: Sequence[int]) -> Line:
    """Return the cells but the last, padded to their columns."""
    pieces = []
    for column, cell, width in zip(columns, row, widths, strict=False):
        blanks = " " * (width - width_of(cell.text))
        if column.to_right:
            pieces += [Piece(blanks), cell, Piece(_BETWEEN)]
        else:
            pieces += [cell, Piece(blanks + _BETWEEN)]
    return tuple(pieces)


def _beside(columns: Sequence[Column], row: Sequence[Piece], widths: Sequence[int], start: int, room: int | None) -> list[Line]:
    """Return a row with its prose beside it."""
    prose = row[-1]
    parts = [prose.text] if room is None else wrap(prose.text, room) or [""]
    first = (*_aligned(columns, row, widths), Piece(parts[0], prose.style))
    return [first, *((Piece(" " * start), Piece(part, prose.style)) for part in parts[1:])]


def _below(columns: Sequence[Column], row: Sequence[Piece], widths: Sequence[int], width: int) -> list[Line]:
    """Return a row with its prose on the lines below it."""
    return [_aligned(columns, row, widths), *_prose(row[-1], width)]


def _told(row: Sequence[Piece], width: int) -> list[Line]:
    """Return a row as a paragraph: cells one behind the other as long as they fit, then the prose."""
    lines: list[list[Piece]] = [[]]
    used = 0
    for cell in row[:-1]:
        if not cell.text.strip():
            continue
        if used and used + width_of(cell.text) > width:
            lines.append([Piece(" " * _BELOW)])
            used = _BELOW
        lines[-1] += [cell, Piece(_BETWEEN)]
        used += width_of(cell.text) + len(_BETWEEN)
    return [*(tuple(line) for line in lines), *_prose(row[-1], width)]


def _prose(cell: Piece, width: int) -> list[Line]:
    """Return prose wrapped and set in."""
    return [(Piece(" " * _BELOW), Piece(part, cell.style)) for part in wrap(cell.text, max(width - _BELOW, 20))]
