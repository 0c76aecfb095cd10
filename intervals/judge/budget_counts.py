"""What a budget counted of one engine: totals along its ledger and its service records.

In: an `EngineCase` and a `Budget`. Out: an `EngineCount`, plain figures that travel to another process. Which hours count is what the
rule book said of each duty cell.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.history.engine_case import EngineCase
from intervals.judge.budget_cover import Cover
from intervals.language.durations import CalendarStep
from intervals.language.legs import RUNNING_HOURS
from intervals.local_days import HOUR_US
from intervals.rulebook.rulebook import budget_rule
from intervals.rules.budgets import Budget
from intervals.usage.ledger import cumulated

NO_LIMIT = -1


class LooseHours(NamedTuple):
    """Hours between two readings of the meter before the log, in different months or years, so that they are of no single one.

    Attributes:
        start_us: the earlier reading.
        end_us: the later one.
        hours_h: what ran between them.
        counted: what of it counts, for a period that holds both readings.
        unknown: what of it could not be judged, for such a period.
    """

    start_us: int
    end_us: int
    hours_h: float
    counted: float
    unknown: float


@dataclass(frozen=True)
class EngineCount:
    """What a budget counted of one engine.

    Attributes:
        engine: its id.
        edges_us: the edges of its ledger.
        counted: counted for certain up to each edge, loose hours left out.
        unknown: what could not be judged up to each edge, loose hours left out.
        loose: hours that are of no single period.
        events_us: instants of the service records that count, rising.
        events_h: their hours.
        cover: what is known of the engine.
    """

    engine: str
    edges_us: Instants
    counted: Floats
    unknown: Floats
    loose: tuple[LooseHours, ...]
    events_us: Instants
    events_h: Floats
    cover: Cover

    @property
    def first_us(self) -> int:
        """The first instant of which anything is known."""
        return min(int(at_us) for at_us in (self.edges_us[0], *self.events_us[:1]))

    def total_at(self, at_us: Instants | int) -> Floats:
        """Return what the ledger counted up to instants."""
        return np.asarray(np.interp(at_us, self.edges_us, self.counted))

    def used(self, start_us: Instants, end_us: Instants) -> tuple[Floats, Floats]:
        """Return what was counted and what could not be judged between instants, each a day's border or the moment of judging."""
        most = len(self.edges_us) - 1
        low, high = (np.minimum(np.searchsorted(self.edges_us, at_us), most) for at_us in (start_us, end_us))
        events = cumulated(self.events_h)
        until = np.searchsorted(self.events_us, end_us, side="left")
        # a record at the very moment of judging was let in where it counts
        until = np.where(end_us >= self.cover.end_us, len(self.events_us), until)
        recorded = events[until] - events[np.searchsorted(self.events_us, start_us, side="left")]
        counted, unknown = self.counted[high] - self.counted[low] + recorded, self.unknown[high] - self.unknown[low]
        for each in self.loose:
            is_inside = (start_us <= each.start_us) & (each.end_us <= end_us)
            shared_h = np.maximum(0, np.minimum(end_us, each.end_us) - np.maximum(start_us, each.start_us)) / HOUR_US
            counted = counted + np.where(is_inside, each.counted, 0.0)
            unknown = unknown + np.where(is_inside, each.unknown, np.minimum(each.hours_h, shared_h))
        return counted, unknown

    def events(self, start_us: int, end_us: int) -> tuple[Instants, Floats]:
        """Return what was counted at one instant each: hours of records, and loose hours, by the end of which they had run."""
        is_inside = (self.events_us >= start_us) & (self.events_us <= end_us)
        loose = [each for each in self.loose if start_us <= each.start_us and each.end_us <= end_us]
        at_us = np.array([each.end_us for each in loose], dtype=np.int64)
        hours = np.array([each.counted for each in loose], dtype=np.float64)
        return np.concatenate((self.events_us[is_inside], at_us)), np.concatenate((self.events_h[is_inside], hours))


def count_of_engine(case: EngineCase, budget: Budget) -> EngineCount:
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
    loose: list[LooseHours] = []
    places = _places_in_force(case, budget)
    for name in budget.of.quantities:
        whole = ledger.cell_hours_h.sum(axis=1) if name == RUNNING_HOURS else ledger.sums.get(name)
        if whole is None:
            continue
        own, doubtful = _counted_of(case, budget, places, name, whole)
        if name == RUNNING_HOURS:
            loose += _loose_hours(case, budget, own, doubtful)
        counted += own
        unknown += doubtful
    events = sorted((entry.at_us, entry.hours_h or 0.0) for task in budget.of.records for entry in case.records.hours.get(task, ()))
    return EngineCount(
        case.engine.id,
        ledger.edges_us,
        cumulated(counted),
        cumulated(unknown),
        tuple(loose),
        np.array([event[0] for event in events], dtype=np.int64),
        np.array([event[1] for event in events], dtype=np.float64),
        Cover.of(case, budget),
    )


def _counted_of(case: EngineCase, budget: Budget, places: NDArray[np.int64], name: str, whole: Floats) -> tuple[Floats, Floats]:
    """Return of one quantity what counts of each piece of the ledger, and what could not be judged."""
    counted, unknown = np.zeros(len(whole)), np.zeros(len(whole))
    for place, when in enumerate(budget.conditions):
        inside = places == place
        if when is None:
            counted += np.where(inside, whole, 0.0)
            continue
        by_cell = case.ledger.cell_hours_h if name == RUNNING_HOURS else case.ledger.cell_counts[name]
        holds, doubtful = _masks(case, budget, place)
        counted += np.where(inside, by_cell @ holds, 0.0)
        unknown += np.where(inside, by_cell @ doubtful, 0.0)
    return counted, unknown


def _loose_hours(case: EngineCase, budget: Budget, counted: Floats, unknown: Floats) -> Iterator[LooseHours]:
    """Yield the hours before the log's first row that are of no single month or year, and take them out of the pieces.

    Two readings years apart show how long an engine ran, not in which of the years: of each it may have been all that the year can hold.
    """
    course, edges, per = case.log.course, case.ledger.edges_us, budget.per
    if isinstance(per, CalendarStep) or not course.is_known or not len(case.log.rows):
        return
    until = int(course.at_us.searchsorted(case.log.rows[0])) + 1
    steps = zip(pairwise(course.at_us[:until].tolist()), np.diff(course.hours_h[:until]).tolist(), strict=True)
    for (start_us, end_us), hours_h in steps:
        ends = [per.number_of(case.days.date_of(at_us)) for at_us in (start_us, end_us - 1)]
        pieces = slice(int(edges.searchsorted(start_us)), int(edges.searchsorted(end_us)))
        if end_us - start_us <= case.log.gap_us or ends[0] == ends[1] or pieces.stop <= pieces.start:
            continue
        yield LooseHours(start_us, end_us, hours_h, float(counted[pieces].sum()), float(unknown[pieces].sum()))
        counted[pieces] = unknown[pieces] = 0.0


def _places_in_force(case: EngineCase, budget: Budget) -> NDArray[np.int64]:
    """Return for each piece of the ledger the place of the limit in force on its day."""
    starts = case.ledger.edges_us[:-1]
    if len(budget.limits) == 1 and budget.limits[0].in_force_from is None:
        return np.zeros(len(starts), dtype=np.int64)
    turns = sorted({limit.in_force_from for limit in budget.limits if limit.in_force_from is not None})
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
