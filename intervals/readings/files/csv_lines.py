"""Rows of a text file, one line at a time: for files that have something odd about them.

In: whole lines of a text file. Out: chunks of text columns, with the true line of every row, and each row that does not fit the
header. Refuses nothing. A quoted cell may run over 20 lines; where a quote is never closed, its line alone is set aside.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow as pa

from intervals.readings.arrow_arrays import text_column
from intervals.readings.files.csv_head import CsvShape
from intervals.readings.files.log_file import Chunk

_ROWS_A_CHUNK = 100_000
_LONGEST_CELL_LINES = 20


def chunks_of_lines(data: bytes, first_line: int, shape: CsvShape, places: Sequence[int]) -> Iterator[Chunk]:
    """Yield the rows of some lines as text columns.

    Args:
        data: whole lines, UTF-8.
        first_line: line of the first of them in the file.
        shape: the file's layout.
        places: the wanted columns.

    Yields:
        Chunks; each row stands at its first line.
    """
    lines = data.decode("utf-8", errors="replace").split("\n")
    numbers: list[int] = []
    columns: list[list[str]] = [[] for _ in places]
    malformed: list[tuple[int, str]] = []
    index = 0
    while index < len(lines):
        fields, used = record_at(lines, index, shape)
        line, index = first_line + index, index + used
        if not any(field.strip() for field in fields):
            continue
        fault = misfit(fields, shape)
        if fault:
            malformed.append((line, fault))
            continue
        numbers.append(line)
        for column, place in zip(columns, places, strict=True):
            column.append(fields[place])
        if len(numbers) == _ROWS_A_CHUNK:
            yield _chunk(numbers, columns, malformed, places)
            numbers, columns, malformed = [], [[] for _ in places], []
    yield _chunk(numbers, columns, malformed, places)


def record_at(lines: Sequence[str], index: int, shape: CsvShape) -> tuple[list[str], int]:
    """Return the fields of the row that begins at a line, and the number of lines it takes; no fields for a comment."""
    text = lines[index].rstrip("\r")
    if shape.comment and text.startswith(shape.comment):
        return [], 1
    if '"' not in text:
        return text.split(shape.separator), 1
    fields = _strict(text, shape.separator)
    if fields is not None:
        return fields, 1
    for used in range(2, min(_LONGEST_CELL_LINES, len(lines) - index) + 1):
        text += "\n" + lines[index + used - 1].rstrip("\r")
        fields = _strict(text, shape.separator) if '"' in lines[index + used - 1] else None
        if fields is not None and not misfit(fields, shape):
            return fields, used
    return _lenient(lines[index].rstrip("\r"), shape.separator), 1


def _strict(text: str, separator: str) -> list[str] | None:
    """Return the fields of a row whose quotes are all closed and stand around whole cells, else None."""
    try:
        rows = list(csv.reader([text], delimiter=separator, strict=True))
    except csv.Error:
        return None
    return rows[0] if len(rows) == 1 else None


def _lenient(text: str, separator: str) -> list[str]:
    """Return the fields of a row with odd quotes; one that is never closed is taken as a letter."""
    try:
        fields = next(csv.reader([text], delimiter=separator), [])
    except csv.Error:
        return text.split(separator)
    return fields if text.count('"') % 2 == 0 else text.split(separator)


def misfit(fields: Sequence[str], shape: CsvShape) -> str | None:
    """Return how a row's fields do not fit the header, or None.

    Blank fields beyond the last column are right only where most rows have them: elsewhere they show that something before
    them, such as an unquoted decimal comma, has shifted the row.
    """
    columns = len(shape.header)
    if columns <= len(fields) <= shape.width and not any(field.strip() for field in fields[columns:]):
        return None
    return f"{len(fields)} fields where the header has {columns}"


def _chunk(numbers: list[int], columns: list[list[str]], malformed: list[tuple[int, str]], places: Sequence[int]) -> Chunk:
    """Return collected rows as a chunk."""
    cells = {place: pa.chunked_array([text_column(column)]) for place, column in zip(places, columns, strict=True)}
    return Chunk(np.array(numbers, dtype=np.int32), cells, tuple(malformed))
