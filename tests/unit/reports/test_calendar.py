"""The calendar, read back by `icalendar` and held against RFC 5545."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

from icalendar import Calendar

from intervals import read_site
from intervals.findings import Findings
from intervals.judge.assess import assess_site
from intervals.reports.calendar import findings_calendar
from tests.site_maker import steady, task, write_site
from tests.unit.reports.month_sites import hostile_report, sample_report


def events_of(findings: Findings, title: str = "Quay") -> list[Any]:
    """Return the events as another reads them."""
    return list(Calendar.from_ical(findings_calendar(findings, title)).walk("VEVENT"))


def test_each_finding_with_a_date_is_an_all_day_event() -> None:
    """51 of the sample's 52 findings have a date; an event lasts one day and blocks nobody's time."""
    findings = sample_report("brackwater").findings
    events = events_of(findings)
    dated = [finding for finding in findings.findings if finding.due_on]
    assert len(events) == len(dated)
    assert [event["DTSTART"].dt.isoformat() for event in events] == [finding.due_on for finding in dated]
    assert all(type(event["DTSTART"].dt) is date for event in events)
    assert all(event["DTEND"].dt - event["DTSTART"].dt == timedelta(days=1) for event in events)
    assert {event["TRANSP"] for event in events} == {"TRANSPARENT"}


def test_it_keeps_to_rfc_5545() -> None:
    """Lines end with CR LF and hold at most 75 octets; what must be there is there; no UID stands twice."""
    findings = sample_report("skerry-island").findings
    data = findings_calendar(findings, "Skerry")
    assert data.startswith(b"BEGIN:VCALENDAR\r\n")
    assert data.endswith(b"END:VCALENDAR\r\n")
    lines = data.split(b"\r\n")
    assert max(len(line) for line in lines) <= 75
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    calendar = Calendar.from_ical(data)
    assert (calendar["VERSION"], bool(calendar["PRODID"])) == ("2.0", True)
    uids = [str(event["UID"]) for event in calendar.walk("VEVENT")]
    assert len(uids) == len(set(uids))
    assert all(event["DTSTAMP"].dt.utcoffset() == timedelta(0) for event in events_of(findings))


def test_importing_again_moves_the_event(tmp_path: Path) -> None:
    """A week later the pace has changed: the same UID, a higher SEQUENCE, a later DTSTAMP, another day."""
    rows = steady("2024-01-01", "2024-01-11", 10)
    rows += [{**row, "hour_meter_h": 100.0 + 20 * number} for number, row in enumerate(steady("2024-01-12", "2024-01-31", 0), start=1)]
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 0}
    site = write_site(tmp_path, [task(every={"running_hours": 1000})], rows, engine=engine)
    (first,) = events_of(assess_site(site, date(2024, 1, 10)))
    (later,) = events_of(assess_site(read_site(tmp_path), date(2024, 1, 20)))
    assert first["UID"] == later["UID"]
    assert int(later["SEQUENCE"]) > int(first["SEQUENCE"])
    assert later["DTSTAMP"].dt > first["DTSTAMP"].dt
    # 900 h left at 10 h a day: 90 days; then 700 h left (100 + 10 x 20 used) at 300 / 20 = 15 h a day: 46.7 days, so 47
    assert first["DTSTART"].dt == date(2024, 1, 10) + timedelta(days=90)
    assert later["DTSTART"].dt == date(2024, 1, 20) + timedelta(days=47)


def test_no_clock_is_in_it() -> None:
    """The same findings give the same bytes; SEQUENCE and DTSTAMP come from the date of judging."""
    findings = sample_report("harbour-clinic").findings
    assert findings_calendar(findings, "Clinic") == findings_calendar(findings, "Clinic")


def test_text_from_files_stays_text(tmp_path: Path) -> None:
    """Titles with commas, semicolons and line ends come back as they were written, and start no property of their own."""
    report = hostile_report(tmp_path)
    odd = report.findings.findings[0].model_copy(update={"title": "oil; filter, seal\r\nATTENDEE:x", "due_on": "2024-02-03"})
    (event,) = events_of(report.findings.model_copy(update={"findings": (odd,)}))
    assert "ATTENDEE" not in event
    assert "oil; filter, seal\\r\\nATTENDEE:x" in str(event["SUMMARY"]).replace("\\x0d", "\\r").replace("\\x0a", "\\n")


def test_it_says_who_may_do_the_work() -> None:
    """Each event defers to the engine's documents, local code and trained people."""
    assert all("trained and allowed" in str(event["DESCRIPTION"]) for event in events_of(sample_report("brackwater").findings))
