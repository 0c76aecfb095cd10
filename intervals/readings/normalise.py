"""Chunks of files to accepted rows in canonical units; what is set aside or blanked becomes a fault.

In: a `Chunk` of columns as the file holds them, and the block's plan. Out: `RowBatch` values and faults. Refuses a column of a
type that can be no number or no time.

A row is set aside for the first of these reasons: its time cannot be read, the clock never or twice showed it, no engine of the
site is meant, it is later than the clock, it is outside the engine's time.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from intervals.arrays import Flags, Floats, Instants
from intervals.faults import Fault
from intervals.problems import ReadingsProblemError, asked_back
from intervals.readings.column_values import Cells, ColumnTypeError, is_blank, names_of, text_of_cell
from intervals.readings.engine_rows import EngineRows, RowsOfSeveral
from intervals.readings.figure_reader import FigureReader, cut_text
from intervals.readings.files.log_file import Chunk, NotAloneError
from intervals.readings.found_columns import Group, Layout
from intervals.readings.parse_numbers import Marks
from intervals.readings.plan import UNKNOWN, BlockPlan, Engines, Measure
from intervals.readings.refusals import refusal
from intervals.readings.rows import Indexes
from intervals.readings.times.day_order import DayOrders
from intervals.readings.times.repeated_hour import FileRows, settle_repeated
from intervals.readings.times.stamps import ORDER_UNKNOWN, OUTSIDE_TEXT, OUTSIDE_YEARS, READ, UNREADABLE
from intervals.readings.times.times_seen import TimesSeen
from intervals.readings.times.wall_clock import ODD_CLOCK, instants_of
from intervals.readings.within_service import within_service


class RowBatch(NamedTuple):
    """Accepted rows of one chunk of a file: one for each engine that a file row stands for.

    Attributes:
        file: index of the file in the site's list.
        line: line of each row.
        engine: index of the engine.
        at_us: the stamp, UTC microseconds.
        values: figures in canonical units by quantity; a quantity that the batch does not have is missing here.
    """

    file: int
    line: Indexes
    engine: Indexes
    at_us: Instants
    values: dict[str, Floats]


@dataclass
class ChunkReader:
    """Turns the chunks of one file into rows.

    Attributes:
        plan: the block's plan.
        layout: where the file has what the block names.
        file: index of the file in the site's list.
        name: path of the file below the site folder.
        orders: decides the order of day and month.
        marks: which mark stands before the decimals.
        fixed_engines: engines of all rows of a file that has no column for it, none where it is not declared.
        fixed_name: that engine as it is written.
        header: names of the file's columns.
        seen: says whether the file has times at all.
        is_part: the chunks are of a part of the file; what the rest may decide is then not read (`NotAloneError`).
        faults: what was set aside or blanked.
    """

    plan: BlockPlan
    layout: Layout
    file: int
    name: str
    orders: DayOrders
    marks: Marks
    fixed_engines: Engines
    fixed_name: str
    header: tuple[str, ...]
    seen: TimesSeen
    is_part: bool = False
    faults: list[Fault] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Make ready what reads figures; what it blanks is a fault of this file too."""
        self._figures = FigureReader(self.plan.site.engines, self.name, self.header, self.marks, self.faults)

    def read(self, chunk: Chunk) -> list[RowBatch]:
        """Return the accepted rows of a chunk; a wide chunk gives a batch for each engine."""
        for line, text in chunk.malformed:
            self._fault(None, "malformed_row", line, None, f"{text}; the row is set aside")
        if not len(chunk):
            return []
        at_us, is_kept = self._times(chunk)
        if not is_kept.any():
            return []
        if any(group.engine is not None for group in self.layout.groups):
            return self._wide(chunk, at_us, self._until_now(chunk.line, None, at_us, is_kept))
        engine, is_kept, of_several = self._engines(chunk, at_us, is_kept)
        # the engine of a row of several is not distinguished here: the row is set aside once
        is_kept = self._until_now(chunk.line, engine if of_several is None else None, at_us, is_kept)
        rows = EngineRows(chunk.line, engine, at_us, is_kept) if of_several is None else of_several.spread(chunk.line, at_us, is_kept)
        return [self._batch(chunk, self._within_service(rows), self.layout.groups[0])]

    # times

    def _times(self, chunk: Chunk) -> tuple[Instants, Flags]:
        """Return the instant of each row, and which rows have one."""
        columns = [chunk.cells[place] for place in self.layout.stamps]
        try:
            stamps = self.orders.read(self.name, columns)
        except ColumnTypeError as error:
            raise self._type_refusal(self.layout.stamps[0], error) from None
        is_kept = stamps.state == READ
        problem = self.seen.add(stamps.state, lambda row: self._written_time(chunk, row))
        if problem is not None:
            raise ReadingsProblemError([problem])
        if not is_kept.all():
            self._set_aside(chunk, stamps.state == UNREADABLE, "unreadable_time", "cannot be read as a time")
            self._set_aside(chunk, stamps.state == OUTSIDE_YEARS, "unreadable_time", OUTSIDE_TEXT)
        if (stamps.state == ORDER_UNKNOWN).any():
            self._set_aside(chunk, stamps.state == ORDER_UNKNOWN, "unreadable_time", self.orders.why_unclear())
        if stamps.is_utc.all():
            at_us = stamps.us
        else:
            local_us = stamps.us if is_kept.all() else np.where(is_kept, stamps.us, stamps.us[is_kept][0] if is_kept.any() else 0)
            at_us, never, twice = instants_of(local_us, self.plan.zone)
            if twice is not None:
                rows = FileRows.of(chunk, self.layout, self.marks, local_us, is_kept & ~stamps.is_utc)
                at_us, twice = self._settle(rows, twice, at_us)
            if stamps.is_utc.any():
                at_us = np.where(stamps.is_utc, stamps.us, at_us)
            for shown, (kind, text) in zip((never, twice), ODD_CLOCK, strict=True):
                if shown is not None:
                    odd = shown & is_kept & ~stamps.is_utc
                    self._set_aside(chunk, odd, kind, text)
                    is_kept = is_kept & ~odd
        return at_us, is_kept

    def _settle(self, rows: FileRows, twice: Flags, at_us: Instants) -> tuple[Instants, Flags]:
        """Return the instants of rows, and which of those that the clock showed twice have none yet."""
        if self.is_part:
            raise NotAloneError
        at_us, settled = settle_repeated(rows, twice & rows.is_read, at_us, self.plan.zone)
        return at_us, twice & ~settled

    def _set_aside(self, chunk: Chunk, rows: Flags, kind: str, text: str) -> None:
        """Add a fault for each of these rows, with the time as it is written."""
        for row in np.flatnonzero(rows):
            written = self._written_time(chunk, int(row))
            said = f'"{written}" {text}' if written.strip() else "the time is blank"
            self._fault(self._known_engine(), kind, int(chunk.line[row]), None, f"{said}; the row is set aside")

    def _written_time(self, chunk: Chunk, row: int) -> str:
        """Return a row's time as it is written."""
        return " ".join(cut_text(text_of_cell(chunk.cells[place], row)) for place in self.layout.stamps)

    def _known_engine(self) -> str | None:
        """Return the engine of a file that has only one, or None."""
        is_one = self.layout.engine is None and len(self.fixed_engines) == 1
        return self.plan.site.engines[self.fixed_engines[0]].id if is_one else None

    # engines

    def _engines(self, chunk: Chunk, at_us: Instants, is_kept: Flags) -> tuple[Indexes, Flags, RowsOfSeveral | None]:
        """Return the first engine of each row, which rows are kept, and all engines where some row is of several."""
        if self.layout.engine is None:
            names, row_names = [self.fixed_name], np.zeros(len(chunk), dtype=np.int32)
            meant = [self.fixed_engines]
        else:
            try:
                names, row_names = names_of(chunk.cells[self.layout.engine])
            except ColumnTypeError as error:
                raise self._type_refusal(self.layout.engine, error) from None
            meant = [self.plan.names.indexes(name) for name in names]
        found = np.array([engines[0] if engines else UNKNOWN for engines in meant], dtype=np.int32)
        # the engines mostly stand in the site's own order
        engine = row_names if np.array_equal(found, np.arange(len(found))) else found[row_names]
        if (found == UNKNOWN).any():
            for row in np.flatnonzero((engine == UNKNOWN) & is_kept):
                self._unknown_engine(names[row_names[row]], int(chunk.line[row]), int(at_us[row]))
            is_kept = is_kept & (engine != UNKNOWN)
        of_several = RowsOfSeveral(meant, row_names) if any(len(engines) > 1 for engines in meant) else None
        return engine, is_kept, of_several

    def _unknown_engine(self, name: str, line: int, at_us: int) -> None:
        """Add the fault of a row whose engine is declared nowhere, or that names none."""
        if not name.strip():
            self._fault(None, "unknown_engine", line, at_us, "the engine is blank; the row is set aside")
            return
        near = self.plan.names.nearest(name)
        fix = f"{asked_back(near)} then state it under engine_names in site.yaml" if near else ""
        text = f'no engine "{cut_text(name)}" is declared; the row is set aside{fix}'
        self.faults.append(Fault(None, "unknown_engine", self.name, line, at_us, text, self.plan.names.spelled(name)))

    def _until_now(self, line: Indexes, engine: Indexes | None, at_us: Instants, is_kept: Flags) -> Flags:
        """Return which rows are kept; those later than the clock are set aside."""
        later = is_kept & (at_us > self.plan.now_us)
        if not later.any():
            return is_kept
        for row in np.flatnonzero(later):
            of_row = None if engine is None else self.plan.site.engines[engine[row]].id
            self._fault(of_row, "row_in_future", int(line[row]), int(at_us[row]), "the row is later than the clock; it is set aside")
        return is_kept & ~later

    def _within_service(self, rows: EngineRows) -> EngineRows:
        """Return the rows without those outside the time of their engine."""
        is_kept, faults = within_service(self.plan, self.name, rows)
        self.faults += faults
        return rows._replace(is_kept=is_kept)

    def _fault(self, engine: str | None, kind: str, line: int, at_us: int | None, text: str) -> None:
        """Add a fault of this file."""
        self.faults.append(Fault(engine, kind, self.name, line, at_us, text))

    # figures

    def _wide(self, chunk: Chunk, at_us: Instants, is_kept: Flags) -> list[RowBatch]:
        """Return a batch for each engine of a wide chunk; an engine has a row where one of its own cells is filled."""
        batches = []
        is_filled = np.zeros(len(chunk), dtype=np.bool_)
        for group in self.layout.groups:
            filled = np.zeros(len(chunk), dtype=np.bool_)
            for place in group.own:
                filled |= ~is_blank(chunk.cells[place])
            is_filled |= filled
            engine = np.full(len(chunk), self.plan.names.index(group.engine or ""), dtype=np.int32)
            rows = self._within_service(EngineRows(chunk.line, engine, at_us, is_kept & filled))
            if rows.is_kept.any():
                batches.append(self._batch(chunk, rows, group))
        for row in np.flatnonzero(is_kept & ~is_filled):
            self._fault(
                None, "blank_row", int(chunk.line[row]), int(at_us[row]), "the row holds no reading for any engine; it is set aside"
            )
        return batches

    def _batch(self, chunk: Chunk, rows: EngineRows, group: Group) -> RowBatch:
        """Return the kept rows with their figures."""
        values = {name: self._values(self.plan.measures[name], chunk.cells[place], place, rows) for name, place in group.figures.items()}
        if rows.is_kept.all():
            return RowBatch(self.file, rows.line, rows.engine, rows.at_us, values)
        kept = rows.is_kept
        return RowBatch(
            self.file, rows.line[kept], rows.engine[kept], rows.at_us[kept], {name: column[kept] for name, column in values.items()}
        )

    def _values(self, measure: Measure, cells: Cells, place: int, rows: EngineRows) -> Floats:
        """Return a column's figures in canonical units, without what cannot be read or cannot be."""
        try:
            return self._figures.values_of(measure, cells, place, rows)
        except ColumnTypeError as error:
            raise self._type_refusal(place, error) from None

    def _type_refusal(self, place: int, error: ColumnTypeError) -> Exception:
        """Return the refusal of a column of the wrong type."""
        return refusal(self.name, "REA015", f'the column "{self.header[place]}" {error}')
