"""Emergency diesels of nuclear plants: US NRC Regulatory Guides 1.9 and 1.108 and SR 3.0.2 (told), as shipped.

A test every 31 days, 60 minutes at 90 to 100 %; a quarter of the interval over; 7 days after two failures of the last 20 tests or five
of the last 100.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from intervals.findings import Finding
from tests.published.shipped_sites import finding_since_last, judge_by_shipped
from tests.site_maker import Row, finding_for, meter

SET = "nuclear-emergency-diesel"
ENGINE = {"meter_at_start_h": 0, "fuel": "diesel", "rated_kw": 5000}


def runs(days: Sequence[tuple[date, int, float]]) -> list[Row]:
    """Return the log of one run a day from eight on: day, minutes, kW; a row every five minutes; it stands before and after."""
    rows: list[Row] = []
    hours = 0.0
    for day, minutes, load_kw in days:
        at = datetime.fromisoformat(f"{day}T08:00")
        rows.append(meter(at.isoformat(timespec="minutes"), round(hours, 6), load_kw=0))
        for _ in range(minutes // 5):
            at, hours = at + timedelta(minutes=5), hours + 5 / 60
            rows.append(meter(at.isoformat(timespec="minutes"), round(hours, 6), load_kw=load_kw))
        rows.append(meter((at + timedelta(minutes=5)).isoformat(timespec="minutes"), round(hours, 6), load_kw=0))
    return rows


def judged(folder: Path, as_of: date, days: Sequence[tuple[date, int, float]]) -> Finding:
    """Judge the monthly test of a diesel that is new on the first day."""
    engine = {**ENGINE, "in_service": days[0][0].isoformat()}
    return finding_for(judge_by_shipped(folder, SET, as_of.isoformat(), runs(days), engine=engine), "monthly-test")


@pytest.mark.parametrize(
    ("minutes", "load_kw", "passes"),
    [(60, 4500.0, True), (60, 5000.0, True), (55, 4500.0, False), (60, 4499.0, False), (60, 5001.0, False)],
)
def test_sixty_minutes_at_ninety_to_a_hundred_per_cent(tmp_path: Path, minutes: int, load_kw: float, passes: bool) -> None:
    """Regulatory Guide 1.9 (told): neither shorter, nor lighter, nor heavier."""
    finding = judged(tmp_path, date(2026, 1, 20), [(date(2026, 1, 10), minutes, load_kw)])
    assert (finding.last_done is not None) == passes


@pytest.mark.parametrize(
    ("days", "standing", "within"), [(31, "upcoming", False), (32, "overdue", True), (38, "overdue", True), (39, "overdue", False)]
)
def test_a_quarter_of_the_interval_over(tmp_path: Path, days: int, standing: str, within: bool) -> None:
    """SR 3.0.2 (told): 1.25 x 31 d is 38.75 d, 38 whole days."""
    tests = [(date(2025, 1, 1) + timedelta(days=31 * number), 60, 4600.0) for number in range(5)]
    finding = judged(tmp_path, tests[-1][0] + timedelta(days=days), tests)
    assert (finding.standing, finding.within_tolerance) == (standing, within)


@pytest.mark.parametrize(("failures", "allowed"), [(1, 31.0), (2, 7.0)])
def test_two_failures_of_the_last_twenty_make_it_weekly(tmp_path: Path, failures: int, allowed: float) -> None:
    """Regulatory Guide 1.108 (told): of 24 tests, the failed ones (40 min) among the last twenty; then it was done in full."""
    start = date(2025, 1, 1)
    tests = [(start + timedelta(days=20 * number), 60, 4600.0) for number in range(24)]
    for number in range(failures):
        day, _, load_kw = tests[10 + number]
        tests[10 + number] = (day, 40, load_kw)
    finding = judged(tmp_path, tests[-1][0] + timedelta(days=3), tests)
    assert finding.legs[0].allowed == allowed


def test_the_fast_start_and_the_endurance_run() -> None:
    """184 days; 24 months (both from memory)."""
    for task, days, as_of in [("fast-start", 184, "2026-06-30"), ("endurance-run", 730, "2026-10-31")]:
        standings = []
        for late in (0, 1):
            finding = finding_since_last(SET, task, {"rated_kw": 5000}, {"days": days + late}, as_of=as_of)
            assert finding is not None
            standings.append(finding.standing)
        assert standings == ["upcoming", "overdue"]
