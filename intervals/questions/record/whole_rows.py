"""Rows of a CSV text of which none is part of another: a quotation mark that is opened and not closed takes the next rows with it.

In: text and its separator. Out: cells, each row with its line. Refuses (`OpenQuotesError`) a row whose quotes are not closed in their cell.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator

OPEN_QUOTES = "quotation marks are opened in this row and not closed in their cell"
CLOSE_THEM = "close them with one more quotation mark, or leave them out"


class OpenQuotesError(ValueError):
    """A row whose quotes are not closed; `line` is the line on which it begins, from 1."""

    def __init__(self, line: int) -> None:
        self.line = line
        super().__init__(f"{OPEN_QUOTES}, line {line}")


def whole_rows(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """Yield the rows of a text, each with the line on which it begins, from 1.

    A cell in quotes may have several lines, as a spreadsheet writes them, but none that is a row of its own: that begins as its row does,
    or has as many separators.

    Args:
        text: the text; any line end.
        separator: what parts the cells.

    Raises:
        OpenQuotesError: quotes are not closed, or something follows them in their cell.

    Example:
        >>> list(whole_rows('a;b', ";"))
        [(1, ['a', 'b'])]
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").removesuffix("\n").split("\n")
    reader = csv.reader((f"{line}\n" for line in lines), delimiter=separator, strict=True)
    width = 0
    while True:
        first = reader.line_num
        try:
            cells = next(reader, None)
        except csv.Error:
            raise OpenQuotesError(first + 1) from None
        if cells is None:
            return
        width = width or len(cells)
        more = [line for cell in cells for line in cell.split("\n")[1:]]
        if any(line.startswith(f"{cells[0]}{separator}") or line.count(separator) >= max(width - 1, 1) for line in more):
            raise OpenQuotesError(first + 1)
        yield first + 1, cells


def named_rows(text: str) -> list[dict[str, str]]:
    """Return the rows of a text with a header and commas, by the names of their columns; a row that is short lacks the last ones.

    Raises:
        OpenQuotesError: quotes are not closed in their cell, or not on its line.
    """
    rows: list[list[str]] = []
    for line, cells in whole_rows(text, ","):
        if any("\n" in cell for cell in cells):
            raise OpenQuotesError(line)
        rows += [cells] if cells else []
    return [dict(zip(rows[0], cells, strict=False)) for cells in rows[1:]]
