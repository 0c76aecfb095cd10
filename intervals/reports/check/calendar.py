"""The findings as a calendar: due and expected dates as all-day events, to be imported again and again.

In: `Findings`. Out: an iCalendar file (RFC 5545) as bytes. A task keeps its UID for ever, and what changes with the day of judging
(SEQUENCE, DTSTAMP) comes from it and not from the clock: importing a later file moves events, and the same findings give the same bytes.
What fell due already stands on the day of judging, with its age in the title, since nobody looks for work in the past.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from uuid import UUID, uuid5

from icalendar import Alarm, Calendar, Event

from intervals.findings import Finding, Findings
from intervals.language.durations import CalendarStep, parse_step
from intervals.reports.check.due_words import due_title, last_day_of
from intervals.reports.lines import printable
from intervals.urgency import by_urgency

FURTHEST = parse_step("P2Y")
"""How far ahead an event lies at most, unless somebody asks for more."""
_NAMESPACE = UUID("6f0c8b1e-3f5e-5d0a-9a52-0d6a1a7c4e11")
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
_CAUTION = (
    "This says what is due. How the work is done is for the engine's own documents, local code, and people trained and allowed to do it."
)


def findings_calendar(findings: Findings, title: str, *, until: date | CalendarStep | None = None) -> bytes:
    """Return one all-day event for each finding with a date, the most urgent first.

    Args:
        findings: what was found.
        title: what people call the site.
        until: the last day of which events are wanted, or how far it is from the day of judging; None: two years.

    Returns:
        An iCalendar file. A task without a date (unknown, or not foreseeable) has no event.
    """
    return calendar_of([findings], title, until=until)


def calendar_of(several: Sequence[Findings], title: str, *, until: date | CalendarStep | None = None) -> bytes:
    """Return the events of several sites in one calendar, each site's most urgent first.

    Args:
        several: what was found of each site.
        title: what people call them together.
        until: as for `findings_calendar`.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//intervals//maintenance intervals//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", printable(f"Maintenance, {title}"))
    warned = [warning for findings in several for warning in _warned(findings)]
    if warned:
        calendar.add("x-wr-caldesc", printable(" ".join(warned)))
    for findings in several:
        as_of = datetime.fromisoformat(findings.as_of).astimezone(UTC)
        today = last_day_of(findings.as_of)
        last = until if isinstance(until, date) else (until or FURTHEST).after(today)
        for finding in by_urgency(findings.findings):
            if finding.due_on is not None and date.fromisoformat(finding.due_on) <= last:
                calendar.add_component(_event(findings, finding, today, as_of, of_site=findings.site if len(several) > 1 else ""))
    return bytes(calendar.to_ical())


def event_uid(site: str, engine: str, task: str) -> str:
    """Return the UID of a task's event: the same for the same ids; `task` is `set.task` where several rule sets judge the engine."""
    name = "\x1f".join((site, engine, task))
    return f"{uuid5(_NAMESPACE, name)}@intervals.invalid"


def _warned(findings: Findings) -> list[str]:
    """Return what must be read before any event: few records could be used, or they may not say what they seem to."""
    return [f"! {each.text}" for each in findings.warnings]


def _event(findings: Findings, finding: Finding, today: date, as_of: datetime, *, of_site: str = "") -> Event:
    """Return the event of one finding that has a date; with its site, where the calendar is of several."""
    due = date.fromisoformat(finding.due_on or today.isoformat())
    day = max(due, today)
    of = f"{of_site} {finding.engine}".lstrip()
    name = printable(f"{due_title(finding, today)}: {of}, {findings.title_of(finding)}")
    event = Event()
    event.add("uid", event_uid(findings.site, finding.engine, findings.name_of(finding)))
    event.add("dtstamp", as_of)
    event.add("last-modified", as_of)
    # minutes since 2000: rises with the date of judging, as a re-import asks for
    event.add("sequence", int((as_of - _EPOCH) / timedelta(minutes=1)))
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("summary", name)
    event.add("description", "\n".join(printable(line) for line in [*_warned(findings), *_description(finding, findings.name_of(finding))]))
    event.add("categories", [finding.standing.replace("_", " ")])
    event.add("status", "CONFIRMED" if finding.standing == "overdue" or finding.governing == "calendar" else "TENTATIVE")
    event.add("transp", "TRANSPARENT")
    if finding.standing in ("upcoming", "in_interval"):
        event.add_component(_alarm(finding, day, name))
    return event


def _alarm(finding: Finding, day: date, name: str) -> Alarm:
    """Return what reminds of an event on the day on which its task's lead begins; without one, on the day itself."""
    begins = day if finding.upcoming_from is None else min(day, date.fromisoformat(finding.upcoming_from))
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", name)
    alarm.add("trigger", begins - day)
    return alarm


def _description(finding: Finding, name: str) -> list[str]:
    """Return what the event says: the due date, the reasons, the range of the date, the caution."""
    fell = "fell due on" if finding.standing == "overdue" else "due on"
    lines = [f"{finding.engine} {name}, {fell} {finding.due_on}", *(reason.text for reason in finding.reasons)]
    ahead = finding.forecast
    if ahead is not None and ahead.early and ahead.late and ahead.early != ahead.late:
        lines.append(f"expected between {ahead.early} and {ahead.late}")
    return [*lines, _CAUTION]
