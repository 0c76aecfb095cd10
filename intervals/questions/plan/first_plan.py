"""A plan by hand, as it were: of all engines what is due next gets its day, as late as it may be, and whatever is soon due comes along.

In: a `Part`. Out: what is done in which slot. It is where the solver begins, so that a large part has a fair plan from the start; it is not
the best one. Groups are kept to; a crew works longer only where less would be late by it than it costs.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from heapq import heapify, heappop, heappush
from typing import NamedTuple

from intervals.questions.plan.job_models import Job
from intervals.questions.plan.job_slots import MOST_LIFE_AWAY, early_before, ends_possible, taken_in
from intervals.questions.plan.part_models import CrewHours, Group, Part, Slot

Ends = dict[tuple[str, str], list[int]]
_EARLY = 0.001


class FirstPlan(NamedTuple):
    """A plan by hand.

    Attributes:
        ends: for each engine and job the slots in which it is finished.
        is_pressed: whether something is late, early, or beyond a crew's hours, because others stand or the crew has no hours left.
    """

    ends: Ends
    is_pressed: bool


def first_plan(part: Part) -> FirstPlan:
    """Return a plan by hand.

    Args:
        part: the part.
    """
    site = _Site(part)
    works = {(job.engine, job.name): _Work(part, job, site) for job in part.jobs}
    for work in works.values():
        work.note_fixed()
    of_engine: dict[str, list[_Work]] = defaultdict(list)
    for work in works.values():
        of_engine[work.job.engine].append(work)
    ahead = [(work.due, *key) for key, work in works.items() if work.due is not None]
    heapify(ahead)
    while ahead:
        due, engine, name = heappop(ahead)
        work = works[engine, name]
        # another job, or a stop of another job, has done it since
        if work.due != due:
            continue
        end = work.next_end(due)
        if end is None:
            work.due = None
            continue
        for each in (work, *(other for other in of_engine[engine] if other is not work)):
            if each is not work and not each.comes_along(work, end):
                continue
            for name_done in each.note_done(end):
                done = works.get((engine, name_done))
                if done is not None and (following := done.note_due(end)) is not None:
                    heappush(ahead, (following, engine, name_done))
    return FirstPlan({key: work.found for key, work in works.items()}, site.is_pressed)


class _Site:
    """Which engines stand when, what each crew has to do, and whether that keeps anything from its day."""

    def __init__(self, part: Part) -> None:
        self.is_pressed = False
        self.standing: dict[date, set[str]] = defaultdict(set)
        self.loads: dict[tuple[str, date], float] = defaultdict(float)
        self.groups: dict[str, list[Group]] = defaultdict(list)
        for group in part.groups:
            for engine in group.engines:
                self.groups[engine].append(group)


class _Work:
    """One job while its days are laid.

    Attributes:
        job: the job.
        due: the day by which it is to be done next, or None where it is not any more, or cannot be.
        found: the slots in which it is finished.
    """

    def __init__(self, part: Part, job: Job, site: _Site) -> None:
        self.job, self._site, self._until = job, site, part.until
        self._slots: Sequence[Slot] = part.slots[job.engine]
        self._days = [slot.day for slot in self._slots]
        self._taken = taken_in(part, job)
        self._first = ends_possible(job, self._slots, self._taken).start
        self._early_before = early_before(job, self._slots, self._taken)
        self._crew: CrewHours | None = part.crew_of(job)
        begins = (self._days.index(day) for day in part.fixed.get((job.engine, job.name), ()))
        self._fixed = sorted({min(slot + self._taken - 1, len(self._slots) - 1) for slot in begins})
        self.due: date | None = job.limit if job.limit <= part.until or self._fixed else None
        self.found: list[int] = []

    def note_fixed(self) -> None:
        """Note that the engine stands where a person has fixed it."""
        for end in self._fixed:
            self._take(end)

    def next_end(self, due: date) -> int | None:
        """Return the slot in which the job is best finished next, or None where there is none.

        It is the last one in time; where none is free the one by which least is late, hours beyond the crew's as days.

        Args:
            due: the day by which it is to be done.
        """
        begin = max(self._first, self.found[-1] + 1 if self.found else 0)
        fixed = next((end for end in self._fixed if end >= begin), None)
        if fixed is not None and (self._days[fixed] <= due or due > self._until):
            return fixed
        in_time = bisect_right(self._days, due)
        early = self._early_before
        if self.found:
            earliest = due - timedelta(days=math.floor(MOST_LIFE_AWAY * (self.job.interval_d or 0)))
            early = min(bisect_left(self._days, earliest), in_time - 1)
        best: tuple[float, int] | None = None
        # the last one in time first, then those before it, then those after it
        for end in (*range(in_time - 1, begin - 1, -1), *range(max(begin, in_time), len(self._slots) if fixed is None else fixed)):
            late = max(0, (self._days[end] - due).days)
            if best is not None and late >= best[0]:
                break
            if self._is_free(end):
                cost = late + self._overtime(end) + (_EARLY if end < early else 0.0)
                best = min(best or (cost, end), (cost, end), key=lambda each: each[0])
                if not cost:
                    break
        # late for want of any slot in time is nobody's pressure
        self._site.is_pressed |= bool(best[0] if best is not None else fixed is None) and in_time > begin
        return fixed if best is None else best[1]

    def comes_along(self, other: _Work, end: int) -> bool:
        """Tell whether the job is done at a stop that another one sets: it is soon due, as short, and the crew has hours for it.

        Args:
            other: the job that sets the stop.
            end: the slot in which that is finished.
        """
        is_open = self.due is not None and self.due <= self._until and end >= self._first and (not self.found or end > self.found[-1])
        if not is_open or end in self._fixed or self._taken > other._taken or (self.job.stops and not other.job.stops):
            return False
        soon = timedelta(days=int(MOST_LIFE_AWAY * (self.job.interval_d or 0)))
        return self.due is not None and self.due - soon <= self._days[end] and not self._overtime(end)

    def note_done(self, end: int) -> tuple[str, ...]:
        """Note that the job is finished in a slot, and return the names of the jobs that are done by it.

        Args:
            end: the slot.
        """
        self.found.append(end)
        if end not in self._fixed:
            self._take(end)
        return (self.job.name, *self.job.covers)

    def note_due(self, end: int) -> date | None:
        """Note that it is done, by itself or another one, and return the day by which it is to be done again; None where it is not.

        Args:
            end: the slot in which it is done.
        """
        interval = self.job.interval_d
        following = None if interval is None else self._days[end] + timedelta(days=interval)
        is_ahead = following is not None and (following <= self._until or any(each > end for each in self._fixed))
        self.due = following if is_ahead else None
        if self.due is None and any(each > end for each in self._fixed):
            # fixed more often than it comes
            self.due = self._until
        return self.due

    def _during(self, end: int) -> range:
        """Return the slots that the job takes which is finished in one."""
        return range(max(0, end - self._taken + 1), end + 1)

    def _take(self, end: int) -> None:
        """Note that the engine stands and the crew works."""
        for slot in self._during(end):
            if self.job.stops:
                self._site.standing[self._slots[slot].period].add(self.job.engine)
            if self._crew is not None:
                self._site.loads[self._crew.name, self._slots[slot].week] += self.job.person_hours / self._taken

    def _is_free(self, end: int) -> bool:
        """Tell whether the job may be finished in a slot: fewer others of its groups stand then than may."""
        if not self.job.stops:
            return True
        return all(
            len(self._site.standing[self._slots[slot].period].intersection(group.engines) - {self.job.engine})
            < group.left_in(self._slots[slot].period)
            for group in self._site.groups[self.job.engine]
            for slot in self._during(end)
            if self.job.engine not in self._site.standing[self._slots[slot].period]
        )

    def _overtime(self, end: int) -> float:
        """Return how many hours the crew works longer where the job is finished in a slot, h."""
        if self._crew is None:
            return 0.0
        hours = self.job.person_hours / self._taken
        return sum(
            min(hours, max(0.0, self._site.loads[self._crew.name, week] + hours - self._crew.hours_in(week)))
            for week in (self._slots[slot].week for slot in self._during(end))
        )
