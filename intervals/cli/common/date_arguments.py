"""What a person typed, read: dates, months and choices that typer cannot check by itself.

In: words of the command line. Out: dates. Refuses by `RequestProblemError` (codes CLI101, CLI012, CLI103, CLI107, CLI130).
"""

from __future__ import annotations

import re
from datetime import date, datetime

from intervals.language.durations import CalendarStep, parse_step
from intervals.language.months import YEARS, last_day_of
from intervals.problems import Problem, RequestProblemError

_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_DATE_AND_TIME = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?(Z|[+-]\d{2}:\d{2})?")


def read_as_of(typed: str) -> date | datetime:
    """Return the date, or the date and time, to judge at.

    Args:
        typed: such as `2026-10-31`, `2026-10-31T14:00` (the site's own time) or `2026-10-31T14:00+01:00`.

    Returns:
        A date stands for its end; a datetime without offset is local to the site.

    Raises:
        RequestProblemError: it is neither (code CLI101).
    """
    try:
        if _DATE.fullmatch(typed) and date.fromisoformat(typed).year in YEARS:
            return date.fromisoformat(typed)
        if _DATE_AND_TIME.fullmatch(typed) and datetime.fromisoformat(typed).year in YEARS:
            return datetime.fromisoformat(typed)
    except ValueError:
        pass  # looks like a date and is none, such as 2026-02-30: refused below like any other
    raise _refused(code="CLI101", option="--as-of", text=f'not a date; got "{typed}", expected for example 2026-10-31 or 2026-10-31T14:00')


def read_day(typed: str, option: str) -> date:
    """Return a day.

    Args:
        typed: such as `2026-10-31`.
        option: the option it was typed for.

    Raises:
        RequestProblemError: it is not a day (code CLI130).
    """
    text = f'not a day; got "{typed}", expected for example 2026-10-31'
    try:
        if _DATE.fullmatch(typed):
            day = date.fromisoformat(typed)
            if day.year in YEARS:
                return day
            text = f"the year {day.year} cannot be; got {typed}"
    except ValueError:
        pass  # looks like a day and is none: refused below like any other
    raise _refused(code="CLI130", option=option, text=text)


def read_calendar_end(typed: str | None) -> date | CalendarStep | None:
    """Return the last day that a calendar is to hold, or how far it is from the day of judging.

    Args:
        typed: such as `P5Y` or `2031-12-31`; None where nothing was typed.

    Raises:
        RequestProblemError: it is neither (code CLI107).
    """
    if typed is None:
        return None
    try:
        if not _DATE.fullmatch(typed):
            return parse_step(typed)
        if date.fromisoformat(typed).year in YEARS:
            return date.fromisoformat(typed)
    except ValueError:
        pass  # neither: refused below like any other
    text = f'neither a span nor a day; got "{typed}", expected for example P5Y or 2031-12-31'
    raise _refused(code="CLI107", option="--calendar-until", text=text)


def date_of_judging(as_of: str | None, month: str | None, now: datetime) -> date | datetime:
    """Return the moment to judge at, from what was typed.

    Args:
        as_of: `--as-of` as it was typed, or None.
        month: `--month` as it was typed, or None; a month is judged at its end.
        now: this moment, where neither was given.

    Returns:
        A date or a datetime.

    Raises:
        RequestProblemError: one cannot be read, or the two do not agree (codes CLI101, CLI012, CLI103), all at once.
    """
    found: list[Problem] = []
    moment: date | datetime = now
    month_end: date | None = None
    try:
        moment = now if as_of is None else read_as_of(as_of)
    except RequestProblemError as error:
        found += error.problems
    try:
        month_end = None if month is None else last_day_of(month)
    except RequestProblemError as error:
        found += error.problems
    # a date that cannot be read is no month's end either: left out, nothing of it is wrong any more
    if as_of is not None and month_end is not None and (found or moment != month_end):
        text = f"a month is judged at its end, {month_end.isoformat()}; got also --as-of {as_of}"
        found += _refused(code="CLI103", option="--month", text=text, fix="leave --as-of out").problems
    if found:
        raise RequestProblemError(found)
    return moment if month_end is None else month_end


def _refused(*, code: str, option: str, text: str, fix: str | None = None) -> RequestProblemError:
    """Return the error for an option that cannot be used."""
    return RequestProblemError([Problem(code=code, file=option, line=None, path=None, text=text, fix=fix)])
