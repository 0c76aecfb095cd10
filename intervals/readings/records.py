"""Service records: the file of what was done, to `ServiceRecord` values and faults.

In: a site, which says where the file is and what its columns are called. Out: `Records`. Refuses (codes SVC) a file that the site
names and that is not there, missing columns, and dates whose day and month cannot be told apart.

The file is read like a log: any separator, encoding and time format, workbooks too. Whether an engine has a task is not known here.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from itertools import compress, repeat
from typing import NamedTuple

import numpy as np

from intervals.faults import Fault
from intervals.figures import count_of
from intervals.readings.day_order import DayOrders
from intervals.readings.figures import Marks
from intervals.readings.openlog import HowWritten, Stage, open_log
from intervals.readings.plan import UNKNOWN, EngineNames, csv_options, names_in_log, patterns_of
from intervals.readings.record_columns import RecordColumns, find_places, header_score
from intervals.readings.refusals import folder_refusal, refusal
from intervals.readings.rows import Flags, Indexes, Instants
from intervals.readings.service_records import OutcomeWord, Records, ServiceRecord
from intervals.readings.spelling import Spellings
from intervals.readings.tables import LogFile, Piece, Wanted, is_empty
from intervals.site.model import Site
from intervals.site.sources import RECORD_COLUMNS

_NEEDED = ("at", "engine", "task")
_FIGURES = ("hour_meter_h", "until_h", "hours_h")
_WORDS = ("engine", "task", "outcome", "done_by", "note", "ref", "approved_by")
_NO_FILE = (
    "services.csv is not there: nothing is known to have been done; put the service records there, or map them under services in site.yaml"
)
_OUTCOMES: Mapping[str, OutcomeWord] = {"": "done", "done": "done", "partial": "partial", "deferred": "deferred", "void": "void"}


def read_records(site: Site, *, now_us: int | None) -> Records:
    """Return the service records of a site.

    Args:
        site: the site.
        now_us: the clock, UTC microseconds since 1970: later records are set aside; None sets none aside.

    Returns:
        The records in order of the file, and a fault for each that is set aside and each cell that is taken as blank. A site
        that names no file and has no `services.csv` has no records, and a fault that says so.

    Raises:
        ReadingsProblemError: the named file is missing (SVC001), cannot be read (SVC002, 005, 006, 013), lacks a column (003) or
            has it twice (004), or its times cannot be told (007, 012, 015).
    """
    source = site.services
    path = site.folder / source.file
    if path.is_dir():
        raise folder_refusal(source.file, Stage.RECORDS.code(2), "services")
    if not path.is_file():
        if "file" not in source.model_fields_set:
            return Records((), [Fault(None, "no_service_records", source.file, None, None, _NO_FILE)])
        text = f"there is no file {path}"
        raise refusal(site.file, "SVC001", text, path="$.services.file", fix="name the file of service records, or leave services.file out")
    patterns = patterns_of(source.timestamp_format, "SVC012", site.file, "$.services.timestamp_format")
    columns = {canonical: source.columns.get(canonical, canonical) for canonical in RECORD_COLUMNS}
    how = HowWritten(csv_options(source.csv), source.sheet)
    log = open_log(site.folder, source.file, Stage.RECORDS, how, header_score(columns, _NEEDED))
    if is_empty(log.header):
        return Records((), [Fault(None, "empty_file", log.name, None, None, "the file holds no records")])
    places = find_places(log, columns, needed=_NEEDED, mapped=source.columns, stage=Stage.RECORDS, key="services")
    orders = DayOrders({log.name: (log, ((places["at"],),))}, patterns, "SVC007", "$.services.timestamp_format")
    reader = _RecordReader(site, log, places, orders, now_us)
    reader.note_unread_columns()
    for piece in log.pieces(reader.wanted):
        reader.read(piece)
    reader.note_blank_outcomes()
    reader.faults.sort(key=lambda fault: fault.line or 0)
    return Records(tuple(reader.records), reader.faults)


class _Texts(NamedTuple):
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
        self._now_us = now_us
        self._engines = EngineNames(site, site.services.engine_names, further=names_in_log(site), with_components=True)
        self._tasks = Spellings(site.services.task_names or {})
        self._marks = log.marks([places[name] for name in _FIGURES if name in places]) or Marks()
        self._columns = RecordColumns(log, places, site.zone, orders, Stage.RECORDS, self._marks)
        self._blank_outcomes: list[int] = []
        self.records: list[ServiceRecord] = []
        self.faults = self._columns.faults

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

    def note_unread_columns(self) -> None:
        """Note the columns that are not read, where one of them may say what became of the work."""
        if "outcome" in self._places:
            return
        unread = [name.strip() for place, name in enumerate(self._log.header) if place not in self._places.values() and name.strip()]
        if unread:
            text = f"there is no column outcome, so that each record counts as done; not read: {', '.join(unread)}"
            self.faults.append(Fault(None, "unread_column", self._log.name, self._log.header_line, None, text))

    def note_blank_outcomes(self) -> None:
        """Note records that do not say what became of the work where others do, at the first of them."""
        if 0 < len(self._blank_outcomes) < len(self.records):
            text = f"the outcome of {count_of(len(self._blank_outcomes), 'record')} is blank; done is meant"
            self.faults.append(Fault(None, "blank_outcome", self._log.name, self._blank_outcomes[0], None, text))

    def read(self, piece: Piece) -> None:
        """Add the records of a piece."""
        self.faults.extend(
            Fault(None, "malformed_row", self._log.name, line, None, f"{text}; the record is set aside") for line, text in piece.malformed
        )
        if not len(piece):
            return
        columns = self._columns
        words = {name: columns.words(piece, name) for name in _WORDS}
        times = columns.times(piece, "at", set_aside="the record is set aside")
        figures = {name: columns.figures(piece, name) for name in _FIGURES}
        texts = _Texts(words, figures, times.at_us, times.on_day, columns.dates(piece, "until_date"))
        self._add(piece.line, times.is_read, texts)

    def _add(self, lines: Indexes, is_kept: Flags, texts: _Texts) -> None:
        """Add the rows that are records, and the faults that set the others aside."""
        words = texts.words
        engines = {name: self._engines.index(name) for name in set(words["engine"])}
        tasks = {name: self._tasks.find(name) or name for name in set(words["task"])}
        outcomes = {name: _OUTCOMES.get(name.casefold()) for name in set(words["outcome"])}
        machines = self._site.machines
        ids = {name: None if index == UNKNOWN else machines[index].id for name, index in engines.items()}
        is_right: Flags = np.ones(len(lines), dtype=np.bool_)
        known_words: tuple[tuple[str, Mapping[str, str | None]], ...] = (("engine", ids), ("task", tasks), ("outcome", outcomes))
        for name, known in known_words:
            # in most files every word is right, and no row need be asked
            if not all(known.values()):
                is_right &= np.array([bool(known[word]) for word in words[name]], dtype=np.bool_)
        if self._now_us is not None:
            is_right &= self._reached_us(texts) <= self._now_us
        for row in np.flatnonzero(is_kept & ~is_right).tolist():
            self._set_aside(row, int(lines[row]), texts, ids[words["engine"][row]])
        if "outcome" in self._places and "" in outcomes:
            self._blank_outcomes += [int(lines[row]) for row in np.flatnonzero(is_kept & is_right).tolist() if not words["outcome"][row]]
        columns = (
            [ids[name] for name in words["engine"]],
            [tasks[name] for name in words["task"]],
            [None if on is not None else us for us, on in zip(texts.at_us.tolist(), texts.on_day, strict=True)]
            if any(texts.on_day)
            else texts.at_us.tolist(),
            texts.on_day,
            texts.figures["hour_meter_h"],
            [outcomes[name] for name in words["outcome"]],
            texts.figures["until_h"],
            texts.until,
            *(words[name] for name in ("approved_by", "done_by", "note", "ref")),
            repeat(self._log.name, len(lines)),
            lines.tolist(),
            texts.figures["hours_h"],
        )
        # a row's cells stand in the order of a record's fields
        self.records += map(ServiceRecord._make, compress(zip(*columns, strict=True), (is_kept & is_right).tolist()))

    def _reached_us(self, texts: _Texts) -> Instants:
        """Return when the clock reaches each row: its time, or the start of its day."""
        if not any(texts.on_day):
            return texts.at_us
        at_us = texts.at_us.copy()
        for row, on in enumerate(texts.on_day):
            if on is not None:
                at_us[row] = self._site.instant_us(on)
        return at_us

    def _set_aside(self, row: int, line: int, texts: _Texts, engine: str | None) -> None:
        """Add the fault that sets a row aside."""
        words = {name: column[row] for name, column in texts.words.items()}
        on = texts.on_day[row]
        at_us = self._site.instant_us(on) if on is not None else int(texts.at_us[row])
        kind, near = "unreadable_record", ""
        if not words["engine"] or not words["task"]:
            text = f"the {'task' if words['engine'] else 'engine'} is blank"
        elif engine is None:
            kind, text = "unknown_engine", f'no engine "{words["engine"]}" is declared'
            near = self._engines.nearest(words["engine"])
        elif _OUTCOMES.get(words["outcome"].casefold()) is None:
            text = f'the outcome "{words["outcome"]}" is none of done, partial, deferred, void'
        else:
            kind, text = "record_in_future", f"{words['task']} is later than the clock"
        self.faults.append(Fault(engine, kind, self._log.name, line, at_us, f"{text}; the record is set aside{near}"))
