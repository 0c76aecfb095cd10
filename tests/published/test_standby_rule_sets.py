"""Standby sets: tests, windows and calendar intervals, through the rule sets standby-diesel and standby-hospital as shipped.

NFPA 110 chapter 8 (told): monthly 30 min at 30 % of nameplate or more; a set that cannot reach it, yearly 50 % for 30 min then 75 %
for 60 min; every 36 months 4 h at 30 % or more. Hospital accreditation practice (told): once in each calendar month since 2014;
quarterly +/-10 days, six-monthly +/-20, yearly +/-30.
TM 9-6115-464-12 / NAVFAC P-8-624-12 2-13 (read): oil at most 6 months, fuel filter at most 12.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from intervals.findings import Findings
from tests.published.shipped_sites import finding_since_last, governing_figures, judge_by_shipped
from tests.site_maker import Row, done, finding_for, meter, skipped_of

DIESEL, HOSPITAL = "standby-diesel", "standby-hospital"
NAMEPLATE_400 = {
    "in_service": "2025-01-01",
    "meter_at_start_h": 0,
    "fuel": "diesel",
    "duty": "standby",
    "rated_kw": 400,
    "attributes": {"exercise_reaches_30_pct": True, "oil_analysed": False},
}
LIGHT = {**NAMEPLATE_400, "attributes": {"exercise_reaches_30_pct": False, "oil_analysed": False}}


def run_rows(start: str, parts: Sequence[tuple[int, float]], *, from_h: float = 0.0) -> list[Row]:
    """Return the log of one run, a row every five minutes: parts of so many minutes at so many kW; it stands before and after."""
    at, hours = datetime.fromisoformat(start), from_h
    rows: list[Row] = [meter(at.isoformat(timespec="minutes"), round(hours, 6), load_kw=0)]
    for minutes, load_kw in parts:
        for _ in range(minutes // 5):
            at, hours = at + timedelta(minutes=5), hours + 5 / 60
            rows.append(meter(at.isoformat(timespec="minutes"), round(hours, 6), load_kw=load_kw))
    rows.append(meter((at + timedelta(minutes=5)).isoformat(timespec="minutes"), round(hours, 6), load_kw=0))
    return rows


def judged_run(folder: Path, parts: Sequence[tuple[int, float]], *, engine: dict[str, object] = NAMEPLATE_400) -> Findings:
    """Judge a set that made one run on 15 January 2026 at ten, two days later."""
    rows = run_rows("2026-01-15T10:00", parts)
    return judge_by_shipped(folder, HOSPITAL, "2026-01-17", rows, engine=engine, covers="before")


def last_done(findings: Findings, task: str) -> str | None:
    """Return when a task was last done, or None where it never was."""
    found = finding_for(findings, task).last_done
    return None if found is None else found.at


@pytest.mark.outside("4.1", "4.N1", "4.N2")
@pytest.mark.parametrize(
    ("minutes", "load_kw", "passes"),
    [
        (30, 125.0, True),  # N1: 31.25 %
        (30, 120.0, True),  # N2: exactly 30 %
        (30, 119.9, False),
        (25, 125.0, False),
        (60, 100.0, False),
    ],
)
def test_n1_n2_the_log_proves_the_exercise(tmp_path: Path, minutes: int, load_kw: float, passes: bool) -> None:
    """Thirty minutes in a row at 30 % of 400 kW or more; a run that lacks something is listed and completes nothing."""
    findings = judged_run(tmp_path, [(minutes, load_kw)])
    assert (last_done(findings, "monthly-exercise") is not None) == passes
    short = [entry for entry in skipped_of(findings, "monthly-exercise") if entry.kind == "run_fell_short"]
    assert bool(short) != passes
    if passes:
        assert last_done(findings, "monthly-exercise") == "2026-01-15T10:30:00+00:00"


@pytest.mark.outside("4.1")
def test_a_set_that_cannot_reach_it_is_exercised_with_the_load_there_is(tmp_path: Path) -> None:
    """NFPA 110 (told): 30 min at available load count, and the load bank is due once a year."""
    findings = judged_run(tmp_path, [(30, 40.0)], engine=LIGHT)
    assert last_done(findings, "monthly-exercise") == "2026-01-15T10:30:00+00:00"
    assert last_done(findings, "load-bank") is None


@pytest.mark.outside("4.1")
@pytest.mark.parametrize(
    ("parts", "passes"),
    [
        ([(30, 200.0), (60, 300.0)], True),
        ([(30, 199.0), (60, 300.0)], False),
        ([(30, 200.0), (55, 300.0)], False),
        ([(60, 300.0), (30, 200.0)], False),
    ],
)
def test_the_load_bank_runs_its_parts_in_order(tmp_path: Path, parts: list[tuple[int, float]], passes: bool) -> None:
    """Half an hour at 50 % (200 kW), then an hour at 75 % (300 kW), in one run."""
    assert (last_done(judged_run(tmp_path, parts, engine=LIGHT), "load-bank") is not None) == passes


@pytest.mark.outside("4.1")
@pytest.mark.parametrize(("minutes", "passes"), [(240, True), (235, False)])
def test_four_hours_at_thirty_per_cent(tmp_path: Path, minutes: int, passes: bool) -> None:
    """Every 36 months, 4 h without a break."""
    assert (last_done(judged_run(tmp_path, [(minutes, 120.0)]), "four-hour-run") is not None) == passes


@pytest.mark.outside("4.2")
@pytest.mark.parametrize("task", ["monthly-test", "monthly-exercise"])
@pytest.mark.parametrize(
    ("as_of", "standing"),
    [("2026-06-30", "in_interval"), ("2026-07-01", "upcoming"), ("2026-07-31", "upcoming"), ("2026-08-01", "overdue")],
)
def test_once_in_each_calendar_month(task: str, as_of: str, standing: str) -> None:
    """Tested on 3 June: all July through the next is in time, from 1 August on it is overdue."""
    days = (date.fromisoformat(as_of) - date(2026, 6, 3)).days
    engine = {"rated_kw": 400, "exercise_reaches_30_pct": True}
    assert governing_figures(finding_since_last(HOSPITAL, task, engine, {"days": days}, as_of=as_of))[0] == standing


def test_a_second_test_in_a_month_is_too_early_for_the_next(tmp_path: Path) -> None:
    """Held on 1 June, then on 20 June, a second one of that month, or on 1 July."""
    for day, kinds in [("2026-06-20", ["too_early"]), ("2026-07-01", [])]:
        services = [done("monthly-test", "2026-06-01"), done("monthly-test", day)]
        rows = run_rows("2026-06-01T10:00", [(30, 130.0)])
        engine = {**NAMEPLATE_400, "records_from": "2026-06-01"}
        findings = judge_by_shipped(tmp_path / day, HOSPITAL, "2026-07-02", rows, engine=engine, services=services)
        assert [entry.kind for entry in skipped_of(findings, "monthly-test")] == kinds


@pytest.mark.outside("4.2")
@pytest.mark.parametrize(
    ("task", "last", "opens", "closes"),
    [
        # due 15 April, 15 July, 15 January of the next year
        ("quarterly-test", "2026-01-15", "2026-04-05", "2026-04-25"),
        ("coolant", "2026-01-15", "2026-06-25", "2026-08-04"),
        ("fuel-test", "2026-01-15", "2026-12-16", "2027-02-14"),
        ("load-bank", "2026-01-15", "2026-12-16", "2027-02-14"),
    ],
)
def test_windows_of_the_year(task: str, last: str, opens: str, closes: str) -> None:
    """Quarterly ten days either side, six-monthly twenty, yearly thirty."""
    start, first, final = (datetime.fromisoformat(day) for day in (last, opens, closes))
    engine = {"rated_kw": 400, "exercise_reaches_30_pct": False}
    for day, standing in [
        (first, "upcoming"),
        (final, "upcoming"),
        (final + timedelta(days=1), "overdue"),
    ]:
        finding = finding_since_last(HOSPITAL, task, engine, {"days": (day - start).days}, as_of=day.date().isoformat())
        assert finding is not None
        assert finding.standing == standing


@pytest.mark.outside("4.1", "4.3", "4.4", "4.12")
@pytest.mark.parametrize("ruleset", [DIESEL, HOSPITAL])
@pytest.mark.parametrize(
    ("task", "last", "due"),
    [
        # at most six months, at most twelve months; 36 months; a year
        ("oil-change", "2024-01-31", "2024-07-31"),
        ("fuel-filter", "2024-02-29", "2025-02-28"),
        ("four-hour-run", "2024-02-29", "2027-02-28"),
        ("weekly-inspection", "2024-02-26", "2024-03-04"),
        # months count from the anchor and end with the month; in any day of which the exercise may be done
        ("monthly-exercise", "2023-01-31", "2023-02-28"),
        ("monthly-exercise", "2024-01-31", "2024-02-29"),
        ("overhaul", "2016-02-29", "2026-02-28"),
    ],
)
def test_calendar_intervals(ruleset: str, task: str, last: str, due: str) -> None:
    """In time to the end of the due date, overdue the day after."""
    start, end = datetime.fromisoformat(last), datetime.fromisoformat(due)
    engine = {"rated_kw": 400, "exercise_reaches_30_pct": True, "oil_analysed": False}
    for late, standing in [(0, "upcoming"), (1, "overdue")]:
        as_of = (end + timedelta(days=late)).date().isoformat()
        since = {"running_hours": 1, "days": (end - start).days + late}
        finding = finding_since_last(ruleset, task, engine, since, as_of=as_of)
        assert finding is not None
        assert (finding.standing, finding.due_on) == (standing, due)


@pytest.mark.parametrize(
    ("task", "hours"),
    [
        ("oil-change", 300),
        ("fuel-filter", 100),
        ("air-filter", 1000),
        ("hoses-belts", 500),
        ("nozzles-and-heads", 2000),
        ("overhaul", 16000),
    ],
)
def test_hours_of_published_texts(task: str, hours: int) -> None:
    """TM 9-6115-646-14&P table 4-1; 40 CFR 63 subpart ZZZZ table 2d row 4; TM 5-685: at the hours in time, past them not."""
    engine = {"rated_kw": 400, "oil_analysed": False}
    for used, standing in [(hours, "upcoming"), (hours + 0.1, "overdue")]:
        finding = finding_since_last(DIESEL, task, engine, {"running_hours": used, "days": max(30, hours // 24 + 1)})
        assert governing_figures(finding)[0] == standing


@pytest.mark.outside("3.5")
@pytest.mark.parametrize(
    ("rating", "budget", "hours"), [("emergency-standby", "emergency-standby-hours", 200), ("limited-time", "limited-time-hours", 500)]
)
def test_hours_a_year_of_a_rating(tmp_path: Path, rating: str, budget: str, hours: int) -> None:
    """ISO 8528-1 (told): emergency standby 200 h a year, limited-time 500 h; only the set's own rating binds."""
    engine = {**NAMEPLATE_400, "attributes": {"exercise_reaches_30_pct": True, "oil_analysed": False, "rating": rating}}
    for ran, standing in [(hours, "upcoming"), (hours + 0.1, "overdue")]:
        rows = [meter("2026-01-01T00:00", 30.0), meter("2026-03-01T00:00", 30.0 + ran)]
        findings = judge_by_shipped(
            tmp_path / str(ran), HOSPITAL, "2026-03-01", rows, engine={**engine, "in_service": "2026-01-01", "meter_at_start_h": 30}
        )
        assert finding_for(findings, budget).standing == standing
        assert sum(entry.task.endswith("-hours") for entry in findings.findings) == 1
