"""Service records: the file of what was done, to `ServiceRecord` values and faults.

In: a site, which says where the file is and what its columns are called. Out: `Records`. Refuses (codes SVC) a file that the site
names and that is not there, missing columns, and dates whose day and month cannot be told apart.

The file is read like a log: any separator, encoding and time format, workbooks too. Which tasks exist is not known here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from intervals.faults import Fault
from intervals.problems import Problem, ReadingsProblemError
from intervals.readings.cells import Cells, ColumnTypeError, figures_of, names_of
from intervals.readings.columns import Header
from intervals.readings.day_order import DayOrders
from intervals.readings.figures import Marks
from intervals.readings.openlog import HowWritten, Stage, open_log
from intervals.readings.plan import UNKNOWN, EngineNames, csv_options, patterns_of
from intervals.readings.refusals import refusal
from intervals.readings.rows import Flags, Instants
from intervals.readings.service_records import OutcomeWord, Records, ServiceRecord
from intervals.readings.stamps import READ
from intervals.readings.tables import LogFile, Piece, Wanted, is_empty
from intervals.readings.wallclock import DAY_US, ODD_CLOCK, instants_of
from intervals.site.model import Site
from intervals.site.sources import RECORD_COLUMNS

_NEEDED = ("at", "engine", "task")
_FIGURES = ("hour_meter_h", "until_h")
_WORDS = ("engine", "task", "outcome", "done_by", "note", "ref", "approved_by")
_OUTCOMES: Mapping[str, OutcomeWord] = {"": "done", "done": "done", "partial": "partial", "deferred": "deferred", "void": "void"}
_EPOCH_DAY = date(1970, 1, 1)


def read_records(site: Site, *, now_us: int | None) -> Records:
    """Return the service records of a site.

    Args:
        site: the site.
        now_us: the clock, UTC microseconds since 1970: later records are set aside; None sets none aside.

    Returns:
        The records in order of the file, and a fault for each that is set aside and each cell that is taken as blank. A site
        that names no file and has no `services.csv` has no records.

    Raises:
        ReadingsProblemError: the named file is missing (SVC001), cannot be read (SVC002, 005, 006, 013), lacks a column (003) or
            has it twice (004), or its times cannot be told (007, 012, 015).
    """
    source = site.services
    path = site.folder / source.file
    if not path.is_file():
        if "file" not in source.model_fields_set:
            return Records()
        text = f"there is no file {path}"
        raise refusal(site.file, "SVC001", text, path="$.services.file", fix="name the file of service records, or leave services.file out")
    patterns = patterns_of(source.timestamp_format, "SVC012", site.file, "$.services.timestamp_format")
    columns = {canonical: source.columns.get(canonical, canonical) for canonical in RECORD_COLUMNS}
    how = HowWritten(csv_options(source.csv), source.sheet)
    log = open_log(site.folder, source.file, Stage.RECORDS, how, lambda names: _score(columns, names))
    if is_empty(log.header):
        return Records((), [Fault(None, "empty_file", log.name, None, None, "the file holds no records")])
    places = _places(log, columns, frozenset(source.columns))
    orders = DayOrders({log.name: (log, (places["at"],))}, patterns, "SVC007", "$.services.timestamp_format")
    reader = _RecordReader(site, log, places, orders, now_us)
    for piece in log.pieces(reader.wanted):
        reader.read(piece)
    reader.faults.sort(key=lambda fault: fault.line or 0)
    return Records(tuple(reader.records), reader.faults)


def _score(columns: Mapping[str, str], names: Sequence[str]) -> float:
    """Return how much of what is sought a row of names holds; complete with the columns that are needed."""
    header = Header(names)
    return sum(bool(header.find(columns[canonical])) for canonical in _NEEDED) / len(_NEEDED)


def _places(log: LogFile, columns: Mapping[str, str], mapped: frozenset[str]) -> dict[str, int]:
    """Return the place of each canonical column that the file has.

    Raises:
        ReadingsProblemError: a needed or mapped column is missing, or a column stands in the file twice.
    """
    header = Header(log.header)
    places: dict[str, int] = {}
    problems: list[Problem] = []
    for canonical, name in columns.items():
        found = header.find(name)
        if len(found) == 1:
            places[canonical] = found[0]
        elif found:
            text = f'the column "{name}" stands in the file more than once'
            problems.append(Problem("SVC004", log.name, log.header_line, None, text, "rename one of them"))
        elif canonical in _NEEDED or canonical in mapped:
            fix = None if canonical in mapped else f"state its name: services: {{columns: {{{canonical}: ..}}}}"
            problems.append(Problem("SVC003", log.name, log.header_line, None, header.missing(name), fix))
    if problems:
        raise ReadingsProblemError(problems)
    return places


@dataclass(frozen=True)
class _Texts:
    """The columns of one piece, as lists of the same length."""

    words: dict[str, list[str]]
    figures: dict[str, list[float | None]]
    at_us: Instants
    on_day: list[date | None]
    until: list[date | None]


class _RecordReader:
    """Turns the pieces of the file into records."""

    def __init__(self, site: Site, log: LogFile, places: dict[str, int], orders: DayOrders, now_us: int | None) -> None:
        self._site = site
        self._log = log
        self._places = places
        self._orders = orders
        self._now_us = now_us
        self._engines = EngineNames(site, site.services.engine_names)
        self._tasks = {name.strip().casefold(): task for name, task in (site.services.task_names or {}).items()}
        self._marks = log.marks([places[name] for name in _FIGURES if name in places]) or Marks()
        self.records: list[ServiceRecord] = []
        self.faults: list[Fault] = []

    @property
    def wanted(self) -> Wanted:
        """The columns of the file that are read; times as text, so that a date alone is told from midnight."""
        return Wanted(
            stamps=tuple(self._places[name] for name in ("at", "until_date") if name in self._places),
            names=tuple(self._places[name] for name in _WORDS if name in self._places),
            figures=tuple(self._places[name] for name in _FIGURES if name in self._places),
            is_iso=False,
            marks=self._marks,
        )

    def read(self, piece: Piece) -> None:
        """Add the records of a piece."""
        self.faults.extend(
            Fault(None, "malformed_row", self._log.name, line, None, f"{text}; the record is set aside") for line, text in piece.malformed
        )
        if not len(piece):
            return
        words = {name: self._words(piece, name) for name in _WORDS}
        is_kept, at_us, on_day = self._times(piece)
        texts = _Texts(words, {name: self._figures(piece, name) for name in _FIGURES}, at_us, on_day, self._until(piece))
        for row in np.flatnonzero(is_kept):
            self._add(int(row), int(piece.line[row]), texts)

    def _words(self, piece: Piece, name: str) -> list[str]:
        """Return a column of words without surrounding blanks; nothing where the file does not have it."""
        if name not in self._places:
            return [""] * len(piece)
        names, index = names_of(piece.cells[self._places[name]])
        trimmed = [word.strip() for word in names]
        return [trimmed[place] for place in index.tolist()]

    def _figures(self, piece: Piece, name: str) -> list[float | None]:
        """Return a column of hour-meter readings; None where there is none or it cannot be."""
        if name not in self._places:
            return [None] * len(piece)
        try:
            figures = figures_of(piece.cells[self._places[name]], self._marks)
        except ColumnTypeError as error:
            raise refusal(self._log.name, "SVC015", f"the column of {name} {error}") from None
        for odd_row, text in figures.odd:
            is_number = text.strip().lower().lstrip("+-") in {"nan", "inf", "infinity"}
            kind, what = ("impossible_value", "cannot be") if is_number else ("unreadable_cell", "is not a number")
            self._fault(kind, int(piece.line[odd_row]), f'{name} "{text}" {what}; it is taken as blank')
        values: list[float | None] = [None if np.isnan(value) else value for value in figures.values.tolist()]
        for row in np.flatnonzero(figures.values < 0).tolist():
            self._fault("impossible_value", int(piece.line[row]), f"{name} {values[row]:g} is below zero; it is taken as blank")
            values[row] = None
        return values

    def _times(self, piece: Piece) -> tuple[Flags, Instants, list[date | None]]:
        """Return which records have a time, the instants, and the dates of those that give a date alone."""
        cells = piece.cells[self._places["at"]]
        try:
            stamps = self._orders.read(self._log.name, [cells])
        except ColumnTypeError as error:
            raise refusal(self._log.name, "SVC015", f"the column of at {error}") from None
        is_read = stamps.state == READ
        for row in np.flatnonzero(~is_read):
            text = _text(cells, int(row))
            said = f'the time "{text}" cannot be read' if text else "the time is blank"
            self._fault("unreadable_record", int(piece.line[row]), f"{said}; the record is set aside")
        local_us = np.where(is_read, stamps.us, 0)
        is_dated = is_read & ~stamps.has_clock
        at_us, never, twice = instants_of(local_us, self._site.zone)
        at_us = np.where(stamps.is_utc, stamps.us, at_us)
        for shown, (kind, what) in zip((never, twice), ODD_CLOCK, strict=True):
            if shown is not None:
                odd = shown & is_read & ~stamps.is_utc & ~is_dated
                for row in np.flatnonzero(odd):
                    self._fault(kind, int(piece.line[row]), f'"{_text(cells, int(row))}" {what}; the record is set aside')
                is_read = is_read & ~odd
        on_day = [_day(int(us)) if dated else None for us, dated in zip(local_us, is_dated, strict=True)]
        return is_read, at_us, on_day

    def _until(self, piece: Piece) -> list[date | None]:
        """Return the last days of deferrals; None where there is none."""
        if "until_date" not in self._places:
            return [None] * len(piece)
        cells = piece.cells[self._places["until_date"]]
        try:
            stamps = self._orders.read(self._log.name, [cells])
        except ColumnTypeError as error:
            raise refusal(self._log.name, "SVC015", f"the column of until_date {error}") from None
        days: list[date | None] = [None] * len(piece)
        for row, state in enumerate(stamps.state):
            text = _text(cells, row)
            if state == READ:
                days[row] = _day(int(stamps.us[row]))
            elif text:
                self._fault("unreadable_cell", int(piece.line[row]), f'until_date "{text}" is not a date; it is taken as blank')
        return days

    def _add(self, row: int, line: int, texts: _Texts) -> None:
        """Add one record, or the fault that sets it aside."""
        words = {name: column[row] for name, column in texts.words.items()}
        on = texts.on_day[row]
        at_us = self._site.instant_us(on) if on is not None else int(texts.at_us[row])
        engine = self._engines.index(words["engine"])
        outcome = _OUTCOMES.get(words["outcome"].casefold())
        fault = None
        if not words["engine"] or not words["task"]:
            fault = ("unreadable_record", f"the {'task' if words['engine'] else 'engine'} is blank")
        elif engine == UNKNOWN:
            fault = ("unknown_engine", f'no engine "{words["engine"]}" is declared')
        elif outcome is None:
            fault = ("unreadable_record", f'the outcome "{words["outcome"]}" is none of done, partial, deferred, void')
        elif self._now_us is not None and at_us > self._now_us:
            fault = ("record_in_future", f"{words['task']} is later than the clock")
        if fault or outcome is None:
            kind, text = fault or ("unreadable_record", "")
            known = None if engine == UNKNOWN else self._site.engines[engine].id
            self.faults.append(Fault(known, kind, self._log.name, line, at_us, f"{text}; the record is set aside"))
            return
        self.records.append(
            ServiceRecord(
                engine=self._site.engines[engine].id,
                task=self._tasks.get(words["task"].casefold(), words["task"]),
                at_us=None if on is not None else at_us,
                on=on,
                hour_meter_h=texts.figures["hour_meter_h"][row],
                outcome=outcome,
                until_h=texts.figures["until_h"][row],
                until_date=texts.until[row],
                approved_by=words["approved_by"],
                done_by=words["done_by"],
                note=words["note"],
                ref=words["ref"],
                file=self._log.name,
                line=line,
            )
        )

    def _fault(self, kind: str, line: int, text: str) -> None:
        """Add a fault of the file."""
        self.faults.append(Fault(None, kind, self._log.name, line, None, text))


def _text(cells: Cells, row: int) -> str:
    """Return a cell as it is written."""
    cell = cells[row] if isinstance(cells, list) else cells[row].as_py()
    return "" if cell is None else str(cell).strip()


def _day(us: int) -> date:
    """Return the date of a reading of the local clock."""
    return _EPOCH_DAY + timedelta(days=us // DAY_US)
