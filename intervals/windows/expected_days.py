"""How fast each leg was used up lately, and the day on which it reaches its line at that pace: what decides where a log has ended.

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
from intervals.history.engine_case import EngineCase
from intervals.language.legs import CALENDAR, DECIMALS, ELAPSED_HOURS, RUNNING_HOURS
from intervals.local_days import DAY_US, HOUR_US
from intervals.rules.tasks import Task
from intervals.windows.leg_states import LegState, WindowStart

RECENT_DAYS = 90


FURTHEST_DAYS = 36525


METER = "hours on the clock"
"""The key of plain running hours among what is used up."""
_GRAIN_D = 1e-9
_HOURS_A_DAY = 24.0


def pace_of(case: EngineCase, totals: Floats, log_end_us: int | None = None) -> float | None:
    """Return the use per day of the last 90 days that the log covers, lay-ups left out; None where nothing is known.

    Args:
        case: the engine's case.
        totals: the leg's use up to each edge of the ledger.
        log_end_us: up to when the log covers it; None, or later than the moment of judging: up to that.
    """
    active, first_us = case.log.active, case.log.known_from_us
    if first_us is None:
        return None
    end_us = case.end_us if log_end_us is None else min(case.end_us, log_end_us)
    known_days = active.between_us(first_us, end_us) / DAY_US
    if known_days <= 0:
        return None
    recent_days = min(float(RECENT_DAYS), known_days)
    # a day of lay-up is no day of the pace, as it is none of the days ahead
    edges = active.at(case.ledger.edges_us)
    began = active.at(np.array([end_us], dtype=np.int64)) - round(recent_days * DAY_US)
    # nothing is used after the log's end: what was used up to it is the last total, wherever in its day the log ends.
    # At standstill totals differ by what adding them up in another order rounds to, which is no pace
    return float(np.round(totals[-1], DECIMALS) - np.round(np.interp(began, edges, totals), DECIMALS)[0]) / recent_days


def meter_pace(case: EngineCase) -> float | None:
    """Return the pace of the hour meter."""
    if METER not in case.paces:
        case.paces[METER] = pace_of(case, case.ledger.running_h, case.log_end_us_of(RUNNING_HOURS))
    return case.paces[METER]


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
    if not case.is_silent:
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
    if leg.left is None:
        return None
    return day_at(case, leg.left - short_of, leg_pace(case, task, leg.leg), used_from_us(case, leg, start))


def clock_day(case: EngineCase, left_h: float) -> date:
    """Return the day on which so many hours of the clock from the moment of judging on end; a midnight is the day that ends."""
    return case.site.day_of(case.end_us + round(left_h * HOUR_US) - 1)


def leg_key(case: EngineCase, task: Task, name: str) -> str:
    """Return the key of a leg of use: legs of one key are used up alike, whatever their tasks."""
    return "|".join((name, *case.weight_key(task))) if name == RUNNING_HOURS else name


def leg_pace(case: EngineCase, task: Task, name: str) -> float | None:
    """Return the pace of a leg of use, or None where nothing is counted of it.

    Args:
        case: the engine.
        task: the task.
        name: the leg.

    Returns:
        Use per day outside lay-ups, in the leg's unit (equivalent hours for running hours); worked out once for each leg and weight.
    """
    if name == ELAPSED_HOURS:
        return _HOURS_A_DAY
    totals = case.leg_totals(task, name)
    if totals is None:
        return None
    key = leg_key(case, task, name)
    if key not in case.paces:
        case.paces[key] = pace_of(case, totals, case.log_end_us_of(name))
    return case.paces[key]


def used_from_us(case: EngineCase, leg: LegState, start: WindowStart) -> int:
    """Return from when on what is left of a leg is used up: the log's end, or the job that was done after it."""
    log_end_us = case.log_end_us_of(leg.leg)
    return case.end_us if log_end_us is None else min(case.end_us, max(log_end_us, start.at_us))


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
    if from_us is not None:
        return days_after(case, (days,), from_us)[0]
    return None if abs(days) > FURTHEST_DAYS else case.last_day + timedelta(days=math.ceil(days - _GRAIN_D))


def days_after(case: EngineCase, spans: Sequence[float], from_us: int) -> list[date | None]:
    """Return the days on which so many days outside the lay-ups have passed; None beyond the calendar, a midnight is the day that ends.

    Args:
        case: the engine's case.
        spans: how many days, each also of an instant before.
        from_us: the instant, UTC microseconds.
    """
    ends = _after_lay_ups(case, from_us, spans)
    return [
        None if abs(days) > FURTHEST_DAYS else date.fromordinal(math.ceil(end - _GRAIN_D) - 1)
        for days, end in zip(spans, ends, strict=True)
    ]


def _after_lay_ups(case: EngineCase, from_us: int, spans: Sequence[float]) -> list[float]:
    """Return when so many days outside the lay-ups have passed, by the site's clock in days."""
    began, laid_up = _on_the_clock(case, from_us), case.log.active.spans_us
    return [began + days if days <= 0 or not laid_up else _stepped_over(case, from_us, began, days) for days in spans]


def _stepped_over(case: EngineCase, from_us: int, began: float, days: float) -> float:
    """Return when so many days from an instant on have passed, those of lay-ups left out."""
    reached = began + days
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
