"""One engine made ready to be judged: its ledger, its records, and what the rules make of its duty.

In: the site, one engine's log and records, its rule book. Out: an `EngineCase` that gives, for any task and window, the legs,
the window rules that fired, and the weights of its duty cells. Every condition is put to the rule book; none is decided here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np

from intervals.arrays import Floats, Instants
from intervals.faults import Fault
from intervals.history.cell_weights import CellCount, Weights, count_of_cell, weigh_cells
from intervals.history.engine_records import EngineRecords
from intervals.history.results import ResultSources, TaskResults
from intervals.history.window_measures import NOTHING_H, Life
from intervals.language.conditions import Condition, comparisons_of
from intervals.language.legs import ELAPSED_HOURS, RUNNING_HOURS
from intervals.local_days import HOUR_US, LocalDays
from intervals.rulebook.duty_cells import cell_levels
from intervals.rulebook.inference import FactValue, Verdict
from intervals.rulebook.rulebook import STARTS, RuleBook
from intervals.rulebook.standings import Standings
from intervals.rules.effects.rule_effect import Bounds
from intervals.rules.tasks import Task
from intervals.site.model import Engine, Site
from intervals.usage.engine_log import EngineLog
from intervals.usage.ledger import Ledger
from intervals.usage.steps import Steps

NO_METER = "no hour meter"
METER_GAP = "the hour meter does not cover"
KIND = "kind"


@dataclass
class EngineCase:
    """Everything needed to judge one engine at one moment.

    Attributes:
        site: the site.
        engine: the engine.
        log: what was read of it.
        records: what was done on it.
        ledger: its usage, cut at every completion and at the end.
        book: its rule book.
        days: the site's local days.
        end_us: the moment of judging (or the engine's last moment, if that is earlier).
        last_day: the last day that it covers.
        standings: the shared rules.
        faults: what is wrong with its data, as far as it is known.
        unknown_hours: task -> why its running hours are unknown, where no meter shows them.
        is_component: whether it is a component that moves between engines.
        is_one_of_several: whether other rule sets judge the engine too.
        steps: the elementary steps that the ledger sums up; None where the case was made without a log.
        paces: a memory of how fast each leg was used up lately, filled as needed.
        uses: a memory of what was used of each leg and how the rest will be, filled as needed.
        clock: a memory of instants by the site's clock, in days, filled as needed.
        sources: what results are taken from, for tasks whose interval they choose.
        choices: a memory of what results chose, by task and instant, filled as needed.
    """

    site: Site
    engine: Engine
    log: EngineLog
    records: EngineRecords
    ledger: Ledger
    book: RuleBook
    days: LocalDays
    end_us: int
    last_day: date
    standings: Standings
    faults: list[Fault] = field(default_factory=list, repr=False)
    unknown_hours: dict[str, str] = field(default_factory=dict, repr=False)
    steps: Steps | None = field(default=None, repr=False)
    is_component: bool = False
    is_one_of_several: bool = False
    paces: dict[str, float | None] = field(default_factory=dict, repr=False)
    uses: dict[str, Any] = field(default_factory=dict, repr=False)
    clock: dict[int, float] = field(default_factory=dict, repr=False)
    sources: ResultSources = field(default_factory=ResultSources, repr=False)
    choices: dict[tuple[str, int], Any] = field(default_factory=dict, repr=False)
    _weights: dict[tuple[str, ...], Weights] = field(default_factory=dict, repr=False)
    _weights_of: dict[str, Weights] = field(default_factory=dict, repr=False)

    @property
    def ruleset(self) -> str:
        """Id of the rule set that judges it here."""
        return self.book.ruleset.ruleset

    def name_of(self, task: str) -> str:
        """Return a task's id as a sentence about the engine names it: with its rule set where several judge the engine."""
        return f"{self.ruleset}.{task}" if self.is_one_of_several else task

    def title_of(self, task: Task) -> str:
        """Return a task's title as a report of the engine gives it: with its rule set where several judge the engine."""
        return f"{task.title} ({self.ruleset})" if self.is_one_of_several else task.title

    @cached_property
    def facts(self) -> dict[str, FactValue]:
        """What the engine states of itself."""
        return {KIND: "engine", **self.log.facts(self.days)}

    def may_be_for(self, applies_to: Condition | None) -> bool:
        """Tell whether a task or a budget may be for it: a component is asked only by those that ask what kind it is."""
        asked = () if applies_to is None else comparisons_of(applies_to)
        return not self.is_component or any(part.name == KIND for part in asked)

    @cached_property
    def end_edge(self) -> int:
        """The ledger's edge at the moment of judging."""
        return len(self.ledger.edges_us) - 1

    @property
    def life(self) -> Life:
        """What is known of its life: its first day, and its hours at any instant.

        It is made anew each time: kept here it would hold the case, which holds it, and no case were freed before the next one is judged.
        """
        in_service_us = self.log.in_service_us
        return Life(None if in_service_us is None else self.days.date_of(in_service_us), self._life_hours_at)

    def _life_hours_at(self, at_us: Instants) -> Floats:
        """Return what the hour meter would show at some instants, had it never been changed; without one the hours since its first day.

        Unknown before the first reading; without a meter, where it is not known at every hour since its first day whether it ran.
        """
        course, in_service_us = self.log.course, self.log.in_service_us
        if course.is_known:
            first: Instants = course.at_us[:1]
            hours: Floats = course.hours_at(at_us) + float(course.reading_h[0]) + float(course.changes.bridged_before(first)[0])
            return hours
        if in_service_us is None or in_service_us < int(self.ledger.edges_us[0]):
            return np.full(len(at_us), np.nan)
        edges = self.ledger.edges_us.searchsorted(at_us, side="right") - 1
        begin = self.ledger.edge(in_service_us)
        unknown = self.ledger.unknown_up_to_h[edges] - self.ledger.unknown_up_to_h[begin]
        return np.where((edges >= begin) & (unknown <= NOTHING_H), self.ledger.running_h[edges] - self.ledger.running_h[begin], np.nan)

    @cached_property
    def before_log_h(self) -> float:
        """Running hours of the ledger before the log began: known by the meter, and no row shows under what load."""
        from_us = self.log.covers_from_us
        ran_h = None if from_us is None else self.log.course.hours_at_one(from_us)
        if ran_h is None:
            return 0.0
        return max(0.0, ran_h - (self.log.course.hours_at_one(int(self.ledger.edges_us[0])) or 0.0))

    @cached_property
    def records_from_us(self) -> int | None:
        """From when on the engine's records are complete: its own word, the site's, else its first day."""
        value = self.site.records_from_of(self.engine)
        return self.log.in_service_us if value is None else self.site.instant_us(value)

    def results_of(self, task: Task) -> TaskResults:
        """Return the results that a task's table may ask for."""
        return TaskResults(task, self.log, self.records, self.records_from_us, self.sources, self.standings)

    @property
    def limits(self) -> Mapping[str, Bounds]:
        """How far all effects of one class together may go, by key."""
        return self.book.ruleset.limits.bounds

    @cached_property
    def cell_verdicts(self) -> tuple[Verdict, ...]:
        """What the rule book says of each duty cell; engines that state the same are in the same situation in it."""
        known = self.book.verdicts_of_cells(self.facts)
        for cell in self.ledger.cells:
            if cell not in known:
                known[cell] = self.book.duty.fire({**self.facts, **cell_levels(cell, self.book.plan.thresholds)})
        return tuple([known[cell] for cell in self.ledger.cells])

    def weights(self, task: Task) -> Weights:
        """Return what each duty cell counts for a task."""
        known = self._weights_of.get(task.id)
        if known is None:
            key = self.weight_key(task)
            if key not in self._weights:
                self._weights[key] = weigh_cells(
                    self.ledger,
                    self._counts_of_cells(task, key),
                    self.starts_by_cell,
                    leaves_unknown=any(rule.effect.leaves_unknown for rule in self.book.hourly_for(task)),
                    weighs_starts=bool(self.book.per_start_for(task)),
                )
            known = self._weights_of[task.id] = self._weights[key]
        return known

    def _counts_of_cells(self, task: Task, key: tuple[str, ...]) -> list[CellCount]:
        """Return what each of its duty cells counts for a task, worked out once for all cells of which the rule book says the same."""
        known: dict[Verdict, CellCount] = self.book.counts_of_cells.setdefault(key, {})
        for verdict in self.cell_verdicts:
            if verdict not in known:
                known[verdict] = count_of_cell(verdict, self.limits, self.book.hourly_for(task), self.book.per_start_for(task))
        return [known[verdict] for verdict in self.cell_verdicts]

    def unknown_up_to_h(self, task: Task) -> Floats:
        """Return the hours up to each edge of which it is not known what they count for a task: no meter covers them, or no rule."""
        outside_h = self.weights(task).outside_h
        return self.ledger.unknown_up_to_h if outside_h is None else self.ledger.unknown_up_to_h + outside_h

    def weight_key(self, task: Task) -> tuple[str, ...]:
        """Return the ids of the rules that weigh a task's hours: tasks of one key use up their hours alike."""
        return self.book.weight_key(task)

    @cached_property
    def starts_by_cell(self) -> Floats | None:
        """Starts by cell up to each edge, (n + 1) x c; None where no rule asks for them or none are counted."""
        counts = self.ledger.cell_counts.get(STARTS)
        return None if counts is None else np.concatenate((np.zeros((1, counts.shape[1])), np.cumsum(counts, axis=0)))

    def leg_totals(self, task: Task, leg: str) -> Floats | None:
        """Return a leg of use up to each edge: equivalent hours, or the counter's or amount's total; None where it is unknown.

        Returns:
            One total per edge of the ledger, from zero, in the leg's unit; running hours are weighed by the task's rules.
        """
        if leg == RUNNING_HOURS:
            return self.weights(task).equivalent_h
        return self.elapsed_h if leg == ELAPSED_HOURS else self.ledger.totals.get(leg)

    @cached_property
    def elapsed_h(self) -> Floats:
        """Hours of the clock from the ledger's first edge to each."""
        elapsed: Floats = (self.ledger.edges_us - self.ledger.edges_us[0]) / HOUR_US
        return elapsed

    def log_end_us_of(self, name: str) -> int | None:
        """Return up to when the log covers a leg of use: of running hours by the meter, of others by its rows.

        Args:
            name: the leg.

        Returns:
            UTC microseconds; None where no meter, or no row, was ever read.
        """
        if name == RUNNING_HOURS:
            return self._meter_end_us
        if name == ELAPSED_HOURS:
            return self.end_us
        return int(self.log.rows[-1]) if len(self.log.rows) else None

    @cached_property
    def _meter_end_us(self) -> int | None:
        """Up to when the log covers running hours."""
        return self.log.log_end_us

    def log_ended_text(self, log_end_us: int) -> str:
        """Return on which day the log ended, in words, or its hour meter before its other rows, or a reading by hand after them."""
        is_of_meter = self.outlived_meter_us is not None or self.is_read_by_hand_last
        ended = "the hour meter was last read" if is_of_meter else "the log ended"
        return f"{ended} on {self.days.last_day_before(log_end_us).isoformat()}"

    @property
    def is_read_by_hand_last(self) -> bool:
        """Whether the last reading of the hour meter is one that a service record gives, after the last row."""
        rows, log_end_us = self.log.rows, self.log.log_end_us
        return log_end_us is not None and (not len(rows) or int(rows[-1]) < log_end_us)

    @cached_property
    def outlived_meter_us(self) -> int | None:
        """The last row before the moment of judging, where rows go on for longer than a gap after the last reading of the meter."""
        rows, log_end_us = self.log.rows[: int(self.log.rows.searchsorted(self.end_us, side="right"))], self.log.log_end_us
        return int(rows[-1]) if len(rows) and log_end_us is not None and int(rows[-1]) - log_end_us > self.log.gap_us else None

    def silence_us(self, end_us: int) -> int:
        """Return how long the log has been silent at an instant, lay-ups left out; zero while it goes on."""
        log_end_us = self._meter_end_us
        return 0 if log_end_us is None or log_end_us >= end_us else self.log.active.between_us(log_end_us, end_us)

    @cached_property
    def is_silent(self) -> bool:
        """Whether the log has been silent for longer than its gap at the moment of judging."""
        return self.silence_us(self.end_us) > self.log.gap_us

    def first_running_us(self, from_us: int) -> int | None:
        """Return when the engine first ran at or after an instant, or None where it has not."""
        course = self.log.course
        if not course.is_known:
            return None
        before = course.hours_at_one(from_us)
        line_us, line_h = course.line
        later = np.flatnonzero((line_us > from_us) & (line_h > (before or 0.0) + NOTHING_H))
        if not len(later):
            return None
        index = int(later[0])
        began_us = max(from_us, int(line_us[index - 1]) if index else from_us)
        # a step that leads out of a lay-up ran after it
        over_us = [end for start, end in self.log.active.spans_us if start <= began_us < end <= int(line_us[index])]
        return max([began_us, *over_us])
