"""The days of calendar events: those that RFC 5545 gives for its own examples, and others counted by hand.

The examples of section 3.8.5.3 begin on 1997-09-02 at 09:00 in New York; they are named by the words that stand above them there.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from intervals.problems import RequestProblemError
from intervals.questions.plan.calendar_events import calendar_spans

NEW_YORK = "America/New_York"
BEGIN = f"DTSTART;TZID={NEW_YORK}:19970902T090000"
MINUTES = ",".join(map(str, range(60)))
OWN_ZONE = [
    "BEGIN:VTIMEZONE", "TZID:Plant", "BEGIN:STANDARD", "DTSTART:19700101T000000", "TZOFFSETFROM:-1000", "TZOFFSETTO:-1000",
    "END:STANDARD", "END:VTIMEZONE",
]  # fmt: skip


def write(folder: Path, *events: list[str], before: list[str] | None = None) -> Path:
    """Write a calendar of events, each of its lines."""
    lines = [line for event in events for line in ["BEGIN:VEVENT", *event, "END:VEVENT"]]
    file = folder / "days.ics"
    text = "\r\n".join(["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:x", *(before or []), *lines, "END:VCALENDAR", ""])
    file.write_bytes(text.encode())
    return file


def days(file: Path, zone: str = NEW_YORK, first: str = "1996-01-01", last: str = "2010-12-31") -> list[str]:
    """Return the days that are covered, of those that are asked for."""
    found: set[date] = set()
    for span in calendar_spans(file, ZoneInfo(zone), date.fromisoformat(first), date.fromisoformat(last)):
        found |= {span.first + timedelta(days=number) for number in range((span.last - span.first).days + 1)}
    return [day.isoformat() for day in sorted(found) if first <= day.isoformat() <= last]


def dates(month: str, *numbers: int) -> list[str]:
    """Return days of one month."""
    return [f"{month}-{number:02}" for number in numbers]


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        pytest.param([BEGIN, "RRULE:FREQ=DAILY;COUNT=10"], dates("1997-09", *range(2, 12)), id="Daily for 10 occurrences"),
        pytest.param(
            [
                f"DTSTART;TZID={NEW_YORK}:19970901T090000",
                "RRULE:FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
            ],
            [
                *dates("1997-09", 1, 3, 5, 15, 17, 19, 29), *dates("1997-10", 1, 3, 13, 15, 17, 27, 29, 31),
                *dates("1997-11", 10, 12, 14, 24, 26, 28), *dates("1997-12", 8, 10, 12, 22),
            ],
            id="Every other week on Monday, Wednesday, and Friday until December 24, 1997",
        ),
        pytest.param(
            [f"DTSTART;TZID={NEW_YORK}:19970905T090000", "RRULE:FREQ=MONTHLY;COUNT=10;BYDAY=1FR"],
            [
                "1997-09-05", "1997-10-03", "1997-11-07", "1997-12-05", "1998-01-02", "1998-02-06", "1998-03-06", "1998-04-03",
                "1998-05-01", "1998-06-05",
            ],
            id="Monthly on the first Friday for 10 occurrences",
        ),
        pytest.param(
            [f"DTSTART;TZID={NEW_YORK}:19970928T090000", "RRULE:FREQ=MONTHLY;BYMONTHDAY=-3;UNTIL=19980301T000000Z"],
            ["1997-09-28", "1997-10-29", "1997-11-28", "1997-12-29", "1998-01-29", "1998-02-26"],
            id="Monthly on the third-to-the-last day of the month, forever",
        ),
        pytest.param(
            [BEGIN, f"EXDATE;TZID={NEW_YORK}:19970902T090000", "RRULE:FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13;UNTIL=20001231T000000Z"],
            ["1998-02-13", "1998-03-13", "1998-11-13", "1999-08-13", "2000-10-13"],
            id="Every Friday the 13th, forever",
        ),
        pytest.param(
            [
                f"DTSTART;TZID={NEW_YORK}:19961105T090000",
                "RRULE:FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8",
            ],
            ["1996-11-05", "2000-11-07", "2004-11-02", "2008-11-04"],
            id="Every 4 years, the first Tuesday after a Monday in November, forever",
        ),
        pytest.param(
            [f"DTSTART;TZID={NEW_YORK}:19970904T090000", "RRULE:FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3"],
            ["1997-09-04", "1997-10-07", "1997-11-06"],
            id="The third instance into the month of one of Tuesday, Wednesday, or Thursday, for the next 3 months",
        ),
        pytest.param(
            [f"DTSTART;TZID={NEW_YORK}:19970805T090000", "RRULE:FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO"],
            dates("1997-08", 5, 10, 19, 24),
            id="the days generated makes a difference because of WKST, Monday",
        ),
        pytest.param(
            [f"DTSTART;TZID={NEW_YORK}:19970805T090000", "RRULE:FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU"],
            dates("1997-08", 5, 17, 19, 31),
            id="changing only WKST from MO to SU",
        ),
        pytest.param(
            [f"DTSTART;TZID={NEW_YORK}:20070115T090000", "RRULE:FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5"],
            ["2007-01-15", "2007-01-30", "2007-02-15", "2007-03-15", "2007-03-30"],
            id="An example where an invalid date (i.e., February 30) is ignored",
        ),
        pytest.param(
            ["DTSTART;VALUE=DATE:19971102", "RRULE:FREQ=YEARLY;UNTIL=20000101"],
            ["1997-11-02", "1998-11-02", "1999-11-02"],
            id="3.6.1: an annual anniversary event, a day without an end",
        ),
        pytest.param(
            ["DTSTART;VALUE=DATE:20070628", "DTEND;VALUE=DATE:20070709"],
            dates("2007-06", 28, 29, 30) + dates("2007-07", *range(1, 9)),
            id="3.6.1: a multi-day event from June 28th, 2007 to July 8th, 2007"),
        pytest.param(
            ["DTSTART;VALUE=DATE:19970101", "RDATE;VALUE=DATE:19970101,19970120,19970217,19970421"],
            ["1997-01-01", "1997-01-20", "1997-02-17", "1997-04-21"],
            id="3.8.5.2: RDATE of days",
        ),
        pytest.param(
            ["DTSTART:19960403T020000Z", "RDATE;VALUE=PERIOD:19960403T020000Z/19960403T040000Z,19960404T010000Z/PT3H"],
            dates("1996-04", 2, 3),
            id="3.8.5.2: RDATE of periods, which are the evening before in New York",
        ),
    ],
)  # fmt: skip
def test_the_examples_of_the_standard(tmp_path: Path, lines: list[str], expected: list[str]) -> None:
    """The days are those that the standard lists."""
    assert days(write(tmp_path, ["UID:1", *lines])) == expected


@pytest.mark.parametrize(
    ("lines", "zone", "expected"),
    [
        pytest.param([f"DTSTART;TZID={NEW_YORK}:20260310T200000"], "Europe/Amsterdam", ["2026-03-11"], id="20:00 in New York is 01:00"),
        pytest.param(["DTSTART:20260310T233000Z", "DTEND:20260311T003000Z"], "Europe/Amsterdam", ["2026-03-11"], id="UTC"),
        pytest.param(["DTSTART:20260310T233000"], "Europe/Amsterdam", ["2026-03-10"], id="no zone is the site's"),
        pytest.param(["DTSTART;VALUE=DATE:20260310"], "Pacific/Auckland", ["2026-03-10"], id="a day is a day everywhere"),
        pytest.param(["DTSTART;TZID=W. Europe Standard Time:20260310T233000", "DURATION:PT1H"], "UTC", ["2026-03-10"], id="another name"),
        pytest.param(["DTSTART;TZID=Plant:20260310T150000"], "Europe/Amsterdam", ["2026-03-11"], id="a zone of the file's own, UTC-10"),
        pytest.param(["DTSTART:20260310T080000", "DTEND:20260312T000000"], "Europe/Amsterdam", ["2026-03-10", "2026-03-11"], id="midnight"),
        pytest.param(["DTSTART:20260310T080000", "DURATION:P1DT1H"], "Europe/Amsterdam", ["2026-03-10", "2026-03-11"], id="duration"),
        pytest.param(["DTSTART;VALUE=DATE:20260310", "DTEND;VALUE=DATE:20260310"], "UTC", ["2026-03-10"], id="an end on the same day"),
        pytest.param(
            ["DTSTART;TZID=Europe/Amsterdam:20260328T000000", "DTEND;TZID=Europe/Amsterdam:20260329T000000", "RRULE:FREQ=DAILY;COUNT=2"],
            "Europe/Amsterdam", ["2026-03-28", "2026-03-29"], id="a whole day stays one when the clock is set forward",
        ),
        pytest.param(
            ["DTSTART;TZID=Europe/Amsterdam:20260324T003000", "RRULE:FREQ=WEEKLY;UNTIL=20260330T223000Z"],
            "Europe/Amsterdam", ["2026-03-24", "2026-03-31"], id="UNTIL is the last one itself, in summer time",
        ),
        pytest.param(
            ["DTSTART;TZID=Europe/Amsterdam:20260324T003000", "RRULE:FREQ=WEEKLY;UNTIL=20260330T222959Z"],
            "Europe/Amsterdam", ["2026-03-24"], id="UNTIL a second before",
        ),
        pytest.param(["DTSTART:20260310T080000", "RRULE:FREQ=DAILY;UNTIL=20260312"], "UTC", dates("2026-03", 10, 11, 12), id="UNTIL a day"),
        pytest.param(
            [
                "DTSTART;TZID=Europe/Amsterdam:20260310T080000", "RRULE:FREQ=DAILY;COUNT=4",
                "EXDATE:20260311T070000Z", "EXDATE;VALUE=DATE:20260312",
            ],
            "Europe/Amsterdam", dates("2026-03", 10, 13), id="EXDATE in another zone, and as a day",
        ),
        pytest.param(
            ["DTSTART;VALUE=DATE:20260310", "RRULE:FREQ=DAILY;COUNT=3", "EXDATE;VALUE=DATE:20260310,20260312"],
            "UTC", ["2026-03-11"], id="EXDATE of days",
        ),
        pytest.param(["DTSTART;VALUE=DATE:20260310", "STATUS:CANCELLED"], "UTC", [], id="cancelled"),
        pytest.param(["DTSTART;VALUE=DATE:20260227", "RRULE:FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30;COUNT=5"], "UTC", [], id="never"),
        pytest.param(["DTSTART;VALUE=DATE:20251230", "DTEND;VALUE=DATE:20260302", "RRULE:FREQ=YEARLY"], "UTC", ["2026-03-01"],
            id="begun before the first day that is asked for"),
    ],
)  # fmt: skip
def test_zones_ends_and_days_left_out(tmp_path: Path, lines: list[str], zone: str, expected: list[str]) -> None:
    """Days are those of the site's clock; an end is not part of an event."""
    file = write(tmp_path, ["UID:1", *lines], before=OWN_ZONE)
    assert days(file, zone, "2026-03-01", "2026-04-30") == expected


def test_one_of_a_series_may_be_moved_or_cancelled(tmp_path: Path) -> None:
    """Of four Mondays the second is moved to a Wednesday and the third is cancelled; a series of another UID is left alone."""
    series = ["DTSTART;TZID=Europe/Amsterdam:20260302T080000", "RRULE:FREQ=WEEKLY;COUNT=4"]
    moved = ["UID:1", "RECURRENCE-ID:20260309T070000Z", "DTSTART;TZID=Europe/Amsterdam:20260311T080000"]
    cancelled = ["UID:1", "RECURRENCE-ID;TZID=Europe/Amsterdam:20260316T080000", "DTSTART:20260316T080000", "STATUS:CANCELLED"]
    file = write(tmp_path, moved, ["UID:1", *series], cancelled)
    assert days(file, "Europe/Amsterdam", "2026-03-01", "2026-03-31") == dates("2026-03", 2, 11, 23)
    file = write(tmp_path, moved, ["UID:1", *series], cancelled, ["UID:2", *series])
    assert days(file, "Europe/Amsterdam", "2026-03-01", "2026-03-31") == dates("2026-03", 2, 9, 11, 16, 23)
    # one that is moved out of the days that are asked for is gone, one that is moved into them is there
    early = ["UID:1", "RECURRENCE-ID;TZID=Europe/Amsterdam:20260302T080000", "DTSTART:20260221T080000"]
    file = write(tmp_path, ["UID:1", *series], early)
    assert days(file, "Europe/Amsterdam", "2026-02-20", "2026-02-28") == ["2026-02-21"]
    assert days(file, "Europe/Amsterdam", "2026-03-01", "2026-03-10") == ["2026-03-09"]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["SUMMARY:fair"], 'the event "fair" has no DTSTART'),
        (["DTSTART:tomorrow"], "DTSTART: Wrong date format"),
        (["DTSTART;TZID=Nowhere/City:20260310T080000"], 'DTSTART in the zone "Nowhere/City", which nobody knows'),
        (["DTSTART:20260310T080000", "DTEND;VALUE=DATE:20260312"], "one is a day, the other a time"),
        (["DTSTART:20260310T080000", "DTEND:20260309T080000"], "before it begins"),
        (["DTSTART:20260310T080000", "RRULE:FREQ=HOURLY"], "more often than once a day (RRULE:FREQ=HOURLY), which cannot be read"),
        (["DTSTART:20260310T080000", "RRULE:FREQ=DAILY;INTERVAL=0"], "INTERVAL or COUNT below 1"),
        (["DTSTART:20260310T080000", "RRULE:FREQ=FORTNIGHTLY"], "RRULE: Expected frequency"),
        (["DTSTART:20260310T080000", "RRULE:FREQ=DAILY;BYSETPOS=400;BYDAY=MO"], "RRULE"),
        (["DTSTART:20260310T080000", "RRULE:RSCALE=GREGORIAN;FREQ=YEARLY;SKIP=FORWARD"], "RSCALE, SKIP"),
        (["DTSTART:20260310T080000", "RRULE:FREQ=DAILY", "EXRULE:FREQ=WEEKLY"], "EXRULE"),
        (["DTSTART:20260310T080000", "RECURRENCE-ID;RANGE=THISANDFUTURE:20260310T080000"], "RECURRENCE-ID;RANGE"),
        (["DTSTART:20260310T080000", "DURATION:P9999999D"], "beyond the year 9999"),
        (
            ["DTSTART:20250310T080000", "RRULE:FREQ=DAILY;BYMINUTE=" + ",".join(map(str, range(60))) + ";BYHOUR=0,1,2,3,4,5"],
            "100,000 times",
        ),
    ],
)
def test_what_cannot_be_read_is_said(tmp_path: Path, lines: list[str], said: str) -> None:
    """Each problem names the file, the line of its event and what is wrong; nothing is left out without a word."""
    good = ["UID:0", "DTSTART;VALUE=DATE:20260310"]
    with pytest.raises(RequestProblemError) as error:
        days(write(tmp_path, good, ["UID:1", *lines], good), "UTC", "2026-03-01", "2026-04-30")
    (problem,) = error.value.problems
    assert (problem.code, problem.line) == ("CLI155", 8)
    assert said in problem.text


def test_everything_that_cannot_be_read_is_said_at_once(tmp_path: Path) -> None:
    """Two events of three are refused together; a file that is no calendar is refused whole."""
    wrong = ["UID:1", "DTSTART:20260310T080000", "RRULE:FREQ=SECONDLY"]
    with pytest.raises(RequestProblemError) as error:
        days(write(tmp_path, wrong, ["UID:2", "DTSTART;VALUE=DATE:20260310"], ["UID:3"]))
    assert [problem.line for problem in error.value.problems] == [4, 13]
    page = tmp_path / "page.ics"
    page.write_text("<html>Sign in</html>", "utf-8")
    with pytest.raises(RequestProblemError, match="cannot be read as a calendar"):
        days(page)
