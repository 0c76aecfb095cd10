"""The top of a text file: where its header is, how its fields are parted, and what its first rows look like.

In: a text file and what the site states of it. Out: `CsvShape`. Refuses bytes that are no text in the stated encoding.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from intervals.addresses import FilePlace
from intervals.language.scalars import shown_value
from intervals.readings.files.encodings import as_utf8, open_text

HeaderScore = Callable[[Sequence[str]], float]
"""Says of a row how much of what the site names is in it: 0 for nothing, 1 for all of it."""

HEADER_WITHIN_LINES = 30
SEPARATORS = (",", ";", "\t", "|")
_HEAD_BYTES = 256 * 1024
_SAMPLE_ROWS = 100
_MOST_LINES = 2000
_COMPLETE = 1.0
_SHOWN_OF_BINARY = 24
# what no text holds, whatever wrote it: control characters but for tabs, line ends, form feeds and the old mark of a file's end
_NOT_OF_TEXT = re.compile(r"[\x00-\x08\x0e-\x19\x1b-\x1f\x7f]")


class NotTextError(Exception):
    """A file of another kind under the name of a text file; the message shows how it begins."""


class CsvOptions(NamedTuple):
    """What a site file states of its text files; None stands for what is to be found out."""

    separator: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    skip_rows: int | None = None
    comment: str | None = None


class CsvShape(NamedTuple):
    """How a text file is laid out.

    Attributes:
        encoding: encoding of the bytes for `as_utf8`.
        separator: what parts the fields.
        comment: what a line begins with that is no row, or None.
        header: names of the columns; blank names at the end are left out.
        header_line: last line of the header from 1, 0 for a file without any.
        width: number of fields that most rows have: the columns, and nothing in what follows them.
        samples: fields of the first rows.
    """

    encoding: str | None
    separator: str
    comment: str | None
    header: tuple[str, ...]
    header_line: int
    width: int
    samples: tuple[tuple[str, ...], ...]

    def column(self, place: int) -> list[str]:
        """Return the cells of a column in the first rows."""
        return [row[place].strip() for row in self.samples if place < len(row)]


def read_shape(path: FilePlace, options: CsvOptions, score: HeaderScore) -> CsvShape:
    """Return how a text file is laid out.

    The header is the first of the first 30 lines that holds all the columns that the site names, else the one that holds most
    of them, and where none holds any the one that looks most like a header; where the site states `skip_rows`, it is the line
    after those.

    Args:
        path: the file.
        options: what the site states.
        score: says how much of what is sought is in a row.

    Returns:
        The layout.

    Raises:
        OSError: the file cannot be opened.
        UnicodeError: the bytes are no text in the stated encoding.
        UnknownEncodingError: there is no such encoding.
        NotTextError: nothing of what is sought is in it, and characters that no text holds are.
    """
    stream, encoding = open_text(path, options.encoding)
    with stream:
        head = stream.read(_HEAD_BYTES)
        if len(head) == _HEAD_BYTES:
            head += stream.readline()
    lines = as_utf8(head, encoding).decode("utf-8", errors="replace").split("\n", _MOST_LINES)
    separators = (options.separator,) if options.separator else SEPARATORS
    header, last_line, separator = _find_header(lines, options, separators, score)
    if score(header) == 0 and any(_NOT_OF_TEXT.search(line) for line in lines[:HEADER_WITHIN_LINES]):
        raise NotTextError(_beginning_of(path))
    while header and not header[-1].strip():
        header = header[:-1]
    samples = _sample_rows(lines[last_line:], separator, options.comment)
    return CsvShape(
        encoding=encoding,
        separator=separator,
        comment=options.comment,
        header=tuple(header),
        header_line=last_line,
        width=_width(len(header), samples),
        samples=samples,
    )


def _beginning_of(path: FilePlace) -> str:
    """Return the first bytes of a file, written out."""
    with path.open("rb") as file:
        return shown_value(file.read(_SHOWN_OF_BINARY).decode("latin-1").encode("unicode_escape").decode("ascii"))


def _find_header(lines: Sequence[str], options: CsvOptions, separators: Sequence[str], score: HeaderScore) -> tuple[list[str], int, str]:
    """Return the header's fields, its last line from 1, and the separator."""
    first = options.skip_rows or 0
    last = first + 1 if options.skip_rows is not None else HEADER_WITHIN_LINES
    candidates = [
        (number, line)
        for number, line in enumerate(lines[:last], start=1)
        if number > first and line.strip() and not (options.comment and line.startswith(options.comment))
    ]
    found = _best(((_fields(line, separator), number, separator) for number, line in candidates for separator in separators), score)
    if found is None or score(found[0]) < _COMPLETE:
        # a cell of the header itself may run over several lines
        records = _best((record for separator in separators for record in _records(lines[first:last], separator, first)), score)
        if records is not None and score(records[0]) > (0 if found is None else score(found[0])):
            return records
    if found is not None and score(found[0]) > 0:
        return found
    if not candidates:
        return [], 0, separators[0]
    return _likeliest(candidates, separators)


def _likeliest(lines: Sequence[tuple[int, str]], separators: Sequence[str]) -> tuple[list[str], int, str]:
    """Return the numbered line that looks most like a header by any of the separators: a file of which nothing is named is shown by it."""
    tables = [(separator, [_fields(line, separator) for _, line in lines]) for separator in separators]
    rows = [
        (likeness_of(fields, following), -number, fields, separator)
        for separator, table in tables
        for (number, _), fields, following in zip(lines, table, [*table[1:], []], strict=True)
    ]
    _, number, fields, separator = max(rows, key=lambda row: row[:2])
    return fields, -number, separator


def likeness_of(names: Sequence[str], following: Sequence[str]) -> tuple[int, int]:
    """Return how much a row looks like a header: the greater of two looks more like one, of equals the first does.

    A header is as wide as the row below it, and most of its cells are words: figures and lines above a table are not.

    Args:
        names: the row's cells.
        following: those of the row below it, none where it is the last.

    Returns:
        Of which kind the row is, and how many cells it has.

    Example:
        >>> likeness_of(["Time", "Hours"], ["2026-01-02", "8.5"]) > likeness_of(["2026-01-02", "8.5"], ["2026-01-03", "9.5"])
        True
    """
    filled = [place for place, name in enumerate(names, start=1) if name.strip()]
    width = filled[-1] if filled else 0
    if width <= 1 or len(following) < width:
        return 0, len(filled)
    words = sum(any(map(str.isalpha, name)) for name in names)
    return (2 if 2 * words > width else 1), width


def _best(rows: Iterable[tuple[list[str], int, str]], score: HeaderScore) -> tuple[list[str], int, str] | None:
    """Return the first row of the highest score; the first complete one ends the search."""
    best, highest = None, -1.0
    for row in rows:
        scored = score(row[0])
        if scored > highest:
            best, highest = row, scored
        if scored >= _COMPLETE:
            break
    return best


def _fields(line: str, separator: str) -> list[str]:
    """Return the fields of one line."""
    if '"' not in line:
        return line.rstrip("\r").split(separator)
    try:
        return next(csv.reader([line.rstrip("\r")], delimiter=separator), [])
    except csv.Error:
        return line.split(separator)


def _records(lines: Sequence[str], separator: str, skipped: int) -> Iterable[tuple[list[str], int, str]]:
    """Yield rows whose cells may run over several lines, each with its last line."""
    reader = csv.reader((line.rstrip("\r") + "\n" for line in lines), delimiter=separator)
    try:
        for fields in reader:
            yield [" ".join(field.split()) for field in fields], skipped + reader.line_num, separator
    except csv.Error:
        return


def _sample_rows(lines: Sequence[str], separator: str, comment: str | None) -> tuple[tuple[str, ...], ...]:
    """Return the fields of the first rows after the header."""
    rows = [line for line in lines[: 2 * _SAMPLE_ROWS] if line.strip() and not (comment and line.startswith(comment))]
    return tuple(tuple(_fields(line, separator)) for line in rows[:_SAMPLE_ROWS])


def _width(columns: int, samples: Sequence[Sequence[str]]) -> int:
    """Return the number of fields most of the first rows have, if what they have beyond the columns is blank."""
    widths = [len(row) for row in samples if len(row) >= columns and not any(field.strip() for field in row[columns:])]
    return max(set(widths), key=lambda width: (widths.count(width), -width)) if widths else columns
