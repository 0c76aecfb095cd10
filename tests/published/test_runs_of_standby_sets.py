"""Runs that a standard asks of a standby set, found in its log (CHECKS section 4), each rule as a rule set writes it.

NFPA 110 chapter 8 (told): monthly 30 min at 30 % of nameplate kW or more; a diesel set that cannot reach it, a yearly load bank run
of 50 % for 30 min then 75 % for 60 min. Hospital accreditation practice (told): twelve monthly tests a year, 20 to 40 days apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from intervals.findings import Findings
from tests.site_maker import finding_for, judge, meter, skipped_of, task

SET_400_KW = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 400}
EXERCISE = {"running_min": 30, "load_pct": {"at_least": 30}}
LOAD_BANK = {"sequence": [{"running_min": 30, "load_pct": {"at_least": 50}}, {"running_min": 60, "load_pct": {"at_least": 75}}]}
MONTHLY = task("exercise", every={"calendar": "P30D"}, window={"before": "P10D", "after": "P10D"}, done_when=EXERCISE)
YEARLY = task("load-bank", every={"calendar": "P1Y"}, done_when=LOAD_BANK)


def log_of(days: Sequence[str], parts: Sequence[tuple[int, float]]) -> list[dict[str, object]]:
    """Return rows every five minutes of a run from ten o'clock on some days: parts of minutes and kW, standing before and after."""
    rows, hours = [], 0.0
    for day in days:
        at = datetime.fromisoformat(f"{day}T10:00")
        rows.append(meter(at.isoformat(timespec="minutes"), round(hours, 6), load_kw=0))
        for minutes, load_kw in [*parts, (5, 0.0)]:
            for _ in range(minutes // 5):
                at += timedelta(minutes=5)
                hours += 5 / 60 if load_kw else 0
                rows.append(meter(at.isoformat(timespec="minutes"), round(hours, 6), load_kw=load_kw))
    return rows


def judged(folder: Path, as_of: str, rows: Sequence[dict[str, object]]) -> Findings:
    """Judge both tasks of a 400 kW set."""
    return judge(folder, as_of, [dict(MONTHLY), dict(YEARLY)], rows, engine=SET_400_KW)


@pytest.mark.parametrize(
    ("load_kw", "minutes", "passes"),
    [
        # N1: 125 of 400 kW are 31.25 %
        (125, 30, True),
        # N2: 120 kW are exactly 30 %
        (120, 30, True),
        (119, 30, False),
        (125, 25, False),
    ],
)
def test_the_monthly_exercise(tmp_path: Path, load_kw: float, minutes: int, passes: bool) -> None:
    """NFPA 110 chapter 8: N1 and N2 pass; a kilowatt or five minutes less do not, and are listed."""
    findings = judged(tmp_path, "2024-01-31", log_of(["2024-01-26"], [(minutes, load_kw)]))
    assert (finding_for(findings, "exercise").last_done is not None) == passes
    assert [entry.kind for entry in skipped_of(findings, "exercise")] == ([] if passes else ["run_fell_short"])


@pytest.mark.parametrize(
    ("parts", "passes"),
    [
        ([(30, 200), (60, 300)], True),
        # 49.75 % and 74.75 %
        ([(30, 199), (60, 300)], False),
        ([(30, 200), (60, 299)], False),
        # the other way round
        ([(60, 300), (30, 200)], False),
        ([(30, 200), (55, 300)], False),
    ],
)
def test_the_yearly_load_bank_run(tmp_path: Path, parts: Sequence[tuple[int, float]], passes: bool) -> None:
    """NFPA 110 chapter 8: 50 % for 30 min, then 75 % for 60 min, in one run."""
    finding = finding_for(judged(tmp_path, "2024-01-31", log_of(["2024-01-26"], parts)), "load-bank")
    assert (finding.last_done is not None) == passes


@pytest.mark.parametrize(
    ("second", "standing", "kinds"),
    [
        # 26 January + 19, 20, 40 and 41 d
        ("2024-02-14", "in_interval", ["too_early"]),
        ("2024-02-15", "in_interval", []),
        ("2024-03-06", "in_interval", []),
    ],
)
def test_tests_are_twenty_to_forty_days_apart(tmp_path: Path, second: str, standing: str, kinds: list[str]) -> None:
    """Hospital accreditation practice: a test inside the window is one, an earlier one is credited and reported."""
    findings = judged(tmp_path, second, log_of(["2024-01-26", second], [(30, 125)]))
    assert finding_for(findings, "exercise").standing == standing
    assert [entry.kind for entry in skipped_of(findings, "exercise")] == kinds


def test_after_forty_days_the_test_is_overdue(tmp_path: Path) -> None:
    """The 40th day after 26 January is 6 March 2024."""
    rows = log_of(["2024-01-26"], [(30, 125)])
    assert finding_for(judged(tmp_path / "a", "2024-03-06", rows), "exercise").standing == "upcoming"
    assert finding_for(judged(tmp_path / "b", "2024-03-07", rows), "exercise").standing == "overdue"
