"""The days that the events of a calendar file cover, those that recur as often as they do.

In: an ICS file, the site's zone, a first and a last day. Out: first day, last day and name of each event, by the site's clock. A rule
(RRULE), further dates (RDATE), dates left out (EXDATE) and moved or cancelled ones (RECURRENCE-ID, STATUS) count. Refuses (CLI155) a file
that is no calendar, and each event that cannot be read, with its line: nothing of a calendar is left out without a word.

Source: RFC 5545, 3.3.10, 3.6.1, 3.8.2, 3.8.4.4 and 3.8.5.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta, tzinfo
from itertools import chain, islice
from pathlib import Path
from typing import NamedTuple

from icalendar import Calendar

from intervals.problems import Problem, RequestProblemError
from intervals.questions.plan.event_times import EventProblemError, Fields, as_wall, checked_time, length_of, times_of

CODE = "CLI155"
_UNNAMED = "blackout"
_OFTEN = ("SECONDLY", "MINUTELY", "HOURLY")
_NEAR = timedelta(days=2)
"""Zones lie less than two days apart."""
_UNKNOWN_PARTS = ("RSCALE", "SKIP")
MOST_OCCURRENCES = 100_000
"""A rule that yields more until the last day that is asked for is no rule of days."""


class CalendarSpan(NamedTuple):
    """The days of one occurrence, by the site's clock, and its name."""

    first: date
    last: date
    name: str


class _Window(NamedTuple):
    """The days that are asked for, and the site's zone."""

    first: date
    last: date
    zone: tzinfo


def calendar_spans(file: Path, zone: tzinfo, first: date, last: date) -> Iterator[CalendarSpan]:
    """Yield the days of each occurrence that lies between two days.

    Args:
        file: the calendar file.
        zone: the site's zone; times without a zone are of its clock.
        first: the first day that is asked for.
        last: the last one.

    Raises:
        RequestProblemError: the file is no calendar, or an event of it cannot be read (code CLI155), all of them at once.
    """
    window = _Window(first, last, zone)
    events = list(_events_in(file))
    problems: list[Problem] = []
    found: list[CalendarSpan] = []
    moved: dict[str, list[date | datetime]] = defaultdict(list)
    for line, event in events:
        try:
            if event.get("recurrence-id") is not None and event.get("uid") is not None:
                moved[str(event["uid"])].append(_moved_from(event))
        except EventProblemError as error:
            problems.append(Problem(CODE, str(file), line, None, f"{_named(event)} {error}", error.fix))
    for line, event in events:
        try:
            found += _spans_of(event, moved.get(str(event.get("uid")), []), window)
        except EventProblemError as error:
            problems.append(Problem(CODE, str(file), line, None, f"{_named(event)} {error}", error.fix))
        except OverflowError:
            problems.append(Problem(CODE, str(file), line, None, f"{_named(event)} reaches beyond the year 9999", "write its last day"))
    if problems:
        raise RequestProblemError(list(dict.fromkeys(problems)))
    yield from found


def _events_in(file: Path) -> Iterator[tuple[int, Fields]]:
    """Yield the events of a file, each with the line on which it begins."""
    try:
        content = file.read_bytes()
        calendars = Calendar.from_ical(content, multiple=True)
    except (OSError, ValueError) as error:
        text = f"cannot be read as a calendar: {getattr(error, 'strerror', None) or error}"
        raise RequestProblemError([Problem(CODE, str(file), None, None, text, "write an ICS file, or the days themselves")]) from None
    begun = (number for number, line in enumerate(content.splitlines(), start=1) if line.strip().upper() == b"BEGIN:VEVENT")
    for calendar in calendars:
        for event in calendar.walk("VEVENT"):
            yield next(begun, 1), event


def _named(event: Fields) -> str:
    """Return an event as a problem names it."""
    return f'the event "{event.get("summary", event.get("uid", ""))}"'


def _moved_from(event: Fields) -> date | datetime:
    """Return which occurrence of its series an event takes the place of."""
    place = event["recurrence-id"]
    if str(place.params.get("RANGE", "")):
        text = "changes all later ones of its series (RECURRENCE-ID;RANGE), which cannot be read"
        raise EventProblemError(text, "write what comes later as a series of its own")
    return checked_time(place, "RECURRENCE-ID")


def _spans_of(event: Fields, moved: list[date | datetime], window: _Window) -> Iterator[CalendarSpan]:
    """Yield the days of each occurrence of an event."""
    if event.errors:
        wrong = "; ".join(f"{name}: {text}" for name, text in event.errors)
        message = f"cannot be read: {wrong}"
        raise EventProblemError(message, "write it as RFC 5545 has it")
    if str(event.get("status", "")).upper() == "CANCELLED":
        return
    start, length = times_of(event)
    name = str(event.get("summary", "")) or _UNNAMED
    zone = start.tzinfo if isinstance(start, datetime) else None
    for wall, own in _occurrences(event, start, length, moved, window):
        span = _days_of(wall, own, zone, window, is_timed=isinstance(start, datetime))
        if span[1] >= window.first and span[0] <= window.last:
            yield CalendarSpan(*span, name)


def _occurrences(
    event: Fields, start: date | datetime, length: timedelta, moved: list[date | datetime], window: _Window
) -> Iterator[tuple[datetime, timedelta]]:
    """Yield when each occurrence begins, by the clock of the event, and how long it lasts."""
    zone = start.tzinfo if isinstance(start, datetime) else None
    first = as_wall(start, zone)
    found = {first: length}
    if event.get("recurrence-id") is None:
        if event.get("exrule") is not None:
            message = "has a rule of what is left out (EXRULE), which cannot be read"
            raise EventProblemError(message, "write EXDATE for each day that is left out")
        for rule in _listed(event.get("rrule")):
            found |= dict.fromkeys(_by_rule(rule, first, zone, length, window), length)
        for value, own in _further(event, length):
            found[as_wall(value, zone)] = own
        for gone in [*_left_out(event), *moved]:
            is_day = not isinstance(gone, datetime)
            for wall in [wall for wall in found if (wall.date() == gone if is_day else wall == as_wall(gone, zone))]:
                del found[wall]
    yield from sorted(found.items())


def _by_rule(rule: Fields, first: datetime, zone: tzinfo | None, length: timedelta, window: _Window) -> Iterator[datetime]:
    """Yield what a rule yields until the last day that is asked for; where it begins is always the first one."""
    from dateutil.rrule import rrulestr  # noqa: PLC0415 - only events that recur need it

    parts = {str(key).upper(): value for key, value in dict(rule).items()}
    frequency = str(parts.get("FREQ", [""])[0]).upper()
    wrong = [part for part in _UNKNOWN_PARTS if part in parts]
    if frequency in _OFTEN or wrong or any(int(parts.get(key, [1])[0]) < 1 for key in ("INTERVAL", "COUNT")):
        why = "comes more often than once a day" if frequency in _OFTEN else f"has {', '.join(wrong) or 'INTERVAL or COUNT below 1'}"
        message = f"{why} (RRULE:{rule.to_ical().decode()}), which cannot be read"
        raise EventProblemError(message, "write the days themselves")
    end = datetime.combine(window.last, time.max) + _NEAR
    until = parts.pop("UNTIL", [None])[0]
    if until is not None:
        end = min(end, as_wall(until, zone) if isinstance(until, datetime) else datetime.combine(until, time.max))
    count = parts.pop("COUNT", [None])[0]
    text = type(rule)(parts).to_ical().decode()
    try:
        # without its COUNT, since a rule that never holds is searched for as far as its UNTIL
        starts = rrulestr(f"{text};UNTIL={end:%Y%m%dT%H%M%S}", dtstart=first)
        begins = datetime.combine(window.first, time.min) - length - _NEAR
        for number, start in enumerate(islice(chain([first], (start for start in starts if start != first)), count)):
            if number == MOST_OCCURRENCES:
                message = f"recurs more than {MOST_OCCURRENCES:,} times (RRULE:{text})"
                raise EventProblemError(message, "begin it later, or write the days themselves")
            if start >= begins:
                yield start
    except (ValueError, TypeError) as error:
        message = f"recurs by a rule that cannot be read (RRULE:{text}): {error}"
        raise EventProblemError(message, "write it as RFC 5545 has it") from None


def _listed(values: Fields) -> list[Fields]:
    """Return a property that may be there several times as a list."""
    return values if isinstance(values, list) else [] if values is None else [values]


def _further(event: Fields, length: timedelta) -> Iterator[tuple[date | datetime, timedelta]]:
    """Yield when further occurrences begin (RDATE), and how long each lasts."""
    for listed in _listed(event.get("rdate")):
        for each in listed.dts:
            if isinstance(each.dt, tuple):
                begins, ends = each.dt
                yield begins, ends if isinstance(ends, timedelta) else length_of(begins, ends)
            else:
                yield checked_time(each, "RDATE", listed.params), length


def _left_out(event: Fields) -> Iterator[date | datetime]:
    """Yield which occurrences are left out (EXDATE)."""
    for listed in _listed(event.get("exdate")):
        for each in listed.dts:
            yield checked_time(each, "EXDATE", listed.params)


def _days_of(wall: datetime, length: timedelta, zone: tzinfo | None, window: _Window, *, is_timed: bool) -> tuple[date, date]:
    """Return first and last day of an occurrence by the site's clock; an end is itself not part of it."""
    ends = max(wall, wall + length - timedelta(microseconds=1))
    if is_timed and zone is not None:
        wall, ends = (each.replace(tzinfo=zone).astimezone(window.zone) for each in (wall, ends))
    return wall.date(), ends.date()
