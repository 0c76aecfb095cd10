"""Closed windows of a plain task, judged together: equal situations are one situation, and each is judged once.

In: a task whose every window starts at zero and is allowed the same. Out: the windows on which some rule about skipped work
fires. Figures become cells (below, at, above their line) as levels do in the ledger; durable-rules judges each different cell.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from intervals.inference import FactValue
from intervals.judge.cases import EngineCase
from intervals.judge.completions import Completion
from intervals.judge.measures import Spans
from intervals.judge.windows import DECIMALS, Effect, WindowStart, numeric_terms
from intervals.language.durations import CalendarStep
from intervals.rules.tasks import Task
from intervals.usage.course import Floats

Flags = NDArray[np.bool_]
Indexes = NDArray[np.int64]


@dataclass(frozen=True)
class Visits:
    """The visits of one engine, rising: instants, edges of the ledger, local day numbers, and whose they are."""

    at_us: Indexes
    edges: Indexes
    days: Indexes
    tasks: tuple[str, ...]


@dataclass(frozen=True)
class _PlainLeg:
    """One leg of all windows: what is allowed, a full interval after that, what was used, and its total or day at any edge."""

    allowed: Floats
    recurring: Floats
    used: Floats
    used_at: Callable[[Indexes, Indexes], Floats]


class PlainWindows:
    """All closed windows of one plain task of one engine."""

    def __init__(self, case: EngineCase, task: Task, first_start: WindowStart | None, completions: Sequence[Completion]) -> None:
        self.case, self.task = case, task
        ends = completions if first_start is not None else completions[1:]
        self.ends = ends
        self.start_dates = [completion.day for completion in completions[:-1]]
        starts_us = [completion.at_us for completion in completions[:-1]]
        if first_start is not None:
            self.start_dates.insert(0, first_start.day)
            starts_us.insert(0, first_start.at_us)
        self.start_us = np.array(starts_us, dtype=np.int64)
        self.start_days = np.array([day.toordinal() for day in self.start_dates], dtype=np.int64)
        self.end_days = np.array([completion.day.toordinal() for completion in ends], dtype=np.int64)
        edge = case.ledger.edge
        self.start_edges = np.array([edge(at_us) for at_us in starts_us], dtype=np.int64)
        self.end_edges = np.array([edge(completion.at_us) for completion in ends], dtype=np.int64)
        self.legs = self._legs() if starts_us else []

    def _effects(self) -> list[tuple[Effect, ...]]:
        """Return the window rules that fired on each window."""
        if not self.case.book.windowed_for(self.task):
            return [()] * len(self.start_us)
        edges = self.case.ledger.edges_us
        spans = Spans(self.start_edges, self.end_edges, self.start_us, edges[self.end_edges], self.start_days, self.end_days)
        return self.case.effects_of(self.task, spans)

    def _legs(self) -> list[_PlainLeg] | None:
        """Return every leg, or None where one of them cannot be known."""
        legs = []
        effects = self._effects()
        for name, base in self.task.every[0].legs.items():
            if isinstance(base, CalendarStep):
                legs.append(self._calendar_leg(base))
                continue
            totals = self.case.leg_totals(self.task, name)
            if totals is None or self.case.is_untold(name, self.start_edges, self.end_edges).any():
                return None
            used = np.round(totals[self.end_edges] - totals[self.start_edges], DECIMALS)
            allowed, recurring = self._terms(name, effects)
            legs.append(_PlainLeg(allowed, recurring, used, self._use_at(totals)))
        return legs

    def _calendar_leg(self, base: CalendarStep) -> _PlainLeg:
        """Return the calendar leg: local dates; a full interval more is worked out where the due date has passed."""
        due = np.array([base.after(day).toordinal() for day in self.start_dates], dtype=np.int64)
        full = np.ones(len(due))
        for index in np.flatnonzero(self.end_days > due).tolist():
            full[index] = base.after(self.start_dates[index], 2).toordinal() - due[index]
        allowed, used = due - self.start_days, self.end_days - self.start_days
        return _PlainLeg(allowed.astype(np.float64), full, used.astype(np.float64), self._days_at)

    def _terms(self, name: str, effects: Sequence[tuple[Effect, ...]]) -> tuple[Floats, Floats]:
        """Return what is allowed and recurring of a leg of use in each window, worked out once for equal effects."""
        known: dict[tuple[str, ...], tuple[float, float, float]] = {}
        rows = []
        for fired in effects:
            key = tuple([effect.rule.id for effect in fired])
            if key not in known:
                known[key] = numeric_terms(self.task, self.task.every[0], name, False, fired, self.case.factor_limits)
            rows.append(known[key])
        return np.array([row[1] for row in rows]), np.array([row[2] for row in rows])

    def _days_at(self, windows: Indexes, days: Indexes) -> Floats:
        """Return the days used of some windows on some days."""
        return (days - self.start_days[windows]).astype(np.float64)

    def _use_at(self, totals: Floats) -> Callable[[Indexes, Indexes], Floats]:
        """Return a function that gives what was used of some windows at some edges."""

        def used_at(windows: Indexes, edges: Indexes) -> Floats:
            return np.round(totals[edges] - totals[self.start_edges[windows]], DECIMALS)

        return used_at

    def worth_a_look(self, visits: Visits) -> Flags:
        """Return the windows on which a rule about skipped work fires, or whose figures are not all known."""
        if self.legs is None:
            return np.ones(len(self.start_edges), dtype=np.bool_)
        past = self._ran_past()
        return self._missed() | self._left_out(past, visits)

    def _ran_past(self) -> Flags:
        """Return which windows the standing rules call past at their end, judging each combination of cells once."""
        standings = self.case.standings
        cells = np.stack([np.sign(np.round(leg.used - leg.allowed, DECIMALS)) for leg in self.legs or ()], axis=1)

        def judge(row: tuple[float, ...]) -> bool:
            fired = frozenset(
                standings.only(standings.legs, {"is_known": True, "past_by": sign, "to_lead": -1.0, "waits_for_start": False})
                for sign in row
            )
            return standings.task_rule(self.task.whichever, fired) == "past-interval"

        return _by_cell(cells, judge)

    def _missed(self) -> Flags:
        """Return which windows the rule about missed due points fires on, for any leg that may govern."""
        flags = np.zeros(len(self.start_edges), dtype=np.bool_)
        for leg in self.legs or ():
            missed = np.floor(np.round((leg.used - leg.allowed) / leg.recurring, DECIMALS)).clip(0.0)
            flags |= _by_cell(np.minimum(missed, 1.0)[:, None], lambda row: self._fires("missed", due_points_missed=row[0]))
        return flags

    def _left_out(self, past: Flags, visits: Visits) -> Flags:
        """Return which windows the rule about visits fires on, at the last visit not too near to either end."""
        flags = np.zeros(len(self.start_edges), dtype=np.bool_)
        windows = np.flatnonzero(past)
        own = np.array([task == self.task.id for task in visits.tasks], dtype=np.bool_)
        at_edges, at_days = visits.edges[~own], visits.days[~own]
        if not len(windows) or not len(at_days):
            return flags
        last = np.searchsorted(at_days, self.end_days[windows] - self.task.visit_days, side="left") - 1
        inside = (last >= 0) & (at_edges[last] > self.start_edges[windows])
        windows, last = windows[inside], last[inside]
        if not len(windows):
            return flags
        early = 1.0 - float(self.task.early_pct) / 100.0
        grounds = []
        for leg, base in zip(self.legs or (), self.task.every[0].legs.values(), strict=True):
            where = at_days[last] if isinstance(base, CalendarStep) else at_edges[last]
            grounds.append(np.sign(np.round(leg.used_at(windows, where) - leg.allowed[windows] * early, DECIMALS)))
        # any leg far enough on is worth a look; the look itself judges the deciding one
        furthest = np.max(np.stack(grounds), axis=0)
        flags[windows] = _by_cell(
            furthest[:, None],
            lambda row: self._fires("left-out", at_visit=True, ran_past=True, done_around_visit=False, from_early=row[0]),
        )
        return flags

    def _fires(self, rule: str, **facts: FactValue) -> bool:
        """Put one situation to the rules about skipped work."""
        return rule in self.case.standings.skipped_rules(facts)


def _by_cell(cells: Floats, judge: Callable[[tuple[float, ...]], bool]) -> Flags:
    """Return a judgement for every row of cells, judging each different row once."""
    verdicts: dict[tuple[float, ...], bool] = {}
    flags = np.zeros(len(cells), dtype=np.bool_)
    for index, row in enumerate(map(tuple, cells.tolist())):
        if row not in verdicts:
            verdicts[row] = judge(row)
        flags[index] = verdicts[row]
    return flags
