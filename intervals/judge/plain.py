"""Closed windows of a plain task, judged together: equal situations are one situation, and each is judged once.

In: a task whose every window starts at zero and is allowed the same. Out: the windows on which some rule about skipped work
fires. Figures become cells (below, at, above their line) as levels do in the ledger; durable-rules judges each different cell.

A task has a dozen windows, not thousands: plain lists are quicker here than arrays.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from intervals.inference import FactValue
from intervals.judge.cases import EngineCase
from intervals.judge.completions import Completion
from intervals.judge.measures import NOTHING_H, Spans
from intervals.judge.windows import DECIMALS, RUNNING_HOURS, Effect, WindowStart, numeric_terms, rounded
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


@dataclass(frozen=True, slots=True)
class _PlainLeg:
    """One leg of all windows: what is allowed, a full interval after that, what was used, and its total at any edge (no calendar)."""

    allowed: list[float]
    recurring: list[float]
    used: list[float]
    totals: Floats | None

    def past_by(self) -> list[float]:
        """Return used minus allowed of each window."""
        return [round(used - allowed, DECIMALS) for used, allowed in zip(self.used, self.allowed, strict=True)]


class PlainWindows:
    """All closed windows of one plain task of one engine."""

    def __init__(self, case: EngineCase, task: Task, first_start: WindowStart | None, completions: Sequence[Completion]) -> None:
        self.case, self.task = case, task
        self.ends = completions if first_start is not None else completions[1:]
        starts: list[WindowStart | Completion] = [*completions[:-1]]
        if first_start is not None:
            starts.insert(0, first_start)
        self.start_us = [start.at_us for start in starts]
        self.start_dates = [start.day for start in starts]
        self.start_days = [day.toordinal() for day in self.start_dates]
        self.end_days = [end.day.toordinal() for end in self.ends]
        edge = case.ledger.edge
        self.start_edges = [edge(at_us) for at_us in self.start_us]
        self.end_edges = [edge(end.at_us) for end in self.ends]
        self.legs = self._legs() if starts else []

    def _effects(self) -> list[tuple[Effect, ...]] | None:
        """Return the window rules that fired on each window; None where the task has none."""
        if not self.case.book.windowed_for(self.task):
            return None
        ends_us = [end.at_us for end in self.ends]
        columns = (self.start_edges, self.end_edges, self.start_us, ends_us, self.start_days, self.end_days)
        return self.case.effects_of(self.task, Spans(*(np.array(column, dtype=np.int64) for column in columns)))

    def _legs(self) -> list[_PlainLeg] | None:
        """Return every leg, or None where one of them cannot be known."""
        legs = []
        effects = self._effects()
        for name, base in self.task.every[0].legs.items():
            if isinstance(base, CalendarStep):
                legs.append(self._calendar_leg(base))
                continue
            totals = self.case.leg_totals(self.task, name)
            if totals is None or self._is_untold(name):
                return None
            used = [round(hours, DECIMALS) for hours in (totals[self.end_edges] - totals[self.start_edges]).tolist()]
            allowed, recurring = self._terms(name, effects)
            legs.append(_PlainLeg(allowed, recurring, used, totals))
        return legs

    def _is_untold(self, name: str) -> bool:
        """Tell whether a leg of use cannot be known for certain in some window: untold hours, or an end after the log's."""
        told_to = self.case.log.told_to_us
        if told_to is None or self.ends[-1].at_us > told_to:
            return True
        if name != RUNNING_HOURS:
            return False
        unknown = self.case.ledger.unknown_up_to_h
        return bool(unknown[-1] > NOTHING_H) and bool((unknown[self.end_edges] - unknown[self.start_edges] > NOTHING_H).any())

    def _calendar_leg(self, base: CalendarStep) -> _PlainLeg:
        """Return the calendar leg: local dates; a full interval more is worked out where the due date has passed."""
        used = [float(end - start) for start, end in zip(self.start_days, self.end_days, strict=True)]
        days = base.fixed_days
        if days is not None:
            return _PlainLeg([float(days)] * len(used), [float(days)] * len(used), used, None)
        due = [base.after(start).toordinal() for start in self.start_dates]
        allowed = [float(last - start) for start, last in zip(self.start_days, due, strict=True)]
        full = [1.0] * len(used)
        for window, last in enumerate(due):
            if self.end_days[window] > last:
                full[window] = float(base.after(self.start_dates[window], 2).toordinal() - last)
        return _PlainLeg(allowed, full, used, None)

    def _terms(self, name: str, effects: Sequence[tuple[Effect, ...]] | None) -> tuple[list[float], list[float]]:
        """Return what is allowed and recurring of a leg of use in each window, worked out once for equal effects."""
        task, limits = self.task, self.case.factor_limits
        if effects is None:
            _, allowed, recurring = numeric_terms(task, task.every[0], name, False, (), limits)
            return [allowed] * len(self.ends), [recurring] * len(self.ends)
        known: dict[tuple[str, ...], tuple[float, float, float]] = {}
        rows = []
        for fired in effects:
            key = tuple([effect.rule.id for effect in fired])
            if key not in known:
                known[key] = numeric_terms(task, task.every[0], name, False, fired, limits)
            rows.append(known[key])
        return [row[1] for row in rows], [row[2] for row in rows]

    def worth_a_look(self, visits: Visits) -> Flags:
        """Return the windows on which a rule about skipped work fires, or whose figures are not all known."""
        if self.legs is None:
            return np.ones(len(self.ends), dtype=np.bool_)
        past_by = [leg.past_by() for leg in self.legs]
        if all(max(past) < 0 for past in past_by):
            # every window is in the one cell below all lines
            is_worth = self._ran_past((-1.0,) * len(past_by)) or self._fires("missed", due_points_missed=0.0)
            if not is_worth:
                return np.zeros(len(self.ends), dtype=np.bool_)
        flags = self._missed(self.legs, past_by)
        cells = list(zip(*([_sign(over) for over in past] for past in past_by), strict=True))
        ran_past = {cell: self._ran_past(cell) for cell in set(cells)}
        for window, cell in enumerate(cells):
            if ran_past[cell] and not flags[window]:
                flags[window] = self._left_out(self.legs, window, visits)
        return np.array(flags, dtype=np.bool_)

    def _ran_past(self, signs: tuple[float, ...]) -> bool:
        """Tell whether the standing rules call a window past at its end, by the cells that its legs are in."""
        standings, whichever = self.case.standings, self.task.whichever

        def judge() -> bool:
            legs = ({"is_known": True, "past_by": sign, "to_lead": -1.0, "waits_for_start": False} for sign in signs)
            fired = frozenset(standings.only(standings.legs, facts) for facts in legs)
            return standings.task_rule(whichever, fired) == "past-interval"

        return standings.judged_once(("past", whichever, signs), judge)

    def _missed(self, legs: Sequence[_PlainLeg], past_by: Sequence[Sequence[float]]) -> list[bool]:
        """Return which windows the rule about missed due points fires on, for any leg that may govern."""
        flags = [False] * len(self.ends)
        for leg, past in zip(legs, past_by, strict=True):
            # none missed, or one and more: the two cells that the rule tells apart
            missed = [min(1, int(rounded(over / full))) if over > 0 else 0 for over, full in zip(past, leg.recurring, strict=True)]
            fires = {points: self._fires("missed", due_points_missed=float(points)) for points in set(missed)}
            flags = [flag or fires[points] for flag, points in zip(flags, missed, strict=True)]
        return flags

    def _left_out(self, legs: Sequence[_PlainLeg], window: int, visits: Visits) -> bool:
        """Tell whether the rule about visits fires on a window, at the last visit not too near to either end."""
        last = bisect_left(visits.days, self.end_days[window] - self.task.visit_days) - 1
        while last >= 0 and visits.tasks[last] == self.task.id:
            last -= 1
        if last < 0 or visits.edges[last] <= self.start_edges[window]:
            return False
        early = 1.0 - float(self.task.early_pct) / 100.0
        grounds = []
        for leg in legs:
            start, edge = self.start_edges[window], int(visits.edges[last])
            if leg.totals is None:
                used = float(int(visits.days[last]) - self.start_days[window])
            else:
                used = float(leg.totals[edge] - leg.totals[start])
            grounds.append(_sign(rounded(used - leg.allowed[window] * early)))
        # any leg far enough on is worth a look; the look itself judges the deciding one
        return self._fires("left-out", at_visit=True, ran_past=True, done_around_visit=False, from_early=max(grounds))

    def _fires(self, rule: str, **facts: FactValue) -> bool:
        """Put one situation to the rules about skipped work."""
        standings = self.case.standings
        return standings.judged_once((rule, *facts.values()), lambda: rule in standings.skipped_rules(facts))


def _sign(value: float) -> float:
    """Return the cell of a figure against zero: -1.0, 0.0 or 1.0."""
    return float((value > 0) - (value < 0))
