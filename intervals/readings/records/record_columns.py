"""The columns of a file in which people write down what they did or had analysed: words, figures and times, row by row.

In: a file, opened, and the places of its columns. Out: lists as long as the file's chunks, and a fault for every cell that cannot be
used. Refuses columns that are missing, stand there twice, or hold no figures or no times where these are needed.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from intervals.arrays import Flags, Instants
from intervals.faults import Fault
from intervals.problems import Problem, ReadingsProblemError
from intervals.quantities import LARGEST_FIGURE
from intervals.readings.column_values import Cells, ColumnTypeError, figures_of, names_of, text_of_cell
from intervals.readings.files.csv_head import HeaderScore
from intervals.readings.files.log_file import Chunk, LogFile
from intervals.readings.files.open_log import Stage
from intervals.readings.found_columns import Header
from intervals.readings.parse_numbers import Marks
from intervals.readings.refusals import refusal
from intervals.readings.times.day_order import DayOrders
from intervals.readings.times.stamps import ORDER_UNKNOWN, OUTSIDE_TEXT, OUTSIDE_YEARS, READ, Stamps
from intervals.readings.times.wall_clock import DAY_US, ODD_CLOCK, instants_of

_EPOCH_DAY = date(1970, 1, 1)


def header_score(columns: Mapping[str, str], needed: Collection[str]) -> HeaderScore:
    """Return what says how much of the needed columns a row of names holds."""

    def score(names: Sequence[str]) -> float:
        header = Header(names)
        return sum(bool(header.find(columns[canonical])) for canonical in needed) / len(needed)

    return score


def find_places(  # noqa: PLR0913 - what is sought, what must be there, and how to name it where it is not
    log: LogFile, columns: Mapping[str, str], *, needed: Collection[str], mapped: Collection[str], stage: Stage, key: str
) -> dict[str, int]:
    """Return the place of each canonical column that the file has.

    Args:
        log: the file.
        columns: name in the file by canonical name.
        needed: canonical names without which nothing can be said.
        mapped: canonical names that the site file maps, and that must be there for that.
        stage: which files these are.
        key: the key of the site file that maps columns, such as `services`.

    Raises:
        ReadingsProblemError: a needed or mapped column is missing (003), or a column is in the file twice (004).
    """
    header = Header(log.header)
    places: dict[str, int] = {}
    problems: list[Problem] = []
    missing: dict[str, str] = {}
    for canonical, name in columns.items():
        found = header.find(name)
        if len(found) == 1:
            places[canonical] = found[0]
        elif found:
            text = f'the column "{name}" is in the file more than once'
            problems.append(Problem(stage.code(4), log.name, log.header_line, None, text, "rename one of them"))
        elif canonical in needed or canonical in mapped:
            missing[canonical] = name
    if missing:
        whose = "its name" if len(missing) == 1 else "their names"
        stated = ", ".join(f"{canonical}: .." for canonical in missing)
        fix = f"state {whose} as the file has {'it' if len(missing) == 1 else 'them'}: {key}: {{columns: {{{stated}}}}}"
        others = [canonical for canonical in columns if canonical not in needed and canonical not in places and canonical not in mapped]
        if others:
            fix += f"; and these too, if the file has them, since they are not read otherwise: {', '.join(others)}"
        problems.append(Problem(stage.code(3), log.name, log.header_line, None, header.missing(missing.values()), fix))
    if problems:
        raise ReadingsProblemError(problems)
    return places


class Times(NamedTuple):
    """A column of times: which rows have one, the instants, the dates of those that give a date alone."""

    is_read: Flags
    at_us: Instants
    on_day: list[date | None]


@dataclass
class RecordColumns:
    """Reads the columns of one file, a chunk at a time.

    Attributes:
        log: the file.
        places: place of each canonical column that it has.
        zone: zone of times without offset.
        orders: the order of day and month in its times.
        stage: which files these are.
        marks: which mark stands before the decimals.
        faults: what is wrong with cells, as far as it is known.
    """

    log: LogFile
    places: Mapping[str, int]
    zone: ZoneInfo
    orders: DayOrders
    stage: Stage
    marks: Marks
    faults: list[Fault] = field(default_factory=list)

    def words(self, chunk: Chunk, name: str) -> list[str]:
        """Return a column of words without surrounding blanks; nothing where the file does not have it."""
        if name not in self.places:
            return [""] * len(chunk)
        try:
            names, index = names_of(chunk.cells[self.places[name]])
        except ColumnTypeError as error:
            raise self._refusal(name, error) from None
        trimmed = [word.strip() for word in names]
        return [trimmed[place] for place in index.tolist()]

    def figures(self, chunk: Chunk, name: str, *, may_be_negative: bool = False) -> list[float | None]:
        """Return a column of figures; None where there is none or it cannot be."""
        if name not in self.places:
            return [None] * len(chunk)
        try:
            figures = figures_of(chunk.cells[self.places[name]], self.marks)
        except ColumnTypeError as error:
            raise self._refusal(name, error) from None
        for odd_row, text in figures.odd:
            is_number = text.strip().lower().lstrip("+-") in {"nan", "inf", "infinity"}
            kind, what = ("impossible_value", "cannot be") if is_number else ("unreadable_cell", "is not a number")
            self.fault(kind, int(chunk.line[odd_row]), f'{name} "{text}" {what}; it is taken as blank')
        values: list[float | None] = figures.values.tolist()
        for row in np.flatnonzero(np.isnan(figures.values)).tolist():
            values[row] = None
        beyond = np.abs(figures.values) > LARGEST_FIGURE
        for row in np.flatnonzero(beyond if may_be_negative else beyond | (figures.values < 0)).tolist():
            why = "cannot be" if beyond[row] else "is below zero"
            self.fault("impossible_value", int(chunk.line[row]), f"{name} {values[row]:g} {why}; it is taken as blank")
            values[row] = None
        return values

    def times(self, chunk: Chunk, name: str, *, set_aside: str) -> Times:
        """Return a column of times.

        Args:
            chunk: rows of the file.
            name: the column.
            set_aside: what becomes of a row whose time cannot be read, for its fault.
        """
        cells = chunk.cells[self.places[name]]
        stamps = self._stamps(cells, name)
        is_read = stamps.state == READ
        for row in np.flatnonzero(~is_read):
            text = text_of_cell(cells, int(row))
            state = stamps.state[row]
            why = self.orders.why_unclear() if state == ORDER_UNKNOWN else OUTSIDE_TEXT if state == OUTSIDE_YEARS else "cannot be read"
            said = f'the time "{text}" {why}' if text else "the time is blank"
            self.fault("unreadable_record", int(chunk.line[row]), f"{said}; {set_aside}")
        local_us = np.where(is_read, stamps.us, 0)
        is_dated = is_read & ~stamps.has_clock
        at_us, never, twice = instants_of(local_us, self.zone)
        at_us = np.where(stamps.is_utc, stamps.us, at_us)
        for shown, (kind, what) in zip((never, twice), ODD_CLOCK, strict=True):
            if shown is not None:
                odd = shown & is_read & ~stamps.is_utc & ~is_dated
                for row in np.flatnonzero(odd):
                    self.fault(kind, int(chunk.line[row]), f'"{text_of_cell(cells, int(row))}" {what}; {set_aside}')
                is_read = is_read & ~odd
        on_day: list[date | None] = [None] * len(chunk)
        for index in np.flatnonzero(is_dated).tolist():
            on_day[index] = _day(int(local_us[index]))
        return Times(is_read, at_us, on_day)

    def dates(self, chunk: Chunk, name: str) -> list[date | None]:
        """Return a column of dates; None where there is none."""
        if name not in self.places:
            return [None] * len(chunk)
        cells = chunk.cells[self.places[name]]
        stamps = self._stamps(cells, name)
        days: list[date | None] = [None] * len(chunk)
        for row, state in enumerate(stamps.state):
            text = text_of_cell(cells, row)
            if state == READ:
                days[row] = _day(int(stamps.us[row]))
            elif text:
                self.fault("unreadable_cell", int(chunk.line[row]), f'{name} "{text}" is not a date; it is taken as blank')
        return days

    def fault(self, kind: str, line: int, text: str) -> None:
        """Add a fault of the file."""
        self.faults.append(Fault(None, kind, self.log.name, line, None, text))

    def _stamps(self, cells: Cells, name: str) -> Stamps:
        """Return the times of some cells."""
        try:
            return self.orders.read(self.log.name, [cells])
        except ColumnTypeError as error:
            raise self._refusal(name, error) from None

    def _refusal(self, name: str, error: Exception) -> ReadingsProblemError:
        """Return the refusal of a column of the wrong kind."""
        return refusal(self.log.name, self.stage.code(15), f"the column of {name} {error}")


def _day(us: int) -> date:
    """Return the date of a reading of the local clock."""
    return _EPOCH_DAY + timedelta(days=us // DAY_US)
