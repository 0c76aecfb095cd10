"""Service records: the file of what was done, to `ServiceRecord` values and faults.

In: a site, which says where the file is and what its columns are called. Out: `Records`. Refuses (codes SVC) a file that the site
names and that is not there, missing columns, and dates whose day and month cannot be distinguished.

The file is read like a log: any separator, encoding and time format, workbooks too. Whether an engine has a task is not known here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from itertools import compress, repeat
from typing import NamedTuple

import numpy as np

from intervals.arrays import Flags, Instants
from intervals.faults import TASK_NAMES, Fault, Spelled
from intervals.problems import asked_back, clearly_nearest
from intervals.readings.files.log_file import Chunk, LogFile, Wanted, is_empty
from intervals.readings.files.open_log import HowWritten, Stage, open_log
from intervals.readings.parse_numbers import Marks
from intervals.readings.plan import EngineNames, csv_options, names_in_log, record_patterns_of
from intervals.readings.records.record_columns import RecordColumns, find_places, header_score
from intervals.readings.records.service_records import Records, ServiceRecord
from intervals.readings.records.shared_records import there_on
from intervals.readings.refusals import folder_refusal, refusal
from intervals.readings.rows import Indexes
from intervals.readings.spelling import Spellings, folded_name
from intervals.readings.times.day_order import DayOrders
from intervals.shown_numbers import count_of
from intervals.site.model import Site
from intervals.site.sources import OUTCOMES, RECORD_COLUMNS, OutcomeWord

_NEEDED = ("at", "engine", "task")
_FIGURES = ("hour_meter_h", "until_h", "hours_h")
_WORDS = ("engine", "task", "outcome", "done_by", "note", "ref", "approved_by")
_NO_FILE = (
    "services.csv is not there: nothing is known to have been done; put the service records there, or map them under services in site.yaml"
)
_OUTCOMES: Mapping[str, OutcomeWord] = {"": "done", **{outcome: outcome for outcome in OUTCOMES}}


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
            has it twice (004), or its times cannot be read (007, 012, 015).
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
    patterns = record_patterns_of(source.timestamp_format, "SVC012", site.file, "$.services.timestamp_format")
    columns = {canonical: source.columns.get(canonical, canonical) for canonical in RECORD_COLUMNS}
    how = HowWritten(csv_options(source.csv), source.sheet)
    log = open_log(site.folder, source.file, Stage.RECORDS, how, header_score(columns, _NEEDED))
    if is_empty(log.header):
        return Records((), [Fault(None, "empty_file", log.name, None, None, "the file holds no records")])
    places = find_places(log, columns, needed=_NEEDED, mapped=source.columns, stage=Stage.RECORDS, key="services")
    orders = DayOrders({log.name: (log, ((places["at"],),))}, patterns, "SVC007", "$.services.timestamp_format")
    reader = _RecordReader(site, log, places, orders, now_us)
    reader.note_unread_columns()
    for chunk in log.chunks(reader.wanted):
        reader.read(chunk)
    reader.note_blank_outcomes()
    reader.faults.sort(key=lambda fault: fault.line or 0)
    counts = (reader.rows_read, reader.rows_kept, len(reader.blank_outcomes))
    return Records(tuple(reader.records), reader.faults, *counts)


class _Texts(NamedTuple):
    """The columns of one chunk, as lists of the same length."""

    words: dict[str, list[str]]
    figures: dict[str, list[float | None]]
    at_us: Instants
    on_day: list[date | None]
    until: list[date | None]


class _RecordReader:
    """Turns the chunks of the file into records."""

    def __init__(self, site: Site, log: LogFile, places: dict[str, int], orders: DayOrders, now_us: int | None) -> None:
        self._site = site
        self._log = log
        self._places = places
        self._now_us = now_us
        source = site.services
        self._engines = EngineNames(site, source.engine_names, "services.engine_names", further=names_in_log(site), with_components=True)
        self._tasks = Spellings({word: (named,) if isinstance(named, str) else named for word, named in (source.task_names or {}).items()})
        self._outcomes = {**_OUTCOMES, **{folded_name(word): outcome for word, outcome in (source.outcome_names or {}).items()}}
        self._marks = log.marks([places[name] for name in _FIGURES if name in places]) or Marks()
        self._columns = RecordColumns(log, places, site.zone, orders, Stage.RECORDS, self._marks)
        self.blank_outcomes: list[int] = []
        self.rows_read = self.rows_kept = 0
        self.records: list[ServiceRecord] = []
        self.faults = self._columns.faults

    @property
    def wanted(self) -> Wanted:
        """The columns of the file that are read; times as text, so that a date alone is distinguished from midnight."""
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
        if 0 < len(self.blank_outcomes) < self.rows_kept:
            text = f"the outcome of {count_of(len(self.blank_outcomes), 'record')} is blank; it counts as done"
            self.faults.append(Fault(None, "blank_outcome", self._log.name, self.blank_outcomes[0], None, text))

    def read(self, chunk: Chunk) -> None:
        """Add the records of a chunk."""
        self.faults.extend(
            Fault(None, "malformed_row", self._log.name, line, None, f"{text}; the record is set aside") for line, text in chunk.malformed
        )
        self.rows_read += len(chunk) + len(chunk.malformed)
        if not len(chunk):
            return
        columns = self._columns
        words = {name: columns.words(chunk, name) for name in _WORDS}
        times = columns.times(chunk, "at", set_aside="the record is set aside")
        figures = {name: columns.figures(chunk, name) for name in _FIGURES}
        texts = _Texts(words, figures, times.at_us, times.on_day, columns.dates(chunk, "until_date"))
        self._add(chunk.line, times.is_read, texts)

    def _add(self, lines: Indexes, is_kept: Flags, texts: _Texts) -> None:
        """Add the rows that are records, and the faults that set the others aside."""
        words = texts.words
        judged = self._site.judged_units
        ids = {name: tuple(judged[index].id for index in self._engines.indexes(name)) for name in set(words["engine"])}
        tasks = {name: self._tasks.find(name) or ((name,) if name else ()) for name in set(words["task"])}
        outcomes = {name: self._outcomes.get(folded_name(name)) for name in set(words["outcome"])}
        is_right = self._are_right(texts, {"engine": ids, "task": tasks, "outcome": outcomes})
        for row in np.flatnonzero(is_kept & ~is_right).tolist():
            self._set_aside(row, int(lines[row]), texts, ids[words["engine"][row]])
        if "outcome" in self._places and "" in outcomes:
            self.blank_outcomes += [int(lines[row]) for row in np.flatnonzero(is_kept & is_right).tolist() if not words["outcome"][row]]
        first_ids, first_tasks = ({name: next(iter(meant), "") for name, meant in of.items()} for of in (ids, tasks))
        columns = (
            [first_ids[name] for name in words["engine"]],
            [first_tasks[name] for name in words["task"]],
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
            repeat(False, len(lines)),
        )
        is_kept = is_kept & is_right
        # a row's cells stand in the order of a record's fields
        cells = zip(*columns, strict=True)
        made = list(map(ServiceRecord._make, cells if is_kept.all() else compress(cells, is_kept.tolist())))
        self.rows_kept += len(made)
        if any(len(meant) > 1 for of in (ids, tasks) for meant in of.values()):
            rows = np.flatnonzero(is_kept).tolist()
            meant_of = [(ids[words["engine"][row]], tasks[words["task"][row]]) for row in rows]
            made = [each for record, meant in zip(made, meant_of, strict=True) for each in self._spread(record, *meant)]
        self.records += made

    def _are_right(self, texts: _Texts, known_words: Mapping[str, Mapping[str, object]]) -> Flags:
        """Return for each row whether its words are known and it is not of a time to come."""
        is_right: Flags = np.ones(len(texts.at_us), dtype=np.bool_)
        for name, known in known_words.items():
            # in most files every word is right, and no row need be asked
            if not all(known.values()):
                is_right &= np.array([bool(known[word]) for word in texts.words[name]], dtype=np.bool_)
        if self._now_us is not None:
            is_right &= self._reached_us(texts) <= self._now_us
        return is_right

    def _spread(self, record: ServiceRecord, engines: Sequence[str], tasks: Sequence[str]) -> list[ServiceRecord]:
        """Return the records of a row: one for each of its engines and tasks."""
        if len(engines) == len(tasks) == 1:
            return [record]
        engines = there_on(self._site, engines, record)
        if len(engines) > 1:
            for name, value in (("hour_meter_h", record.hour_meter_h), ("until_h", record.until_h)):
                if value is None:
                    continue
                text = f"{name} {value:,.10g} cannot be the reading of {', '.join(engines)} at the same time; it is taken as blank"
                self.faults.append(Fault(None, "impossible_value", record.file, record.line, record.at_us, text))
            record = record._replace(hour_meter_h=None, until_h=None)
        return [record._replace(engine=engine, task=task, shares_row=True) for engine in engines for task in tasks]

    def _reached_us(self, texts: _Texts) -> Instants:
        """Return when the clock reaches each row: its time, or the start of its day."""
        if not any(texts.on_day):
            return texts.at_us
        at_us = texts.at_us.copy()
        for row, on in enumerate(texts.on_day):
            if on is not None:
                at_us[row] = self._site.instant_us(on)
        return at_us

    def _set_aside(self, row: int, line: int, texts: _Texts, engines: Sequence[str]) -> None:
        """Add the fault that sets a row aside."""
        words = {name: column[row] for name, column in texts.words.items()}
        on = texts.on_day[row]
        at_us = self._site.instant_us(on) if on is not None else int(texts.at_us[row])
        kind, near, spelled = "unreadable_record", "", None
        if not words["engine"] or not words["task"]:
            text = f"the {'task' if words['engine'] else 'engine'} is blank"
        elif not engines:
            kind, text = "unknown_engine", f'no engine "{words["engine"]}" is declared'
            near, spelled = self._engines.nearest(words["engine"]), self._engines.spelled(words["engine"])
        elif self._outcomes.get(folded_name(words["outcome"])) is None:
            text = f'the outcome "{words["outcome"]}" is not one of {", ".join(OUTCOMES)}'
            spelled = self._spelled_outcome(words["outcome"])
            near = spelled.near
        else:
            kind, text = "record_in_future", f"{words['task']} is later than the clock"
        engine = engines[0] if len(engines) == 1 else None
        text = f"{text}; the record is set aside{asked_back(near)}"
        self.faults.append(Fault(engine, kind, self._log.name, line, at_us, text, spelled, self._besides(words, spelled)))

    def _besides(self, words: Mapping[str, str], spelled: Spelled | None) -> tuple[Spelled, ...]:
        """Return the further words of a row set aside for one of them: all are reported at once, not one each time another is mapped."""
        if spelled is None:
            return ()
        found = []
        if spelled.key != "services.outcome_names" and folded_name(words["outcome"]) not in self._outcomes:
            found.append(self._spelled_outcome(words["outcome"]))
        if self._tasks.find(words["task"]) is None:
            # which tasks there are is known to the rule sets
            found.append(Spelled(TASK_NAMES, words["task"], "", ()))
        return tuple(found)

    def _spelled_outcome(self, word: str) -> Spelled:
        """Return an outcome word that is not known, and the outcome that must be meant by it."""
        near = clearly_nearest(word, {each: outcome for each, outcome in self._outcomes.items() if each})
        return Spelled("services.outcome_names", word, "" if near is None else self._outcomes[near], OUTCOMES)
