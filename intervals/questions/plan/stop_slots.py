"""The days on which each engine can be stopped: one of each week, or each working day, outside blackouts.

In: a site, the first and last day, weeks or days. Out: for each engine its slots, in order of time; days that a person fixed are always
among them. Out too: the hours that a crew has in the weeks that are not whole.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import date, timedelta
from typing import Literal

from intervals.questions.plan.blackout_days import Cost
from intervals.questions.plan.part_models import Slot

Grain = Literal["week", "day"]
_WEEKEND_FROM, _WORKING_DAYS = 5, 5


def slots_of(  # noqa: PLR0913 - what a calendar of stops is made of
    first: date, last: date, grain: Grain, *, closed: Collection[date], fixed: Collection[date], cost: Cost, at_weekends: bool
) -> tuple[Slot, ...]:
    """Return the slots of one engine.

    Args:
        first: the first day.
        last: the last day.
        grain: `week`: the cheapest day of each week, the first of those that cost alike; `day`: every day.
        closed: days on which it is not stopped.
        fixed: days that a person has fixed; a week that has one has no other.
        cost: how dear a stop is on a day.
        at_weekends: whether work is done on Saturdays and Sundays.
    """
    days = [first + timedelta(days=number) for number in range((last - first).days + 1)]
    free = [day for day in days if day not in closed and (at_weekends or day.weekday() < _WEEKEND_FROM)]
    here = sorted({day for day in fixed if first <= day <= last})
    if grain == "day":
        return tuple(Slot(day, day, cost(day)) for day in sorted({*free, *here}))
    weeks: dict[date, list[date]] = {}
    for day in free:
        weeks.setdefault(_monday(day), []).append(day)
    chosen = {monday: min(many, key=lambda day: (cost(day), day)) for monday, many in weeks.items()}
    fixed_weeks = {_monday(day) for day in here}
    open_days = [day for monday, day in chosen.items() if monday not in fixed_weeks]
    return tuple(Slot(day, _monday(day), cost(day)) for day in sorted({*open_days, *here}))


def crew_weeks(hours_per_week: float, days: Iterable[date], first: date, last: date, *, at_weekends: bool) -> Mapping[date, float]:
    """Return a crew's hours in the weeks that are not whole: a fifth of a week for each working day, h.

    Args:
        hours_per_week: in a whole week, h.
        days: days on which nobody works.
        first: the first day.
        last: the last day.
        at_weekends: whether work is done on Saturdays and Sundays.
    """
    closed = set(days)
    counts: dict[date, int] = {}
    for number in range((last - first).days + 1):
        day = first + timedelta(days=number)
        is_worked = day not in closed and (at_weekends or day.weekday() < _WEEKEND_FROM)
        counts[_monday(day)] = counts.get(_monday(day), 0) + is_worked
    return {
        monday: hours_per_week * min(count, _WORKING_DAYS) / _WORKING_DAYS for monday, count in counts.items() if 0 < count < _WORKING_DAYS
    }


def _monday(day: date) -> date:
    """Return the Monday of a day's week."""
    return day - timedelta(days=day.weekday())
