"""Pieces of files to accepted rows in canonical units; what is set aside or blanked becomes a fault.

In: a `Piece` of columns as the file holds them, and the block's plan. Out: `RowBatch` values and faults. Refuses a column of a
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
from intervals.readings.column_values import Cells, ColumnTypeError, figures_of, is_blank, names_of, text_of_cell
from intervals.readings.columns import Group, Layout
from intervals.readings.engine_rows import EngineRows, RowsOfSeveral
from intervals.readings.files.log_file import Piece
from intervals.readings.parse_numbers import Figures, Marks, with_signal_words
from intervals.readings.plan import UNKNOWN, BlockPlan, Engines, Measure
from intervals.readings.refusals import refusal
from intervals.readings.rows import Indexes
from intervals.readings.times.day_order import DayOrders
from intervals.readings.times.repeated_hour import FileRows, settle_repeated
from intervals.readings.times.stamps import ORDER_UNKNOWN, OUTSIDE_TEXT, OUTSIDE_YEARS, READ, UNREADABLE
from intervals.readings.times.times_seen import TimesSeen
from intervals.readings.times.wall_clock import ODD_CLOCK, instants_of
from intervals.readings.within_service import within_service

_MOST_LETTERS_SHOWN = 40


class RowBatch(NamedTuple):
    """Accepted rows of one piece of a file: one for each engine that a file row tells of.

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
class PieceReader:
    """Turns the pieces of one file into rows.

    Attributes:
        plan: the block's plan.
        layout: where the file has what the block names.
        file: index of the file in the site's list.
        name: path of the file below the site folder.
        orders: tells the order of day and month.
        marks: which mark stands before the decimals.
        fixed_engines: engines of all rows of a file that has no column for it, none where it is not declared.
        fixed_name: that engine as it is written.
        header: names of the file's columns.
        seen: says whether the file has times at all.
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
    faults: list[Fault] = field(default_factory=list)

    def read(self, piece: Piece) -> list[RowBatch]:
        """Return the accepted rows of a piece; a wide piece gives a batch for each engine."""
        for line, text in piece.malformed:
            self._fault(None, "malformed_row", line, None, f"{text}; the row is set aside")
        if not len(piece):
            return []
        at_us, is_kept = self._times(piece)
        if not is_kept.any():
            return []
        if any(group.engine is not None for group in self.layout.groups):
            return self._wide(piece, at_us, self._until_now(piece.line, None, at_us, is_kept))
        engine, is_kept, of_several = self._engines(piece, at_us, is_kept)
        # the engine of a row of several is not told apart here: the row is set aside once
        is_kept = self._until_now(piece.line, engine if of_several is None else None, at_us, is_kept)
        rows = EngineRows(piece.line, engine, at_us, is_kept) if of_several is None else of_several.spread(piece.line, at_us, is_kept)
        return [self._batch(piece, self._within_service(rows), self.layout.groups[0])]

    # times

    def _times(self, piece: Piece) -> tuple[Instants, Flags]:
        """Return the instant of each row, and which rows have one."""
        columns = [piece.cells[place] for place in self.layout.stamps]
        try:
            stamps = self.orders.read(self.name, columns)
        except ColumnTypeError as error:
            raise self._type_refusal(self.layout.stamps[0], error) from None
        is_kept = stamps.state == READ
        problem = self.seen.add(stamps.state, lambda row: self._written_time(piece, row))
        if problem is not None:
            raise ReadingsProblemError([problem])
        if not is_kept.all():
            self._set_aside(piece, stamps.state == UNREADABLE, "unreadable_time", "cannot be read as a time")
            self._set_aside(piece, stamps.state == OUTSIDE_YEARS, "unreadable_time", OUTSIDE_TEXT)
        if (stamps.state == ORDER_UNKNOWN).any():
            self._set_aside(piece, stamps.state == ORDER_UNKNOWN, "unreadable_time", self.orders.why_unclear())
        if stamps.is_utc.all():
            at_us = stamps.us
        else:
            local_us = stamps.us if is_kept.all() else np.where(is_kept, stamps.us, stamps.us[is_kept][0] if is_kept.any() else 0)
            at_us, never, twice = instants_of(local_us, self.plan.zone)
            if twice is not None:
                rows = FileRows.of(piece, self.layout, self.marks, local_us, is_kept & ~stamps.is_utc)
                at_us, settled = settle_repeated(rows, twice & rows.is_read, at_us, self.plan.zone)
                twice &= ~settled
            if stamps.is_utc.any():
                at_us = np.where(stamps.is_utc, stamps.us, at_us)
            for shown, (kind, text) in zip((never, twice), ODD_CLOCK, strict=True):
                if shown is not None:
                    odd = shown & is_kept & ~stamps.is_utc
                    self._set_aside(piece, odd, kind, text)
                    is_kept = is_kept & ~odd
        return at_us, is_kept

    def _set_aside(self, piece: Piece, rows: Flags, kind: str, text: str) -> None:
        """Add a fault for each of these rows, with the time as it is written."""
        for row in np.flatnonzero(rows):
            written = self._written_time(piece, int(row))
            said = f'"{written}" {text}' if written.strip() else "the time is blank"
            self._fault(self._known_engine(), kind, int(piece.line[row]), None, f"{said}; the row is set aside")

    def _written_time(self, piece: Piece, row: int) -> str:
        """Return a row's time as it is written."""
        return " ".join(_cut(text_of_cell(piece.cells[place], row)) for place in self.layout.stamps)

    def _known_engine(self) -> str | None:
        """Return the engine of a file that has only one, or None."""
        is_one = self.layout.engine is None and len(self.fixed_engines) == 1
        return self.plan.site.engines[self.fixed_engines[0]].id if is_one else None

    # engines

    def _engines(self, piece: Piece, at_us: Instants, is_kept: Flags) -> tuple[Indexes, Flags, RowsOfSeveral | None]:
        """Return the first engine of each row, which rows are kept, and all engines where some row is of several."""
        if self.layout.engine is None:
            names, row_names = [self.fixed_name], np.zeros(len(piece), dtype=np.int32)
            meant = [self.fixed_engines]
        else:
            names, row_names = names_of(piece.cells[self.layout.engine])
            meant = [self.plan.names.indexes(name) for name in names]
        found = np.array([engines[0] if engines else UNKNOWN for engines in meant], dtype=np.int32)
        # the engines mostly stand in the site's own order
        engine = row_names if np.array_equal(found, np.arange(len(found))) else found[row_names]
        if (found == UNKNOWN).any():
            for row in np.flatnonzero((engine == UNKNOWN) & is_kept):
                self._unknown_engine(names[row_names[row]], int(piece.line[row]), int(at_us[row]))
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
        text = f'no engine "{_cut(name)}" is declared; the row is set aside{fix}'
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

    def _wide(self, piece: Piece, at_us: Instants, is_kept: Flags) -> list[RowBatch]:
        """Return a batch for each engine of a wide piece; an engine has a row where one of its own cells is filled."""
        batches = []
        is_filled = np.zeros(len(piece), dtype=np.bool_)
        for group in self.layout.groups:
            filled = np.zeros(len(piece), dtype=np.bool_)
            for place in group.own:
                filled |= ~is_blank(piece.cells[place])
            is_filled |= filled
            engine = np.full(len(piece), self.plan.names.index(group.engine or ""), dtype=np.int32)
            rows = self._within_service(EngineRows(piece.line, engine, at_us, is_kept & filled))
            if rows.is_kept.any():
                batches.append(self._batch(piece, rows, group))
        for row in np.flatnonzero(is_kept & ~is_filled):
            self._fault(
                None, "blank_row", int(piece.line[row]), int(at_us[row]), "the row holds no reading for any engine; it is set aside"
            )
        return batches

    def _batch(self, piece: Piece, rows: EngineRows, group: Group) -> RowBatch:
        """Return the kept rows with their figures."""
        values = {name: self._values(self.plan.measures[name], piece.cells[place], place, rows) for name, place in group.figures.items()}
        if rows.is_kept.all():
            return RowBatch(self.file, rows.line, rows.engine, rows.at_us, values)
        kept = rows.is_kept
        return RowBatch(
            self.file, rows.line[kept], rows.engine[kept], rows.at_us[kept], {name: column[kept] for name, column in values.items()}
        )

    def _values(self, measure: Measure, cells: Cells, place: int, rows: EngineRows) -> Floats:
        """Return a column's figures in canonical units, without what cannot be read or cannot be."""
        try:
            figures = figures_of(cells, self.marks)
        except ColumnTypeError as error:
            raise self._type_refusal(place, error) from None
        if figures.odd and measure.is_signal:
            figures = with_signal_words(figures)
        self._odd_cells(measure, figures, place, rows)
        values = figures.values if rows.of is None else figures.values[rows.of]
        if (measure.scale, measure.offset) != (1.0, 0.0):
            values = values * measure.scale + measure.offset
        is_low = np.fmin.reduce(values) < measure.lowest
        # an engine's own limit is asked for where the lowest of them is passed; an unknown one, of which no row is kept, has the last
        if is_low or np.fmax.reduce(values) > measure.highest.min():
            is_high = values > measure.highest[rows.engine]
            if is_low or is_high.any():
                return self._without_impossible(measure, values, rows, is_high)
        return self._signal(measure, values, rows) if measure.is_signal else values

    def _signal(self, measure: Measure, values: Floats, rows: EngineRows) -> Floats:
        """Return the figures of a level without a unit, which are 0 and 1, without any other."""
        odd = rows.is_kept & ~np.isnan(values) & (values != 0) & (values != 1)
        if not odd.any():
            return values
        for row in np.flatnonzero(odd):
            engine = self.plan.site.engines[rows.engine[row]].id
            text = f"{measure.name} {values[row]:.10g} is neither 0 nor 1, as a signal must be; it is taken as blank; "
            text += "if it is not a signal, state its unit"
            self._fault(engine, "impossible_value", int(rows.line[row]), int(rows.at_us[row]), text)
        return np.where(odd, np.nan, values)

    def _odd_cells(self, measure: Measure, figures: Figures, place: int, rows: EngineRows) -> None:
        """Add a fault for each cell that is no number."""
        for row, text in rows.places_of(figures.odd):
            if not rows.is_kept[row]:
                continue
            is_number = _is_not_finite(text)
            kind = "impossible_value" if is_number else "unreadable_cell"
            what = "is impossible" if is_number else "is not a number"
            said = f'{measure.name} "{_cut(text)}" in column "{self.header[place].strip()}" {what}; it is taken as blank'
            self._fault(self.plan.site.engines[rows.engine[row]].id, kind, int(rows.line[row]), int(rows.at_us[row]), said)

    def _without_impossible(self, measure: Measure, values: Floats, rows: EngineRows, is_high: Flags) -> Floats:
        """Return the figures with those that cannot be blanked, each a fault; which are above their engine's limit is known."""
        odd = ((values < measure.lowest) | is_high) & rows.is_kept
        if not odd.any():
            return values
        for row in np.flatnonzero(odd):
            engine = self.plan.site.engines[rows.engine[row]]
            why = f"is above {measure.limit_text.format(rated=engine.rated_kw or 0)}" if is_high[row] else "is below zero"
            text = f"{measure.name} {values[row]:.10g} {measure.unit} {why}; it is taken as blank"
            self._fault(engine.id, "impossible_value", int(rows.line[row]), int(rows.at_us[row]), text)
        return np.where(odd, np.nan, values)

    def _type_refusal(self, place: int, error: ColumnTypeError) -> Exception:
        """Return the refusal of a column of the wrong type."""
        return refusal(self.name, "REA015", f'the column "{self.header[place]}" {error}')


def _cut(text: str) -> str:
    """Return the beginning of a long text, on one line."""
    text = " ".join(text.split())
    return text if len(text) <= _MOST_LETTERS_SHOWN else text[:_MOST_LETTERS_SHOWN] + "..."


def _is_not_finite(text: str) -> bool:
    """Say whether a text is a number, if not a finite one."""
    try:
        return not np.isfinite(float(text))
    except ValueError:
        return False
