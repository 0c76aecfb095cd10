"""The rows of a block in the parts that they came in, each sorted by engine: what is asked for is put together for one engine.

In: batches of rows. Out: `Part` and `PartedRows`. Refuses nothing.

A log of ten million rows is judged engine by engine. Were its columns put together first, all its memory would be touched twice, which
takes longer than to judge it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import Enum
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.readings.spill_file import SpillFile

Column = NDArray[Any]
Indexes = NDArray[np.int32]
_ASKED_AT_A_TIME = 64
"""After so many looks at some engines' rows the system may drop them from memory again."""


class RowColumn(Enum):
    """The columns of a part that are no figures; a site may call a quantity of its own whatever it likes."""

    TIME = "time"
    FILE = "file"
    LINE = "line"


TIME, FILE, LINE = RowColumn
Name = str | RowColumn
"""A quantity, or one of these columns."""


class Part(NamedTuple):
    """One batch, sorted by engine; the rows of one engine stand in order of time.

    Attributes:
        columns: what differs from row to row.
        same: what is the same in all rows, such as the file, or a quantity that the batch does not have.
        engine: the engines that have rows, rising.
        start: the first row of each of them.
        stop: the row after its last one.
    """

    columns: Mapping[Name, Column]
    same: Mapping[Name, Any]
    engine: Indexes
    start: Indexes
    stop: Indexes

    @classmethod
    def of(cls, columns: Mapping[Name, Column], same: Mapping[Name, Any], engine: Indexes) -> Part:
        """Return the part of these columns.

        Args:
            columns: columns, sorted by engine.
            same: what is the same in all rows.
            engine: the engine of each row, sorted; at least one row.
        """
        start = np.flatnonzero(np.append(True, engine[1:] != engine[:-1]))
        stop = np.append(start[1:], len(engine))
        return cls(columns, same, *(numbers.astype(np.int32) for numbers in (engine[start], start, stop)))

    def between(self, low: int, high: int) -> Part | None:
        """Return the rows of the engines from one index on up to another, or None where there are none."""
        first, last = np.searchsorted(self.engine, (low, high)).tolist()
        if first == last:
            return None
        begin, end = int(self.start[first]), int(self.stop[last - 1])
        columns = {name: column[begin:end] for name, column in self.columns.items()}
        places = (numbers[first:last] - begin for numbers in (self.start, self.stop))
        return Part(columns, self.same, self.engine[first:last], *places)

    def without(self, engines: Indexes) -> Part:
        """Return the part, with no rows of some engines."""
        kept = ~np.isin(self.engine, engines)
        return self._replace(engine=self.engine[kept], start=self.start[kept], stop=self.stop[kept])


class Stretch(NamedTuple):
    """The rows of one engine in one part."""

    part: Part
    start: int
    stop: int

    def cells(self, name: Name) -> Column:
        """Return what these rows hold in a column."""
        column = self.part.columns.get(name)
        return np.full(self.stop - self.start, self.part.same[name]) if column is None else column[self.start : self.stop]

    def cell(self, name: Name, row: int) -> Any:  # noqa: ANN401 - of whatever type the column is
        """Return what one of these rows holds in a column."""
        column = self.part.columns.get(name)
        return self.part.same[name] if column is None else column[self.start + row]


class PartedRows:
    """Rows of all parts, found by engine.

    Args:
        parts: in the order in which an engine's rows are put together.
        spill_file: where their columns are kept, if they may not all be in memory.
        span_us: the first and the last instant of any row, where that is known already.
    """

    def __init__(self, parts: Sequence[Part], spill_file: SpillFile | None = None, span_us: tuple[int, int] | None = None) -> None:
        self.parts = tuple(part for part in parts if len(part.engine))
        self._spill_file = spill_file
        self._span_us = span_us
        self._asked = 0

    def __getstate__(self) -> dict[str, Any]:
        """Return what travels to another process: the rows, wherever they are kept."""
        return {**self.__dict__, "_spill_file": None}

    @cached_property
    def counts(self) -> NDArray[np.int64]:
        """How many rows each engine has, as far as the last one that has any."""
        counts = np.zeros(max((int(part.engine[-1]) + 1 for part in self.parts), default=0), dtype=np.int64)
        for part in self.parts:
            counts[part.engine] += part.stop - part.start
        return counts

    @cached_property
    def span_us(self) -> tuple[int, int]:
        """The first and the last instant of any row, of which there must be one."""
        return self._span_us or (
            min(int(part.columns[TIME][part.start].min()) for part in self.parts),
            max(int(part.columns[TIME][part.stop - 1].max()) for part in self.parts),
        )

    @cached_property
    def _by_engine(self) -> tuple[NDArray[np.int64], Indexes, Indexes, Indexes]:
        """Where each engine's stretches begin among all of them, and of each stretch part, start and stop."""
        engine = np.concatenate([part.engine for part in self.parts])
        part = np.repeat(np.arange(len(self.parts), dtype=np.int32), [len(part.engine) for part in self.parts])
        order = np.argsort(engine, kind="stable")
        first = np.searchsorted(engine, np.arange(len(self.counts) + 1), sorter=order)
        start, stop = (np.concatenate(numbers) for numbers in zip(*((each.start, each.stop) for each in self.parts), strict=True))
        return first, part[order], start[order], stop[order]

    def only(self, engines: Sequence[int]) -> PartedRows:
        """Return the rows of some engines, given by their indexes, rising, in one part: what little is sent is sent in one go."""
        of_engines = {engine: self.of_engine(engine) for engine in engines}
        stretches = [stretch for of_engine in of_engines.values() for stretch in of_engine]
        if not stretches:
            return PartedRows([])
        names = dict.fromkeys((*stretches[0].part.columns, *stretches[0].part.same))
        counts = [sum(stretch.stop - stretch.start for stretch in of_engine) for of_engine in of_engines.values()]
        columns = {name: np.concatenate([stretch.cells(name) for stretch in stretches]) for name in names}
        return PartedRows([Part.of(columns, {}, np.repeat(np.array(engines, dtype=np.int32), counts))])

    def _note_asked(self) -> None:
        """Note that rows are looked at: of those that were looked at before, the system may drop what lies in a file."""
        self._asked += 1
        if self._spill_file is not None and self._asked % _ASKED_AT_A_TIME == 0:
            self._spill_file.let_go()

    def of_engine(self, engine: int) -> list[Stretch]:
        """Return the rows of an engine, given by its index."""
        if engine >= len(self.counts):
            return []
        self._note_asked()
        first, part, start, stop = self._by_engine
        own = slice(int(first[engine]), int(first[engine + 1]))
        numbers = zip(part[own].tolist(), start[own].tolist(), stop[own].tolist(), strict=True)
        return [Stretch(self.parts[which], low, high) for which, low, high in numbers]


def put_together(name: Name, stretches: Sequence[Stretch]) -> Column:
    """Return a column over some stretches, of which there must be one; it may be part of another array, and is not to be written to."""
    return stretches[0].cells(name) if len(stretches) == 1 else np.concatenate([stretch.cells(name) for stretch in stretches])
