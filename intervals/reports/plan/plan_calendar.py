"""A plan of stops as a calendar: one all-day event for each stop, to be imported again and again.

In: a `Plan`. Out: an iCalendar file (RFC 5545) as bytes, the same bytes for the same plan.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

from icalendar import Calendar, Event

from intervals.questions.plan.plan_models import Plan, PlannedStop
from intervals.reports.lines import printable
from intervals.reports.plan.plan_words import CAUTION, day_of, late_text, oil_text, part_text
from intervals.shown_numbers import amount

_NAMESPACE = UUID("0b8f2c7a-9d1e-5b64-8a3f-52c1d7e09f16")
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)


def plan_calendar(plan: Plan) -> bytes:
    """Return one event for each stop.

    Args:
        plan: the plan.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//intervals//maintenance intervals//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", printable(f"Stops, {plan.site_title}"))
    as_of = datetime.fromisoformat(plan.as_of).astimezone(UTC)
    for stop in plan.stops:
        calendar.add_component(_event(plan, stop, as_of))
    return bytes(calendar.to_ical())


def _event(plan: Plan, stop: PlannedStop, as_of: datetime) -> Event:
    """Return the event of one stop."""
    event = Event()
    event.add("uid", f"{uuid5(_NAMESPACE, chr(0x1F).join((plan.site, stop.engine, stop.day)))}@intervals.invalid")
    event.add("dtstamp", as_of)
    # minutes since 2000: rises with the date of judging, as a re-import asks for
    event.add("sequence", int((as_of - _EPOCH) / timedelta(minutes=1)))
    event.add("dtstart", day_of(stop.day))
    event.add("dtend", day_of(stop.until or stop.day) + timedelta(days=1))
    event.add("summary", printable(f"{stop.engine} {'stops' if stop.stopped else 'is visited'}: {', '.join(stop.tasks)}"))
    people = f"{amount(stop.hours, 'h')}, {stop.people:,} {'person' if stop.people == 1 else 'people'}"
    needed = [*map(part_text, stop.parts), *map(oil_text, stop.oil)]
    lines = [people, *map(late_text, stop.late), *([f"to bring: {', '.join(needed)}"] if needed else []), CAUTION]
    event.add("description", "\n".join(printable(line) for line in lines))
    event.add("status", "CONFIRMED" if stop.fixed else "TENTATIVE")
    event.add("transp", "OPAQUE" if stop.stopped else "TRANSPARENT")
    return event
