"""When a line will be reached: at the recent pace, and at the busiest and the quietest stretch of the last year.

In: an engine's case, a task, the legs of its open window. Out: a `Forecast`, and legs with the day that was expected of them. Pace and
use are those at the log's end (at the moment of judging, where the log goes on), so that the expected day is the same whenever one
asks after it. It extrapolates; it judges nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

from intervals.findings import Forecast
from intervals.history.engine_case import EngineCase
from intervals.language.legs import CALENDAR, ELAPSED_HOURS
from intervals.rules.tasks import Task
from intervals.windows.expected_days import Days, clock_day, days_at, leg_pace, recent_day_of, used_from_us
from intervals.windows.leg_states import LegState, WindowStart


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
            days.append(recent_day_of(case, task, leg, start, short_of=leg.lead))
    return _decided(days, task.whichever)


def foreseen(rows: Sequence[Days], whichever: str) -> Forecast | None:
    """Return the forecast of what comes first (`last`: last) of several, each foreseen at three paces.

    Args:
        rows: of each leg its days at the recent, the busiest and the quietest pace; None for an unknown day.
        whichever: `first` or `last`.

    Returns:
        ISO days; None where no day is known at any pace.
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
    """Return the days on which one leg reaches its line: at the recent pace, at the busiest, at the quietest."""
    if leg.leg == CALENDAR:
        return leg.due, leg.due, leg.due
    if leg.leg == ELAPSED_HOURS:
        day = None if leg.left is None else clock_day(case, leg.left)
        return day, day, day
    pace = leg_pace(case, task, leg)
    if pace is None or leg.left is None:
        return None, None, None
    return days_at(case, leg.left, pace, used_from_us(case, leg, start))


def _decided(dates: Sequence[date | None], whichever: str) -> date | None:
    """Return the earliest known date, or for `last` the latest, if all are known."""
    known = [day for day in dates if day is not None]
    if whichever == "first":
        return min(known, default=None)
    return max(known) if known and len(known) == len(dates) else None
