"""Text files of rows to chunks of columns, by the fastest way that is right for each stretch of the file.

In: a text file and what the site states of it. Out: `CsvLog`, chunks of wanted columns with the true line of every row.
Refuses bytes that are no text in the stated encoding.

Three ways, each several times slower than the one before: columns of the types that they should have; columns of text, where
a cell is off or a row has too many or too few fields; and line by line, where rows and lines do not agree. A stretch of some
16 MB that needs a slower way does not slow down the others.
"""

from __future__ import annotations

from collections.abc import Collection, Generator, Iterator, Mapping

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from intervals.addresses import FilePlace
from intervals.arrays import Flags
from intervals.readings.arrow_arrays import row_column
from intervals.readings.column_values import is_blank
from intervals.readings.files.csv_columns import ColumnReader, Data
from intervals.readings.files.csv_head import CsvOptions, HeaderScore, read_shape
from intervals.readings.files.csv_lines import chunks_of_lines
from intervals.readings.files.csv_quotes import is_well_quoted
from intervals.readings.files.encodings import WholeLines, as_utf8, open_text, whole_lines_of
from intervals.readings.files.log_file import Chunk, Wanted
from intervals.readings.parse_numbers import Marks, sniff_marks
from intervals.readings.rows import Indexes


class CsvLog:
    """A text file of rows.

    Attributes:
        name: path below the site folder.
        header: names of the columns.
        header_line: line of the header, None for a file without any.
        shape: how the file is laid out.
    """

    def __init__(self, path: FilePlace, name: str, options: CsvOptions, score: HeaderScore) -> None:
        self.name = name
        self._path = path
        self._options = options
        self.shape = read_shape(path, options, score)
        self.header = self.shape.header
        self.header_line: int | None = self.shape.header_line or None

    def marks(self, figures: Collection[int]) -> Marks | None:
        """Return which mark stands before the decimals in these columns, or None if the first rows leave it open."""
        if self._options.decimal:
            return Marks("," if self._options.decimal == "," else ".", is_known=True, is_stated=True)
        return sniff_marks(cell for place in figures for cell in self.shape.column(place))

    def chunks(self, wanted: Wanted) -> Iterator[Chunk]:
        """Yield the rows of the file, a chunk at a time."""
        reader = ColumnReader(self.shape, wanted)
        stream, encoding = open_text(self._path, self._options.encoding)
        with stream:
            for _ in range(self.shape.header_line):
                stream.readline()
            line = self.shape.header_line + 1
            for lines in whole_lines_of(stream):
                line += yield from _chunks_of_lines(reader, lines, encoding, line)


def _chunks_of_lines(reader: ColumnReader, lines: WholeLines, encoding: str | None, first_line: int) -> Generator[Chunk, None, int]:
    """Yield the rows of one stretch of a file, and return the number of its lines."""
    comment = reader.shape.comment
    has_quotes = lines.quotes > 0
    if not (comment and lines.has(comment.encode())) and _has_one_reading(lines, encoding, reader.shape.separator):
        cells, data = _typed(reader, lines, encoding, has_quotes=has_quotes)
        # without quotes and carriage returns there is nothing to make rows and lines differ, and counting takes time
        count = lines.line_count() if cells is None or has_quotes or lines.has(b"\r") else None
        if cells is not None:
            rows = len(next(iter(cells.values())))
            if count in {None, rows}:
                line = np.arange(first_line, first_line + rows, dtype=np.int32)
                yield _without_blank_lines(Chunk(line, dict(cells)), data, first_line)
                return rows
        count = count or lines.line_count()
        texts = reader.texts(data, first_line, count, has_quotes=has_quotes)
        if texts is not None:
            yield _without_blank_lines(Chunk(texts.line, dict(texts.cells), texts.malformed), data, first_line)
            return count
    yield from chunks_of_lines(as_utf8(lines.view, encoding), first_line, reader.shape, reader.wanted.places)
    return lines.line_count()


def _has_one_reading(lines: WholeLines, encoding: str | None, separator: str) -> bool:
    """Say whether the quotes of some lines can be read in one way only."""
    if lines.quotes == 0:
        return True
    # to some readers a carriage return within a line ends a row: beside a quoted line end the count of rows would be right again
    if lines.buffer.count(b"\r", 0, lines.end) != lines.buffer.count(b"\r\n", 0, lines.end):
        return False
    # where no encoding is stated, quotes and separators are the same bytes as in UTF-8
    return is_well_quoted(lines.view if encoding is None else as_utf8(lines.view, encoding), separator)


def _typed(
    reader: ColumnReader, lines: WholeLines, encoding: str | None, *, has_quotes: bool
) -> tuple[Mapping[int, pa.ChunkedArray] | None, Data]:
    """Return the columns in their types or None, and the bytes as UTF-8, as far as is known."""
    if encoding is None:
        cells = reader.typed(lines.view, has_quotes=has_quotes)
        if cells is not None:
            return cells, lines.view
    data = as_utf8(lines.view, encoding)
    # the first try may have failed only because the bytes were not UTF-8
    is_other = encoding is not None or len(data) != lines.end
    return (reader.typed(data, has_quotes=has_quotes) if is_other else None), data


def _without_blank_lines(chunk: Chunk, data: Data, first_line: int) -> Chunk:
    """Return the chunk without the rows of lines that hold nothing but separators."""
    blank: Flags = np.ones(len(chunk), dtype=np.bool_)
    for cells in chunk.cells.values():
        blank &= is_blank(cells)
        if not blank.any():
            return chunk
    rows = np.flatnonzero(blank)
    ends = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n"))
    kept = np.ones(len(chunk), dtype=np.bool_)
    for row in rows:
        kept[row] = _has_content(data, ends, int(chunk.line[row]) - first_line)
    order = row_column(np.flatnonzero(kept))
    cells_kept = {place: cells.take(order) for place, cells in chunk.cells.items() if isinstance(cells, pa.ChunkedArray)}
    line: Indexes = chunk.line[kept]
    return Chunk(line, dict(cells_kept), chunk.malformed)


def _has_content(data: Data, ends: NDArray[np.intp], index: int) -> bool:
    """Say whether a line holds a letter or a digit beyond separators, quotes and blanks."""
    start = int(ends[index - 1]) + 1 if index else 0
    end = int(ends[index]) if index < len(ends) else len(data)
    return bool(bytes(data[start:end]).strip(b' \t\r\n",;|'))
