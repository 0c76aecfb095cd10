"""The stops of the plan before that are not planned anew and stay as they are: of other engines, and what is fixed beyond the last day.

In: the plan before, what is asked for, the terms of the site. Out: stops, and how they bind what is planned: who stands when, which hours
of the crews are taken. Refuses nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date, timedelta

from intervals.questions.plan.part_models import Group
from intervals.questions.plan.plan_file import PlanBefore
from intervals.questions.plan.plan_models import PlannedStop
from intervals.questions.plan.stop_slots import Grain
from intervals.site.stop_terms import StopGroup


def carried_stops(before: PlanBefore, asked: Collection[str], known: Collection[str], until: date) -> tuple[PlannedStop, ...]:
    """Return the stops of the plan before that stay as they are, in order of time.

    Args:
        before: the plan before.
        asked: the engines that are planned; none means all.
        known: the engines of the site.
        until: the last day of the plan.
    """
    kept = (
        stop
        for stop in before.stops
        if stop.engine in known and ((asked and stop.engine not in asked) or (stop.fixed and stop.day > until.isoformat()))
    )
    return tuple(sorted(kept, key=lambda stop: (stop.day, stop.engine)))


def group_of(group: StopGroup, carried: Sequence[PlannedStop], grain: Grain) -> Group:
    """Return a group with how many of its engines stand by stops that stay as they are.

    Args:
        group: the group as the site has it.
        carried: the stops that stay.
        grain: whether engines that stand in the same week, or on the same day, stand at once.
    """
    standing: dict[date, set[str]] = defaultdict(set)
    for stop in carried:
        for day in _days_of(stop) if stop.stopped and stop.engine in group.engines else ():
            standing[day - timedelta(days=day.weekday()) if grain == "week" else day].add(stop.engine)
    return Group(group.engines, group.stopped_at_most, {period: len(engines) for period, engines in standing.items()})


def hours_used(carried: Sequence[PlannedStop], crew: str) -> Mapping[date, float]:
    """Return the hours of a crew that stops take which stay as they are, by the Monday of the week, h.

    Args:
        carried: the stops that stay.
        crew: the crew; a stop of several takes as much of each.
    """
    used: dict[date, float] = defaultdict(float)
    for stop in carried:
        if crew in stop.crew:
            mondays = sorted({day - timedelta(days=day.weekday()) for day in _days_of(stop)})
            for monday in mondays:
                used[monday] += stop.hours * stop.people / len(stop.crew) / len(mondays)
    return used


def carried_notes(carried: Sequence[PlannedStop], asked: Collection[str]) -> Iterator[str]:
    """Yield sentences about the stops that stay as they are.

    Args:
        carried: the stops that stay.
        asked: the engines that are planned; none means all.
    """
    others = dict.fromkeys(stop.engine for stop in carried if asked and stop.engine not in asked)
    if others:
        yield f"not planned anew, their stops are those of the plan before: {', '.join(others)}"
    for stop in carried:
        if stop.engine not in others:
            tasks = ", ".join(stop.tasks)
            yield f"{stop.engine} is fixed on {stop.day}, after the last day of this plan: the stop stays as it is ({tasks})"


def _days_of(stop: PlannedStop) -> list[date]:
    """Return the days of a stop."""
    first = date.fromisoformat(stop.day)
    last = first if stop.until is None else date.fromisoformat(stop.until)
    return [first + timedelta(days=number) for number in range(max(0, (last - first).days) + 1)]
