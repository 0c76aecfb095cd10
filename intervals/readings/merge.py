"""Batches of rows to one block: in order of engine and time, each engine and time once.

In: `RowBatch` values in order of file and line. Out: `BlockRows` and faults. Refuses nothing: of several rows of one engine and
time the first counts, and each of the others is a fault.

A batch is sorted by engine as it comes, while it is in the processor's cache. A log is mostly in order of time, so that only those
engines of which the rows are not, or repeat one another, have them put together and sorted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Flags, Instants
from intervals.faults import Fault
from intervals.readings.block_parts import FILE, LINE, TIME, Column, Name, Part, PartedRows, put_together
from intervals.readings.normalise import RowBatch
from intervals.readings.rows import BlockRows
from intervals.readings.spill_file import SpillFile
from intervals.site.model import Site
from intervals.site.sources import ReadingSource

_COUNTED_KINDS: tuple[type[np.integer], ...] = (np.uint8, np.int16)
"""numpy sorts numbers as small as these by counting."""
_MOST_ROWS_A_PART = 1 << 20
"""Rows that are put in order are kept in parts of about so many."""


class PartTimes(NamedTuple):
    """What is known of the times of a part.

    Attributes:
        first_us: of each of its engines, the time of its first row.
        last_us: likewise of its last row.
        is_odd: whether a row of it is not later than the one before.
        lowest_us: the earliest time of any row.
        highest_us: the latest one.
    """

    first_us: Instants
    last_us: Instants
    is_odd: Flags
    lowest_us: int
    highest_us: int

    @classmethod
    def of(cls, part: Part) -> PartTimes:
        """Return what is known of the times of a part that has rows."""
        at_us = part.columns[TIME]
        rows = np.flatnonzero(at_us[1:] <= at_us[:-1]) + 1
        of_rows = np.searchsorted(part.stop, rows, side="right")
        is_odd = np.zeros(len(part.engine), dtype=np.bool_)
        is_odd[of_rows[rows != part.start[of_rows]]] = True
        return cls(at_us[part.start], at_us[part.stop - 1], is_odd, int(at_us.min()), int(at_us.max()))


class RowCollector:
    """Collects the accepted rows of one block.

    Args:
        site: the site.
        source: the block.
        files: path of each file below the site folder.
        spill_file: where the rows are kept.
    """

    def __init__(self, site: Site, source: ReadingSource, files: tuple[str, ...], spill_file: SpillFile) -> None:
        self._site = site
        self._source = source
        self._files = files
        self._quantities = tuple(source.quantities)
        self._parts: list[Part] = []
        self._spill_file = spill_file
        self._last_us = np.full(len(site.engines), np.iinfo(np.int64).min)
        self._is_odd = np.zeros(len(site.engines), dtype=np.bool_)
        self._lowest_us, self._highest_us = np.iinfo(np.int64).max, np.iinfo(np.int64).min

    def add(self, batch: RowBatch) -> tuple[Part, PartTimes] | None:
        """Add a batch; the batches of one engine come in order of file and line.

        Returns:
            The part that its rows make, and what is known of its times; None where it has no rows.
        """
        if not len(batch.line):
            return None
        own: dict[Name, Column] = {TIME: batch.at_us, LINE: batch.line}
        columns = own | {name: values for name, values in batch.values.items()}
        engine: NDArray[np.signedinteger] = batch.engine
        if bool(np.any(engine[1:] < engine[:-1])):
            engine = engine.astype(_kind_of(int(engine.max())))
            order = np.argsort(engine, kind="stable")
            engine = engine.take(order)
            columns = {name: column.take(order) for name, column in columns.items()}
        part = Part.of(columns, self.same_in(batch.file), engine)
        times = PartTimes.of(part)
        self.add_part(part._replace(columns=self._spill_file.keep(columns)), times)
        return part, times

    def add_part(self, part: Part, times: PartTimes | None = None) -> None:
        """Add rows that are sorted by engine and lie where they are to stay; the parts of one engine come in order of file and line.

        Args:
            part: the rows.
            times: what is known of their times; None: they are looked at.
        """
        self._note(part, PartTimes.of(part) if times is None else times)
        self._parts.append(part)

    def take_parts(self) -> list[Part]:
        """Return the rows as they came; the collector is empty afterwards."""
        parts, self._parts = self._parts, []
        return parts

    def same_in(self, file: int) -> dict[Name, Any]:
        """Return what is the same in all rows of a file, by its number, unless they have a column for it."""
        return {FILE: np.int32(file), **dict.fromkeys(self._quantities, np.nan)}

    def _note(self, part: Part, times: PartTimes) -> None:
        """Mark the engines of which a row is not later than the one before it, in this part or from the last one to it."""
        self._is_odd[part.engine[times.is_odd]] = True
        self._is_odd[part.engine[times.first_us <= self._last_us[part.engine]]] = True
        self._last_us[part.engine] = times.last_us
        self._lowest_us, self._highest_us = min(self._lowest_us, times.lowest_us), max(self._highest_us, times.highest_us)

    @property
    def has_odd(self) -> bool:
        """Whether the rows of some engine must be put in order, and so be looked at."""
        return bool(self._is_odd.any())

    def finish(self) -> tuple[BlockRows, list[Fault]]:
        """Return the rows of the block, and a fault for each row that repeats the engine and time of an earlier one.

        The collector is empty afterwards.
        """
        span_us = (self._lowest_us, self._highest_us)
        rows, self._parts = PartedRows(self._parts, self._spill_file, span_us), []
        faults: list[Fault] = []
        odd = np.flatnonzero(self._is_odd).astype(np.int32)
        if len(odd):
            # put in order some at a time
            cuts = np.flatnonzero(np.diff(np.cumsum(rows.counts[odd]) // _MOST_ROWS_A_PART)) + 1
            mended = [self._mended(rows, some.tolist(), faults) for some in np.split(odd, cuts)]
            rows = PartedRows([*(part.without(odd) for part in rows.parts), *mended], self._spill_file, span_us)
        return BlockRows(self._source, rows, self._quantities, self._files), faults

    def _mended(self, rows: PartedRows, engines: Sequence[int], faults: list[Fault]) -> Part:
        """Return the rows of some engines in order of time, each time once; add a fault for each that repeats an earlier one."""
        names: tuple[Name, ...] = (TIME, FILE, LINE, *self._quantities)
        of_engines: list[dict[Name, Column]] = []
        for engine in engines:
            stretches = rows.of_engine(engine)
            columns = {name: put_together(name, stretches) for name in names}
            order = np.argsort(columns[TIME], kind="stable")
            columns = {name: column[order] for name, column in columns.items()}
            at_us = columns[TIME]
            is_first = np.ones(len(at_us), dtype=np.bool_)
            is_first[1:] = at_us[1:] != at_us[:-1]
            if not is_first.all():
                faults += self._repeats(engine, columns, is_first)
                columns = {name: column[is_first] for name, column in columns.items()}
            of_engines.append(columns)
        counts = [len(columns[TIME]) for columns in of_engines]
        together = {name: np.concatenate([columns[name] for columns in of_engines]) for name in names}
        return Part.of(self._spill_file.keep(together), {}, np.repeat(np.array(engines, dtype=np.int32), counts))

    def _repeats(self, engine: int, columns: Mapping[Name, Column], is_first: Flags) -> list[Fault]:
        """Return a fault for each row of an engine that repeats the time of an earlier one."""
        repeats = np.flatnonzero(~is_first)
        first = np.maximum.accumulate(np.where(is_first, np.arange(len(is_first)), 0))[repeats]
        is_same = np.ones(len(repeats), dtype=np.bool_)
        for name in self._quantities:
            row, kept = columns[name][repeats], columns[name][first]
            is_same &= (row == kept) | (np.isnan(row) & np.isnan(kept))
        places = zip(repeats.tolist(), first.tolist(), is_same.tolist(), strict=True)
        return [self._repeat_fault(engine, columns, row, kept, is_same=same) for row, kept, same in places]

    def _repeat_fault(self, engine: int, columns: Mapping[Name, Column], row: int, kept: int, *, is_same: bool) -> Fault:
        """Return the fault of a row that repeats an earlier one."""
        place = f"{self._files[columns[FILE][kept]]}:{columns[LINE][kept]}"
        if is_same:
            kind, text = "duplicate_row", f"the same engine, time and values as {place}; that row counts"
        else:
            cells = ((name, columns[name][row], columns[name][kept]) for name in self._quantities)
            differing = (
                f"{name} {_shown(value)}, there {_shown(other)}"
                for name, value, other in cells
                if value != other and not (np.isnan(value) and np.isnan(other))
            )
            text = f"the same engine and time as {place} with other values ({'; '.join(differing)}); that row counts"
            kind = "conflicting_row"
        file, line, at_us = (columns[name][row] for name in (FILE, LINE, TIME))
        return Fault(self._site.engines[engine].id, kind, self._files[file], int(line), int(at_us), text)


def _kind_of(highest: int) -> type[np.integer]:
    """Return the narrowest kind of numbers that holds engines up to an index."""
    return next((kind for kind in _COUNTED_KINDS if highest <= np.iinfo(kind).max), np.int32)


def _shown(value: float) -> str:
    """Return a figure as text."""
    return "blank" if np.isnan(value) else f"{value:.10g}"
