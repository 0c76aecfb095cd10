"""A plan by hand, as it were: what is due next sets the next stop, as late as it may be, and whatever is soon due comes along.

In: a `Part`. Out: what is done in which slot. It is where the solver begins, so that a large part has a fair plan from the start; it is not
the best one, and crews are not looked at.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta

from intervals.questions.plan.job_models import Job
from intervals.questions.plan.job_slots import MOST_LIFE_AWAY, ends_allowed, taken_in
from intervals.questions.plan.part_models import Part, Slot

Ends = dict[tuple[str, str], list[int]]


def first_plan(part: Part) -> Ends:
    """Return for each engine and job the slots in which it is finished.

    Args:
        part: the part.
    """
    standing: dict[date, set[str]] = defaultdict(set)
    found: Ends = {}
    limits = {job.engine: min(each.limit for each in part.jobs if each.engine == job.engine) for job in part.jobs}
    for engine in sorted(limits, key=lambda each: (limits[each], each)):
        found |= _Engine(part, engine, standing).plan()
    return found


class _Engine:
    """One engine while its stops are laid: when each of its jobs is due next, and where others stand."""

    def __init__(self, part: Part, engine: str, standing: dict[date, set[str]]) -> None:
        self._part, self._engine, self._standing = part, engine, standing
        self._slots: Sequence[Slot] = part.slots[engine]
        self._jobs = {job.name: job for job in part.jobs if job.engine == engine}
        self._taken = {name: taken_in(part, job) for name, job in self._jobs.items()}
        self._first = {name: ends_allowed(job, self._slots, self._taken[name]).start for name, job in self._jobs.items()}
        self._due: dict[str, date | None] = {name: job.limit for name, job in self._jobs.items()}

    def plan(self) -> Ends:
        """Return the slots in which each job is finished."""
        found: Ends = {(self._engine, name): [] for name in self._jobs}
        since = 0
        while (following := self._next()) is not None:
            name, due = following
            end = self._end_by(self._jobs[name], due, since)
            if end is None:
                self._due[name] = None
                continue
            for other in self._coming_along(name, end):
                found[self._engine, other].append(end)
                self._note_done(self._jobs[other], end)
            since = end + 1
        return found

    def _next(self) -> tuple[str, date] | None:
        """Return the job that is due next within the plan, and its day."""
        ahead = [(due, name) for name, due in self._due.items() if due is not None and due <= self._part.until]
        return None if not ahead else (min(ahead)[1], min(ahead)[0])

    def _end_by(self, job: Job, due: date, since: int) -> int | None:
        """Return the last free slot by a day, else the first one after it."""
        free = [slot for slot in range(max(since, self._first[job.name]), len(self._slots)) if self._is_free(job, slot)]
        by = [slot for slot in free if self._slots[slot].day <= due]
        return by[-1] if by else free[0] if free else None

    def _is_free(self, job: Job, end: int) -> bool:
        """Tell whether a job may be finished in a slot: fewer others of its groups stand then than may."""
        if not job.stops:
            return True
        periods = [self._slots[slot].period for slot in range(max(0, end - self._taken[job.name] + 1), end + 1)]
        groups = [group for group in self._part.groups if self._engine in group.engines]
        return all(
            len((self._standing[period] - {self._engine}) & set(group.engines)) < group.at_most for group in groups for period in periods
        )

    def _coming_along(self, name: str, end: int) -> list[str]:
        """Return the jobs that are done at one stop: the one that sets it, and what is soon due and as short."""
        day = self._slots[end].day
        found = [name]
        for other, due in self._due.items():
            job = self._jobs[other]
            if other == name or due is None or due > self._part.until or end < self._first[other]:
                continue
            soon = timedelta(days=int(MOST_LIFE_AWAY * (job.interval_d or 0)))
            if due - soon <= day and self._taken[other] <= self._taken[name] and (not job.stops or self._jobs[name].stops):
                found.append(other)
        return found

    def _note_done(self, job: Job, end: int) -> None:
        """Note that a job is done, with what it does too, and that the engine stands."""
        day = self._slots[end].day
        for name in (job.name, *job.covers):
            if name in self._due:
                interval = self._jobs[name].interval_d
                self._due[name] = None if interval is None else day + timedelta(days=interval)
        if job.stops:
            for slot in range(max(0, end - self._taken[job.name] + 1), end + 1):
                self._standing[self._slots[slot].period].add(self._engine)
