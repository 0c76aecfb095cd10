"""Levels in the log after which a task is due: when a condition came to hold, or had held for so many running minutes in a row.

In: an engine's log, its rule book. Out: the moments, and what no row shows. Every condition is put to the rule book, once for each duty
cell; whether it held for long enough is a rule. At standstill no level counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Flags, Floats
from intervals.history.engine_records import TaskEvent
from intervals.history.task_runs import LOAD_LEVELS, LogSpan, RowPlaces, stretches_of
from intervals.language.phrases import phrase_of
from intervals.local_days import LocalDays
from intervals.rulebook.inference import FactValue, Verdict
from intervals.rulebook.level_rules import judge_steps
from intervals.rulebook.rulebook import RuleBook
from intervals.rulebook.standings import Standings
from intervals.rules.events import Event
from intervals.usage.engine_log import EngineLog
from intervals.usage.engine_runs import EngineRuns, find_engine_runs
from intervals.usage.steps import Steps, build_steps

_GRAIN_MIN = 1e-6


@dataclass(frozen=True)
class LevelStretches:
    """Looks through one engine's log for conditions on levels.

    Attributes:
        log: the engine's log.
        book: its rule book.
        standings: the shared rules.
        days: the site's local days.
        span: the part of the log that is looked through.
    """

    log: EngineLog
    book: RuleBook
    standings: Standings
    days: LocalDays
    span: LogSpan

    @classmethod
    def of(  # noqa: PLR0913 - what places, judges and bounds the stretches
        cls, log: EngineLog, book: RuleBook, standings: Standings, days: LocalDays, *, end_us: int, includes_end: bool
    ) -> LevelStretches | None:
        """Return what looks through a log; None where no task waits for a level, or there is no log."""
        is_asked = any(event.kind == "when" for task in book.ruleset.tasks for event in task.events)
        if not is_asked or not len(log.rows) or not log.blocks:
            return None
        span = LogSpan.of(log, end_us, includes_end=includes_end)
        return cls(log, book, standings, days, span) if span.end_us > span.start_us else None

    @cached_property
    def _steps(self) -> Steps:
        """The engine's elementary steps, cut by its rows alone."""
        none = np.zeros(0, dtype=np.int64)
        steps, _ = build_steps(self.log, none, (self.span.start_us, self.span.end_us), self.book.run_plan.levels | LOAD_LEVELS)
        return steps

    @cached_property
    def _runs(self) -> EngineRuns:
        """The engine's runs."""
        resolution_h = self.log.course.resolutions_at(self._steps.at_us[:-1])
        return find_engine_runs(self._steps, resolution_h, log_from_us=self.log.covers_from_us or 0)

    @cached_property
    def _ran(self) -> Flags:
        """The steps on which the engine ran."""
        ran: Flags = (np.where(self._steps.is_known, self._steps.hours_h, 0.0) > 0) | (self._runs.minutes > 0)
        return ran

    @cached_property
    def _verdicts(self) -> tuple[NDArray[np.int64], list[Verdict]]:
        """The cell of each step (-1 at standstill), and what the rule book says of each cell, judged once."""
        plan, ran = self.book.run_plan, self._ran
        facts: dict[str, FactValue] = dict(self.log.facts(self.days))
        known = {level: self._steps.levels[level][ran] for level in plan.thresholds if level in self._steps.levels}
        judged = judge_steps(self.book.runs, known, plan.thresholds, int(ran.sum()), facts)
        cell = np.full(len(ran), -1, dtype=np.int64)
        cell[ran] = judged.cell
        return cell, judged.verdicts

    def _where(self, rule: str, *, unknown: bool = False) -> Flags:
        """Return the steps on which a condition holds, or is unknown."""
        cell, verdicts = self._verdicts
        # the last entry stands for standstill
        flags = [rule in (verdict.unknown if unknown else verdict.holds) for verdict in verdicts]
        return np.array([*flags, False], dtype=np.bool_)[cell]

    def look(self, rule: str, event: Event) -> tuple[tuple[TaskEvent, ...], tuple[TaskEvent, ...]]:
        """Return when a condition had held for long enough, once for each stretch; and where no row ever tells, that it is unknown.

        Args:
            rule: the name of its condition among the rules.
            event: what is asked.
        """
        if event.when is None or not self.book.runs.rules.get(rule):
            return (), ()
        needed, steps = float(event.for_min or 0.0), self._steps
        holds, text = self._where(rule), phrase_of(event.when)
        if self._ran.any() and not (self._ran & ~self._where(rule, unknown=True)).any():
            return (), (TaskEvent(self.span.latest_us, f"no row tells {text}", "", "when"),)
        minutes: Floats = self._runs.minutes if needed else np.where(self._ran, 1.0, 0.0)
        spans = self._runs.spans if needed else ((0, len(holds)),)
        places, found = RowPlaces(self.log, self.days), []
        for first, end in spans:
            for low, high in stretches_of(holds[first:end]):
                ran = np.cumsum(minutes[first + low : first + high])
                if not self._is_enough(needed - float(ran[-1])):
                    continue
                at_us = int(steps.at_us[first + low + int(np.searchsorted(ran, needed - _GRAIN_MIN)) + 1])
                held = f"{text} for {needed:g} min" if needed else text
                found.append(TaskEvent(min(at_us, self.span.latest_us), held, places.at(at_us), "when"))
        return tuple(found), ()

    def _is_enough(self, short_by_min: float) -> bool:
        """Put it to the rules whether a condition held for long enough."""
        situation = ("level-held", round(short_by_min, 6))
        return self.standings.judged_once(
            situation, lambda: "run-long-enough" in self.standings.runs.fire({"short_by_min": short_by_min}).holds
        )


__all__ = ["LevelStretches"]
