"""What a budget counted: totals along the ledger and the service records, and what each period of it may hold.

In: an `EngineCase` and a `Budget`. Out: an `Account`, and its `Period` values in order of time. Which hours count is what the rule
book said of each duty cell; whether a period holds too much is for durable-rules (`budget_findings.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.history.engine_case import EngineCase
from intervals.language.durations import CalendarStep
from intervals.language.legs import RUNNING_HOURS, rounded
from intervals.local_days import HOUR_US
from intervals.rulebook.rulebook import budget_rule
from intervals.rules.budgets import Budget
from intervals.usage.ledger import cumulated
from intervals.windows.leg_states import instant_of_line

NO_LIMIT = -1


class Period(NamedTuple):
    """One stretch of time of a budget.

    Attributes:
        first_day: its first local day.
        last_day: the last local day that it covers so far.
        start_us: its first moment.
        end_us: its end, or the moment of judging.
        place: the limit in force on its last day, by its place in `at_most`; None where none is.
        used: what was counted for certain.
        unknown: what could not be judged.
    """

    first_day: date
    last_day: date
    start_us: int
    end_us: int
    place: int | None
    used: float
    unknown: float


@dataclass(frozen=True)
class Account:
    """What a budget counted of one engine.

    Attributes:
        case: the engine.
        budget: the budget.
        counted: counted for certain up to each edge of the ledger.
        unknown: what could not be judged up to each edge.
        events_us: instants of the service records that count, rising.
        events_h: their hours.
        unlogged: quantities that the log does not have.
    """

    case: EngineCase
    budget: Budget
    counted: Floats
    unknown: Floats
    events_us: Instants
    events_h: Floats
    unlogged: tuple[str, ...]

    def used(self, start_us: Instants, end_us: Instants) -> tuple[Floats, Floats]:
        """Return what was counted and what could not be judged between instants, each a day's border or the moment of judging.

        Args:
            start_us: n instants, UTC microseconds.
            end_us: n later ones.

        Returns:
            Two arrays of n figures in the budget's unit.
        """
        edges = self.case.ledger.edges_us
        low, high = np.searchsorted(edges, start_us), np.searchsorted(edges, end_us)
        events = cumulated(self.events_h)
        until = np.searchsorted(self.events_us, end_us, side="left")
        # a record at the very moment of judging was let in where it counts
        until = np.where(end_us >= self.case.end_us, len(self.events_us), until)
        recorded = events[until] - events[np.searchsorted(self.events_us, start_us, side="left")]
        return self.counted[high] - self.counted[low] + recorded, self.unknown[high] - self.unknown[low]

    def crossing_us(self, start_us: int, from_us: int, end_us: int, limit: float) -> int | None:
        """Return when the sum from `start_us` on passed a limit, looked for between two instants; None where it did not."""
        edges = self.case.ledger.edges_us
        inside = edges[(edges >= max(from_us, int(edges[0]))) & (edges <= end_us)]
        events = self.events_us[(self.events_us >= start_us) & (self.events_us <= end_us)]
        jumps = self.events_h[(self.events_us >= start_us) & (self.events_us <= end_us)]
        # an event is two points at one instant, before and after it
        points = np.concatenate((inside, events, events))
        after = np.concatenate((np.zeros(len(inside)), np.zeros(len(events)), np.ones(len(events))))
        order = np.lexsort((after, points))
        points, after = points[order], after[order]
        base = float(np.interp(start_us, edges, self.counted))
        done = cumulated(jumps)
        passed = np.where(after > 0, np.searchsorted(events, points, side="right"), np.searchsorted(events, points, side="left"))
        return instant_of_line(points, np.interp(points, edges, self.counted) - base + done[passed], limit)

    def periods(self) -> list[Period]:
        """Return every period in order of time: calendar years, or one ending on each day; the last one is the present one."""
        spans = self._years() if not isinstance(self.budget.per, CalendarStep) else self._stretches(self.budget.per)
        days, case = self.case.days, self.case
        starts = [days.midnight_us(first) for first, _ in spans]
        ends = [min(days.midnight_us(date.fromordinal(last.toordinal() + 1)), case.end_us) for _, last in spans]
        used, unknown = self.used(np.array(starts, dtype=np.int64), np.array(ends, dtype=np.int64))
        return [
            Period(first, last, start, end, self.budget.place_in_force(last), rounded(amount), rounded(doubtful))
            for (first, last), start, end, amount, doubtful in zip(spans, starts, ends, used.tolist(), unknown.tolist(), strict=True)
        ]

    def _first_day(self) -> date:
        """Return the first day of which anything is known."""
        known = [int(self.case.ledger.edges_us[0]), *self.events_us[:1].tolist()]
        return self.case.days.date_of(min(known))

    def _years(self) -> list[tuple[date, date]]:
        """Return first and last day of every calendar year so far."""
        last = self.case.last_day
        years = range(min(self._first_day().year, last.year), last.year + 1)
        return [(date(year, 1, 1), min(date(year, 12, 31), last)) for year in years]

    def _stretches(self, step: CalendarStep) -> list[tuple[date, date]]:
        """Return first and last day of the stretch that ends on each day."""
        last = self.case.last_day
        ends = [date.fromordinal(number) for number in range(min(self._first_day(), last).toordinal(), last.toordinal() + 1)]
        return [(step.before(date.fromordinal(end.toordinal() + 1)), end) for end in ends]


def account_of(case: EngineCase, budget: Budget) -> Account:
    """Return what a budget counted of one engine, each day under the condition that was in force on it.

    Args:
        case: the engine.
        budget: the budget.

    Returns:
        Totals from zero up to each edge of the ledger, in the budget's unit: what counts, and what could not be judged; beside them
        the hours that records give at their instants.
    """
    ledger = case.ledger
    pieces = len(ledger.edges_us) - 1
    counted, unknown = np.zeros(pieces), np.zeros(pieces)
    unlogged = []
    places = _places_in_force(case, budget)
    for name in budget.of.quantities:
        whole = ledger.cell_hours_h.sum(axis=1) if name == RUNNING_HOURS else ledger.sums.get(name)
        if whole is None:
            unlogged.append(name)
            continue
        for place, when in enumerate(budget.conditions):
            inside = places == place
            if when is None:
                counted += np.where(inside, whole, 0.0)
                continue
            by_cell = ledger.cell_hours_h if name == RUNNING_HOURS else ledger.cell_counts[name]
            holds, doubtful = _masks(case, budget, place)
            counted += np.where(inside, by_cell @ holds, 0.0)
            unknown += np.where(inside, by_cell @ doubtful, 0.0)
        if name == RUNNING_HOURS:
            counted, unknown = _without_hours_of_no_year(case, budget, counted, unknown)
    events = sorted((entry.at_us, entry.hours_h or 0.0) for task in budget.of.records for entry in case.records.hours.get(task, ()))
    return Account(
        case,
        budget,
        cumulated(counted),
        cumulated(unknown),
        np.array([event[0] for event in events], dtype=np.int64),
        np.array([event[1] for event in events], dtype=np.float64),
        tuple(unlogged),
    )


def _without_hours_of_no_year(case: EngineCase, budget: Budget, counted: Floats, unknown: Floats) -> tuple[Floats, Floats]:
    """Return what was counted, and what could not be judged, of each piece, hours before the log's first row aside that are of no one year.

    Two readings years apart show how long an engine ran, not in which of the years: of each it may have been all that the year can hold.
    """
    course, edges = case.log.course, case.ledger.edges_us
    if isinstance(budget.per, CalendarStep) or not course.is_known or not len(case.log.rows):
        return counted, unknown
    days = case.days
    for step in range(int(course.at_us.searchsorted(case.log.rows[0]))):
        start_us, end_us = course.at_us[step : step + 2].tolist() if step + 1 < len(course.at_us) else (0, 0)
        first, last = (days.date_of(start_us).year, days.date_of(end_us - 1).year) if end_us - start_us > case.log.gap_us else (0, 0)
        for year in range(first, last + 1) if last > first else ():
            low_us, high_us = max(start_us, days.midnight_us(date(year, 1, 1))), min(end_us, days.midnight_us(date(year + 1, 1, 1)))
            pieces = slice(int(edges.searchsorted(low_us)), int(edges.searchsorted(high_us)))
            if pieces.stop > pieces.start:
                most_h = min(float(course.hours_h[step + 1] - course.hours_h[step]), (high_us - low_us) / HOUR_US)
                counted[pieces], unknown[pieces] = 0.0, most_h / (pieces.stop - pieces.start)
    return counted, unknown


def _places_in_force(case: EngineCase, budget: Budget) -> NDArray[np.int64]:
    """Return for each piece of the ledger the place of the limit in force on its day."""
    starts = case.ledger.edges_us[:-1]
    if len(budget.at_most) == 1 and budget.at_most[0].in_force_from is None:
        return np.zeros(len(starts), dtype=np.int64)
    turns = sorted({limit.in_force_from for limit in budget.at_most if limit.in_force_from is not None})
    known = [budget.place_in_force(day) for day in (date.min, *turns)]
    midnights = np.array([case.days.midnight_us(day) for day in turns], dtype=np.int64)
    place = np.array([NO_LIMIT if found is None else found for found in known], dtype=np.int64)
    return place[np.searchsorted(midnights, starts, side="right")]


def _masks(case: EngineCase, budget: Budget, place: int) -> tuple[Floats, Floats]:
    """Return which duty cells count under a limit's condition, and on which it could not be judged."""
    name = budget_rule(budget, place)
    holds = [name in verdict.holds for verdict in case.cell_verdicts]
    doubtful = [name in verdict.unknown for verdict in case.cell_verdicts]
    if budget.when_unknown == "holds":
        holds = [one or other for one, other in zip(holds, doubtful, strict=True)]
    if budget.when_unknown is not None:
        doubtful = [False] * len(doubtful)
    return np.array(holds, dtype=np.float64), np.array(doubtful, dtype=np.float64)


def runs_of(flags: Sequence[bool]) -> list[tuple[int, int]]:
    """Return first and last place of every unbroken run of true values.

    Example:
        >>> runs_of([True, True, False, True])
        [(0, 1), (3, 3)]
    """
    borders = [0, *(place + 1 for place, (one, other) in enumerate(pairwise(flags)) if one != other), len(flags)]
    return [(first, end - 1) for first, end in pairwise(borders) if flags and flags[first]]
