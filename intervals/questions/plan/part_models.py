"""A part of a plan: engines that share a crew or a limit on how many stand at once, and what is found for them.

In: plain values. Out: frozen values that travel between processes; `solve_part` finds the one for the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Literal, NamedTuple

from intervals.questions.plan.job_models import Job

Aim = Literal["late", "stops", "life"]
AIMS: tuple[Aim, ...] = ("late", "stops", "life")
"""What is aimed at, the first first: nothing late that need not be; the fewest stops; the least life thrown away."""
Status = Literal["optimal", "best so far"]


class Slot(NamedTuple):
    """A day on which an engine can be stopped, and the time that stands for.

    Attributes:
        day: the day.
        period: the first day of the time in which engines count as stopped at once: the week's Monday, or the day itself.
        cost: how dear a stop is then, 0 to 99.
    """

    day: date
    period: date
    cost: int = 0

    @property
    def week(self) -> date:
        """The Monday of its week."""
        return self.day - timedelta(days=self.day.weekday())


@dataclass(frozen=True)
class Group:
    """Engines of which so many at most stand at once.

    Attributes:
        engines: their ids.
        at_most: how many of them at most.
        taken: first day of a time -> how many of them stand then by stops that are not planned anew.
    """

    engines: tuple[str, ...]
    at_most: int
    taken: Mapping[date, int] = field(default_factory=dict)

    def left_in(self, period: date) -> int:
        """Return how many of those that are planned may stand at once in a time."""
        return max(0, self.at_most - self.taken.get(period, 0))


@dataclass(frozen=True)
class CrewHours:
    """A crew, the jobs that are its own, and its hours.

    Attributes:
        name: what it is called.
        hours_per_week: in a whole week, h.
        jobs: engine and name of each of its jobs.
        weeks: Monday -> its hours in that week, where they are not those of a whole week, h.
        used: Monday -> its hours in that week that stops take which are not planned anew, h.
    """

    name: str
    hours_per_week: float
    jobs: frozenset[tuple[str, str]]
    weeks: Mapping[date, float] = field(default_factory=dict)
    used: Mapping[date, float] = field(default_factory=dict)

    def has_in(self, week: date) -> float:
        """Return its hours in a week, h."""
        return self.weeks.get(week, self.hours_per_week)

    def hours_in(self, week: date) -> float:
        """Return its hours in a week that are left for what is planned, h."""
        return max(0.0, self.has_in(week) - self.used.get(week, 0.0))


@dataclass(frozen=True)
class Part:
    """What is planned together.

    Attributes:
        jobs: the jobs.
        slots: engine -> its slots, in order of time.
        until: the last day of the plan.
        hours_a_slot: how many hours of one day's work a slot holds, h: what takes longer goes on in the next slot.
        groups: engines of which not all may stand at once.
        crews: the crews.
        fixed: engine and job name -> the days on which a person has fixed it.
        before: the same of the plan before, where as little as possible is to move; None where nothing is kept.
        aims: what is aimed at, the first first.
        limit: how much work may be put into it, in units of the solver that do not depend on the clock.
    """

    jobs: tuple[Job, ...]
    slots: Mapping[str, tuple[Slot, ...]]
    until: date
    hours_a_slot: float
    groups: tuple[Group, ...] = ()
    crews: tuple[CrewHours, ...] = ()
    fixed: Mapping[tuple[str, str], tuple[date, ...]] = field(default_factory=dict)
    before: Mapping[tuple[str, str], tuple[date, ...]] | None = None
    aims: tuple[Aim, ...] = AIMS
    limit: float = 15.0

    def crew_of(self, job: Job) -> CrewHours | None:
        """Return the crew that does a job, or None where nobody's hours are counted."""
        return next((crew for crew in self.crews if (job.engine, job.name) in crew.jobs), None)


class Done(NamedTuple):
    """A job that is done in the plan.

    Attributes:
        engine: the engine's id.
        job: the job's name.
        start: the day on which it begins.
        end: the day on which it is finished.
    """

    engine: str
    job: str
    start: date
    end: date


class Reached(NamedTuple):
    """How far an aim was reached: its value, and what cannot be gone below."""

    aim: str
    value: float
    bound: float


@dataclass(frozen=True)
class Solved:
    """What was found for a part.

    Attributes:
        done: what is done when, by engine and day.
        status: `optimal` where it is proved that it cannot be better.
        reached: each aim, in order.
    """

    done: tuple[Done, ...]
    status: Status
    reached: tuple[Reached, ...]
