"""NFPA 110 8.4.2 and NFPA 25 chapter 8 (told), 30 CFR 75.1914 (d), (f), (g) (read, edition unknown), through standby-codes as shipped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from intervals.findings import Findings
from tests.published.shipped_sites import finding_since_last, judge_by_shipped, standing_of
from tests.site_maker import Row, done, finding_for, meter

SET = "standby-codes"
LEVELS = {name: {"kind": "level", "unit": unit} for name, unit in (("exhaust_above_least_c", "delta_degC"), ("intake_restricted", "count"))}


def log_of(parts: Sequence[tuple[int, float]], **levels: float) -> list[Row]:
    """Return the log of one run from ten on 15 January 2026, a row every five minutes: parts of minutes and kW, then standing."""
    at, hours = datetime.fromisoformat("2026-01-15T10:00"), 0.0
    rows: list[Row] = [meter(at.isoformat(timespec="minutes"), 0, load_kw=0, **levels)]
    for minutes, load_kw in parts:
        for _ in range(minutes // 5):
            at, hours = at + timedelta(minutes=5), hours + 5 / 60
            rows.append(meter(at.isoformat(timespec="minutes"), round(hours, 6), load_kw=load_kw, **levels))
    return [*rows, meter((at + timedelta(minutes=5)).isoformat(timespec="minutes"), round(hours, 6), load_kw=0, **levels)]


def judged(folder: Path, rows: Sequence[Row], attributes: Mapping[str, object], services: Sequence[Row] = ()) -> Findings:
    """Judge a 400 kW set two days later."""
    engine = {"in_service": "2025-01-01", "meter_at_start_h": 0, "fuel": "diesel", "rated_kw": 400, "attributes": attributes}
    asked = {name: LEVELS[name] for name in LEVELS if rows and name in rows[0]}
    return judge_by_shipped(folder, SET, "2026-01-17", rows, engine=engine, quantities=asked, services=services)


@pytest.mark.outside("4.1")
@pytest.mark.parametrize(("minutes", "above_c", "passes"), [(30, 0, True), (30, 12, True), (25, 12, False), (30, -1, False)])
def test_the_route_by_exhaust_temperature(tmp_path: Path, minutes: int, above_c: float, passes: bool) -> None:
    """NFPA 110 8.4.2 (told): 30 minutes at the maker's least exhaust temperature or more, at whatever load."""
    findings = judged(tmp_path, log_of([(minutes, 60.0)], exhaust_above_least_c=above_c), {"exercise_by": "exhaust"})
    assert (finding_for(findings, "exercise-by-exhaust").last_done is not None) == passes


@pytest.mark.parametrize(
    ("parts", "passes"),
    [([(30, 100.0), (30, 200.0), (60, 300.0)], True), ([(30, 100.0), (60, 200.0)], False), ([(25, 100.0), (30, 200.0), (60, 300.0)], True)],
)
def test_the_older_load_steps(tmp_path: Path, parts: Sequence[tuple[int, float]], passes: bool) -> None:
    """Two hours: 25 % for 30 min, 50 % for 30 min, 75 % for 60 min; a step at more than asked stands for the one before it."""
    findings = judged(tmp_path, log_of(parts), {"older_load_steps": True})
    found = finding_for(findings, "load-bank-older-steps").last_done
    assert (found is not None) == (passes and parts[0][0] == 30)


@pytest.mark.parametrize(("minutes", "passes"), [(30, True), (25, False)])
def test_the_weekly_run_of_a_fire_pump(tmp_path: Path, minutes: int, passes: bool) -> None:
    """NFPA 25 (told): 30 minutes without flow."""
    findings = judged(tmp_path, log_of([(minutes, 20.0)]), {"drives_fire_pump": True})
    assert (finding_for(findings, "fire-pump-run").last_done is not None) == passes


@pytest.mark.parametrize("task", ["mine-weekly-examination", "mine-exhaust-test"])
def test_weekly_in_a_coal_mine(task: str) -> None:
    """30 CFR 75.1914(f) and (g)."""
    engine = {"coal_mine": True}
    assert [standing_of(finding_since_last(SET, task, engine, {"days": days})) for days in (7, 8)] == ["upcoming", "overdue"]


@pytest.mark.parametrize(("shown", "standing"), [(0, "in_interval"), (1, "overdue")])
def test_the_intake_filter_is_due_when_its_indicator_says_so(tmp_path: Path, shown: int, standing: str) -> None:
    """30 CFR 75.1914(d): no interval."""
    findings = judged(tmp_path, log_of([(60, 90.0)], intake_restricted=shown), {"coal_mine": True})
    assert finding_for(findings, "mine-intake-filter").standing == standing


@pytest.mark.outside("4.1")
def test_no_load_bank_run_is_asked_for_while_no_exercise_failed(tmp_path: Path) -> None:
    """NFPA 110 8.4.2.3 (told): it follows an exercise that did not reach its load or temperature."""
    services = [done("exercise-by-exhaust", "2026-01-10T10:00")]
    findings = judged(tmp_path, log_of([(30, 60.0)], exhaust_above_least_c=5), {"exercise_by": "exhaust"}, services=services)
    assert finding_for(findings, "load-bank-after-failure").standing == "in_interval"
