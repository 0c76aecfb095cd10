"""What is late in a plan, and why it cannot be otherwise; what life is thrown away.

In: what was planned and what was found. Out: for each job its completions with their limits, and sentences. It decides nothing: the plan
has been made, and here it is only read.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import NamedTuple

from intervals.questions.plan.job_models import Job
from intervals.questions.plan.job_slots import DAY_H, ends_possible, taken_in
from intervals.questions.plan.part_models import Done, Part, Slot
from intervals.questions.plan.parts import crew_loads

_LISTED = 4
_A_WEEK_D = 7


class Completion(NamedTuple):
    """One completion of a job: when its work begins and ends, until when it was not late, whether it is a visit of its own.

    `since` is the day of the completion before in the plan, or None.
    """

    job: Job
    start: date
    end: date
    limit: date
    is_own: bool
    since: date | None = None

    @property
    def late_d(self) -> int:
        """For how many days it is late, d."""
        return max(0, (self.end - self.limit).days)

    @property
    def share_away(self) -> float:
        """The share of its interval that it throws away; 0 of a job that comes once."""
        return 0.0 if self.job.interval_d is None else max(0, (self.limit - self.end).days) / self.job.interval_d


class Undone(NamedTuple):
    """A job that would be due once more in the plan and is not done: by which day, and the day of the completion before, or None."""

    job: Job
    limit: date
    since: date | None


class Read(NamedTuple):
    """A plan as it is read: every completion, and the jobs that would be due once more and are not done."""

    completions: tuple[Completion, ...]
    undone: tuple[Undone, ...]


def read_plan(part: Part, done: Sequence[Done]) -> Read:
    """Return every completion with its limit, and what is left undone.

    Args:
        part: what was planned.
        done: what is done when.
    """
    days: dict[tuple[str, str], dict[date, tuple[date, bool]]] = defaultdict(dict)
    jobs = {(job.engine, job.name): job for job in part.jobs}
    for each in done:
        days[each.engine, each.job][each.end] = (each.start, True)
        for other in jobs[each.engine, each.job].covers:
            days[each.engine, other].setdefault(each.end, (each.start, False))
    found: list[Completion] = []
    undone: list[Undone] = []
    for key, job in jobs.items():
        limit: date | None = job.limit
        since: date | None = None
        for end, (start, is_own) in sorted(days.get(key, {}).items()):
            if limit is None:
                break
            found.append(Completion(job, start, end, limit, is_own, since))
            since = end
            limit = None if job.interval_d is None else end + timedelta(days=job.interval_d)
        if limit is not None and limit <= part.until:
            undone.append(Undone(job, limit, since))
    return Read(tuple(found), tuple(undone))


class WhyLate:
    """Says why something is late.

    Args:
        part: what was planned.
        done: what is done when.
        closed: engine -> days on which it is not stopped, each with its reason.
        today: the day of judging.
        due: engine and job -> the day on which it fell due, of those that are past their line already.
    """

    def __init__(
        self, part: Part, done: Sequence[Done], closed: Mapping[str, Mapping[date, str]], today: date, due: Mapping[tuple[str, str], str]
    ) -> None:
        self._part, self._closed, self._today, self._due = part, closed, today, due
        self._standing: dict[str, set[date]] = defaultdict(set)
        stops = {(job.engine, job.name) for job in part.jobs if job.stops}
        for each in done:
            if (each.engine, each.job) in stops:
                self._standing[each.engine] |= {slot.period for slot in part.slots[each.engine] if each.start <= slot.day <= each.end}
        self._loads: dict[tuple[str, date], float] = defaultdict(float)
        for crew, week, hours in crew_loads(part, done):
            self._loads[crew, week] += hours

    def fell_due(self, job: Job, limit: date) -> date | None:
        """Return the day on which a job fell due that is past its line already; None where the limit lies ahead."""
        past = self._due.get((job.engine, job.name))
        return date.fromisoformat(past) if past and limit <= self._today else None

    def why(self, job: Job, limit: date, since: date | None = None) -> str:
        """Return why a job is not done by its limit, a sentence without its full stop.

        Args:
            job: the job.
            limit: the day by which it was to be done.
            since: the day of the completion before in the plan, or None.
        """
        is_past = self.fell_due(job, limit) is not None
        said = ["it fell due before the plan begins"] if is_past else []
        return "; ".join([*said, *self._causes(job, limit, since, is_past=is_past)]) or "the work that is due before it takes precedence"

    def _causes(self, job: Job, limit: date, since: date | None, *, is_past: bool) -> Iterable[str]:
        """Return what keeps a job from each earlier slot; nothing where one of them is not taken."""
        slots = self._part.slots[job.engine]
        taken = taken_in(self._part, job)
        by = slots[0].day if is_past and slots else limit
        ends = [end for end in ends_possible(job, slots, taken) if (since or date.min) < slots[end].day <= by]
        if not ends:
            return () if is_past else (self._no_slot(job, limit, since, taken),)
        kept_from = [list(self._taken_by(job, slots[max(0, end - taken + 1) : end + 1], taken)) for end in ends]
        return dict.fromkeys(reason for reasons in kept_from for reason in reasons) if all(kept_from) else ()

    def _taken_by(self, job: Job, slots: Sequence[Slot], taken: int) -> Iterator[str]:
        """Yield what keeps a job from the slots that it takes."""
        for group in self._part.groups:
            others = [engine for engine in group.engines if engine != job.engine]
            if (
                job.stops
                and job.engine in group.engines
                and any(sum(slot.period in self._standing[other] for other in others) >= group.left_in(slot.period) for slot in slots)
            ):
                yield f"of {', '.join(group.engines)} only {group.at_most} may stand at once"
        crew = self._part.crew_of(job)
        if crew is not None and any(
            self._loads[crew.name, slot.week] + job.person_hours / taken > crew.hours_in(slot.week) + 1e-6 for slot in slots
        ):
            yield f"the crew {crew.name} has no hours left before"

    def _no_slot(self, job: Job, limit: date, since: date | None, taken: int) -> str:
        """Return why there is no slot at all before a limit."""
        after = max(self._today, since or date.min)
        reasons = dict.fromkeys(reason for day, reason in sorted(self._closed.get(job.engine, {}).items()) if after < day <= limit)
        by_weeks = self._part.hours_a_slot > DAY_H
        if reasons:
            return f"there is no day before its limit on which the engine can be stopped: {', '.join(list(reasons)[:_LISTED])}"
        if job.opens is not None and limit < job.opens:
            return f"it counts only from {job.opens.isoformat()} on"
        if taken > 1:
            return f"the work takes {taken} slots one after the other, and its limit is sooner"
        if job.interval_d is not None and job.interval_d < _A_WEEK_D and since is not None and by_weeks:
            return f"it comes every {job.interval_d} d, more often than once a week: plan by days"
        if since is not None:
            none = "no week has its day" if by_weeks else "no working day lies"
            return f"{none} between {since.isoformat()}, when it is done before, and its limit"
        return "its limit is before the first day of the plan on which work is done"
