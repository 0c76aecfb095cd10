"""The findings as a calendar: due and expected dates as all-day events, to be imported again and again.

In: `Findings`. Out: an iCalendar file (RFC 5545) as bytes. A task keeps its UID for ever, and what changes with the day of judging
(SEQUENCE, DTSTAMP) comes from it and not from the clock: importing a later file moves events, and the same findings give the same bytes.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from uuid import UUID, uuid5

from icalendar import Calendar, Event

from intervals.findings import Finding, Findings
from intervals.reports.lines import printable

_NAMESPACE = UUID("6f0c8b1e-3f5e-5d0a-9a52-0d6a1a7c4e11")
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)
_CAUTION = (
    "This says what is due. How the work is done is for the engine's own documents, local code, and people trained and allowed to do it."
)
_SUMMARIES = {"overdue": "Overdue", "upcoming": "Due", "in_interval": "Expected due"}


def findings_calendar(findings: Findings, title: str) -> bytes:
    """Return one all-day event for each finding with a date.

    Args:
        findings: what was found.
        title: what people call the site.

    Returns:
        An iCalendar file. A task without a date (unknown, or not foreseeable) has no event.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//intervals//maintenance intervals//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", printable(f"Maintenance, {title}"))
    if findings.warnings:
        calendar.add("x-wr-caldesc", printable(" ".join(_warned(findings))))
    as_of = datetime.fromisoformat(findings.as_of).astimezone(UTC)
    for finding in findings.findings:
        if finding.due_on is not None:
            calendar.add_component(_event(findings, finding, date.fromisoformat(finding.due_on), as_of))
    return bytes(calendar.to_ical())


def event_uid(site: str, engine: str, task: str) -> str:
    """Return the UID of a task's event: always the same for the same ids."""
    name = "\x1f".join((site, engine, task))
    return f"{uuid5(_NAMESPACE, name)}@intervals.invalid"


def _warned(findings: Findings) -> list[str]:
    """Return what must be read before any event: few records could be used, or they may not say what they seem to."""
    return [f"! {each.text}" for each in findings.warnings]


def _event(findings: Findings, finding: Finding, day: date, as_of: datetime) -> Event:
    """Return the event of one finding."""
    event = Event()
    event.add("uid", event_uid(findings.site, finding.engine, finding.task))
    event.add("dtstamp", as_of)
    event.add("last-modified", as_of)
    # minutes since 2000: rises with the date of judging, as a re-import asks for
    event.add("sequence", int((as_of - _EPOCH) / timedelta(minutes=1)))
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("summary", printable(f"{_SUMMARIES.get(finding.standing, 'Due')}: {finding.engine}, {finding.title}"))
    event.add("description", "\n".join(printable(line) for line in [*_warned(findings), *_description(finding)]))
    event.add("categories", [finding.standing.replace("_", " ")])
    event.add("status", "CONFIRMED" if finding.standing == "overdue" or finding.governing == "calendar" else "TENTATIVE")
    event.add("transp", "TRANSPARENT")
    return event


def _description(finding: Finding) -> list[str]:
    """Return what the event says: the reasons, the range of the date, the caution."""
    lines = [f"{finding.engine} {finding.task}", *(reason.text for reason in finding.reasons)]
    ahead = finding.forecast
    if ahead is not None and ahead.early and ahead.late and ahead.early != ahead.late:
        lines.append(f"expected between {ahead.early} and {ahead.late}")
    return [*lines, _CAUTION]
