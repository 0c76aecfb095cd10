"""Calendar months and series of first intervals against a reckoning by itself: dates by dateutil, hours by fractions."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import count, pairwise

from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from intervals import assess
from tests.properties.bounded import bounded
from tests.properties.made_logs import scratch
from tests.properties.test_reckoned_windows import missed_of
from tests.site_maker import done, finding_for, leg_of, steady, task, write_site

DAYS = 1100


def passed_months(start: date, end: date, months: int) -> list[str]:
    """Return the first days of the months of all due dates but the first that had begun by a day."""
    found: list[str] = []
    for number in count(2):
        first = (start + relativedelta(months=number * months)).replace(day=1)
        if first > end:
            return found
        found.append(first.isoformat())
    return found


@bounded(60)
@given(
    st.dates(date(2020, 1, 1), date(2020, 12, 31)),
    st.lists(st.integers(1, DAYS - 1), max_size=8, unique=True),
    st.sampled_from([1, 2, 3, 6, 12]),
)
def test_a_window_of_calendar_months(first_day: date, offsets: list[int], months: int) -> None:
    """Start, line, standing and missed months of a task that is done on any day of its month."""
    done_on = [first_day + timedelta(days=offset) for offset in sorted(offsets)]
    last_day = first_day + timedelta(days=DAYS)
    start = done_on[-1] if done_on else first_day
    due = start + relativedelta(months=months)
    opens, line = due + relativedelta(day=1), due + relativedelta(day=31)
    rows = [{"at": f"{day.isoformat()}T00:00", "hour_meter_h": 0} for day in (first_day, last_day)]
    services = [done("oil", f"{day.isoformat()}T12:00") for day in done_on]
    oil = task(every={"calendar": f"P{months}M"}, window={"calendar_month": True})
    with scratch() as folder:
        site = write_site(folder, [oil], rows, services=services, engine={"in_service": first_day.isoformat()})
        findings = assess(site, last_day)
    finding = finding_for(findings)
    assert (leg_of(finding, "calendar").allowed, finding.due_on) == ((line - start).days, due.isoformat())
    assert finding.standing == ("overdue" if last_day > line else "upcoming" if last_day >= opens else "in_interval")
    bounds = [first_day, *done_on, last_day]
    assert missed_of(findings) == sorted(day for begin, end in pairwise(bounds) for day in passed_months(begin, end, months))


@bounded(60)
@given(
    st.lists(st.integers(1, 39), max_size=6, unique=True),
    st.lists(st.integers(2, 12), min_size=1, max_size=4),
    st.integers(2, 12),
    st.sampled_from(["done", "due"]),
)
def test_a_series_of_first_intervals(done_on: list[int], series: list[int], every: int, mode: str) -> None:
    """Used, allowed and missed points of a new engine that runs 10 h a day, all intervals in whole days of running.

    Each occurrence takes its own interval from the one before it; on a grid the due points are where they are, and each completion meets
    the last one that was reached.
    """
    first, end = date(2024, 1, 1), 40
    intervals = [*series, *([every] * 40)]
    start, number = 0, 0
    missed: list[int] = []
    for day in [*sorted(done_on), end]:
        points = [start + sum(intervals[number : number + place]) for place in range(1, 41)]
        reached = [point for point in points if point <= day]
        missed += reached[1:]
        if day == end:
            allowed, used = intervals[number], day - start
        elif mode == "due":
            # a completion before the first point meets it all the same
            met = max(len(reached), 1)
            start, number = points[met - 1], number + met
        else:
            start, number = day, number + 1
    oil = task(
        every={"running_hours": every * 10},
        first=[{"running_hours": interval * 10} for interval in series],
        restarts_from=mode,
    )
    services = [done("oil", f"{(first + timedelta(days=day)).isoformat()}T00:00") for day in done_on]
    engine = {"in_service": first.isoformat(), "meter_at_start_h": 0}
    with scratch() as folder:
        site = write_site(folder, [oil], steady("2024-01-01", "2024-02-10", 10), services=services, engine=engine)
        findings = assess(site, first + timedelta(days=end - 1))
    leg = leg_of(finding_for(findings))
    assert (leg.used, leg.allowed) == (used * 10, allowed * 10)
    assert missed_of(findings) == sorted((first + timedelta(days=day)).isoformat() for day in missed)
