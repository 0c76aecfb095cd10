"""The calendar, read back by `icalendar` and held against RFC 5545."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar

from intervals import read_site
from intervals.findings import Findings
from intervals.language.durations import CalendarStep, parse_step
from intervals.questions.check.assess import assess_site
from intervals.reports.check.calendar import findings_calendar
from intervals.urgency import by_urgency
from tests.site_maker import done, steady, task, write_site
from tests.unit.reports.month_sites import hostile_report, sample_report


def events_of(findings: Findings, title: str = "Quay") -> list[Any]:
    """Return the events as another reads them."""
    return list(Calendar.from_ical(findings_calendar(findings, title)).walk("VEVENT"))


def test_each_finding_with_a_date_is_an_all_day_event() -> None:
    """Each finding of the sample that has a date within a year; an event lasts one day and blocks nobody's time."""
    findings = sample_report("brackwater").findings
    events = events_of(findings)
    dated = [finding for finding in by_urgency(findings.findings) if finding.due_on and finding.due_on <= "2027-10-31"]
    assert len(events) == len(dated)
    ahead = [finding.due_on for finding in dated if finding.standing != "overdue"]
    assert [event["DTSTART"].dt.isoformat() for event in events][-len(ahead) :] == ahead
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


# 10 h a day from 1 January 2024: at the end of 31 January the meter shows 310 h
RUN = steady("2024-01-01", "2024-02-01", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}


def judged(folder: Path, as_of: date, tasks: list[dict[str, object]], **written: Any) -> Findings:  # noqa: ANN401 - passed on
    """Return the findings of an engine that runs 10 h a day."""
    return assess_site(write_site(folder, tasks, RUN, engine=ENGINE, **written), as_of)


def test_an_alarm_reminds_when_the_lead_begins(tmp_path: Path) -> None:
    """500 h allowed, 190 h left: 19 d, 19 February. A lead of 60 h is 6 d: 13 February. A year less P1M: 1 December before 1 January."""
    tasks = [
        task(every={"running_hours": 500}, lead={"running_hours": 60}),
        task("hoses", every={"calendar": "P1Y"}, lead={"calendar": "P1M"}),
    ]
    events = {event["DTSTART"].dt: event for event in events_of(judged(tmp_path, date(2024, 1, 31), tasks))}
    assert set(events) == {date(2024, 2, 19), date(2025, 1, 1)}
    for day, begins in ((date(2024, 2, 19), date(2024, 2, 13)), (date(2025, 1, 1), date(2024, 12, 1))):
        (alarm,) = events[day].walk("VALARM")
        assert (alarm["ACTION"], day + alarm["TRIGGER"].dt) == ("DISPLAY", begins)
        assert str(alarm["DESCRIPTION"]) == str(events[day]["SUMMARY"])


def test_what_is_overdue_stands_on_the_day_of_judging_with_its_age(tmp_path: Path) -> None:
    """190 h were used up at the end of 19 January, twelve days before the 31st; 5 % late, within 10 %, since the 30th for one day."""
    tasks = [task(every={"running_hours": 190}), task("plugs", every={"running_hours": 300}, tolerance_pct=10)]
    oil, plugs = events_of(judged(tmp_path, date(2024, 1, 31), tasks))
    assert (oil["DTSTART"].dt, str(oil["SUMMARY"])) == (date(2024, 1, 31), "Overdue for 12 days: G1, Oil")
    assert (plugs["DTSTART"].dt, str(plugs["SUMMARY"])) == (date(2024, 1, 31), "Overdue for 1 day, in tolerance: G1, Plugs")
    assert "fell due on 2024-01-19" in str(oil["DESCRIPTION"])
    assert not oil.walk("VALARM")


def test_a_task_with_a_window_is_overdue_from_its_end_on(tmp_path: Path) -> None:
    """Due on 11 January, ten days after the first, and to be done by the 14th: on the 31st it is overdue for 17 days, as the table says."""
    findings = judged(tmp_path, date(2024, 1, 31), [task(every={"calendar": "P10D"}, window={"before": "P3D", "after": "P3D"})])
    (event,) = events_of(findings)
    assert str(event["SUMMARY"]) == "Overdue for 17 days: G1, Oil"
    assert "fell due on 2024-01-11" in str(event["DESCRIPTION"])
    assert findings.findings[0].past_by is not None
    assert findings.findings[0].past_by.value == 17.0


def test_a_deferral_stands_in_the_title(tmp_path: Path) -> None:
    """Until 400 h, 9 d after the 31st, or the end of February: due on 9 February."""
    deferred = {"outcome": "deferred", "approved_by": "chief", "until_h": 400, "until_date": "2024-02-29"}
    findings = judged(
        tmp_path, date(2024, 1, 31), [task(every={"running_hours": 300})], services=[{**done("oil", "2024-01-30"), **deferred}]
    )
    (event,) = events_of(findings)
    assert str(event["SUMMARY"]) == "Due, deferred until 400 h on the meter or 2024-02-29: G1, Oil"
    assert event["DTSTART"].dt == date(2024, 2, 9)


def test_what_was_expected_of_a_log_that_ended_stands_on_the_day_of_judging(tmp_path: Path) -> None:
    """190 h left at the end of January: expected on 19 February; on 1 March nobody knows."""
    (event,) = events_of(judged(tmp_path, date(2024, 3, 1), [task(every={"running_hours": 500})], gap_h=36))
    assert str(event["SUMMARY"]) == "Unknown, expected on 2024-02-19: G1, Oil"
    assert event["DTSTART"].dt == date(2024, 3, 1)


@pytest.mark.parametrize(
    ("until", "days"), [(None, ["2025-01-01"]), (date(2024, 12, 31), []), (parse_step("P5Y"), ["2025-01-01", "2028-01-01"])]
)
def test_it_reaches_a_year_ahead_unless_asked(tmp_path: Path, until: date | CalendarStep | None, days: list[str]) -> None:
    """A yearly job and one of four years: a year from the day of judging, to a day, or as far as is asked."""
    findings = judged(tmp_path, date(2024, 1, 31), [task("hoses", every={"calendar": "P1Y"}), task("frame", every={"calendar": "P4Y"})])
    data = findings_calendar(findings, "Quay") if until is None else findings_calendar(findings, "Quay", until=until)
    events: list[Any] = list(Calendar.from_ical(data).walk("VEVENT"))
    assert [event["DTSTART"].dt.isoformat() for event in events] == days


def test_it_says_who_may_do_the_work() -> None:
    """Each event defers to the engine's documents, local code and trained people."""
    assert all("trained and allowed" in str(event["DESCRIPTION"]) for event in events_of(sample_report("brackwater").findings))
