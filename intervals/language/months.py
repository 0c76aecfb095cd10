"""Months as they are asked for: their days, and what is wrong with one.

In: a month such as `2026-10`. Out: its first and last day. Refuses (RequestProblemError, code CLI012) what is no month, and one that has
not begun. It loads nothing large: the command line asks it before there is anything to judge.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Callable
from datetime import date

from intervals.problems import Problem, RequestProblemError

YEARS = range(1900, 2200)
"""Engines and their records lie in these years."""
_MONTH = re.compile(r"([0-9]{4})-(0[1-9]|1[0-2])")


def first_day_of(month: str) -> date:
    """Return the first day of a month.

    Args:
        month: such as `2026-10`.

    Raises:
        RequestProblemError: not a month (code CLI012).

    Example:
        >>> first_day_of("2024-02")
        datetime.date(2024, 2, 1)
    """
    parts = _MONTH.fullmatch(month)
    if parts is None or int(parts[1]) not in YEARS:
        raise RequestProblemError([_wrong(f'not a month; got "{month}", expected for example 2026-10')])
    return date(int(parts[1]), int(parts[2]), 1)


def last_day_of(month: str) -> date:
    """Return the last day of a month.

    Args:
        month: such as `2026-10`.

    Raises:
        RequestProblemError: not a month (code CLI012).

    Example:
        >>> last_day_of("2024-02")
        datetime.date(2024, 2, 29)
    """
    first = first_day_of(month)
    return first.replace(day=calendar.monthrange(first.year, first.month)[1])


def month_problems(month: str | None, now_us: int | None, instant_us: Callable[[date], int]) -> tuple[Problem, ...]:
    """Return what is wrong with a month that was asked for: that it is none, or has not begun.

    Args:
        month: such as `2026-10`, or None where none was asked for.
        now_us: the clock, UTC microseconds. None: no clock, and a month may lie ahead.
        instant_us: when a day begins by the site's clock, UTC microseconds.
    """
    if month is None:
        return ()
    try:
        start_us = instant_us(first_day_of(month))
    except RequestProblemError as error:
        return error.problems
    if now_us is None or now_us >= start_us:
        return ()
    return (_wrong(f"{month} has not begun", "name this month or an earlier one"),)


def _wrong(text: str, fix: str | None = None) -> Problem:
    """Return the problem of a month."""
    return Problem("CLI012", "--month", None, None, text, fix)
