"""Legs: used, allowed, remaining, consumed; calendar days; which leg governs; dated intervals."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.site_maker import done, finding_for, judge, leg_of, meter, steady, task

ROWS = steady("2024-01-01", "2024-01-31", 10)
IN_SERVICE = {"in_service": "2024-01-01", "meter_at_start_h": 0}


def test_a_leg_says_what_is_used_allowed_and_left(tmp_path: Path) -> None:
    """25 of 100 h: 75 left, a quarter consumed."""
    finding = finding_for(judge(tmp_path, "2024-01-03T12:00", [task(every={"running_hours": 100})], ROWS, engine=IN_SERVICE))
    leg = leg_of(finding)
    assert (leg.unit, leg.used, leg.base, leg.allowed, leg.remaining, leg.consumed) == ("h", 25.0, 100.0, 100.0, 75.0, 0.25)


@pytest.mark.parametrize(
    ("done_on", "every", "as_of", "used_d", "allowed_d", "standing"),
    [
        # 2024-01-31 + 1 month is clipped to 2024-02-29, 29 d later
        ("2024-01-31", "P1M", "2024-02-29", 29.0, 29.0, "upcoming"),
        ("2024-01-31", "P1M", "2024-03-01", 30.0, 29.0, "overdue"),
        # leap day: + 1 year is 2025-02-28 (365 d), + 4 years 2028-02-29 (1,461 d)
        ("2024-02-29", "P1Y", "2025-02-28", 365.0, 365.0, "upcoming"),
        ("2024-02-29", "P4Y", "2025-02-28", 365.0, 1461.0, "in_interval"),
        # 1 year first, then 30 days: 2025-02-28 + 30 d = 2025-03-30, 395 d
        ("2024-02-29", "P1Y30D", "2025-03-30", 395.0, 395.0, "upcoming"),
        ("2024-02-29", "P1Y30D", "2025-03-31", 396.0, 395.0, "overdue"),
        ("2024-01-01", "P2W", "2024-01-15", 14.0, 14.0, "upcoming"),
        ("2024-01-01", "P2W", "2024-01-16", 15.0, 14.0, "overdue"),
    ],
)
def test_a_calendar_leg_counts_local_dates(
    tmp_path: Path, done_on: str, every: str, as_of: str, used_d: float, allowed_d: float, standing: str
) -> None:
    """Used is the last day covered minus the day it was done; it may be done all through the due date."""
    findings = judge(tmp_path, as_of, [task(every={"calendar": every})], ROWS, services=[done("oil", done_on)])
    leg = leg_of(finding_for(findings), "calendar")
    assert (leg.used, leg.allowed, leg.unit, leg.base) == (used_d, allowed_d, "d", every)
    assert finding_for(findings).standing == standing


def test_a_calendar_leg_is_crossed_at_the_midnight_after_its_due_date(tmp_path: Path) -> None:
    """Due 2024-02-29 in Amsterdam: crossed 2024-03-01T00:00+01:00; due_on is the due date."""
    findings = judge(
        tmp_path, "2024-03-10", [task(every={"calendar": "P1M"})], ROWS, services=[done("oil", "2024-01-31")], time_zone="Europe/Amsterdam"
    )
    assert finding_for(findings).crossed_at == "2024-03-01T00:00:00+01:00"
    assert finding_for(findings).due_on == "2024-02-29"


def test_the_time_of_day_does_not_move_a_calendar_leg(tmp_path: Path) -> None:
    """Done late in the evening of the 1st, due on the 15th, judged at one in the morning of the 15th: 14 of 14 d."""
    rows = steady("2024-01-01", "2024-01-31", 10)
    findings = judge(tmp_path, "2024-01-15T01:00", [task(every={"calendar": "P14D"})], rows, services=[done("oil", "2024-01-01T23:50")])
    assert leg_of(finding_for(findings), "calendar").used == 14.0
    assert finding_for(findings).standing == "upcoming"


def test_a_local_day_is_the_sites(tmp_path: Path) -> None:
    """23:30 UTC on 14 January is the 15th in Amsterdam: done then, one day has passed on the 16th."""
    rows = [meter("2024-01-20T00:00Z", 10)]
    findings = judge(
        tmp_path,
        "2024-01-16",
        [task(every={"calendar": "P14D"})],
        rows,
        services=[done("oil", "2024-01-14T23:30Z")],
        time_zone="Europe/Amsterdam",
    )
    assert leg_of(finding_for(findings), "calendar").used == 1.0


def test_the_leg_with_the_largest_consumed_governs(tmp_path: Path) -> None:
    """100 of 200 h (0.5) and 9 of 366 d: the hours govern."""
    findings = judge(tmp_path, "2024-01-10", [task(every={"calendar": "P1Y", "running_hours": 200})], ROWS, engine=IN_SERVICE)
    assert finding_for(findings).governing == "running_hours"


def test_for_last_the_leg_with_the_smallest_consumed_governs(tmp_path: Path) -> None:
    """The same with whichever: last."""
    oil = task(every={"calendar": "P1Y", "running_hours": 200}, whichever="last")
    assert finding_for(judge(tmp_path, "2024-01-10", [oil], ROWS, engine=IN_SERVICE)).governing == "calendar"


@pytest.mark.parametrize("whichever", ["first", "last"])
def test_ties_go_to_the_leg_listed_first(tmp_path: Path, whichever: str) -> None:
    """Done on the 1st; on the 11th 10 of 20 d and, 10 h a day, 110 of 220 h: one half each."""
    rows, services = steady("2024-01-01", "2024-01-31", 10), [done("oil", "2024-01-01T00:00")]
    first = task(every={"calendar": "P20D", "running_hours": 220}, whichever=whichever)
    second = task(every={"running_hours": 220, "calendar": "P20D"}, whichever=whichever)
    assert finding_for(judge(tmp_path / "a", "2024-01-11", [first], rows, services=services)).governing == "calendar"
    assert finding_for(judge(tmp_path / "b", "2024-01-11", [second], rows, services=services)).governing == "running_hours"


def test_an_unknown_leg_does_not_govern(tmp_path: Path) -> None:
    """Starts are not logged: the known leg governs, its figures stand, those of the other are null."""
    oil = task(every={"starts": 5, "running_hours": 200})
    finding = finding_for(judge(tmp_path, "2024-01-10", [oil], ROWS, engine=IN_SERVICE))
    assert finding.governing == "running_hours"
    leg = leg_of(finding, "starts")
    assert (leg.used, leg.remaining, leg.consumed) == (None, None, None)


EVERY = [
    {"in_force_from": "2013-05-03", "running_hours": 500, "calendar": "P1Y", "source": "old text"},
    {"in_force_from": "2024-08-30", "running_hours": 500, "calendar": "P1Y30D", "source": "new text"},
]


@pytest.mark.parametrize(
    ("as_of", "base", "allowed_d", "source"), [("2024-08-29", "P1Y", 366.0, "old text"), ("2024-08-30", "P1Y30D", 396.0, "new text")]
)
def test_the_interval_in_force_on_the_windows_last_day_counts(tmp_path: Path, as_of: str, base: str, allowed_d: float, source: str) -> None:
    """Done 2023-11-15: a year is 366 d (to 2024-11-15); from 2024-08-30 on 30 d more."""
    findings = judge(tmp_path, as_of, [task(every=EVERY)], ROWS, services=[done("oil", "2023-11-15")])
    leg = leg_of(finding_for(findings), "calendar")
    assert (leg.base, leg.allowed) == (base, allowed_d)
    assert finding_for(findings).reasons[0].source == source


def test_before_any_interval_is_in_force_the_task_is_unknown(tmp_path: Path) -> None:
    """A task whose first interval comes into force later has no line yet."""
    oil = task(every=[{"in_force_from": "2030-01-01", "running_hours": 500}])
    finding = finding_for(judge(tmp_path, "2024-01-10", [oil], ROWS, engine=IN_SERVICE))
    assert (finding.standing, finding.legs) == ("unknown", ())


def test_figures_meet_the_line_in_millionths(tmp_path: Path) -> None:
    """100.0000004 of 100 h are at the line, 100.000001 past it."""
    oil = task(every={"running_hours": 100})
    at = judge(tmp_path / "a", "2024-01-10", [oil], [meter("2024-01-11T00:00", 100.0000004)], engine=IN_SERVICE)
    past = judge(tmp_path / "b", "2024-01-10", [oil], [meter("2024-01-11T00:00", 100.000001)], engine=IN_SERVICE)
    assert (finding_for(at).standing, finding_for(past).standing) == ("upcoming", "overdue")


def test_a_sum_of_tenths_meets_its_line(tmp_path: Path) -> None:
    """Thirty steps of 0.1 h are 3 h, though they are not in binary."""
    rows = [meter(f"2024-01-{day:02}T00:00", round(0.1 * (day - 1), 1)) for day in range(1, 32)]
    finding = finding_for(judge(tmp_path, "2024-01-30", [task(every={"running_hours": 3})], rows, engine=IN_SERVICE))
    assert (leg_of(finding).used, finding.standing) == (3.0, "upcoming")
