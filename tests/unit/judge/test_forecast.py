"""Forecasts: when the line will be reached, and the range around that day."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import cast
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from intervals.findings import Forecast
from intervals.history.engine_case import EngineCase
from intervals.local_days import DAY_US, LocalDays
from intervals.usage.meter.meter_course import ActiveTime
from intervals.windows.expected_days import day_at
from intervals.windows.ranges_ahead import LegUse
from tests.site_maker import done, finding_for, judge, meter, rule, steady, task


def test_steady_use_gives_one_day(tmp_path: Path) -> None:
    """10 h a day; at the end of 31 May 1,520 h; 2,000 h allowed: 480 h are 48 d, on 18 July."""
    rows = steady("2024-01-01", "2024-06-01", 10)
    findings = judge(
        tmp_path, "2024-05-31", [task(every={"running_hours": 2000})], rows, engine={"in_service": "2024-01-01", "meter_at_start_h": 0}
    )
    finding = finding_for(findings)
    assert finding.forecast == Forecast(on="2024-07-18", early="2024-07-18", late="2024-07-18")
    assert finding.due_on == "2024-07-18"


def test_the_stretches_of_the_last_half_year_give_the_range(tmp_path: Path) -> None:
    """60 d at 5 h, 60 d at 20 h, 90 d at 10 h: 900 h left last 45 d at the most use, 180 d at the least; the range lies inside."""
    # 1 January + 60 d = 1 March, + 120 d = 30 April, + 210 d = 29 July 2024
    rows = steady("2024-01-01", "2024-03-01", 5)
    rows += steady("2024-03-01", "2024-04-30", 20, start_h=300)[1:]
    rows += steady("2024-04-30", "2024-07-29", 10, start_h=1500)[1:]
    # 300 + 1,200 + 900 = 2,400 h by the end of 28 July, 3,300 allowed
    findings = judge(
        tmp_path, "2024-07-28", [task(every={"running_hours": 3300})], rows, engine={"in_service": "2024-01-01", "meter_at_start_h": 0}
    )
    forecast = finding_for(findings).forecast
    assert forecast is not None
    # 28 July + 45 d = 11 September, + 180 d = 24 January
    assert "2024-09-11" <= str(forecast.early) < str(forecast.on) < str(forecast.late) <= "2025-01-24"


def test_seasons_that_repeat_give_the_very_day(tmp_path: Path) -> None:
    """Two years of 20 h a day in the first half of each 364 days and none in the second: what is left is used up in the next first half."""
    first = date(2022, 1, 3)
    hours = [20.0 if day % 364 < 182 else 0.0 for day in range(2 * 364)]
    shown = np.concatenate(([0.0], np.cumsum(hours)))
    rows = [meter(f"{first + timedelta(days=day)}T00:00", float(reading)) for day, reading in enumerate(shown)]
    engine = {"in_service": "2022-01-03", "meter_at_start_h": 0}
    # 7,280 h so far; 1,600 h left are 80 d of 20 h: well inside the season, whose border is smoothed over three weeks
    end = first + timedelta(days=2 * 364 - 1)
    finding = finding_for(judge(tmp_path, end.isoformat(), [task(every={"running_hours": 8880})], rows, engine=engine))
    assert finding.due_on is not None
    assert abs((date.fromisoformat(finding.due_on) - end).days - 80) <= 21


def test_laid_up_days_are_no_days_of_the_range(tmp_path: Path) -> None:
    """10 h a day, a month of lay-up, 10 h a day again: 480 h left are 48 d, with no range."""
    rows = steady("2024-01-01", "2024-03-01", 10) + steady("2024-04-01", "2024-06-01", 10, start_h=600)
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 0, "laid_up": [{"from": "2024-03-01", "to": "2024-04-01"}]}
    # 60 d and 61 d: 1,210 h by the end of 31 May, 1,690 allowed
    finding = finding_for(judge(tmp_path, "2024-05-31", [task(every={"running_hours": 1690})], rows, engine=engine))
    assert finding.forecast == Forecast(on="2024-07-18", early="2024-07-18", late="2024-07-18")


def test_the_pace_counts_equivalent_hours(tmp_path: Path) -> None:
    """10 h a day at twice the weight: 480 equivalent hours are 24 d."""
    rows = [{**row, "load_pct": 95} for row in steady("2024-01-01", "2024-04-01", 10)]
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
    # 91 d, 1,820 equivalent hours at the end of 31 March; 2,300 allowed; 31 March + 24 d = 24 April
    findings = judge(
        tmp_path, "2024-03-31", [task(every={"running_hours": 2300})], rows,
        engine={"in_service": "2024-01-01", "meter_at_start_h": 0}, rules={"adjustments": [heavy]},
    )  # fmt: skip
    forecast = finding_for(findings).forecast
    assert forecast is not None
    assert forecast.on == "2024-04-24"


def test_the_calendar_has_its_own_date_and_the_earlier_counts(tmp_path: Path) -> None:
    """48 d of hours, but six months end on 1 July."""
    rows = steady("2024-01-01", "2024-06-01", 10)
    both = task(every={"running_hours": 2000, "calendar": "P6M"})
    finding = finding_for(judge(tmp_path, "2024-05-31", [both], rows, engine={"in_service": "2024-01-01", "meter_at_start_h": 0}))
    assert finding.due_on == "2024-07-01"
    last = task(every={"running_hours": 2000, "calendar": "P6M"}, whichever="last")
    finding = finding_for(judge(tmp_path, "2024-05-31", [last], rows, engine={"in_service": "2024-01-01", "meter_at_start_h": 0}))
    assert finding.due_on == "2024-07-18"


def test_an_engine_that_does_not_run_has_no_date(tmp_path: Path) -> None:
    """Standstill for a year: nothing is foreseen by hours."""
    rows = steady("2023-01-01", "2024-02-01", 0)
    finding = finding_for(judge(tmp_path, "2024-01-31", [task(every={"running_hours": 2000})], rows, engine={"in_service": "2023-01-01"}))
    assert (finding.forecast, finding.due_on) == (None, None)


def test_a_short_history_is_its_own_pace(tmp_path: Path) -> None:
    """Ten days of 10 h are 10 h a day, and not 100 h in 90 days."""
    rows = steady("2024-01-01", "2024-01-11", 10)
    finding = finding_for(judge(tmp_path, "2024-01-10", [task(every={"running_hours": 200})], rows, engine={"in_service": "2024-01-01"}))
    # 100 h left: ten days from the end of the 10th
    assert finding.due_on == "2024-01-20"


def test_what_is_overdue_has_no_forecast(tmp_path: Path) -> None:
    """Its line is behind it."""
    rows = steady("2024-01-01", "2024-02-01", 10)
    finding = finding_for(judge(tmp_path, "2024-01-31", [task(every={"running_hours": 100})], rows, engine={"in_service": "2024-01-01"}))
    assert finding.forecast is None


def test_a_completion_does_not_change_the_pace(tmp_path: Path) -> None:
    """Done yesterday: the pace is still that of the last 90 days."""
    rows = steady("2024-01-01", "2024-06-01", 10)
    findings = judge(
        tmp_path,
        "2024-05-31",
        [task(every={"running_hours": 100})],
        rows,
        engine={"in_service": "2024-01-01"},
        services=[done("oil", "2024-06-01T00:00"), done("oil", "2024-05-31T00:00")],
    )
    # 10 of 100 h used: nine days from 31 May
    assert finding_for(findings).due_on == "2024-06-09"


def test_what_totals_differ_by_in_rounding_is_no_pace() -> None:
    """Two years of standstill whose totals differ in the last digit of a float: nothing is used a day, at any pace."""
    totals = np.full(731, 1234.5)
    totals[::3] = np.nextafter(1234.5, 2000)
    edges_us = np.arange(731) * DAY_US
    case = SimpleNamespace(
        ledger=SimpleNamespace(edges_us=edges_us),
        log=SimpleNamespace(known_from_us=0, active=ActiveTime()),
        end_us=730 * DAY_US,
        days=LocalDays(ZoneInfo("UTC"), 0, 730 * DAY_US),
    )
    use = LegUse(cast(EngineCase, case), totals, None)
    assert (use.pace, use.ahead and use.ahead.days_to(1.0)) == (0.0, (np.inf, np.inf, np.inf))


@pytest.mark.parametrize(("remaining", "day"), [(20.0, "2024-01-12"), (-20.0, "2024-01-08"), (1e18, None), (-1e18, None)])
def test_no_day_is_told_that_is_beyond_the_calendar(remaining: float, day: str | None) -> None:
    """At 10 a day 20 last two days; what takes longer than a hundred years either way is not foreseeable."""
    foreseen = day_at(cast(EngineCase, SimpleNamespace(last_day=date(2024, 1, 10))), remaining, 10.0)
    assert (None if foreseen is None else foreseen.isoformat()) == day
