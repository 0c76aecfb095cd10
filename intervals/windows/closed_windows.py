"""Closed windows of a plain task, judged together: equal situations are one situation, and each is judged once.

In: a task whose every window starts at zero and is allowed the same. Out: the windows on which some rule about skipped work
fires. Figures become cells (below, at, above their line) as levels do in the ledger; durable-rules judges each different cell.
Most windows lie well below every line: those are passed over all at once, and the few others judged one by one.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats
from intervals.history.engine_case import EngineCase
from intervals.history.engine_records import Completion
from intervals.history.window_measures import NOTHING_H, Spans
from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR, RUNNING_HOURS, rounded
from intervals.rulebook.inference import FactValue
from intervals.rulebook.standing_rules import TaskRule
from intervals.rules.tasks import Task
from intervals.windows.leg_states import FiredRule, WindowStart, numeric_terms
from intervals.windows.window_rules import rules_of_windows

# wider than what rounding to a millionth moves a figure: whatever is nearer to its line is looked at exactly
GRAIN = 1e-5
Indexes = NDArray[np.int64]
Bound = WindowStart | Completion


class Visits(NamedTuple):
    """The visits of one engine, rising: instants, edges of the ledger, local day numbers, and whose they are."""

    at_us: Sequence[int]
    edges: Sequence[int]
    days: Sequence[int]
    tasks: Sequence[str]


class _PlainLeg(NamedTuple):
    """One leg of all windows: what was used, what is allowed at least, and its total at any edge (no calendar)."""

    name: str
    used: Floats
    allowed_at_least: Floats | float
    totals: Floats | None


class _Figures(NamedTuple):
    """One leg at the end of one window: used, allowed, and a full interval after that."""

    used: float
    allowed: float
    recurring: float


class ClosedWindows:
    """Where the closed windows of an engine's tasks begin and end, those of all tasks in one row.

    Args:
        case: the engine's case.
        bounds: task id -> what its first window began with, and the completion that ended each.
    """

    def __init__(self, case: EngineCase, bounds: Mapping[str, Sequence[Bound]]) -> None:
        self._case = case
        rows: list[Bound] = []
        self._places: dict[str, slice] = {}
        for task, row in bounds.items():
            # between the windows of two tasks lies one that is nobody's
            self._places[task] = slice(len(rows), len(rows) + len(row) - 1)
            rows += row
        self._at_us = np.array([row.at_us for row in rows], dtype=np.int64)
        self._days = np.array([row.day.toordinal() for row in rows], dtype=np.int64)
        self._edges = np.searchsorted(case.ledger.edges_us, self._at_us)
        self._used: dict[tuple[str, ...], Floats] = {}

    def spans(self, task: Task) -> Spans:
        """Return the windows of one task."""
        place = self._places[task.id]
        after = slice(place.start + 1, place.stop + 1)
        columns = (self._edges, self._at_us, self._days)
        return Spans(*(column[which] for column in columns for which in (place, after)))

    def used_days(self, task: Task) -> Floats:
        """Return how many local days each window of a task is long."""
        return self._between((CALENDAR,), self._days)[self._places[task.id]]

    def used(self, task: Task, leg: str, totals: Floats) -> Floats:
        """Return what was used of a leg in each window of a task; tasks that use it up alike share one sum."""
        key = (leg, *(self._case.weight_key(task) if leg == RUNNING_HOURS else ()))
        return self._between(key, totals, self._edges)[self._places[task.id]]

    def unknown_h(self, task: Task) -> Floats:
        """Return the hours of each window of which it is not known what they count."""
        is_outside = self._case.weights(task).outside_h is not None
        key = ("unknown", *(self._case.weight_key(task) if is_outside else ()))
        return self._between(key, self._case.unknown_up_to_h(task), self._edges)[self._places[task.id]]

    def _between(self, key: tuple[str, ...], values: NDArray[np.float64 | np.int64], at: Indexes | None = None) -> Floats:
        """Return by how much a total grew from each row to the next."""
        if key not in self._used:
            known = values if at is None else values[at]
            self._used[key] = (known[1:] - known[:-1]).astype(np.float64, copy=False)
        return self._used[key]


class PlainWindows:
    """All closed windows of one plain task of one engine.

    Args:
        case: the engine's case.
        task: the task.
        bounds: what the first window began with, and the completion that ended each.
        together: where the windows of all the engine's tasks begin and end.
    """

    def __init__(self, case: EngineCase, task: Task, bounds: Sequence[Bound], together: ClosedWindows) -> None:
        self.case, self.task, self.together = case, task, together
        self._bounds = bounds
        self._count = len(bounds) - 1
        self._fired_rules = self._fired()
        self._terms: dict[tuple[str, ...], tuple[float, float]] = {}
        self._legs = self._known_legs()

    def _fired(self) -> list[tuple[FiredRule, ...]] | None:
        """Return the window rules that fired on each window; None where the task has none."""
        if not self.case.book.windowed_for(self.task):
            return None
        return [rules.fired_rules for rules in rules_of_windows(self.case, self.task, self.together.spans(self.task))]

    def _known_legs(self) -> list[_PlainLeg] | None:
        """Return every leg, or None where one of them cannot be known."""
        legs = []
        for name, base in self.task.every[0].legs.items():
            if isinstance(base, CalendarStep):
                legs.append(_PlainLeg(name, self.together.used_days(self.task), float(base.fewest_days), None))
                continue
            totals = self.case.leg_totals(self.task, name)
            if totals is None or self._is_unknown(name):
                return None
            allowed: Floats | float = self._use_terms(name, 0)[0]
            if self._fired_rules is not None:
                allowed = np.array([self._use_terms(name, window)[0] for window in range(self._count)])
            legs.append(_PlainLeg(name, self.together.used(self.task, name, totals), allowed, totals))
        return legs

    def _is_unknown(self, name: str) -> bool:
        """Tell whether a leg of use cannot be known for certain in some window: unknown hours, or an end after the log's."""
        log_end_us = self.case.log.log_end_us
        if log_end_us is None or self._bounds[-1].at_us > log_end_us:
            return True
        if name != RUNNING_HOURS or float(self.case.unknown_up_to_h(self.task)[-1]) <= NOTHING_H:
            return False
        return bool((self.together.unknown_h(self.task) > NOTHING_H).any())

    def _use_terms(self, name: str, window: int) -> tuple[float, float]:
        """Return what is allowed and recurring of a leg of use in a window, worked out once for equal rules that fired."""
        fired_rules = self._fired_rules[window] if self._fired_rules else ()
        key = (name, *(fired.rule.id for fired in fired_rules))
        if key not in self._terms:
            self._terms[key] = numeric_terms(self.task, self.task.every[0], name, None, fired_rules, self.case.limits)[1:3]
        return self._terms[key]

    def _figures(self, leg: _PlainLeg, window: int) -> _Figures:
        """Return the exact figures of a leg in one window."""
        used = rounded(float(leg.used[window]))
        base = self.task.every[0].legs[leg.name]
        if not isinstance(base, CalendarStep):
            return _Figures(used, *self._use_terms(leg.name, window))
        start = self._bounds[window].day
        due, following = base.after(start), base.after(start, 2)
        return _Figures(used, float((due - start).days), float((following - due).days))

    def worth_a_look(self, visits: Visits) -> set[int]:
        """Return the windows on which a rule about skipped work fires, or whose figures are not all known."""
        if self._legs is None:
            return set(range(self._count))
        below = (-1.0,) * len(self._legs)
        if self._ran_past(below) or self._fires("missed", due_points_missed=0.0):
            return set(range(self._count))
        # every other window is in the one cell below all lines, of which the rules have just said that they do not fire on it
        return {window for window in self.near if self._is_worth_a_look(self._legs, window, visits)}

    @cached_property
    def near(self) -> frozenset[int]:
        """The windows of which some leg ended near its line or past it; all of them where not every figure is known."""
        if self._legs is None:
            return frozenset(range(self._count))
        return frozenset(window for leg in self._legs for window in (leg.used > leg.allowed_at_least - GRAIN).nonzero()[0].tolist())

    def allowed(self, leg: str, window: int) -> float | None:
        """Return what is allowed of a leg of use in one window; None where it is none, or not every figure is known."""
        return next((self._use_terms(leg, window)[0] for each in self._legs or () if each.name == leg and each.totals is not None), None)

    def shares(self, window: int) -> list[float]:
        """Return what was used of each leg in one window as a share of what is allowed; none where they are not known."""
        return [figures.used / figures.allowed for figures in (self._figures(leg, window) for leg in self._legs or ())]

    def _is_worth_a_look(self, legs: Sequence[_PlainLeg], window: int, visits: Visits) -> bool:
        """Tell whether a rule about skipped work fires on one window near its line or past it."""
        figures = [self._figures(leg, window) for leg in legs]
        past_by = [rounded(used - allowed) for used, allowed, _ in figures]
        for over, (_, _, recurring) in zip(past_by, figures, strict=True):
            # none missed, or one and more: the two cells that the rule distinguishes
            missed = min(1, int(rounded(max(over, 0.0) / recurring)))
            if self._fires("missed", due_points_missed=float(missed)):
                return True
        return self._ran_past(tuple([_sign(over) for over in past_by])) and self._left_out(legs, figures, window, visits)

    def _ran_past(self, signs: tuple[float, ...]) -> bool:
        """Tell whether the standing rules call a window past at its end, by the cells that its legs are in."""
        standings, whichever = self.case.standings, self.task.whichever

        def judge() -> bool:
            legs = ({"is_known": True, "past_by": sign, "to_lead": -1.0, "waits_for_start": False} for sign in signs)
            fired = frozenset(standings.legs.fire_one(facts) for facts in legs)
            return standings.task_rule(whichever, fired) == TaskRule.PAST_INTERVAL

        return standings.judged_once(("past", whichever, signs), judge)

    def _left_out(self, legs: Sequence[_PlainLeg], figures: Sequence[_Figures], window: int, visits: Visits) -> bool:
        """Tell whether the rule about visits fires on a window, at the last visit not too near to either end."""
        start, end_day = self._bounds[window], self._bounds[window + 1].day.toordinal()
        start_edge, start_day = self.case.ledger.edge(start.at_us), start.day.toordinal()
        last = bisect_left(visits.days, end_day - self.task.visit_days) - 1
        while last >= 0 and visits.tasks[last] == self.task.id:
            last -= 1
        if last < 0 or visits.edges[last] <= start_edge:
            return False
        early = 1.0 - float(self.task.early_pct) / 100.0
        grounds = []
        for leg, figure in zip(legs, figures, strict=True):
            if leg.totals is None:
                used = float(visits.days[last] - start_day)
            else:
                used = float(leg.totals[visits.edges[last]] - leg.totals[start_edge])
            grounds.append(_sign(rounded(used - figure.allowed * early)))
        # any leg far enough on is worth a look; the look itself judges the deciding one
        return self._fires("left-out", at_visit=True, ran_past=True, done_around_visit=False, from_early=max(grounds))

    def _fires(self, rule: str, **facts: FactValue) -> bool:
        """Put one situation to the rules about skipped work."""
        standings = self.case.standings
        return standings.judged_once((rule, *facts.values()), lambda: rule in standings.skipped_rules(facts))


def _sign(value: float) -> float:
    """Return the cell of a figure against zero: -1.0, 0.0 or 1.0."""
    return float((value > 0) - (value < 0))
