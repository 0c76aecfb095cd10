"""When a line will be reached: at the recent pace, and at the busiest and the quietest stretch of the last year.

In: an engine's case, a task, the legs of its open window. Out: a `Forecast`. It extrapolates; it judges nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from intervals.findings import Forecast
from intervals.judge.cases import EngineCase
from intervals.judge.windows import CALENDAR, DECIMALS, LegState
from intervals.localdays import DAY_US
from intervals.rules.tasks import Task
from intervals.usage.course import Floats

RECENT_DAYS = 90
STRETCH_DAYS = 30
YEAR_DAYS = 365
FURTHEST_DAYS = 36525
_PLAIN = "hours on the clock"
_Days = tuple[date | None, date | None, date | None]
"""A day at the recent pace, at the busiest and at the quietest."""


class Pace(NamedTuple):
    """Use a day: lately, in the busiest and in the quietest 30 days of the last year (None where nothing is known)."""

    recent: float | None
    busiest: float | None
    quietest: float | None


def pace_of(case: EngineCase, totals: Floats) -> Pace:
    """Return the pace of a leg of use.

    Args:
        case: the engine's case.
        totals: the leg's use up to each edge of the ledger.
    """
    edges = case.ledger.edges_us
    first = case.log.course.known_from_us if case.log.course.is_known else (int(case.log.rows[0]) if len(case.log.rows) else None)
    if first is None:
        return Pace(None, None, None)
    end_us = case.end_us
    known_days = (end_us - first) / DAY_US
    if known_days <= 0:
        return Pace(None, None, None)
    recent_days = min(float(RECENT_DAYS), known_days)
    stretches = int(min(YEAR_DAYS, known_days)) - STRETCH_DAYS
    ends = end_us - np.arange(0, max(stretches, 0) + 1, dtype=np.int64) * DAY_US
    points = np.concatenate(([end_us, end_us - round(recent_days * DAY_US)], ends, ends - STRETCH_DAYS * DAY_US))
    # at standstill totals differ by what adding them up in another order rounds to, which is no pace
    used = np.round(np.interp(points, edges, totals), DECIMALS)
    recent = float(used[0] - used[1]) / recent_days
    if stretches < 0:
        return Pace(recent, recent, recent)
    rates = (used[2 : 2 + len(ends)] - used[2 + len(ends) :]) / STRETCH_DAYS
    return Pace(recent, max(recent, float(rates.max())), min(recent, float(rates.min())))


def forecast_of(case: EngineCase, task: Task, legs: Sequence[LegState], paces: dict[str, Pace]) -> Forecast | None:
    """Return when the task's line will be reached: the earlier of its legs (`last`: the later), or None where nothing tells.

    Args:
        case: the engine's case.
        task: the task.
        legs: its legs now, none past its line.
        paces: a memory of paces by leg and weights, filled as needed.
    """
    return _forecast([_days_of(case, task, leg, paces) for leg in legs], task.whichever)


def _forecast(rows: Sequence[_Days], whichever: str) -> Forecast | None:
    """Return the forecast of what comes first (`last`: last) of several, each foreseen at three paces."""
    on, early, late = [_decided(days, whichever) for days in zip(*rows, strict=True)] if rows else (None, None, None)
    if on is None and early is None and late is None:
        return None
    return Forecast(
        on=None if on is None else on.isoformat(),
        early=None if early is None else early.isoformat(),
        late=None if late is None else late.isoformat(),
    )


def forecast_of_deferral(case: EngineCase, until_h: float | None, until_date: date | None, paces: dict[str, Pace]) -> Forecast | None:
    """Return when a deferral will run out: its meter reading at the pace of running hours, or its date, whichever is first.

    Args:
        case: the engine's case.
        until_h: the meter reading to which the task is deferred, or None.
        until_date: the last day to which it is, or None.
        paces: a memory of paces, filled as needed.
    """
    rows: list[_Days] = [] if until_date is None else [(until_date, until_date, until_date)]
    shown_h = case.log.course.meter_at(case.end_us) if until_h is not None and case.log.course.is_known else None
    if until_h is not None and shown_h is not None:
        pace = paces.get(_PLAIN) or pace_of(case, case.ledger.running_h)
        paces[_PLAIN] = pace
        remaining = max(0.0, until_h - shown_h)
        rows.append((day_at(case, remaining, pace.recent), day_at(case, remaining, pace.busiest), day_at(case, remaining, pace.quietest)))
    return _forecast(rows, "first")


def _days_of(case: EngineCase, task: Task, leg: LegState, paces: dict[str, Pace]) -> _Days:
    """Return the days on which one leg reaches its line: at the recent pace, at the busiest, at the quietest."""
    if leg.leg == CALENDAR:
        return leg.due, leg.due, leg.due
    totals = case.leg_totals(task, leg.leg)
    if totals is None or leg.remaining is None:
        return None, None, None
    key = "|".join((leg.leg, *case.weight_key(task))) if leg.leg == "running_hours" else leg.leg
    pace = paces.get(key)
    if pace is None:
        pace = paces[key] = pace_of(case, totals)
    return day_at(case, leg.remaining, pace.recent), day_at(case, leg.remaining, pace.busiest), day_at(case, leg.remaining, pace.quietest)


def day_at(case: EngineCase, remaining: float, pace: float | None) -> date | None:
    """Return the day on which what remains is used up, or None where it is not foreseeable."""
    if pace is None or pace <= 0:
        return None
    days = remaining / pace
    if abs(days) > FURTHEST_DAYS:
        return None
    return case.last_day + timedelta(days=math.ceil(days - 1e-9))


def _decided(dates: Sequence[date | None], whichever: str) -> date | None:
    """Return the earliest known date, or for `last` the latest, if all are known."""
    known = [day for day in dates if day is not None]
    if whichever == "first":
        return min(known, default=None)
    return max(known) if known and len(known) == len(dates) else None
