"""What every kind of log file offers to the reader: its column names, and its rows in chunks.

In: nothing. Out: `LogFile`, `Chunk`, `Wanted`, the seam between the kinds of file and what is read from them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from intervals.readings.column_values import Cells
from intervals.readings.parse_numbers import Marks
from intervals.readings.rows import Indexes

POINT = Marks()


class Wanted(NamedTuple):
    """The columns that are wanted, by their place in the header.

    Attributes:
        stamps: columns of times; two are a date's and a time's.
        names: columns of engine names and other words.
        figures: columns of numbers.
        is_iso: no time format is stated, so that times written as ISO 8601 may be read as such.
        marks: which mark stands before the decimals of figures that are text.
    """

    stamps: tuple[int, ...] = ()
    names: tuple[int, ...] = ()
    figures: tuple[int, ...] = ()
    is_iso: bool = True
    marks: Marks = POINT

    @property
    def places(self) -> tuple[int, ...]:
        """All columns, each once, in order."""
        return tuple(sorted({*self.stamps, *self.names, *self.figures}))


@dataclass(frozen=True)
class Chunk:
    """Some rows of a file, in order.

    Attributes:
        line: line of a text file, row of a sheet, row of a Parquet file from 1; increasing.
        cells: the wanted columns, by their place in the header.
        malformed: line and description of each row whose fields do not fit the header; they are in no column.
    """

    line: Indexes
    cells: dict[int, Cells]
    malformed: tuple[tuple[int, str], ...] = ()

    def __len__(self) -> int:
        """Return the number of rows that fit the header."""
        return len(self.line)


class NotAloneError(Exception):
    """What was read cannot be understood without the rest of the file, or without the other files of its block."""


class SheetMissingError(Exception):
    """A workbook has no sheet of the stated name."""


class SheetFileError(Exception):
    """A file is no workbook, or one that cannot be opened."""


class LogFile(Protocol):
    """A file of rows under named columns."""

    name: str
    header: tuple[str, ...]
    header_line: int | None

    def marks(self, figures: Collection[int]) -> Marks | None:
        """Return which mark stands before the decimals in these columns, or None if the file leaves it open."""

    def chunks(self, wanted: Wanted) -> Iterator[Chunk]:
        """Yield the rows of the file, a chunk at a time."""


def is_empty(header: tuple[str, ...]) -> bool:
    """Say whether a file has no header, and so nothing in it."""
    return not any(name.strip() for name in header)
