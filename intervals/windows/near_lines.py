"""Closed windows of a plain task near one of its lines, or past it: on which of them a rule about skipped work fires.

In: the closed windows of an engine in columns, a task. Out: the windows to be judged in full. Figures become cells (below, at, above their
line) as levels do in the ledger; durable-rules judges each different cell once.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from datetime import date
from functools import cached_property
from typing import NamedTuple

from intervals.arrays import Floats
from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR, rounded
from intervals.rulebook.inference import FactValue
from intervals.rulebook.standing_rules import TaskRule
from intervals.rulebook.standings import Standings
from intervals.rules.tasks import Task
from intervals.windows.closed_windows import ClosedRow, ClosedWindows

Signs = tuple[float, ...]
"""Of each leg whether its figure is below its line, at it or above: -1.0, 0.0, 1.0."""


class Visits(NamedTuple):
    """The visits of one engine, rising: instants, edges of the ledger, local day numbers, and whose they are."""

    at_us: Sequence[int]
    edges: Sequence[int]
    days: Sequence[int]
    tasks: Sequence[str]


class _Leg(NamedTuple):
    """One leg of all windows of a task: its name, what `every` says, and what was used of it in each."""

    name: str
    base: float | CalendarStep
    used: Floats


def worth_a_look(closed: ClosedWindows, task: Task, visits: Visits) -> set[int]:
    """Return the closed windows of a task on which a rule about skipped work fires, or whose figures are not all known.

    Args:
        closed: the windows of the engine's tasks.
        task: one of them.
        visits: the engine's visits.
    """
    row, standings = closed.rows[task.id], closed.case.standings
    below = (-1.0,) * len(task.every[0].legs)
    if not closed.is_known(task) or _ran_past(standings, task.whichever, below) or _is_missed(standings, 0.0):
        return set(range(row.place.stop - row.place.start))
    # every other window is in the one cell below all lines, of which the rules have just said that they do not fire on it
    near = closed.near[task.id]
    return set(NearLines(closed, row).on_which_rules_fire(near, visits)) if near else set()


class NearLines:
    """The windows of one task, looked at one by one.

    Args:
        closed: the windows of the engine's tasks.
        row: the task's windows among them; their figures are all known.
    """

    def __init__(self, closed: ClosedWindows, row: ClosedRow) -> None:
        self._closed, self._row = closed, row
        columns = ((name, base, closed.used(row.task, name)) for name, base in row.task.every[0].legs.items())
        self._legs = [_Leg(name, base, used[row.place]) for name, base, used in columns if used is not None]

    @property
    def count(self) -> int:
        """How many windows there are."""
        place = self._row.place
        return int(place.stop - place.start)

    @cached_property
    def near(self) -> frozenset[int]:
        """The windows of which some leg ended near its line or past it."""
        return frozenset(self._closed.near[self._row.task.id])

    def is_of_use(self, name: str) -> bool:
        """Tell whether the task has a leg of use of this name."""
        return any(leg.name == name and not isinstance(leg.base, CalendarStep) for leg in self._legs)

    def allowed(self, name: str, window: int) -> float:
        """Return what is allowed of a leg of use in one window."""
        return self._closed.use_terms(self._row, name, window).allowed

    def shares(self, window: int) -> list[float]:
        """Return what was used of each leg in one window as a share of what is allowed."""
        return [rounded(float(leg.used[window])) / self._allowed(leg, window) for leg in self._legs]

    def on_which_rules_fire(self, windows: Sequence[int], visits: Visits) -> list[int]:
        """Return those of some windows on which a rule about skipped work fires."""
        return [window for window in windows if self._is_worth_a_look(window, visits)]

    def _is_worth_a_look(self, window: int, visits: Visits) -> bool:
        """Tell whether a rule about skipped work fires on one window near its line or past it."""
        standings, allowed = self._closed.case.standings, [self._allowed(leg, window) for leg in self._legs]
        past_by = [rounded(rounded(float(leg.used[window])) - line) for leg, line in zip(self._legs, allowed, strict=True)]
        for leg, over in zip(self._legs, past_by, strict=True):
            # none missed, or one and more: the two cells that the rule distinguishes; of none it was asked before
            if over > 0 and _is_missed(standings, float(min(1, int(rounded(over / self._recurring(leg, window)))))):
                return True
        return _ran_past(standings, self._row.task.whichever, tuple(map(_sign, past_by))) and self._left_out(allowed, window, visits)

    def _allowed(self, leg: _Leg, window: int) -> float:
        """Return what is allowed of a leg in one window."""
        if isinstance(leg.base, CalendarStep):
            start = self._first_day(window)
            return float((leg.base.after(start) - start).days)
        return self._closed.use_terms(self._row, leg.name, window).allowed

    def _recurring(self, leg: _Leg, window: int) -> float:
        """Return a full interval of a leg after the first in one window."""
        if isinstance(leg.base, CalendarStep):
            start = self._first_day(window)
            return float((leg.base.after(start, 2) - leg.base.after(start)).days)
        return self._closed.use_terms(self._row, leg.name, window).recurring

    def _first_day(self, window: int) -> date:
        """Return the local day on which a window begins."""
        return date.fromordinal(int(self._closed.days[self._row.place.start + window]))

    def _left_out(self, allowed: Sequence[float], window: int, visits: Visits) -> bool:
        """Tell whether the rule about visits fires on a window, at the last visit not too near to either end."""
        task, bound, closed = self._row.task, self._row.place.start + window, self._closed
        start_day, end_day, start_edge = int(closed.days[bound]), int(closed.days[bound + 1]), int(closed.edges[bound])
        last = bisect_left(visits.days, end_day - task.visit_days) - 1
        while last >= 0 and visits.tasks[last] == task.id:
            last -= 1
        if last < 0 or visits.edges[last] <= start_edge:
            return False
        early = 1.0 - float(task.early_pct) / 100.0
        grounds = []
        for leg, line in zip(self._legs, allowed, strict=True):
            totals = None if leg.name == CALENDAR else closed.case.leg_totals(task, leg.name)
            used = visits.days[last] - start_day if totals is None else float(totals[visits.edges[last]] - totals[start_edge])
            grounds.append(_sign(rounded(used - line * early)))
        # any leg far enough on is worth a look; the look itself judges the deciding one
        facts: dict[str, FactValue] = {"at_visit": True, "ran_past": True, "done_around_visit": False, "from_early": max(grounds)}
        return _fires(closed.case.standings, "left-out", facts)


def _ran_past(standings: Standings, whichever: str, signs: Signs) -> bool:
    """Tell whether the standing rules call a window past at its end, by the cells that its legs are in."""

    def judge() -> bool:
        legs = ({"is_known": True, "past_by": sign, "to_lead": -1.0, "waits_for_start": False} for sign in signs)
        fired = frozenset(standings.legs.fire_one(facts) for facts in legs)
        return standings.task_rule(whichever, fired) == TaskRule.PAST_INTERVAL

    return standings.judged_once(("past", whichever, signs), judge)


def _is_missed(standings: Standings, due_points: float) -> bool:
    """Tell whether the rule about missed work fires on so many due points that passed undone."""
    return _fires(standings, "missed", {"due_points_missed": due_points})


def _fires(standings: Standings, rule: str, facts: dict[str, FactValue]) -> bool:
    """Put one situation to the rules about skipped work."""
    return standings.judged_once((rule, *facts.values()), lambda: rule in standings.skipped_rules(facts))


def _sign(value: float) -> float:
    """Return the cell of a figure against zero: -1.0, 0.0 or 1.0."""
    return float((value > 0) - (value < 0))


__all__ = ["NearLines", "Visits", "worth_a_look"]
