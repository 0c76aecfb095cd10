"""How fast each leg is used up, and the day on which it reaches its line at that pace.

In: an engine made ready, a task, the legs of its open window. Out: paces, days, and legs with the day that was expected of them. Pace and
use are those at the log's end (at the moment of judging, where the log goes on), so that the expected day is the same whenever one
asks after it. It extrapolates; it judges nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from intervals.arrays import Floats
from intervals.history.engine_case import EngineCase, Pace
from intervals.language.legs import CALENDAR, DECIMALS, ELAPSED_HOURS, RUNNING_HOURS
from intervals.local_days import DAY_US, HOUR_US
from intervals.rules.tasks import Task
from intervals.windows.leg_states import LegState, WindowStart

RECENT_DAYS = 90


STRETCH_DAYS = 30


YEAR_DAYS = 365


FURTHEST_DAYS = 36525


_GRAIN_D = 1e-9
_HOURS_A_DAY = 24.0


_PLAIN = "hours on the clock"


Days = tuple[date | None, date | None, date | None]
"""A day at the recent pace, at the busiest and at the quietest."""


def pace_of(case: EngineCase, totals: Floats, log_end_us: int | None = None) -> Pace:
    """Return the pace of a leg of use: of the last 90 days, and of 30 days of the last year, that the log covers, lay-ups left out.

    Args:
        case: the engine's case.
        totals: the leg's use up to each edge of the ledger.
        log_end_us: up to when the log covers it; None, or later than the moment of judging: up to that.
    """
    active = case.log.active
    first = case.log.course.known_from_us if case.log.course.is_known else (int(case.log.rows[0]) if len(case.log.rows) else None)
    if first is None:
        return Pace(None, None, None)
    end_us = case.end_us if log_end_us is None else min(case.end_us, log_end_us)
    known_days = active.between_us(first, end_us) / DAY_US
    if known_days <= 0:
        return Pace(None, None, None)
    recent_days = min(float(RECENT_DAYS), known_days)
    stretches = int(min(YEAR_DAYS, known_days)) - STRETCH_DAYS
    # a day of lay-up is no day of the pace, as it is none of the days ahead
    edges = active.at(case.ledger.edges_us)
    end = active.at(np.array([end_us], dtype=np.int64))
    ends = end - np.arange(0, max(stretches, 0) + 1) * DAY_US
    # nothing is used after the log's end: what was used up to it is the last total, wherever in its day the log ends
    up_to = np.concatenate((edges[-1:], ends[1:]))
    points = np.concatenate((edges[-1:], end - round(recent_days * DAY_US), up_to, ends - STRETCH_DAYS * DAY_US))
    # at standstill totals differ by what adding them up in another order rounds to, which is no pace
    used = np.round(np.interp(points, edges, totals), DECIMALS)
    recent = float(used[0] - used[1]) / recent_days
    if stretches < 0:
        return Pace(recent, recent, recent)
    rates = (used[2 : 2 + len(ends)] - used[2 + len(ends) :]) / STRETCH_DAYS
    return Pace(recent, max(recent, float(rates.max())), min(recent, float(rates.min())))


def meter_pace(case: EngineCase) -> Pace:
    """Return the pace of the hour meter."""
    pace = case.paces.get(_PLAIN)
    if pace is None:
        pace = case.paces[_PLAIN] = pace_of(case, case.ledger.running_h, case.log_end_us_of(RUNNING_HOURS))
    return pace


def with_expected_days(case: EngineCase, task: Task, legs: Sequence[LegState], start: WindowStart) -> tuple[LegState, ...]:
    """Return legs with the day on which each was expected to reach its line, where the log has ended.

    Args:
        case: the engine.
        task: the task.
        legs: the legs of its open window.
        start: the state in which that window began.

    Returns:
        The same legs, in order, with `expected` and `since_expected_d`; unchanged while the log goes on (silent for less than its gap).
    """
    if case.silence_us(case.end_us) <= case.log.gap_us:
        return tuple(legs)
    return tuple(_with_expected_day(case, task, leg, start) for leg in legs)


def _with_expected_day(case: EngineCase, task: Task, leg: LegState, start: WindowStart) -> LegState:
    """Return a leg of use with the day that was expected of it, if it was not past its line by then."""
    log_end_us = None if leg.leg == CALENDAR else case.log_end_us_of(leg.leg)
    if log_end_us is None or log_end_us >= case.end_us or leg.left is None or leg.left < 0:
        return leg
    expected = recent_day_of(case, task, leg, start)
    return leg if expected is None else leg._replace(expected=expected, since_expected_d=days_since(case, expected))


def days_since(case: EngineCase, expected: date) -> float:
    """Return for how many days a day has been over at the last day that is judged; zero on the day itself."""
    return float((case.last_day - expected).days)


def recent_day_of(case: EngineCase, task: Task, leg: LegState, start: WindowStart, *, short_of: float = 0.0) -> date | None:
    """Return the day on which a leg of use comes to so much short of its line, at the recent pace."""
    if leg.leg == ELAPSED_HOURS and leg.left is not None:
        return clock_day(case, leg.left - short_of)
    pace = leg_pace(case, task, leg)
    if pace is None or leg.left is None:
        return None
    return day_at(case, leg.left - short_of, pace.recent, used_from_us(case, leg, start))


def clock_day(case: EngineCase, left_h: float) -> date:
    """Return the day on which so many hours of the clock from the moment of judging on end; a midnight is the day that ends."""
    return case.site.day_of(case.end_us + round(left_h * HOUR_US) - 1)


def leg_pace(case: EngineCase, task: Task, leg: LegState) -> Pace | None:
    """Return the pace of a leg of use, or None where nothing is counted of it.

    Returns:
        Use per day outside lay-ups, in the leg's unit (equivalent hours for running hours); worked out once for each leg and weight.
    """
    if leg.leg == ELAPSED_HOURS:
        return Pace(_HOURS_A_DAY, _HOURS_A_DAY, _HOURS_A_DAY)
    totals = case.leg_totals(task, leg.leg)
    if totals is None:
        return None
    key = "|".join((leg.leg, *case.weight_key(task))) if leg.leg == RUNNING_HOURS else leg.leg
    pace = case.paces.get(key)
    if pace is None:
        pace = case.paces[key] = pace_of(case, totals, case.log_end_us_of(leg.leg))
    return pace


def used_from_us(case: EngineCase, leg: LegState, start: WindowStart) -> int:
    """Return from when on what is left of a leg is used up: the log's end, or the job that was done after it."""
    log_end_us = case.log_end_us_of(leg.leg)
    return case.end_us if log_end_us is None else min(case.end_us, max(log_end_us, start.at_us))


def days_at(case: EngineCase, remaining: float, pace: Pace, from_us: int) -> Days:
    """Return the days on which what remains from an instant on is used up: at the recent pace, at the busiest, at the quietest.

    Args:
        case: the engine.
        remaining: what is left at the instant, in the unit of the pace.
        pace: use per day.
        from_us: the instant, UTC microseconds.

    Returns:
        Local days; None for a pace that is unknown or zero, and for days beyond the calendar.
    """
    recent, busiest, quietest = (day_at(case, remaining, rate, from_us) for rate in pace)
    return recent, busiest, quietest


def day_at(case: EngineCase, remaining: float, pace: float | None, from_us: int | None = None) -> date | None:
    """Return the day on which what remains is used up, or None where it is not foreseeable; a midnight is the day that ends.

    Args:
        case: the engine's case.
        remaining: what remains, in the unit of the pace.
        pace: use a day.
        from_us: from when on it is used up, outside the engine's lay-ups; None: from the end of the last day that is judged on.
    """
    if pace is None or pace <= 0:
        return None
    days = remaining / pace
    if abs(days) > FURTHEST_DAYS:
        return None
    if from_us is None:
        return case.last_day + timedelta(days=math.ceil(days - _GRAIN_D))
    return date.fromordinal(math.ceil(_after_lay_ups(case, from_us, days) - _GRAIN_D) - 1)


def _after_lay_ups(case: EngineCase, from_us: int, days: float) -> float:
    """Return when so many days outside the lay-ups have passed, by the site's clock in days."""
    began = _on_the_clock(case, from_us)
    reached = began + days
    if days <= 0:
        return reached
    for start_us, end_us in sorted(case.log.active.spans_us):
        if end_us <= from_us:
            continue
        start = _on_the_clock(case, start_us)
        if start >= reached - _GRAIN_D:
            break
        reached += _on_the_clock(case, end_us) - max(start, began)
    return reached


def _on_the_clock(case: EngineCase, at_us: int) -> float:
    """Return an instant by the site's clock, in days: a local day is one day however long it lasts."""
    known = case.clock.get(at_us)
    if known is None:
        moment = case.days.moment(at_us)
        seconds = moment.hour * 3600 + moment.minute * 60 + moment.second + moment.microsecond / 1e6
        known = case.clock[at_us] = moment.toordinal() + seconds / 86_400
    return known
