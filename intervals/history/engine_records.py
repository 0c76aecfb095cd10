"""What the records of one engine say, settled: completions, deferrals, jobs in part, runs and analyses.

In: nothing; `completions`, `task_runs` and `credited_analyses` make these values. Out: what the judge asks of them. A service record of
the same task on the day of a run, or during it, is about that run: the two are one, and the run's own end counts. Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Literal, NamedTuple

import numpy as np

from intervals.faults import Fault
from intervals.local_days import LocalDays
from intervals.rules.ruleset import RuleSet
from intervals.usage.engine_log import EngineLog


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
        run: of a completion that only the log shows, the run in words; else empty.
        one_job: of a completion that a task of another rule set brings, that task as `set.task`; else empty.
        began_us: when its first part was done, of a job in parts whose next window counts from there; else None.
        began_day: the local day of that.
        card: the code of the job card that the record names; empty where it names none.
    """

    task: str
    at_us: int
    day: date
    meter_h: float | None
    record: str
    makes_new: bool = False
    by: str = ""
    run: str = ""
    one_job: str = ""
    began_us: int | None = None
    began_day: date | None = None
    card: str = ""


class DeferralRecord(NamedTuple):
    """An approved deferral of one task."""

    task: str
    at_us: int
    until_h: float | None
    until_bridged_h: float | None
    until_date: date | None
    approved_by: str
    record: str


class PartialRecord(NamedTuple):
    """A job that was done in part and restarts nothing."""

    task: str
    at_us: int
    day: date
    record: str
    note: str
    card: str = ""


class ShortRun(NamedTuple):
    """A run in the log that would have completed a task and lacked something.

    Attributes:
        task: task id.
        at_us: when it ended.
        short_by_min: running minutes that it lacks, the log's sampling allowed for.
        share_met: the share of the minutes asked for that it met.
        share_run: the share of the minutes asked for that it ran, whatever the condition.
        first_part_min: minutes on which the condition of the task's first part held.
        completed_other: whether it completed another task.
        is_other: whether it completed another task, or another one asks for fewer minutes.
        text: what it lacked, in words.
    """

    task: str
    at_us: int
    short_by_min: float
    share_met: float
    share_run: float
    first_part_min: float
    completed_other: bool
    is_other: bool
    text: str

    @property
    def facts(self) -> dict[str, float | bool]:
        """What the rules about skipped work ask of it."""
        return {
            "run_short_by_min": self.short_by_min,
            "run_share_met": self.share_met,
            "run_share_run": self.share_run,
            "run_is_other": self.is_other,
        }

    @property
    def attempt_facts(self) -> dict[str, float | bool]:
        """What the rule about failed attempts asks of it."""
        return {
            "short_by_min": self.short_by_min,
            "first_part_min": self.first_part_min,
            "share_met": self.share_met,
            "completed_other": self.completed_other,
        }


class LoggedRun(NamedTuple):
    """A run that completes a task.

    Attributes:
        start_us: when it began at the earliest.
        at_us: when it ended.
        place: the row that ends it, as file:line.
        text: what was run, in words.
    """

    start_us: int
    at_us: int
    place: str
    text: str


class HoursRecord(NamedTuple):
    """A job that ran the engine for some hours, or for so long as nobody wrote down."""

    task: str
    at_us: int
    hours_h: float | None
    record: str


class JudgedAnalysis(NamedTuple):
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


class TaskEvent(NamedTuple):
    """Something after which a task is due once.

    Attributes:
        at_us: when, UTC microseconds.
        text: what happened, in words.
        place: where that stands, as file:line; empty where it stands nowhere.
        kind: the key of its kind in the rule set.
        stands_alone: whether it is an occurrence of its own, whatever else is open.
    """

    at_us: int
    text: str
    place: str
    kind: str
    stands_alone: bool = False


class Occasion(NamedTuple):
    """An event after which a task was due, and what became of it.

    Attributes:
        event: the event.
        done: the first completion after it; None while there is none.
        again: how many further events came while it was open.
        last_again: the last of them.
    """

    event: TaskEvent
    done: Completion | None
    again: int = 0
    last_again: TaskEvent | None = None


class Occasions(NamedTuple):
    """What a task that is done once waited for.

    Attributes:
        opened: its occasions, in order of their events.
        undecided: what may have been an event, and cannot be judged.
        early: events before its records are complete: what was done after them is not known.
    """

    opened: tuple[Occasion, ...] = ()
    undecided: tuple[TaskEvent, ...] = ()
    early: tuple[TaskEvent, ...] = ()


@dataclass(frozen=True)
class EngineRecords:
    """One engine's records, by task id, each in order of time; `short_runs` come from the log, `occasions` of tasks done once from both."""

    completions: Mapping[str, Sequence[Completion]]
    deferrals: Mapping[str, tuple[DeferralRecord, ...]]
    partials: Mapping[str, tuple[PartialRecord, ...]]
    faults: tuple[Fault, ...]
    short_runs: Mapping[str, tuple[ShortRun, ...]] = field(default_factory=dict)
    hours: Mapping[str, tuple[HoursRecord, ...]] = field(default_factory=dict)
    analyses: Mapping[str, tuple[JudgedAnalysis, ...]] = field(default_factory=dict)
    occasions: Mapping[str, Occasions] = field(default_factory=dict)


def completion_put(entries: dict[int, Completion], made: Completion) -> None:
    """Put a completion among those of its task; of two at one moment a task's own stands."""
    earlier = entries.get(made.at_us)
    if earlier is None:
        entries[made.at_us] = made
        return
    own = made if made.by == made.task and earlier.by != earlier.task else earlier
    entries[made.at_us] = own._replace(makes_new=earlier.makes_new or made.makes_new)


def with_runs(  # noqa: PLR0913 - what was found, and what names and dates it
    records: EngineRecords,
    runs: Mapping[str, Sequence[LoggedRun]],
    short: Mapping[str, tuple[ShortRun, ...]],
    log: EngineLog,
    ruleset: RuleSet,
    days: LocalDays,
) -> EngineRecords:
    """Return the records with the runs that complete tasks, and those that fell short.

    Args:
        records: what the service records say.
        runs: task id -> its runs, in order of time.
        short: task id -> the runs that fell short of it.
        log: the engine's log, for the meter readings.
        ruleset: the rule set, for what a task renews.
        days: the site's local days.
    """
    closure = ruleset.renewed
    by_task = {task: {entry.at_us: entry for entry in entries} for task, entries in records.completions.items()}
    for task, found in runs.items():
        typed = {run.at_us: _typed_of(records, task, run, days) for run in found}
        counted = {entry.record for entries in typed.values() for entry in entries}
        for entries in by_task.values():
            for at_us in [at_us for at_us, entry in entries.items() if entry.by == task and entry.record in counted]:
                del entries[at_us]
        meters = log.course.meters_at(np.array([run.at_us for run in found], dtype=np.int64)).tolist()
        for run, meter_h in zip(found, meters, strict=True):
            also = "".join(f"; recorded in {entry.record}" for entry in typed[run.at_us])
            known_h = None if np.isnan(meter_h) else round(meter_h, 6)
            made = Completion(task, run.at_us, days.date_of(run.at_us), known_h, run.place, by=task, run=run.text + also)
            for renewed, makes_new in closure[task].items():
                completion_put(by_task.setdefault(renewed, {}), made._replace(task=renewed, makes_new=makes_new))
    completions = {task: tuple(entries[at_us] for at_us in sorted(entries)) for task, entries in by_task.items() if entries}
    return replace(records, completions=completions, short_runs=short)


def _typed_of(records: EngineRecords, task: str, run: LoggedRun, days: LocalDays) -> list[Completion]:
    """Return the task's own service records that are about a run: those of its day, or made during it."""
    day = days.date_of(run.at_us)
    own = [entry for entry in records.completions.get(task, ()) if entry.by == task]
    return [entry for entry in own if entry.day == day or run.start_us <= entry.at_us <= run.at_us]
