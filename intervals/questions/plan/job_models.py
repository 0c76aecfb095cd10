"""A job of a plan: one task of one engine that somebody has to come for, with the day by which and how often.

In: plain values from `jobs`. Out: frozen values that travel between processes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Job:
    """One task of one engine, as the plan sees it.

    Attributes:
        engine: the engine's id.
        name: the task's id as the findings name it: `set.task` where several rule sets judge the engine.
        title: what people call it.
        limit: the last day that is not late: the early date of its forecast or its due date, deferral and tolerance applied; of a task
            that is past its line already the day of judging.
        interval_d: for how many days a completion lasts; None of a job that comes once.
        hours: how long the work keeps the engine, h.
        people: how many people it takes.
        is_stated: whether a procedure says so; else one hour and one person are taken.
        stops: whether the engine has to stand.
        opens: the first day on which it counts as done, or None.
        covers: names of the other jobs of the engine that it does too.
    """

    engine: str
    name: str
    title: str
    limit: date
    interval_d: int | None
    hours: float = 1.0
    people: int = 1
    is_stated: bool = True
    stops: bool = True
    opens: date | None = None
    covers: tuple[str, ...] = ()

    @property
    def person_hours(self) -> float:
        """Hours of the crew that it takes, h."""
        return self.hours * self.people


@dataclass(frozen=True)
class Unplaced:
    """A task that no day can be found for, and why.

    Attributes:
        engine: the engine's id.
        task: the task, as the findings name it.
        why: the reason, a sentence without its full stop.
    """

    engine: str
    task: str
    why: str
