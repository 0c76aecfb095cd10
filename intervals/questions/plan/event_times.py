"""When an event of a calendar begins and how long it lasts, as its file has it.

In: an event. Out: days or times, and lengths. Refuses (EventProblemError) what is missing, contradicts itself, or is in a zone that nobody
knows.

Source: RFC 5545, 3.6.1: without an end an event of a day lasts that day, one of a time ends when it begins.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta, tzinfo
from typing import Any

_A_DAY = timedelta(days=1)
Fields = Any
"""An event, or a property of one, whose types are the library's own and depend on what the file holds."""


class EventProblemError(Exception):
    """An event cannot be read: what is wrong with it.

    Args:
        text: what is wrong, as the end of a sentence that begins with the event.
        fix: what to write instead.

    Attributes:
        fix: what to write instead.
    """

    def __init__(self, text: str, fix: str) -> None:
        super().__init__(text)
        self.fix = fix


def times_of(event: Fields) -> tuple[date | datetime, timedelta]:
    """Return when an event begins and how long it lasts.

    Args:
        event: the event.

    Raises:
        EventProblemError: it has no beginning, ends before it, begins as a day and ends as a time, or is in a zone that nobody knows.
    """
    if event.get("dtstart") is None:
        message = "has no DTSTART"
        raise EventProblemError(message, "write when it begins")
    start = checked_time(event["dtstart"], "DTSTART")
    if event.get("dtend") is not None:
        end = checked_time(event["dtend"], "DTEND")
        if isinstance(start, datetime) is not isinstance(end, datetime):
            message = f"begins at {start} and ends at {end}: one is a day, the other a time"
            raise EventProblemError(message, "write both alike")
        length = length_of(start, end)
    elif event.get("duration") is not None:
        length = event["duration"].dt
    else:
        length = timedelta(0) if isinstance(start, datetime) else _A_DAY
    if length < timedelta(0):
        message = f"ends {-length} before it begins, {start}"
        raise EventProblemError(message, "write an end that comes later")
    return start, length


def length_of(start: date | datetime, end: date | datetime) -> timedelta:
    """Return how long it is from one day or time to another: by the clock where both have the same zone, so that a whole day stays one.

    Args:
        start: the first one.
        end: the second one.
    """
    if not isinstance(start, datetime) or not isinstance(end, datetime):
        return as_wall(end, None) - as_wall(start, None)
    return end - start if start.tzinfo is not None and end.tzinfo is not None else as_wall(end, None) - as_wall(start, None)


def checked_time(value: Fields, word: str, params: Mapping[str, Any] | None = None) -> date | datetime:
    """Return the day or time of a property.

    Args:
        value: what the library has made of it.
        word: its name.
        params: where its parameters stand, if not with itself.

    Raises:
        EventProblemError: it is neither, or in a zone that nobody knows.
    """
    found = getattr(value, "dt", None)
    if not isinstance(found, date):
        message = f"has a {word} that is no day and no time"
        raise EventProblemError(message, "write it as RFC 5545 has it")
    zone = (value.params if params is None else params).get("TZID")
    if zone is not None and isinstance(found, datetime) and found.tzinfo is None:
        message = f'has a {word} in the zone "{zone}", which nobody knows'
        raise EventProblemError(message, "write the name of a zone, such as Europe/Amsterdam")
    return found


def as_wall(value: date | datetime, zone: tzinfo | None) -> datetime:
    """Return a day or time by the clock of an event, without its zone; a day is its first moment.

    Args:
        value: the day or time.
        zone: the event's zone; None where it has none.
    """
    if not isinstance(value, datetime):
        return datetime.combine(value, time.min)
    if value.tzinfo is not None and zone is not None:
        value = value.astimezone(zone)
    return value.replace(tzinfo=None)
