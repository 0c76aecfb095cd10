"""Budgets against plain sums of the days: calendar years and stretches that end on every day, up to the day of the line."""

from __future__ import annotations

import tempfile
from datetime import date, timedelta
from pathlib import Path

from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from intervals.findings import Finding
from tests.properties.bounded import bounded
from tests.site_maker import finding_for, judge, meter, task

FIRST = date(2023, 11, 1)
PERIODS = {"P1M": relativedelta(months=1), "P2M": relativedelta(months=2), "P7D": relativedelta(days=7)}
# months that each calendar period holds, the running one among them, and as what it is written
CALENDAR: dict[str, tuple[int, object]] = {
    "calendar_month": (1, "calendar_month"),
    "two calendar months": (2, {"calendar_months": 2}),
    "calendar_year": (12, "calendar_year"),
    "mean of two years": (24, {"mean_of_calendar_years": 2}),
}
ALL = sorted([*PERIODS, *CALENDAR])


def judged(hours: list[int], per: str, limit: int, key: str = "at_most") -> Finding:
    """Judge a budget, or with `at_least` a minimum, after so many days, each with its whole hours."""
    rows, total = [], 0
    for number, ran in enumerate(hours):
        total += ran
        rows.append(meter(f"{(FIRST + timedelta(days=number + 1)).isoformat()}T00:00", total))
    rule = {"id": "hours", "title": "Hours", "of": "running_hours", key: limit, "per": CALENDAR[per][1] if per in CALENDAR else per}
    last = FIRST + timedelta(days=len(hours) - 1)
    engine = {"in_service": FIRST.isoformat(), "meter_at_start_h": 0}
    with tempfile.TemporaryDirectory() as folder:
        tasks = [task(every={"calendar": "P90Y"})]
        return finding_for(judge(Path(folder), last.isoformat(), tasks, rows, engine=engine, rules={"budgets": [rule]}), "hours")


def start_of(day: date, per: str) -> date:
    """Return the first day of the period that a day is the last one of so far."""
    if per in PERIODS:
        return day + timedelta(days=1) - PERIODS[per]
    months = CALENDAR[per][0]
    first = date(day.year, 1 if months >= 12 else day.month, 1)
    return first - relativedelta(months=months - (12 if months >= 12 else 1))


def sum_to(hours: list[int], day: date, per: str) -> float:
    """Return the hours of the period that ends with a day; of a mean, a year."""
    start = start_of(day, per)
    total = sum(ran for number, ran in enumerate(hours) if start <= FIRST + timedelta(days=number) <= day)
    return total / 2 if per == "mean of two years" else total


def begins_anew(day: date, per: str) -> bool:
    """Return whether a calendar period begins on a day that shares no day with the one before."""
    return per in ("calendar_month", "calendar_year") and start_of(day, per) == day


@bounded(40)
@given(hours=st.lists(st.integers(0, 24), min_size=1, max_size=130), per=st.sampled_from(ALL), limit=st.integers(0, 600))
def test_sums_are_those_of_the_days(hours: list[int], per: str, limit: int) -> None:
    """Used, standing, and the day on which the present excess began."""
    finding = judged(hours, per, limit)
    days = [FIRST + timedelta(days=number) for number in range(len(hours))]
    sums = [sum_to(hours, day, per) for day in days]
    assert finding.legs[0].used == sums[-1]
    assert (finding.standing == "overdue") == (sums[-1] > limit)
    if sums[-1] <= limit:
        assert finding.crossed_at is None
        return
    first = len(days) - 1
    while first > 0 and sums[first - 1] > limit and not begins_anew(days[first], per):
        first -= 1
    assert finding.due_on == days[first].isoformat()


def is_lacking(hours: list[int], day: date, per: str, asked: int) -> bool:
    """Return whether the period that ends with a day is over, began in service, and lacks something."""
    tomorrow = day + timedelta(days=1)
    is_over = per in PERIODS or (tomorrow.day == 1 and (CALENDAR[per][0] < 12 or tomorrow.month == 1))
    return is_over and start_of(day, per) >= FIRST and sum_to(hours, day, per) < asked


@bounded(40)
@given(hours=st.lists(st.integers(0, 24), min_size=1, max_size=130), per=st.sampled_from(ALL), asked=st.integers(1, 600))
def test_a_minimum_is_overdue_while_the_last_period_that_is_over_lacks(hours: list[int], per: str, asked: int) -> None:
    """Until the running one has reached what is asked."""
    finding = judged(hours, per, asked, "at_least")
    last = FIRST + timedelta(days=len(hours) - 1)
    if per in PERIODS:
        before = last - timedelta(days=1)
    else:
        before = date(last.year, 1 if CALENDAR[per][0] >= 12 else last.month, 1) - timedelta(days=1)
    lacks_now = is_lacking(hours, last, per, asked)
    lacked = before >= FIRST and sum_to(hours, last, per) < asked and is_lacking(hours, before, per, asked)
    assert (finding.standing == "overdue") == (lacks_now or lacked)
    if finding.standing == "overdue":
        assert finding.legs[0].used == sum_to(hours, last if lacks_now else before, per)
