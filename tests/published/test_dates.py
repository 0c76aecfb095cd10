"""Dates: months count from the anchor, never from the last result; the reference is dateutil's relativedelta.

Checked on the steps themselves and on what a site's findings make of them.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from intervals.language.durations import parse_step
from tests.properties.bounded import bounded
from tests.published.shipped_sites import check_site
from tests.site_maker import done, finding_for, leg_of, meter, task

POINTS = [
    # 2023-01-31 + 1, 2, 3, 4 months
    ("2023-01-31", "P1M", ["2023-02-28", "2023-03-31", "2023-04-30", "2023-05-31"]),
    # 2024-02-29 + 1 and + 4 years
    ("2024-02-29", "P1Y", ["2025-02-28", "2026-02-28", "2027-02-28", "2028-02-29"]),
    ("2024-02-29", "P4Y", ["2028-02-29"]),
    # 2022-11-30 quarterly
    ("2022-11-30", "P3M", ["2023-02-28", "2023-05-30", "2023-08-30", "2023-11-30"]),
    # one year and thirty days: 2025-02-28 + 30 d
    ("2024-02-29", "P1Y30D", ["2025-03-30"]),
    # oil changed 2024-01-31, at most six months: latest 2024-07-31
    ("2024-01-31", "P6M", ["2024-07-31"]),
]


@pytest.mark.outside("6.1", "6.2", "6.3", "6.4")
@pytest.mark.parametrize(("anchor", "step", "points"), POINTS)
def test_steps_count_from_the_anchor(anchor: str, step: str, points: list[str]) -> None:
    """The k-th point is the anchor plus k steps."""
    found = [parse_step(step).after(date.fromisoformat(anchor), number).isoformat() for number, _ in enumerate(points, start=1)]
    assert found == points


@pytest.mark.outside("6.1", "6.2", "6.3", "6.4")
@pytest.mark.parametrize(("anchor", "step", "points"), POINTS)
def test_a_task_falls_due_on_the_first_point(tmp_path: Path, anchor: str, step: str, points: list[str]) -> None:
    """Done on the anchor: through the first point in time, a day later overdue."""
    due = date.fromisoformat(points[0])
    for day, is_overdue in ((due, False), (due + timedelta(days=1), True)):
        findings = check_site(
            tmp_path / day.isoformat(),
            day.isoformat(),
            [task(every={"calendar": step})],
            [meter(f"{anchor}T00:00", 0)],
            services=[done("oil", anchor)],
        )
        assert (finding_for(findings).standing == "overdue") is is_overdue
        assert finding_for(findings).due_on == due.isoformat()
    assert leg_of(finding_for(findings), "calendar").allowed == (due - date.fromisoformat(anchor)).days


@pytest.mark.parametrize(("anchor", "step", "points"), [row for row in POINTS if len(row[2]) > 1])
def test_a_grid_goes_on_from_the_anchor(tmp_path: Path, anchor: str, step: str, points: list[str]) -> None:
    """Done on each point of the grid: the next one is the anchor plus one step more, not a clipped day's step."""
    services = [done("oil", at) for at in [anchor, *points[:-1]]]
    findings = check_site(
        tmp_path, points[-2], [task(every={"calendar": step}, restarts_from="due")], [meter(f"{anchor}T00:00", 0)], services=services
    )
    allowed = leg_of(finding_for(findings), "calendar").allowed
    assert allowed is not None
    assert (date.fromisoformat(points[-2]) + timedelta(days=allowed)).isoformat() == points[-1]


@pytest.mark.parametrize(("anchor", "step", "points"), [row for row in POINTS if len(row[2]) > 1])
def test_points_that_passed_undone_were_missed_on_the_grid(tmp_path: Path, anchor: str, step: str, points: list[str]) -> None:
    """Nothing done since the anchor: each point but the last is missed when the next one is reached."""
    findings = check_site(
        tmp_path, points[-1], [task(every={"calendar": step})], [meter(f"{anchor}T00:00", 0)], services=[done("oil", anchor)]
    )
    assert [entry.at for entry in findings.skipped] == points[1:]


@pytest.mark.outside("6.4", "9.3")
@bounded(300)
@given(
    st.dates(date(1990, 1, 1), date(2060, 12, 31)),
    st.integers(0, 6), st.integers(0, 30), st.integers(0, 10), st.integers(0, 90), st.integers(1, 12),
)  # fmt: skip
def test_every_step_is_that_of_relativedelta(anchor: date, years: int, months: int, weeks: int, days: int, times: int) -> None:
    """Years and months first, clipped at the month's end, then weeks and days, forwards and backwards."""
    parts = "".join(f"{number}{letter}" for number, letter in ((years, "Y"), (months, "M"), (weeks, "W"), (days, "D")) if number)
    step = parse_step(f"P{parts or '0D'}")
    delta = relativedelta(years=years * times, months=months * times, days=(weeks * 7 + days) * times)
    assert step.after(anchor, times) == anchor + delta
    assert step.before(anchor, times) == anchor - delta
