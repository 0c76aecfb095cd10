"""Runs of the log put among an engine's records: each a completion of its task, and of all that this renews.

In: the runs that were found, and the records. Out: the records with both. A service record of the same task on the day of a run, or
during it, tells of that run: the two are one, and the run's own end counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from intervals.history.engine_records import Completion, EngineRecords, LoggedRun, ShortRun, completion_put
from intervals.local_days import LocalDays
from intervals.rules.ruleset import RuleSet
from intervals.usage.engine_log import EngineLog


@dataclass(frozen=True)
class RowPlaces:
    """Where the rows of an engine's log stand, by time."""

    log: EngineLog
    days: LocalDays

    def at(self, at_us: int) -> str:
        """Return the first row at or after an instant, or the last one there is, as file:line."""
        best: tuple[int, int, str] | None = None
        for number, block in enumerate(self.log.blocks):
            row = min(int(np.searchsorted(block.at_us, at_us, side="left")), len(block.at_us) - 1)
            away = abs(int(block.at_us[row]) - at_us)
            place = "{}:{}".format(*block.place(row))
            best = min(best or (away, number, place), (away, number, place))
        return "" if best is None else best[2]

    def time(self, at_us: int) -> str:
        """Return local date and time, to the minute."""
        return self.days.moment(at_us).strftime("%Y-%m-%d %H:%M")


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
        told = {entry.record for entries in typed.values() for entry in entries}
        for entries in by_task.values():
            for at_us in [at_us for at_us, entry in entries.items() if entry.by == task and entry.record in told]:
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
    """Return the task's own service records that tell of a run: those of its day, or made during it."""
    day = days.date_of(run.at_us)
    own = [entry for entry in records.completions.get(task, ()) if entry.by == task]
    return [entry for entry in own if entry.day == day or run.start_us <= entry.at_us <= run.at_us]
