"""Generator sets after army technical manuals (read), through the rule set army-generator as shipped.

TM 9-6115-650-14&P 4-10, TM 9-6115-646-14&P table 4-1, TM 5-3895-383-24 1-12, TM 5-685 / NAVFAC MO-912, TM 9-6115-464-12 /
NAVFAC P-8-624-12 2-13, TB 43-0211 6-1 and 12-6. Dates are counted by hand.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest

from intervals.findings import Finding
from tests.published.shipped_sites import finding_since_last, governing_figures, judge_by_shipped, shipped
from tests.site_maker import done, finding_for, leg_of, meter, steady

SET = "army-generator"
ENGINE = {"fuel": "diesel", "in_reserve": False}


@pytest.mark.outside("4.3", "4.4", "4.5")
@pytest.mark.parametrize(
    ("task", "hours", "due_after_a_january_31"),
    [
        # TM 9-6115-650-14&P 4-10
        ("one-month-service", 100, "2026-02-28"),
        ("six-month-service", 500, "2026-07-31"),
        ("twelve-month-service", 1000, "2027-01-31"),
        # TM 9-6115-646-14&P table 4-1, with the months of TM 9-6115-464-12 2-13
        ("oil-change", 300, "2026-07-31"),
        ("fuel-filters", 100, "2027-01-31"),
        ("fuel-strainer", 300, None),
        ("breather", 300, None),
        # TM 5-3895-383-24 1-12; 90 days from 31 January
        ("oil-sample", 50, "2026-05-01"),
        # TM 5-685 / NAVFAC MO-912
        ("nozzles-and-heads", 2000, None),
        ("overhaul", 16000, "2036-01-31"),
    ],
)
def test_hour_and_calendar_pairs(task: str, hours: int, due_after_a_january_31: str | None) -> None:
    """Whichever comes first: at the hours in time, a tenth past them overdue; on the date in time, a day past it overdue."""
    at_line = finding_since_last(SET, task, ENGINE, {"running_hours": hours, "days": hours // 20})
    past = finding_since_last(SET, task, ENGINE, {"running_hours": hours + 0.1, "days": hours // 20})
    assert governing_figures(at_line) == ("upcoming", hours, hours)
    assert governing_figures(past) == ("overdue", hours + 0.1, hours)
    if due_after_a_january_31 is None:
        assert all(set(every.legs) == {"running_hours"} for every in shipped(SET).task(task).every)
        return
    due = date.fromisoformat(due_after_a_january_31)
    days = (due - date(2026, 1, 31)).days
    for late, standing in [(0, "upcoming"), (1, "overdue")]:
        as_of = (due + timedelta(days=late)).isoformat()
        finding = finding_since_last(SET, task, ENGINE, {"running_hours": 0, "days": days + late}, as_of=as_of)
        assert finding is not None
        assert (finding.standing, finding.due_on) == (standing, due_after_a_january_31)


@pytest.mark.outside("4.12", "4.3")
def test_oil_of_31_january_2024() -> None:
    """At most six months: 31 July 2024 (TM 9-6115-464-12 2-13; TM 5-685 long-term checklist)."""
    for as_of, days, standing in [("2024-07-31", 182, "upcoming"), ("2024-08-01", 183, "overdue")]:
        finding = finding_since_last(SET, "oil-change", ENGINE, {"running_hours": 9, "days": days}, as_of=as_of)
        assert governing_figures(finding)[0] == standing


@pytest.mark.outside("4.3")
def test_a_set_in_reserve_is_exercised_every_30_days() -> None:
    """TM 9-6115-464-12 2-13; a set that is not in reserve has no such task."""
    reserve = {**ENGINE, "in_reserve": True}
    assert governing_figures(finding_since_last(SET, "exercise", reserve, {"days": 30})) == ("upcoming", 30, 30)
    assert governing_figures(finding_since_last(SET, "exercise", reserve, {"days": 31})) == ("overdue", 31, 30)
    assert finding_since_last(SET, "exercise", ENGINE, {"days": 31}) is None


@pytest.mark.outside("4.5")
def test_a_sample_in_reserve_has_180_days() -> None:
    """TM 5-3895-383-24 1-12; the 50 h stay."""
    reserve = {**ENGINE, "in_reserve": True}
    assert governing_figures(finding_since_last(SET, "oil-sample", reserve, {"running_hours": 1, "days": 180})) == ("upcoming", 180, 180)
    assert governing_figures(finding_since_last(SET, "oil-sample", reserve, {"running_hours": 1, "days": 181})) == ("overdue", 181, 180)
    assert governing_figures(finding_since_last(SET, "oil-sample", reserve, {"running_hours": 50.1, "days": 20}))[0] == "overdue"


def test_a_longer_service_holds_the_shorter_ones(tmp_path: Path) -> None:
    """After a twelve-month service on 1 June all three count from there."""
    rows = steady("2026-01-01", "2026-06-11", 1)
    engine = {"in_service": "2026-01-01", "meter_at_start_h": 0, "attributes": {"in_reserve": False}}
    services = [done("twelve-month-service", "2026-06-01T00:00")]
    findings = judge_by_shipped(tmp_path, SET, "2026-06-10", rows, engine=engine, services=services)
    for task in ("one-month-service", "six-month-service", "twelve-month-service"):
        assert leg_of(finding_for(findings, task)).used == pytest.approx(10.0)


SERVED = {"in_service": "2024-01-01", "meter_at_start_h": 0, "attributes": {"in_reserve": False}}


def sample_after(folder: Path, taken: list[str], as_of: str, hours_per_day: float) -> Finding:
    """Return the finding of the oil sample after samples on the given days."""
    rows = steady("2024-01-01", "2025-12-31", hours_per_day)
    services = [done("oil-sample", at) for at in taken]
    return finding_for(judge_by_shipped(folder, SET, as_of, rows, engine=SERVED, services=services), "oil-sample")


@pytest.mark.outside("5.6")
@pytest.mark.parametrize(("taken_at_h", "next_h"), [(50.0, 100.0), (45.0, 95.0), (55.0, 105.0), (44.9, 94.9), (55.1, 105.1)])
def test_the_next_hours_start_at_the_latest_sample(tmp_path: Path, taken_at_h: float, next_h: float) -> None:
    """TB 43-0211 6-1: early, on the point or late, the next interval of 50 h counts from the sample."""
    rows = [meter("2024-01-01T00:00", 0), meter("2024-01-11T00:00", taken_at_h), meter("2024-01-12T00:00", taken_at_h + 1)]
    services = [done("oil-sample", "2024-01-11T00:00", taken_at_h)]
    findings = judge_by_shipped(tmp_path, SET, "2024-01-12T00:00", rows, engine=SERVED, services=services)
    remaining = leg_of(finding_for(findings, "oil-sample")).remaining
    assert remaining is not None
    assert taken_at_h + 1 + remaining == pytest.approx(next_h, abs=1e-6)


@pytest.mark.outside("5.6")
@pytest.mark.parametrize(("days", "standing", "within"), [(90, "upcoming", False), (99, "overdue", True), (100, "overdue", False)])
def test_a_sample_up_to_a_tenth_late_is_in_time(days: int, standing: str, within: bool) -> None:
    """TB 43-0211 12-6: 90 days are 81 to 99 (90 x 1.1 is not 99 in binary)."""
    finding = finding_since_last(SET, "oil-sample", ENGINE, {"running_hours": 1, "days": days})
    assert finding is not None
    assert (finding.standing, finding.within_tolerance) == (standing, within)


@pytest.mark.outside("5.6")
@pytest.mark.parametrize(
    ("day_taken", "due"),
    # taken on day 81, 90 or 99 of the year 2024: 90 days after it
    [(81, "2024-06-20"), (90, "2024-06-29"), (99, "2024-07-08")],
)
def test_the_next_days_start_at_the_latest_sample(tmp_path: Path, day_taken: int, due: str) -> None:
    """TB 43-0211 6-1."""
    taken = date(2024, 1, 1) + timedelta(days=day_taken)
    assert sample_after(tmp_path, [f"{taken.isoformat()}T12:00"], (taken + timedelta(days=5)).isoformat(), 0.1).due_on == due
