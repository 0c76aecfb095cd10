"""Tasks done by the log: runs in the readings that complete a task, and runs that fell short of it.

In: an engine's log, its rule book. Out: the runs that complete tasks, which `with_runs` puts among its records. Every condition
is put to the rule book, once for each different duty cell; how long a run is, is arithmetic, and whether that is enough is a rule.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from intervals.arrays import Flags, Floats
from intervals.faults import Fault
from intervals.history.engine_records import LoggedRun, ShortRun
from intervals.history.step_conditions import StepConditions
from intervals.language.done_when import DoneWhen
from intervals.language.phrases import part_text, short_run_text
from intervals.local_days import LocalDays
from intervals.rulebook.inference import FactValue
from intervals.rulebook.rulebook import RuleBook, run_rule
from intervals.rulebook.standings import Standings
from intervals.rules.tasks import Task
from intervals.shown_numbers import amount
from intervals.usage.engine_log import EngineLog
from intervals.usage.engine_runs import EngineRuns, find_engine_runs
from intervals.usage.steps import Steps, build_steps

LOAD_LEVELS = frozenset({"load_kw", "load_pct"})


class LogSpan(NamedTuple):
    """The part of an engine's log in which runs are looked for.

    Attributes:
        start_us: its first instant, no later than the first row.
        end_us: the moment of judging.
        latest_us: the latest instant at which a completion counts.
    """

    start_us: int
    end_us: int
    latest_us: int

    @classmethod
    def of(cls, log: EngineLog, end_us: int, *, includes_end: bool) -> LogSpan:
        """Return the span from the first thing that is known of an engine to the moment of judging."""
        known = [int(log.rows[0])]
        known += [] if log.in_service_us is None else [log.in_service_us]
        known += [log.course.known_from_us] if log.course.is_known else []
        return cls(min(known), end_us, end_us if includes_end else end_us - 1)


class RunsFound(NamedTuple):
    """What an engine's log shows of the runs that one rule set asks for.

    Attributes:
        runs: task id -> the runs that complete it, in order of time.
        short: task id -> the runs that fell short of it.
        faults: rows in which no run can be seen.
    """

    runs: dict[str, list[LoggedRun]]
    short: dict[str, tuple[ShortRun, ...]]
    faults: tuple[Fault, ...]


def find_runs(  # noqa: PLR0913 - what places, judges and bounds the runs
    log: EngineLog, book: RuleBook, days: LocalDays, standings: Standings, *, end_us: int, includes_end: bool = False
) -> RunsFound | None:
    """Return the runs by which an engine's log completes tasks, and those that fell short; None where no run is looked for.

    Args:
        log: the engine's log.
        book: its rule book.
        days: the site's local days.
        standings: the shared rules.
        end_us: the moment of judging; what runs on then, and has run for long enough, counts.
        includes_end: whether a completion at that very instant counts.
    """
    facts: dict[str, FactValue] = {**log.facts(days)}
    tasks = [task for task in book.ruleset.tasks if task.done_when is not None]
    fits = book.fits.fire(facts).holds if tasks else ()
    tasks = [task for task in tasks if task.applies_to is None or task.id in fits]
    if not tasks or not len(log.rows):
        return None
    span = LogSpan.of(log, end_us, includes_end=includes_end)
    if span.end_us <= span.start_us:
        return None
    finder = _Finder(_steps_of(log, book, span), log, book, facts, standings, RowPlaces(log, days), span)
    looked = {task.id: finder.look(task, task.done_when) for task in tasks if task.done_when is not None}
    least = min(tasks, key=_asked_min).id
    completed = {number for attempts in looked.values() for number in attempts.completing}
    runs = {name: attempts.done for name, attempts in looked.items()}
    short = {
        name: tuple(
            run._replace(completed_other=number in completed, is_other=name != least or number in completed)
            for number, run in attempts.short
        )
        for name, attempts in looked.items()
    }
    faults: tuple[Fault, ...] = ()
    if finder.runs.unknown_h > 0:
        text = f"{amount(round(finder.runs.unknown_h, 6), 'h')} in rows too coarse to show a run: no {', '.join(runs)} is found in them"
        faults = (Fault(log.engine.id, "runs_not_told", None, None, None, text),)
    return RunsFound(runs, short, faults)


def _asked_min(task: Task) -> float:
    """Return the minutes that a task's run asks for in all."""
    return float(sum(part.running_min for part in task.run_parts))


def _steps_of(log: EngineLog, book: RuleBook, span: LogSpan) -> Steps:
    """Return the engine's elementary steps, cut by its rows alone."""
    none = np.zeros(0, dtype=np.int64)
    steps, _ = build_steps(log, none, (span.start_us, span.end_us), book.run_plan.levels | LOAD_LEVELS)
    return steps


class _Attempt(NamedTuple):
    """How far a stretch of a run went: the parts it met, and the most minutes in a row of the first that it did not."""

    met: tuple[float, ...]
    minutes: float
    short_by: float
    is_met: bool = False


class _Looked(NamedTuple):
    """The runs that complete a task, the numbers of the engine's runs they are part of, and by number those that fell short."""

    done: list[LoggedRun]
    completing: set[int]
    short: list[tuple[int, ShortRun]]


@dataclass(frozen=True)
class _Finder:
    """Looks through one engine's steps for the runs of a task."""

    steps: Steps
    log: EngineLog
    book: RuleBook
    facts: Mapping[str, FactValue]
    standings: Standings
    places: RowPlaces
    span: LogSpan

    @cached_property
    def runs(self) -> EngineRuns:
        """The engine's runs."""
        resolution_h = self.log.course.resolutions_at(self.steps.at_us[:-1])
        return find_engine_runs(self.steps, resolution_h, log_from_us=self.log.covers_from_us or 0)

    @cached_property
    def _conditions(self) -> StepConditions:
        """What the rules about runs say of each step."""
        return StepConditions(self.steps, self.runs.minutes > 0, self.book, self.facts)

    def look(self, task: Task, done_when: DoneWhen) -> _Looked:
        """Return the runs that complete a task, and those that fell short of it."""
        running = self.runs.minutes > 0
        parts = enumerate(task.run_parts)
        holds = [running if part.when is None else running & self._conditions.where(run_rule(task, index)) for index, part in parts]
        any_holds = np.logical_or.reduce(holds)
        found = _Looked([], set(), [])
        for number, (first, end) in enumerate(self.runs.spans):
            stretches = [(first + low, first + high) for low, high in stretches_of(any_holds[first:end])]
            attempts = [self._attempt(done_when, holds, low, high) for low, high in stretches]
            met = [(low, high, attempt) for (low, high), attempt in zip(stretches, attempts, strict=True) if attempt.is_met]
            found.done.extend(self._logged(task, low, high, attempt) for low, high, attempt in met)
            if met:
                found.completing.add(number)
            elif not self._is_under_way(end):
                begun_min = float(self.runs.minutes[first:end][holds[0][first:end]].sum())
                short = self._fell_short(task, done_when, (first, end), attempts)
                found.short.append((number, short._replace(first_part_min=begun_min)))
        return found

    def _attempt(self, done_when: DoneWhen, holds: Sequence[Flags], low: int, high: int) -> _Attempt:
        """Return how many parts a stretch met in order, each as early as it could."""
        sampling = float(done_when.sampling_min)
        axis = np.concatenate(([0.0], np.cumsum(self.runs.minutes[low:high])))
        reached = 0.0
        met: list[float] = []
        for part, flags in zip(done_when.parts, holds, strict=True):
            needed = float(part.running_min)
            rows = [(max(float(axis[a]), reached), float(axis[b])) for a, b in stretches_of(flags[low:high])]
            enough = next(((start, end) for start, end in rows if self._is_enough(needed - sampling - (end - start))), None)
            if enough is None:
                most = max((end - start for start, end in rows), default=0.0)
                return _Attempt(tuple(met), max(0.0, most), needed - sampling - max(0.0, most))
            met.append(enough[1] - enough[0])
            reached = enough[0] + min(enough[1] - enough[0], needed)
        return _Attempt(tuple(met), 0.0, 0.0, is_met=True)

    def _is_enough(self, short_by_min: float) -> bool:
        """Put it to the rules whether a part of a run is long enough."""
        return "run-long-enough" in self.standings.runs.fire({"short_by_min": short_by_min}).holds

    def _is_under_way(self, end: int) -> bool:
        """Tell whether a run may still be going on where the log ends."""
        last_us = min(self.span.end_us, int(self.log.rows[-1]))
        return bool(self.runs.is_full[end - 1]) and int(self.steps.at_us[end]) >= last_us

    def _logged(self, task: Task, low: int, high: int, attempt: _Attempt) -> LoggedRun:
        """Return a run that completes a task."""
        start_us, end_us = int(self.steps.at_us[low]), int(self.steps.at_us[high])
        parts = [part_text(minutes, part) for minutes, part in zip(attempt.met, task.run_parts, strict=True)]
        return LoggedRun(start_us, min(end_us, self.span.latest_us), self.places.at(end_us), ", then ".join(parts))

    def _fell_short(self, task: Task, done_when: DoneWhen, span: tuple[int, int], attempts: Sequence[_Attempt]) -> ShortRun:
        """Return a run that fell short: the stretch of it that went furthest, and what that lacked."""
        first, end = span
        none = _Attempt((), 0.0, float(done_when.parts[0].running_min - done_when.sampling_min))
        best = max(attempts, key=lambda attempt: (len(attempt.met), attempt.minutes), default=none)
        index, at_us = len(best.met), int(self.steps.at_us[end])
        ran, asked = float(self.runs.minutes[first:end].sum()), _asked_min(task)
        met = float(sum(part.running_min for part in done_when.parts[:index])) + best.minutes
        ended = f"{self.places.time(at_us)} ({self.places.at(at_us)})"
        text = short_run_text(ran, ended, done_when, index, best.minutes, self._unknown_min(task, index, first, end))
        return ShortRun(
            task.id,
            min(at_us, self.span.latest_us),
            best.short_by,
            met / asked,
            ran / asked,
            first_part_min=0.0,
            completed_other=False,
            is_other=False,
            text=f"{task.title}: {text}",
        )

    def _unknown_min(self, task: Task, index: int, first: int, end: int) -> float:
        """Return on how many minutes of a run a part's condition is unknown."""
        if task.run_parts[index].when is None:
            return 0.0
        minutes: Floats = self.runs.minutes[first:end]
        return float(minutes[self._conditions.where(run_rule(task, index), unknown=True)[first:end]].sum())


def stretches_of(flags: Flags) -> list[tuple[int, int]]:
    """Return where flags are set in a row: the first place and the one after the last."""
    edges = np.diff(np.concatenate(([0], flags.astype(np.int8), [0])))
    return list(zip(np.flatnonzero(edges > 0).tolist(), np.flatnonzero(edges < 0).tolist(), strict=True))


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
