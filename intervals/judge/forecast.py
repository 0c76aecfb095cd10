"""When a line will be reached, and when its lead begins: what comes first of several legs, or last.

In: an engine's case, a task, the legs of its open window. Out: a `Forecast`; the days of each leg come from `windows/ranges_ahead.py`.
It extrapolates; it judges nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

from intervals.findings import Forecast
from intervals.history.engine_case import EngineCase
from intervals.language.legs import CALENDAR
from intervals.rules.tasks import Task
from intervals.windows.leg_states import LegState, WindowStart
from intervals.windows.ranges_ahead import Days, lead_day_of, range_of_leg


def forecast_of(case: EngineCase, task: Task, legs: Sequence[LegState], start: WindowStart) -> Forecast | None:
    """Return when the task's line will be reached: the earlier of its legs (`last`: the later), or None where it is unknown.

    Args:
        case: the engine's case.
        task: the task.
        legs: its legs now, none past its line.
        start: the state in which their window began.
    """
    return foreseen([_days_of(case, task, leg, start) for leg in legs], task.whichever)


def lead_start_of(case: EngineCase, task: Task, legs: Sequence[LegState], start: WindowStart) -> date | None:
    """Return the day from which on the task is upcoming: that of the first leg to come inside its lead (`last`: of the last)."""
    days: list[date | None] = []
    for leg in legs:
        if leg.line is not None:
            days.append(leg.line - timedelta(days=math.floor(leg.lead)))
        else:
            days.append(lead_day_of(case, task, leg, start))
    return _decided(days, task.whichever)


def foreseen(rows: Sequence[Days], whichever: str) -> Forecast | None:
    """Return the forecast of what comes first (`last`: last) of several.

    Args:
        rows: of each leg its middle, early and late day; None for an unknown day.
        whichever: `first` or `last`.

    Returns:
        ISO days; None where no day is known.
    """
    on, early, late = [_decided(days, whichever) for days in zip(*rows, strict=True)] if rows else (None, None, None)
    if on is None and early is None and late is None:
        return None
    return Forecast(
        on=None if on is None else on.isoformat(),
        early=None if early is None else early.isoformat(),
        late=None if late is None else late.isoformat(),
    )


def _days_of(case: EngineCase, task: Task, leg: LegState, start: WindowStart) -> Days:
    """Return the days on which one leg reaches its line: the middle one, the early one, the late one."""
    return (leg.due, leg.due, leg.due) if leg.leg == CALENDAR else range_of_leg(case, task, leg, start)


def _decided(dates: Sequence[date | None], whichever: str) -> date | None:
    """Return the earliest known date, or for `last` the latest, if all are known."""
    known = [day for day in dates if day is not None]
    if whichever == "first":
        return min(known, default=None)
    return max(known) if known and len(known) == len(dates) else None
