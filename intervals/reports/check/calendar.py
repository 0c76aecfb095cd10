"""The findings as a calendar: due and expected dates as all-day events, to be imported again and again.

In: `Findings`. Out: an iCalendar file (RFC 5545) as bytes. A task keeps its UID for ever, and what changes with the day of judging
(SEQUENCE, DTSTAMP) comes from it and not from the clock: importing a later file moves events, and the same findings give the same bytes.
What fell due already stands on the day of judging, with its age in the title, since nobody looks for work in the past.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple
from uuid import UUID, uuid5

from icalendar import Calendar

from intervals.findings import Finding, Findings
from intervals.language.durations import CalendarStep, parse_step
from intervals.reports.check.calendar_lines import content_lines, day_value, escaped_text, moment_value
from intervals.reports.check.due_words import due_title, last_day_of
from intervals.reports.lines import printable
from intervals.urgency import by_urgency

FURTHEST = parse_step("P1Y")
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
        until: the last day of which events are wanted, or how far it is from the day of judging; None: a year.

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
    events = "".join(text for findings in several for text in _events_of(findings, until, has_others=len(several) > 1))
    head, end = bytes(calendar.to_ical()), b"END:VCALENDAR\r\n"
    return head.removesuffix(end) + events.encode("utf-8") + end


def _events_of(findings: Findings, until: date | CalendarStep | None, *, has_others: bool) -> Iterator[str]:
    """Yield the events of one site, the most urgent first; with its name in their titles, where others stand beside them."""
    as_of = datetime.fromisoformat(findings.as_of).astimezone(UTC)
    today = last_day_of(findings.as_of)
    last = until if isinstance(until, date) else (until or FURTHEST).after(today)
    dated = [finding for finding in findings.findings if finding.due_on is not None and date.fromisoformat(finding.due_on) <= last]
    stamps = _Stamps.of(as_of)
    of_site = findings.site if has_others else ""
    for finding in by_urgency(dated):
        yield content_lines(_event(findings, finding, today, stamps, of_site))


def event_uid(site: str, engine: str, task: str) -> str:
    """Return the UID of a task's event: the same for the same ids; `task` is `set.task` where several rule sets judge the engine."""
    name = "\x1f".join((site, engine, task))
    return f"{uuid5(_NAMESPACE, name)}@intervals.invalid"


def _warned(findings: Findings) -> list[str]:
    """Return what must be read before any event: few records could be used, or they may not say what they seem to."""
    return [f"! {each.text}" for each in findings.warnings]


class _Stamps(NamedTuple):
    """The moment of judging as every event has it: as a time, and as minutes since 2000, which rise as a re-import asks for."""

    at: str
    sequence: str

    @classmethod
    def of(cls, as_of: datetime) -> _Stamps:
        """Return the stamps of a moment."""
        return cls(moment_value(as_of), str(int((as_of - _EPOCH) / timedelta(minutes=1))))


def _event(findings: Findings, finding: Finding, today: date, stamps: _Stamps, of_site: str) -> Iterator[tuple[str, str]]:
    """Yield the properties of the event of one finding that has a date."""
    day = max(date.fromisoformat(finding.due_on or today.isoformat()), today)
    task = findings.name_of(finding)
    of = f"{of_site} {finding.engine}".lstrip()
    name = escaped_text(printable(f"{due_title(finding, today)}: {of}, {findings.title_of(finding)}"))
    lines = "\n".join(printable(line) for line in [*_warned(findings), *_description(finding, task)])
    yield "BEGIN", "VEVENT"
    yield "SUMMARY", name
    yield "DTSTART;VALUE=DATE", day_value(day)
    yield "DTEND;VALUE=DATE", day_value(day + timedelta(days=1))
    yield "DTSTAMP", stamps.at
    yield "UID", event_uid(findings.site, finding.engine, task)
    yield "SEQUENCE", stamps.sequence
    yield "CATEGORIES", finding.standing.replace("_", " ")
    yield "DESCRIPTION", escaped_text(lines)
    yield "LAST-MODIFIED", stamps.at
    yield "STATUS", "CONFIRMED" if finding.standing == "overdue" or finding.governing == "calendar" else "TENTATIVE"
    yield "TRANSP", "TRANSPARENT"
    if finding.standing in ("upcoming", "in_interval"):
        # a reminder on the day on which the lead of the task begins; without one, on the day itself
        begins = day if finding.upcoming_from is None else min(day, date.fromisoformat(finding.upcoming_from))
        ahead = (day - begins).days
        yield from (("BEGIN", "VALARM"), ("ACTION", "DISPLAY"), ("DESCRIPTION", name), ("TRIGGER", f"-P{ahead}D" if ahead else "P0D"))
        yield "END", "VALARM"
    yield "END", "VEVENT"


def _description(finding: Finding, name: str) -> list[str]:
    """Return what the event says: the due date, the reasons, the range of the date, the caution."""
    fell = "fell due on" if finding.standing == "overdue" else "due on"
    lines = [f"{finding.engine} {name}, {fell} {finding.due_on}", *(reason.text for reason in finding.reasons)]
    ahead = finding.forecast
    if ahead is not None and ahead.early and ahead.late and ahead.early != ahead.late:
        lines.append(f"expected between {ahead.early} and {ahead.late}")
    return [*lines, _CAUTION]
