"""One engine made ready to be judged: its ledger, its records, and what the rules make of its duty.

In: the site, one engine's log and records, its rule book. Out: an `EngineCase` that gives, for any task and window, the legs,
the window rules that fired, and the weights of its duty cells. Every condition is put to the rule book; none is decided here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from intervals.faults import Fault
from intervals.history.cell_weights import Weights, weigh_cells
from intervals.history.engine_records import EngineRecords
from intervals.history.window_measures import NOTHING_H, LogBegin, Measurer, Spans
from intervals.language.conditions import Condition, comparisons_of
from intervals.local_days import HOUR_US, LocalDays
from intervals.rulebook.inference import FactValue, Verdict
from intervals.rulebook.rulebook import STARTS, RuleBook, cell_levels
from intervals.rulebook.standing_rules import Standings
from intervals.rules.tasks import Adjustment, Task
from intervals.site.model import Engine, Site
from intervals.usage.engine_log import EngineLog
from intervals.usage.ledger import Ledger
from intervals.usage.meter.meter_course import Floats
from intervals.usage.steps import Steps
from intervals.windows.due_dates import calendar_leg
from intervals.windows.legs import (
    CALENDAR,
    LEG_UNITS,
    RUNNING_HOURS,
    Effect,
    LegState,
    WindowRules,
    WindowStart,
    leg_state,
    numeric_lead,
    numeric_terms,
    rounded,
)

if TYPE_CHECKING:
    from intervals.judge.forecast import Pace

NO_METER = "no hour meter"
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
        untold_hours: task -> why its running hours are unknown, where no meter tells them.
        is_component: whether it is a component that moves between engines.
        is_one_of_several: whether other rule sets judge the engine too.
        steps: the elementary steps that the ledger sums up; None where the case was made without a log.
        paces: a memory of how fast each leg is used up, filled as needed.
        clock: a memory of instants by the site's clock, in days, filled as needed.
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
    untold_hours: dict[str, str] = field(default_factory=dict, repr=False)
    steps: Steps | None = field(default=None, repr=False)
    is_component: bool = False
    is_one_of_several: bool = False
    paces: dict[str, Pace] = field(default_factory=dict, repr=False)
    clock: dict[int, float] = field(default_factory=dict, repr=False)
    _weights: dict[tuple[str, ...], Weights] = field(default_factory=dict, repr=False)

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
        return {KIND: "engine", **self.engine.facts()}

    def may_be_for(self, applies_to: Condition | None) -> bool:
        """Tell whether a task or a budget may be for it: a component is asked only by those that ask what kind it is."""
        asked = () if applies_to is None else comparisons_of(applies_to)
        return not self.is_component or any(part.name == KIND for part in asked)

    @cached_property
    def end_edge(self) -> int:
        """The ledger's edge at the moment of judging."""
        return len(self.ledger.edges_us) - 1

    @cached_property
    def before_log_h(self) -> float:
        """Running hours of the ledger before the log began: known by the meter, and no row tells under what load."""
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

    @cached_property
    def factor_limits(self) -> tuple[float | None, float | None]:
        """How far all `interval_times` together may go: at least, at most."""
        limits = self.book.ruleset.limits
        return (
            None if limits.interval_times_at_least is None else float(limits.interval_times_at_least),
            None if limits.interval_times_at_most is None else float(limits.interval_times_at_most),
        )

    @cached_property
    def cell_facts(self) -> tuple[dict[str, float | None], ...]:
        """The representative levels of each duty cell."""
        return tuple(cell_levels(self.ledger.levels, cell, self.book.plan) for cell in self.ledger.cells)

    @cached_property
    def cell_verdicts(self) -> tuple[Verdict, ...]:
        """What the rule book says of each duty cell."""
        return tuple(self.book.duty.fire({**self.facts, **levels}) for levels in self.cell_facts)

    def weights(self, task: Task) -> Weights:
        """Return what each duty cell counts for a task."""
        key = self.weight_key(task)
        if key not in self._weights:
            hourly, per_start = self.book.hourly_for(task), self.book.per_start_for(task)
            limits = self.book.ruleset.limits
            self._weights[key] = weigh_cells(self.ledger, self.cell_verdicts, limits, hourly, per_start, self.starts_by_cell)
        return self._weights[key]

    def weight_key(self, task: Task) -> tuple[str, ...]:
        """Return the ids of the rules that weigh a task's hours: tasks of one key use up their hours alike."""
        return self.book.weight_key(task)

    @cached_property
    def starts_by_cell(self) -> Floats | None:
        """Starts by cell up to each edge, (n + 1) x c; None where no rule asks for them or none are counted."""
        counts = self.ledger.cell_counts.get(STARTS)
        return None if counts is None else np.concatenate((np.zeros((1, counts.shape[1])), np.cumsum(counts, axis=0)))

    def leg_totals(self, task: Task, leg: str) -> Floats | None:
        """Return a leg of use up to each edge: equivalent hours, or the counter's or amount's total; None where nothing tells."""
        if leg == RUNNING_HOURS:
            return self.weights(task).equivalent_h
        return self.ledger.totals.get(leg)

    def legs(  # noqa: PLR0913 - a window is its two ends and what its rules say
        self, task: Task, start: WindowStart, end_us: int, end_edge: int, end_day: date, effects: Sequence[Effect]
    ) -> tuple[LegState, ...] | None:
        """Return the legs of a window by the window rules that fired; None where no interval is in force on its last day."""
        every = task.every_in_force(end_day)
        if every is None:
            return None
        limits = self.factor_limits
        legs = []
        for name in every.legs:
            if name == CALENDAR:
                leg = calendar_leg(task, every, start, effects, end_day)
                legs.append(self._held(task, leg, end_us))
                continue
            base, allowed, recurring = numeric_terms(task, every, name, start.is_first, effects, limits)
            legs.append(self._use_leg(task, name, start, (base, allowed, recurring), end_us, end_edge))
        return tuple(legs)

    def _use_leg(  # noqa: PLR0913 - a leg is a window's two ends and three terms
        self, task: Task, name: str, start: WindowStart, terms: tuple[float, float, float], end_us: int, end_edge: int
    ) -> LegState:
        """Return a leg of use at the end of a window."""
        base, allowed, recurring = terms
        totals = self.leg_totals(task, name)
        running = None
        if name == RUNNING_HOURS:
            running = rounded(float(self.ledger.running_h[end_edge] - self.ledger.running_h[start.edge]))
        used, left, why = None, None, f"no {name} is logged"
        if totals is not None:
            used = rounded(start.carried.get(name, 0.0) + float(totals[end_edge] - totals[start.edge]))
            why = self._why_untold(name, start, end_edge)
            left = None if why else rounded(allowed - used)
            why = why or self._why_ended(name, start, used, allowed, end_us)
        if why:
            used = None
        unit = LEG_UNITS.get(name, "")
        lead = numeric_lead(task, name, allowed)
        return leg_state(name, unit, base, used, allowed, recurring, lead, is_known=not why, running_h=running, left=left, why_unknown=why)

    def told_to_us(self, name: str) -> int | None:
        """Return up to when the log tells of a leg of use: of running hours by the meter, of others by its rows."""
        if name == RUNNING_HOURS:
            return self.log.told_to_us
        return int(self.log.rows[-1]) if len(self.log.rows) else None

    def _why_untold(self, name: str, start: WindowStart, end_edge: int) -> str:
        """Return why the log does not tell of a leg of use even as far as it goes, or an empty text."""
        if self.told_to_us(name) is None:
            return f"{NO_METER} was ever read" if name == RUNNING_HOURS else "no row is known"
        if name == RUNNING_HOURS and float(self.ledger.unknown_up_to_h[end_edge] - self.ledger.unknown_up_to_h[start.edge]) > NOTHING_H:
            first = self.log.course.known_from_us if self.log.course.is_known else int(self.log.rows[0])
            return f"{NO_METER} tells {f'the hours before {self.days.iso(first)}' if first > start.at_us else 'some of its hours'}"
        return ""

    def _why_ended(self, name: str, start: WindowStart, used: float, allowed: float, end_us: int) -> str:
        """Return why the end of the log leaves a leg of use unknown, or an empty text: what is left of it could have been used since."""
        told_to = self.told_to_us(name)
        if told_to is None or used > allowed or self.silence_us(end_us) <= self.log.gap_us:
            return ""
        silent_us = self.log.active.between_us(min(end_us, max(told_to, start.at_us)), end_us)
        may_have_run = name != RUNNING_HOURS or rounded(allowed - used) <= silent_us / HOUR_US
        return self.log_ended_text(told_to) if may_have_run else ""

    def log_ended_text(self, told_to_us: int) -> str:
        """Return on which day the log ended, or its hour meter before its other rows, in words."""
        ended = "the hour meter was last read" if self.outlived_meter_us is not None else "the log ended"
        return f"{ended} on {self.days.last_day_before(told_to_us).isoformat()}"

    @cached_property
    def outlived_meter_us(self) -> int | None:
        """The last row before the moment of judging, where rows go on for longer than a gap after the last reading of the meter."""
        rows, told_to = self.log.rows[: int(self.log.rows.searchsorted(self.end_us, side="right"))], self.log.told_to_us
        return int(rows[-1]) if len(rows) and told_to is not None and int(rows[-1]) - told_to > self.log.gap_us else None

    def silence_us(self, end_us: int) -> int:
        """Return how long the log has been silent at an instant, lay-ups left out; zero while it goes on."""
        told_to = self.log.told_to_us
        return 0 if told_to is None or told_to >= end_us else self.log.active.between_us(told_to, end_us)

    def _held(self, task: Task, leg: LegState, end_us: int) -> LegState:
        """Return the calendar leg with word of a lay-up that its due date fell into, before the engine has run again."""
        if leg.due is None or task.in_lay_up == "counts" or not self.log.active.spans_us:
            return leg
        crossing = self.calendar_crossing_us(task, leg)
        waits = (leg.past_by or 0.0) > 0 and (crossing is None or crossing >= end_us)
        return leg if not waits else leg._replace(waits_for_start=True)

    def calendar_crossing_us(self, task: Task, leg: LegState) -> int | None:
        """Return when a calendar leg is crossed: the midnight after its line, or the first running after a lay-up it fell into."""
        if leg.line is None:
            return None
        crossing = self.days.midnight_us(date.fromordinal(leg.line.toordinal() + 1))
        line_us = self.days.midnight_us(leg.line)
        spans = [span for span in self.log.active.spans_us if span[0] <= line_us < span[1]]
        if not spans or task.in_lay_up == "counts":
            return crossing
        return self.first_running_us(crossing)

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

    def window_rules(self, task: Task, start: WindowStart, end_us: int, end_edge: int, end_day: date) -> WindowRules:
        """Return what the window rules of a task say of one window."""
        if not self.book.windowed_for(task):
            return WindowRules()
        return self.window_rules_of(task, _span_of(start, end_us, end_edge, end_day))[0]

    def window_rules_of(self, task: Task, spans: Spans) -> list[WindowRules]:
        """Return what the window rules of a task say of each of several windows, with the figures they asked for."""
        rules = self.book.windowed_for(task)
        count = len(spans.start_edges)
        effects: list[list[Effect]] = [[] for _ in range(count)]
        untold: list[list[Adjustment]] = [[] for _ in range(count)]
        columns: dict[float, dict[str, list[float]]] = {}
        verdicts: dict[float, list[Verdict]] = {}
        for rule in rules:
            share = float(rule.known_share_at_least)
            if share not in columns:
                columns[share] = self._measured(spans, share)
                verdicts[share] = self.book.window.fire_each(self.facts, columns[share], count)
            for index, verdict in enumerate(verdicts[share]):
                is_untold = rule.id in verdict.unknown
                if rule.id in verdict.holds or (is_untold and rule.when_unknown == "holds"):
                    effects[index].append(Effect(rule, self.facts | _row(columns[share], index)))
                if is_untold:
                    untold[index].append(rule)
        return [WindowRules(tuple(fired), tuple(others)) for fired, others in zip(effects, untold, strict=True)]

    def measures(self, start: WindowStart, end_us: int, end_edge: int, end_day: date, known_share: float) -> dict[str, FactValue]:
        """Return every measure of a window that some rule asks for; None where it is unknown."""
        return _row(self._measured(_span_of(start, end_us, end_edge, end_day), known_share), 0)

    def _measured(self, spans: Spans, known_share: float) -> dict[str, list[float]]:
        """Return every measure that some rule asks for: its value in each of several windows, NaN where it is unknown."""
        log = LogBegin(self.log.covers_from_us, self.before_log_h)
        measurer = Measurer(self.ledger, self.cell_verdicts, self.site.oil_density_kg_per_l, known_share, log)
        covered_us = self.log.covered_to_us(self.end_us)
        if covered_us < self.end_us:
            # use a day is that of the days that the log covers, and no start or top-up is held against hours that no meter tells yet
            covered_edge = int(self.ledger.edges_us.searchsorted(covered_us, side="right")) - 1
            spans = spans._replace(
                end_us=np.clip(spans.end_us, spans.start_us, np.maximum(spans.start_us, covered_us)),
                end_edges=np.clip(spans.end_edges, spans.start_edges, np.maximum(spans.start_edges, covered_edge)),
            )
        return {name: measurer.measure(name, spans).tolist() for name in self.book.measures}


def _row(columns: Mapping[str, Sequence[float]], index: int) -> dict[str, FactValue]:
    """Return the measures of one of several windows; None where one is unknown."""
    return {name: None if math.isnan(column[index]) else column[index] for name, column in columns.items()}


def _span_of(start: WindowStart, end_us: int, end_edge: int, end_day: date) -> Spans:
    """Return one window as spans."""
    ends = ((start.edge,), (end_edge,), (start.at_us,), (end_us,), (start.day.toordinal(),), (end_day.toordinal(),))
    return Spans(*(np.array(end, dtype=np.int64) for end in ends))
