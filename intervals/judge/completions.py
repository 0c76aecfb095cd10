"""Service records as completions: what restarted which task, and when; deferrals and voids.

In: one engine's service records, its meter's course, its rule set. Out: an `EngineRecords`: completions by task in order of
time, deferrals, partial jobs, and the faults of the records. A record that moves nothing is always a named fault.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal, NamedTuple

import numpy as np

from intervals.faults import Fault
from intervals.localdays import LocalDays
from intervals.readings import ServiceRecord
from intervals.rules.ruleset import RuleSet
from intervals.usage.course import Course
from intervals.usage.engine_log import EngineLog

METER_AGREES_WITHIN_H = 24.0


class Completion(NamedTuple):
    """A task done in full; a named tuple, since a fleet has many.

    Attributes:
        task: task id.
        at_us: when, UTC microseconds.
        day: its local day.
        meter_h: what the hour meter showed: as typed, or the log's where nothing or something else was typed.
        record: the record that says so, as file:line.
        makes_new: whether the task starts again with `first`.
        by: the task whose record it is (itself, or the one that renews it).
        run: of a completion that the log alone tells of, the run in words; else empty.
    """

    task: str
    at_us: int
    day: date
    meter_h: float | None
    record: str
    makes_new: bool = False
    by: str = ""
    run: str = ""


@dataclass(frozen=True)
class DeferralRecord:
    """An approved deferral of one task."""

    task: str
    at_us: int
    until_h: float | None
    until_bridged_h: float | None
    until_date: date | None
    approved_by: str
    record: str


@dataclass(frozen=True)
class PartialRecord:
    """A job that was done in part and restarts nothing."""

    task: str
    at_us: int
    day: date
    record: str
    note: str


@dataclass(frozen=True)
class ShortRun:
    """A run in the log that would have completed a task and lacked something.

    Attributes:
        task: task id.
        at_us: when it ended.
        short_by_min: running minutes that it lacks, the log's sampling allowed for.
        share_met: the share of the minutes asked for that it met.
        share_run: the share of the minutes asked for that it ran, whatever the condition.
        is_other: whether it completed another task, or another one asks for fewer minutes.
        text: what it lacked, in words.
    """

    task: str
    at_us: int
    short_by_min: float
    share_met: float
    share_run: float
    is_other: bool
    text: str


@dataclass(frozen=True)
class HoursRecord:
    """A job that ran the engine for some hours, or for so long as nobody wrote down."""

    task: str
    at_us: int
    hours_h: float | None
    record: str


@dataclass(frozen=True)
class JudgedAnalysis:
    """One analysis held against the limits that let it take the place of a task.

    Attributes:
        task: task id.
        at_us: when the sample was taken.
        result_us: when the result came.
        result_is_date: whether only the day of the result is known.
        state: `within` every limit, `beyond` one, or `unknown`.
        text: in words, what is beyond, unknown, or within.
        figures: the values that the limits ask for; None where unknown.
        record: file and line.
    """

    task: str
    at_us: int
    result_us: int
    result_is_date: bool
    state: Literal["within", "beyond", "unknown"]
    text: str
    figures: Mapping[str, float | None]
    record: str


@dataclass(frozen=True)
class EngineRecords:
    """One engine's records, by task id, each in order of time; `short_runs` come from the log."""

    completions: Mapping[str, tuple[Completion, ...]]
    deferrals: Mapping[str, tuple[DeferralRecord, ...]]
    partials: Mapping[str, tuple[PartialRecord, ...]]
    faults: tuple[Fault, ...]
    short_runs: Mapping[str, tuple[ShortRun, ...]] = field(default_factory=dict)
    hours: Mapping[str, tuple[HoursRecord, ...]] = field(default_factory=dict)
    analyses: Mapping[str, tuple[JudgedAnalysis, ...]] = field(default_factory=dict)

    def instants_us(self) -> set[int]:
        """Return every instant at which a task was completed."""
        return {completion.at_us for row in self.completions.values() for completion in row}


class _Placed(NamedTuple):
    """A record with its instant."""

    record: ServiceRecord
    at_us: int

    @property
    def place(self) -> str:
        return f"{self.record.file}:{self.record.line}"


def settle_records(  # noqa: PLR0913 - what places, filters and bounds the records
    log: EngineLog,
    records: Sequence[ServiceRecord],
    ruleset: RuleSet,
    days: LocalDays,
    *,
    before_us: int,
    includes_end: bool = False,
) -> EngineRecords:
    """Return what the records of one engine completed up to an instant.

    Args:
        log: the engine's log, whose course places date-only records.
        records: the engine's records in file order.
        ruleset: the rule set that judges it.
        days: the site's local days.
        before_us: records at or after this instant, voids too, do not count yet.
        includes_end: whether a record at that very instant counts.

    Returns:
        Completions (renewed tasks included), deferrals, partial jobs, faults.
    """
    faults: list[Fault] = []
    tasks = {task.id for task in ruleset.tasks}
    counted = frozenset(task for budget in ruleset.budgets for task in budget.of.records)
    placed: list[_Placed] = []
    for record in records:
        if record.task not in tasks and record.task not in counted:
            text = f'no task "{record.task}" in rule set {ruleset.ruleset}; the record is set aside'
            faults.append(Fault(record.engine, "unknown_task", record.file, record.line, record.at_us, text))
            continue
        at_us = place_record(record, log.course, days)
        if at_us < before_us or (includes_end and at_us == before_us):
            placed.append(_Placed(record, at_us))
    standing = _drop_duplicates(_drop_voided(placed, faults), faults)
    standing.sort(key=lambda entry: entry.at_us)
    hours = _recorded_hours(standing, counted)
    standing = [entry for entry in standing if entry.record.task in tasks]
    completions = _credit(standing, log, ruleset, days, faults)
    deferrals = _deferrals(standing, log.course, faults)
    partials: dict[str, list[PartialRecord]] = defaultdict(list)
    for entry in standing:
        if entry.record.outcome == "partial":
            task = entry.record.task
            partials[task].append(PartialRecord(task, entry.at_us, days.date_of(entry.at_us), entry.place, entry.record.note))
    return EngineRecords(completions, deferrals, {task: tuple(rows) for task, rows in partials.items()}, tuple(faults), hours=hours)


def _recorded_hours(standing: Sequence[_Placed], counted: frozenset[str]) -> dict[str, tuple[HoursRecord, ...]]:
    """Return the hours that jobs ran the engine for, in full or in part, by the tasks of which some budget adds them up."""
    by_task: dict[str, list[HoursRecord]] = defaultdict(list)
    for entry in standing:
        record = entry.record
        if record.task in counted and record.outcome in ("done", "partial"):
            by_task[record.task].append(HoursRecord(record.task, entry.at_us, record.hours_h, entry.place))
    return {task: tuple(rows) for task, rows in by_task.items()}


def place_record(record: ServiceRecord, course: Course, days: LocalDays) -> int:
    """Return a record's instant: its own, or for a date the first moment that the meter showed its reading, else noon."""
    if record.at_us is not None:
        return record.at_us
    day = record.on
    if day is None:
        message = f"{record.file}:{record.line} has neither time nor date"
        raise ValueError(message)
    if record.hour_meter_h is not None:
        start_us = days.midnight_us(day)
        end_us = days.midnight_us(date.fromordinal(day.toordinal() + 1))
        reached = course.first_reaching_us(start_us, end_us, record.hour_meter_h)
        if reached is not None:
            return reached
    return days.noon_us(day)


def telling_records(records: Sequence[ServiceRecord], days: LocalDays, before_us: int) -> list[ServiceRecord]:
    """Return the records whose meter reading can be believed at an instant: neither voided nor later.

    Args:
        records: one engine's records in file order.
        days: the site's local days; a record that gives a date alone is taken to stand at noon.
        before_us: records at or after this instant do not count yet.
    """
    placed = []
    for record in records:
        at_us = record.at_us if record.at_us is not None else days.noon_us(record.on) if record.on is not None else before_us
        if at_us < before_us:
            placed.append(_Placed(record, at_us))
    return [entry.record for entry in _drop_voided(placed, [])]


def _drop_voided(placed: Sequence[_Placed], faults: list[Fault]) -> list[_Placed]:
    """Return the records without voids and without what they void: one earlier row of the same engine, task and ref."""
    if all(entry.record.outcome != "void" for entry in placed):
        return list(placed)
    voided: set[int] = set()
    for number, entry in enumerate(placed):
        record = entry.record
        if record.outcome != "void":
            continue
        targets = [
            earlier
            for earlier in range(number)
            if placed[earlier].record.task == record.task
            and placed[earlier].record.outcome != "void"
            and record.ref
            and placed[earlier].record.ref == record.ref
        ]
        if len(targets) == 1:
            voided.add(targets[0])
            continue
        found = "no earlier record has it" if not targets else f"{len(targets)} earlier records have it"
        text = f'void of {record.task} with ref "{record.ref}": {found}; nothing is voided'
        faults.append(Fault(record.engine, "void_without_record", record.file, record.line, entry.at_us, text))
    return [entry for number, entry in enumerate(placed) if number not in voided and entry.record.outcome != "void"]


def _drop_duplicates(placed: Sequence[_Placed], faults: list[Fault]) -> list[_Placed]:
    """Return the records with two of one task at one time as one: the first in the file."""
    first: dict[tuple[str, int], _Placed] = {}
    kept = []
    for entry in placed:
        key = (entry.record.task, entry.at_us)
        if key not in first:
            first[key] = entry
            kept.append(entry)
            continue
        text = f"{entry.record.task} at the same time as in {first[key].place}; the two are one"
        faults.append(Fault(entry.record.engine, "duplicate_record", entry.record.file, entry.record.line, entry.at_us, text))
    return kept


def renewed_by(ruleset: RuleSet) -> dict[str, dict[str, bool]]:
    """Return for each task all that completing it completes: task id -> whether that one starts again with `first`.

    `renews` is transitive; `makes_new` of anything completed on the way counts too.
    """
    by_id = {task.id: task for task in ruleset.tasks}
    closure: dict[str, dict[str, bool]] = {}
    for task in ruleset.tasks:
        renewed: dict[str, bool] = {}
        waiting = [task.id]
        done: set[str] = set()
        while waiting:
            current = by_id[waiting.pop(0)]
            if current.id in done:
                continue
            done.add(current.id)
            renewed.setdefault(current.id, False)
            waiting.extend(name for name in current.renews if name in by_id)
            new = [other for other in by_id if other != current.id] if current.makes_new == "all" else current.makes_new
            renewed.update(dict.fromkeys((name for name in new if name in by_id), True))
        closure[task.id] = renewed
    return closure


def _credit(
    standing: Sequence[_Placed], log: EngineLog, ruleset: RuleSet, days: LocalDays, faults: list[Fault]
) -> dict[str, tuple[Completion, ...]]:
    """Return the completions that the records with outcome done stand for, and check their typed readings."""
    closure = renewed_by(ruleset)
    by_task: dict[str, dict[int, Completion]] = defaultdict(dict)
    done = [entry for entry in standing if entry.record.outcome == "done"]
    instants = np.array([entry.at_us for entry in done], dtype=np.int64)
    logged = log.course.meters_at(instants).tolist()
    for entry, logged_h, day in zip(done, logged, days.dates_of(instants), strict=True):
        record = entry.record
        meter_h = _check_meter(entry, None if math.isnan(logged_h) else logged_h, log, faults)
        for task, makes_new in closure[record.task].items():
            completion = Completion(task, entry.at_us, day, meter_h, entry.place, makes_new, record.task)
            earlier = by_task[task].get(entry.at_us)
            if earlier is not None:
                # one moment is one completion: a task's own record goes before one that renews it
                own = completion if record.task == task else earlier
                completion = own._replace(makes_new=earlier.makes_new or makes_new)
            by_task[task][entry.at_us] = completion
    return {task: tuple(rows[at] for at in sorted(rows)) for task, rows in by_task.items()}


def _check_meter(entry: _Placed, logged: float | None, log: EngineLog, faults: list[Fault]) -> float | None:
    """Return the meter reading of a record, the log's where the typed one is missing or too far off."""
    typed = entry.record.hour_meter_h
    if logged is None or (typed is not None and abs(typed - logged) <= METER_AGREES_WITHIN_H):
        return typed
    if typed is None:
        return round(logged, 6)
    if log.course.is_known and entry.at_us > log.course.known_to_us:
        return typed
    record = entry.record
    text = f"{record.task} was recorded at {typed:,.1f} h, the log shows {logged:,.1f} h then; the log's hours count"
    faults.append(Fault(record.engine, "service_meter_disagrees", record.file, record.line, entry.at_us, text))
    return round(logged, 6)


def _deferrals(standing: Iterable[_Placed], course: Course, faults: list[Fault]) -> dict[str, tuple[DeferralRecord, ...]]:
    """Return the approved deferrals by task; one without approval or without an end is a fault and moves nothing."""
    by_task: dict[str, list[DeferralRecord]] = defaultdict(list)
    for entry in standing:
        record = entry.record
        if record.outcome != "deferred":
            continue
        if not record.approved_by:
            text = f"deferral of {record.task} names nobody in approved_by; it moves nothing"
            faults.append(Fault(record.engine, "deferral_not_approved", record.file, record.line, entry.at_us, text))
            continue
        if record.until_h is None and record.until_date is None:
            text = f"deferral of {record.task} has neither until_h nor until_date; it moves nothing"
            faults.append(Fault(record.engine, "deferral_without_end", record.file, record.line, entry.at_us, text))
            continue
        bridged = None
        if record.until_h is not None:
            shown, hours = course.meter_at(entry.at_us), course.hours_at_one(entry.at_us)
            bridged = None if shown is None or hours is None else hours + record.until_h - shown
        by_task[record.task].append(
            DeferralRecord(record.task, entry.at_us, record.until_h, bridged, record.until_date, record.approved_by, entry.place)
        )
    return {task: tuple(rows) for task, rows in by_task.items()}
