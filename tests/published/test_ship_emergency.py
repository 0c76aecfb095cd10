"""Emergency lighting and power aboard: 46 CFR 97.15-30 (read), and SOLAS chapter II-1 as practised (told), as shipped."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.published.shipped_sites import finding_since_last, judge_by_shipped, standing_of
from tests.site_maker import Row, finding_for, meter

SET = "ship-emergency"
ENGINE = {"fuel": "diesel", "rated_kw": 150, "starts_by_itself": True}


def run_of(minutes: int, load_kw: float) -> list[Row]:
    """Return the log of one run of so many minutes from nine on 15 October 2026, a row every five minutes; it stands before and after."""
    at, hours = datetime.fromisoformat("2026-10-15T09:00"), 0.0
    rows: list[Row] = [meter(at.isoformat(timespec="minutes"), 0, load_kw=0)]
    for _ in range(minutes // 5):
        at, hours = at + timedelta(minutes=5), hours + 5 / 60
        rows.append(meter(at.isoformat(timespec="minutes"), round(hours, 6), load_kw=load_kw))
    return [*rows, meter((at + timedelta(minutes=5)).isoformat(timespec="minutes"), round(hours, 6), load_kw=0)]


@pytest.mark.outside("10.12")
@pytest.mark.parametrize(
    ("task", "last_day", "as_of"),
    [("weekly-test", 7, "2026-10-31"), ("dark-ship-start", 7, "2026-10-31"), ("battery-test", 183, "2026-10-31")],
)
def test_every_week_and_every_six_months(task: str, last_day: int, as_of: str) -> None:
    """46 CFR 97.15-30: weekly, and batteries every six months: of 1 May to 1 November, of 30 April to 30 October."""
    since = [{"days": last_day}, {"days": last_day + 1}]
    assert [standing_of(finding_since_last(SET, task, ENGINE, days, as_of=as_of)) for days in since] == ["upcoming", "overdue"]


@pytest.mark.outside("10.12")
@pytest.mark.parametrize(("minutes", "load_kw", "passes"), [(120, 40.0, True), (115, 40.0, False), (120, 0.0, False)])
def test_two_hours_under_load_each_month(tmp_path: Path, minutes: int, load_kw: float, passes: bool) -> None:
    """46 CFR 97.15-30: proved by the log; without load, or five minutes short of two hours, it is no test."""
    engine = {"in_service": "2026-01-01", "meter_at_start_h": 0, "fuel": "diesel", "rated_kw": 150}
    findings = judge_by_shipped(tmp_path, SET, "2026-10-31", run_of(minutes, load_kw), engine=engine)
    assert (finding_for(findings, "monthly-load-run").last_done is not None) == passes


@pytest.mark.outside("10.12")
@pytest.mark.parametrize(("as_of", "days", "standing"), [("2026-11-30", 46, "upcoming"), ("2026-12-01", 47, "overdue")])
def test_once_in_each_month(as_of: str, days: int, standing: str) -> None:
    """Run on 15 October: November has until its last day."""
    for task in ("monthly-load-run", "second-start"):
        assert standing_of(finding_since_last(SET, task, ENGINE, {"days": days}, as_of=as_of)) == standing
