"""When a job can be done: the slots in which it may end, and the spans of slots in which it must be done once.

In: a job and its engine's slots. Out: positions of slots. After each slot one span is looked at: the job is late when the next slot comes
after its limit, or after the interval since it was done last, and it was not done in the span. The spans of one job are an interval matrix.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple

from intervals.questions.plan.job_models import Job
from intervals.questions.plan.part_models import Part, Slot

WEEK_H, DAY_H = 40.0, 8.0
"""Hours that one person works in a week and on a day, h."""
MOST_LIFE_AWAY = 0.3
"""The share of an interval that may be left where a job is done; it is done earlier only where something would be late otherwise."""


class Span(NamedTuple):
    """Slots in which a job must be done once, or it is late.

    Attributes:
        first: the first slot.
        last: the last slot.
        late_d: for how many days it is late where it is not, d.
        is_end: whether the plan ends with it.
    """

    first: int
    last: int
    late_d: int
    is_end: bool


def taken_in(part: Part, job: Job) -> int:
    """Return how many slots one after the other a job of a part takes; a day has a fifth of the hours that its crew has in a week.

    Args:
        part: the part.
        job: the job.
    """
    crew = part.crew_of(job)
    return slots_taken(job, part.hours_a_slot, None if crew is None else crew.hours_per_week * min(1.0, part.hours_a_slot / WEEK_H))


def slots_taken(job: Job, hours_a_slot: float, crew_a_slot: float | None) -> int:
    """Return how many slots one after the other a job takes.

    Args:
        job: the job.
        hours_a_slot: hours of one day's or week's work, h.
        crew_a_slot: hours that its crew has in a slot, h; None where nobody's hours are counted.
    """
    by_clock = math.ceil(job.hours / hours_a_slot - 1e-9)
    by_crew = 1 if not crew_a_slot else math.ceil(job.person_hours / crew_a_slot - 1e-9)
    return max(1, by_clock, by_crew)


def ends_possible(job: Job, slots: Sequence[Slot], taken: int) -> range:
    """Return the slots in which a job may be finished: when it counts as done, and its work has fitted in before.

    Args:
        job: the job.
        slots: the engine's slots.
        taken: how many it takes.
    """
    opens = sum(slot.day < job.opens for slot in slots) if job.opens is not None else 0
    return range(max(opens, taken - 1), len(slots))


def early_before(job: Job, slots: Sequence[Slot], taken: int) -> int:
    """Return the slot before which a job comes too early the first time: its limit is far off, and there is another slot before that.

    Args:
        job: the job.
        slots: the engine's slots.
        taken: how many it takes.
    """
    days = [slot.day for slot in slots]
    in_time = bisect_right(days, job.limit)
    earliest = date.min if job.interval_d is None else job.limit - timedelta(days=math.floor(MOST_LIFE_AWAY * job.interval_d))
    first = bisect_left(days, earliest)
    # where nothing lies between the two, the last slot before the limit
    return max(ends_possible(job, slots, taken).start, min(first, in_time - 1) if in_time else first)


def again_from(job: Job, slots: Sequence[Slot], done: int, until: date) -> int:
    """Return the first slot in which a job may be done again: not before the last part of its interval, unless no other slot is in time.

    Args:
        job: a job that comes again.
        slots: the engine's slots.
        done: the slot in which it was finished.
        until: the last day of the plan; what is due after it needs no slot before.
    """
    interval = job.interval_d or 0
    due = slots[done].day + timedelta(days=interval)
    earliest = due - timedelta(days=math.floor(MOST_LIFE_AWAY * interval))
    days = [slot.day for slot in slots]
    last = bisect_right(days, due) - 1 if due <= until else len(days)
    return max(done + 1, min(bisect_left(days, earliest), last))


def spans_of(job: Job, slots: Sequence[Slot], until: date) -> list[Span]:
    """Return the spans in which a job must be done once each.

    The days from a slot to the next one are looked at one by one: on each the job is late where it was not done within the interval
    before. Days before which the same slots lie are one span.

    Args:
        job: the job.
        slots: the engine's slots.
        until: the last day of the plan.
    """
    spans: list[Span] = []
    days = [slot.day for slot in slots]
    for last, day in enumerate(days):
        is_end = last + 1 == len(days)
        following = until + timedelta(days=1) if is_end else days[last + 1]
        begin = max(day, job.limit)
        while begin < following:
            # the first slot that still counts on the day after, and the last day on which it does
            since = date.min if job.interval_d is None else begin + timedelta(days=1 - job.interval_d)
            first = min(last, bisect_left(days, since))
            lasts = job.interval_d is None or first == last
            end = following if lasts else min(following, days[first] + timedelta(days=job.interval_d or 0))
            spans.append(Span(first, last, (end - begin).days, is_end and end == following))
            begin = end
    return spans
