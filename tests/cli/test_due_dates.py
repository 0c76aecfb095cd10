"""One due date: table, JSON, CSV, workbook, calendar and page say the same day for the same due point, read back from their files."""

from __future__ import annotations

import csv
import json
import re
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time
from icalendar import Calendar
from openpyxl import load_workbook

from intervals.reports.check.calendar import event_uid
from tests.cli.conftest import Run
from tests.site_maker import done, rule, steady, task, write_site

SAMPLES = Path(__file__).parents[2] / "sample_logs"
SITES = ["brackwater", "harbour-clinic", "skerry-island"]
STANDINGS = ("overdue", "upcoming", "in interval", "unknown")
NOON = "2026-11-02T12:00:00+00:00"
_TIME = re.compile(r'<article id="([^"]+)".*?</h4>', re.DOTALL)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
Key = tuple[str, str]


def days_by_each(run: Run, site: Path, folder: Path, as_of: str) -> tuple[list[dict[str, Any]], dict[str, dict[Key, str | None]]]:
    """Return the findings of the JSON document, and of every other form the due date by engine and task."""
    with freeze_time(NOON):
        words = ["check", site, "--as-of", as_of, "--fail-on", "never"]
        for form in ("json", "csv"):
            assert run(*words, "--format", form, "--output", folder / form).exit_code == 0
        beside = ["--html", folder / "page", "--xlsx", folder / "book.xlsx", "--ics", folder / "ics", "--calendar-until", "P150Y"]
        table = run(*words, *beside)
    assert table.exit_code == 0, table.stderr
    findings: list[dict[str, Any]] = json.loads((folder / "json").read_text("utf-8"))["findings"]
    keys = [(finding["engine"], finding["task"]) for finding in findings]
    with (folder / "csv").open(encoding="utf-8", newline="") as file:
        sheet = {(row["engine"], row["task"]): row["due_on"] or None for row in csv.DictReader(file)}
    return findings, {
        "csv": sheet,
        "workbook": days_of_workbook(folder / "book.xlsx"),
        "table": days_of_table(table.stdout, keys),
        "page": days_of_page((folder / "page").read_text("utf-8"), keys),
    }


def days_of_workbook(path: Path) -> dict[Key, str | None]:
    """Return the due dates of a workbook."""
    rows: list[Any] = list(load_workbook(path)["findings"].iter_rows(values_only=True))
    found = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    return {(row["engine"], row["task"]): row["due on"].date().isoformat() if row["due on"] else None for row in found}


def days_of_table(text: str, keys: list[Key]) -> dict[Key, str | None]:
    """Return the due dates of the table, of the findings that it shows: its columns are two blanks or more apart."""
    found: dict[Key, str | None] = {}
    for line in text.splitlines():
        cells = re.split(r"\s{2,}", line.strip())
        key = (cells[0], cells[1]) if len(cells) > 5 else ("", "")
        if key in keys and cells[2][2:] in STANDINGS:
            found[key] = cells[5] if _DAY.fullmatch(cells[5]) else None
    return found


def days_of_page(text: str, keys: list[Key]) -> dict[Key, str | None]:
    """Return the due dates of the page."""
    found: dict[Key, str | None] = {}
    names = {f"{engine} {name}": (engine, name) for engine, name in keys}
    for head in _TIME.finditer(text):
        name = re.search(r"<small>(\S+ \S+):", head.group(0))
        day = re.search(r'<time datetime="([^"]+)"', head.group(0))
        if name and name.group(1) in names:
            found[names[name.group(1)]] = day.group(1) if day else None
    return found


def events_of(path: Path) -> list[Any]:
    """Return the events of a calendar as another library reads them."""
    return list(Calendar.from_ical(path.read_bytes()).walk("VEVENT"))


def check_calendar(findings: list[dict[str, Any]], path: Path, site: str, as_of: str) -> None:
    """Hold the calendar against the findings: what has gone by stands on the day of judging, and says when it fell due."""
    events = {str(event["UID"]): event for event in events_of(path)}
    dated = [finding for finding in findings if finding["due_on"]]
    assert len(events) == len(dated)
    for finding in dated:
        event = events[event_uid(site, finding["engine"], finding["task"])]
        assert event["DTSTART"].dt == max(date.fromisoformat(finding["due_on"]), date.fromisoformat(as_of))
        assert f"due on {finding['due_on']}" in str(event["DESCRIPTION"])
        if finding["standing"] == "overdue":
            age = (date.fromisoformat(as_of) - date.fromisoformat(finding["due_on"])).days
            assert f"{age} day" in str(event["SUMMARY"]) or (age == 0 and "since today" in str(event["SUMMARY"]))


@pytest.mark.parametrize("site", SITES)
def test_every_form_says_the_same_day_of_a_sample_site(run: Run, tmp_path: Path, site: str) -> None:
    """No form has a day of its own, and what will fall due has the day of its forecast."""
    findings, told = days_by_each(run, SAMPLES / site, tmp_path, "2026-10-31")
    due = {(finding["engine"], finding["task"]): finding["due_on"] for finding in findings}
    assert told["csv"] == told["workbook"] == told["page"] == due
    assert told["table"]
    assert all(due[key] == day for key, day in told["table"].items())
    check_calendar(findings, tmp_path / "ics", site, "2026-10-31")
    assert all(finding["due_on"] == finding["forecast"]["on"] for finding in findings if finding["forecast"])


def test_every_form_says_the_same_day_of_the_untidy(run: Run, tmp_path: Path) -> None:
    """Lines at midnight and within a day, a window, deferrals, a budget, a lay-up, a log that ended: the days are worked out by hand."""
    rows = [{**row, "load_pct": 95} for row in steady("2026-01-01", "2026-10-01", 10)]
    rows += steady("2026-01-01", "2026-09-01", 5, engine="G2")
    engines = [
        {"id": "G1", "in_service": "2026-01-01", "meter_at_start_h": 0},
        {"id": "G2", "in_service": "2026-01-01", "meter_at_start_h": 0, "laid_up": [{"from": "2026-09-01", "to": "2026-12-01"}]},
    ]
    heavy = {**rule("heavy", {"load_pct": {"above": 90}}, counts_as=2), "tasks": ["plugs"]}
    tasks = [
        task("oil", every={"running_hours": 2730}),
        task("plugs", every={"running_hours": 5500}),
        task("crank", every={"running_hours": 2805}),
        task("hoses", every={"calendar": "P9M"}, window={"before": "P10D", "after": "P20D"}),
        task("belts", every={"calendar": "P8M"}),
        task("pump", every={"running_hours": 2000}),
        task("valves", every={"running_hours": 2000}),
    ]
    deferred = {"at": "2026-09-20", "outcome": "deferred", "approved_by": "chief"}
    services = [
        {**done("pump", "2026-09-20"), **deferred, "until_h": 2900, "until_date": "2026-10-18"},
        {**done("valves", "2026-09-20"), **deferred, "until_h": 2835, "until_date": "2026-12-31"},
    ]
    hours = {"id": "hours", "title": "Hours a year", "of": "running_hours", "per": "calendar_year", "at_most": 2850}
    write_site(
        tmp_path / "site", tasks, rows, engines=engines, services=services, rules={"adjustments": [heavy], "budgets": [hours]}, gap_h=36,
    )  # fmt: skip
    findings, told = days_by_each(run, tmp_path / "site", tmp_path, "2026-10-10")
    due = {(finding["engine"], finding["task"]): finding["due_on"] for finding in findings}
    # 273 d of 10 h by the end of 30 September: 2,730 h, at the line of oil then, 0 d on: expected that day, and gone by on 10 October
    assert due["G1", "oil"] == "2026-09-30"
    # 5,460 of 5,500 at 20 a day: 2 d
    assert due["G1", "plugs"] == "2026-10-02"
    # 75 h are 7.5 d: within 8 October
    assert due["G1", "crank"] == "2026-10-08"
    assert due["G1", "hoses"] == "2026-10-01"
    # eight months ended with 1 September
    assert due["G1", "belts"] == "2026-09-01"
    # 170 h are 17 d: 17 October, before the 18th; 105 h are 10.5 d: within 11 October
    assert (due["G1", "pump"], due["G1", "valves"]) == ("2026-10-17", "2026-10-11")
    # 120 h are 12 d
    assert due["G1", "hours"] == "2026-10-12"
    # fell due on the first day of its lay-up: before its next start
    assert due["G2", "belts"] == "2026-09-01"
    # 243 d of 5 h: 1,215 h; 785 h are 157 d, which go on after the lay-up: 30 November + 157 d = 6 May 2027
    assert due["G2", "pump"] == "2027-05-06"
    standings = {(finding["engine"], finding["task"]): finding["standing"] for finding in findings}
    assert [standings["G1", name] for name in ("oil", "plugs", "crank", "hoses", "belts", "pump", "valves", "hours")] == [
        "unknown", "unknown", "unknown", "upcoming", "overdue", "unknown", "unknown", "unknown",
    ]  # fmt: skip
    assert told["csv"] == told["workbook"] == told["page"] == due
    assert all(due[key] == day for key, day in told["table"].items())
    check_calendar(findings, tmp_path / "ics", "quay", "2026-10-10")


def test_a_span_that_is_none_is_refused(run: Run, tmp_path: Path) -> None:
    """`--calendar-until` takes a span of days or longer, or a day."""
    with freeze_time(NOON):
        result = run("check", SAMPLES / "harbour-clinic", "--ics", tmp_path / "due.ics", "--calendar-until", "5 years")
    assert result.exit_code == 2
    assert 'CLI107 --calendar-until\n    neither a span nor a day; got "5 years", expected for example P5Y or 2031-12-31' in result.stderr
    assert not (tmp_path / "due.ics").exists()


def test_a_report_reaches_as_far_as_asked(run: Run, tmp_path: Path) -> None:
    """Two years of themselves; ten years where it is asked."""
    latest = {}
    for name, words in (("two", []), ("ten", ["--calendar-until", "P10Y"]), ("day", ["--calendar-until", "2027-01-31"])):
        with freeze_time(NOON):
            assert run("report", SAMPLES / "brackwater", "--month", "2026-10", "--out", tmp_path / name, *words).exit_code == 0
        latest[name] = max(event["DTSTART"].dt for event in events_of(tmp_path / name / "due.ics"))
    assert latest["day"] <= date(2027, 1, 31) < latest["two"] <= date(2028, 10, 31) < latest["ten"]


def test_events_are_read_back_as_days(run: Run, tmp_path: Path) -> None:
    """All-day events of one day, with alarms that do not come after them."""
    with freeze_time(NOON):
        run("check", SAMPLES / "skerry-island", "--as-of", "2026-10-31", "--ics", tmp_path / "due.ics")
    events = events_of(tmp_path / "due.ics")
    assert events
    assert not any(isinstance(event["DTSTART"].dt, datetime) for event in events)
    assert all(event["DTEND"].dt - event["DTSTART"].dt == timedelta(days=1) for event in events)
    assert all(alarm["TRIGGER"].dt <= timedelta(0) for event in events for alarm in event.walk("VALARM"))


def test_people_are_told_the_day_of_what_was_looked_up(run: Run, tmp_path: Path) -> None:
    """A record gives 6 March alone, at 641 h: 10 h a day reach them at 02:24; 300 h later, at 941 h, its line is crossed."""
    rows = steady("2026-01-01", "2026-05-01", 10)
    tasks = [task("oil", every={"running_hours": 300}), task("plugs", every={"running_hours": 500})]
    services = [done("oil", "2026-03-06", 641), done("plugs", "2026-03-06T02:24", 641)]
    write_site(tmp_path / "site", tasks, rows, services=services, engine={"in_service": "2026-01-01", "meter_at_start_h": 0})
    with freeze_time(NOON):
        words = ["--as-of", "2026-04-30"]
        oil, plugs = (run("explain", tmp_path / "site", "G1", name, *words).stdout for name in ("oil", "plugs"))
        found = json.loads(run("check", tmp_path / "site", *words, "--format", "json").stdout)["findings"]
    # 64.1 d after 1 January: 6 March, 02:24; 94.1 d: 5 April, 02:24
    assert (found[0]["last_done"]["at"], found[0]["crossed_at"]) == ("2026-03-06T02:24:00+00:00", "2026-04-05T02:24:00+00:00")
    assert "02:24" not in oil
    assert "last done        2026-03-06, hour meter 641 h (services.csv:2)" in oil
    assert "line crossed on  2026-04-05" in oil
    # a time that was written down is told as it was
    assert "2026-03-06T02:24:00+00:00, hour meter 641 h (services.csv:3)" in plugs
