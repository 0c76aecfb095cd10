"""Text files of rows to pieces of columns, by the fastest way that is right for each stretch of the file.

In: a text file and what the site states of it. Out: `CsvLog`, pieces of wanted columns with the true line of every row.
Refuses bytes that are no text in the stated encoding.

Three ways, each several times slower than the one before: columns of the types that they should have; columns of text, where
a cell is off or a row has too many or too few fields; and line by line, where rows and lines do not agree. A stretch of some
16 MB that needs a slower way does not slow down the others.
"""

from __future__ import annotations

from collections.abc import Collection, Generator, Iterator, Mapping
from pathlib import Path

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from intervals.arrays import Flags
from intervals.readings.column_values import is_blank
from intervals.readings.files.arrow_arrays import row_column
from intervals.readings.files.csv_columns import ColumnReader, Data
from intervals.readings.files.csv_head import CsvOptions, HeaderScore, read_shape
from intervals.readings.files.csv_lines import pieces_of_lines
from intervals.readings.files.encodings import Chunk, as_utf8, chunks_of, open_text
from intervals.readings.files.log_file import Piece, Wanted
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

    def __init__(self, path: Path, name: str, options: CsvOptions, score: HeaderScore) -> None:
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

    def pieces(self, wanted: Wanted) -> Iterator[Piece]:
        """Yield the rows of the file, a piece at a time."""
        reader = ColumnReader(self.shape, wanted)
        stream, encoding = open_text(self._path, self._options.encoding)
        with stream:
            for _ in range(self.shape.header_line):
                stream.readline()
            line = self.shape.header_line + 1
            for chunk in chunks_of(stream):
                line += yield from _pieces_of_chunk(reader, chunk, encoding, line)


def _pieces_of_chunk(reader: ColumnReader, chunk: Chunk, encoding: str | None, first_line: int) -> Generator[Piece, None, int]:
    """Yield the rows of one stretch of a file, and return the number of its lines."""
    comment = reader.shape.comment
    has_quotes = chunk.quotes > 0
    if chunk.quotes % 2 == 0 and not (comment and chunk.has(comment.encode())):
        cells, data = _typed(reader, chunk, encoding, has_quotes=has_quotes)
        # without quotes and carriage returns there is nothing to make rows and lines differ, and counting takes time
        count = chunk.line_count() if cells is None or has_quotes or chunk.has(b"\r") else None
        if cells is not None:
            rows = len(next(iter(cells.values())))
            if count in {None, rows}:
                line = np.arange(first_line, first_line + rows, dtype=np.int32)
                yield _without_blank_lines(Piece(line, dict(cells)), data, first_line)
                return rows
        count = count or chunk.line_count()
        texts = reader.texts(data, first_line, count, has_quotes=has_quotes)
        if texts is not None:
            yield _without_blank_lines(Piece(texts.line, dict(texts.cells), texts.malformed), data, first_line)
            return count
    yield from pieces_of_lines(as_utf8(chunk.view, encoding), first_line, reader.shape, reader.wanted.places)
    return chunk.line_count()


def _typed(
    reader: ColumnReader, chunk: Chunk, encoding: str | None, *, has_quotes: bool
) -> tuple[Mapping[int, pa.ChunkedArray] | None, Data]:
    """Return the columns in their types or None, and the bytes as UTF-8, as far as is known."""
    if encoding is None:
        cells = reader.typed(chunk.view, has_quotes=has_quotes)
        if cells is not None:
            return cells, chunk.view
    data = as_utf8(chunk.view, encoding)
    # the first try may have failed only because the bytes were not UTF-8
    is_other = encoding is not None or len(data) != chunk.end
    return (reader.typed(data, has_quotes=has_quotes) if is_other else None), data


def _without_blank_lines(piece: Piece, data: Data, first_line: int) -> Piece:
    """Return the piece without the rows of lines that hold nothing but separators."""
    blank: Flags = np.ones(len(piece), dtype=np.bool_)
    for cells in piece.cells.values():
        blank &= is_blank(cells)
        if not blank.any():
            return piece
    rows = np.flatnonzero(blank)
    ends = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == ord("\n"))
    kept = np.ones(len(piece), dtype=np.bool_)
    for row in rows:
        kept[row] = _has_content(data, ends, int(piece.line[row]) - first_line)
    order = row_column(np.flatnonzero(kept))
    cells_kept = {place: cells.take(order) for place, cells in piece.cells.items() if isinstance(cells, pa.ChunkedArray)}
    line: Indexes = piece.line[kept]
    return Piece(line, dict(cells_kept), piece.malformed)


def _has_content(data: Data, ends: NDArray[np.intp], index: int) -> bool:
    """Say whether a line holds a letter or a digit beyond separators, quotes and blanks."""
    start = int(ends[index - 1]) + 1 if index else 0
    end = int(ends[index]) if index < len(ends) else len(data)
    return bool(bytes(data[start:end]).strip(b' \t\r\n",;|'))
