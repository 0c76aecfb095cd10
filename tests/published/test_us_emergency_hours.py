"""Hours of emergency engines, 40 CFR 63.6640(f), edition of 2015: 100 h a calendar year for checks and tests, of which 50 h other use."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from intervals.findings import Finding
from tests.site_maker import done, finding_for, judge, leg_of, meter, reason_for, steady, task

SOURCE = "40 CFR 63.6640(f)"
# 63.6640(f)(2): 100 h a calendar year; (f)(3) and (4): other use counts towards them, at most 50 h of it; (f)(1): no limit on emergencies
BUDGETS = [
    {
        "id": "maintenance-and-testing",
        "title": "Checks, tests and other use",
        "of": ["test_hours_h", "other_hours_h"],
        "at_most": 100,
        "per": "calendar_year",
        "source": SOURCE,
    },
    {
        "id": "other-use",
        "title": "Use that is no emergency",
        "of": "other_hours_h",
        "at_most": 50,
        "per": "calendar_year",
        "source": SOURCE,
    },
]
COLUMNS = {name: {"unit": "h", "kind": "amount"} for name in ("test_hours_h", "other_hours_h", "emergency_hours_h")}
ENGINE = {"in_service": "2023-01-01", "meter_at_start_h": 0}


def judged(folder: Path, as_of: str, rows: Sequence[dict[str, object]]) -> tuple[Finding, Finding]:
    """Judge both budgets of an engine that logs its hours by kind."""
    findings = judge(folder, as_of, [task(every={"calendar": "P10Y"})], rows, engine=ENGINE, quantities=COLUMNS, rules={"budgets": BUDGETS})
    return finding_for(findings, "maintenance-and-testing"), finding_for(findings, "other-use")


@pytest.mark.parametrize(
    ("tests_h", "other_h", "emergency_h", "whole", "other"),
    [
        # Z11: 60 + 35 = 95 of 100
        (60, 35, 400, ("upcoming", 95.0), ("in_interval", 35.0)),
        # Z12: 60 + 45 = 105 of 100; 45 of 50 alone
        (60, 45, 0, ("overdue", 105.0), ("upcoming", 45.0)),
        # exactly 100 h, of which 50: both at their limit and not beyond
        (50, 50, 0, ("upcoming", 100.0), ("upcoming", 50.0)),
        # 51 h of other use are too many even where 100 h are not reached
        (10, 51, 0, ("in_interval", 61.0), ("overdue", 51.0)),
        (0, 0, 2000, ("in_interval", 0.0), ("in_interval", 0.0)),
    ],
)
def test_hours_of_a_calendar_year(
    tmp_path: Path, tests_h: float, other_h: float, emergency_h: float, whole: tuple[str, float], other: tuple[str, float]
) -> None:
    """Tests and other use add up, other use has a limit of its own, emergencies count nowhere."""
    rows = [
        meter("2023-01-02T00:00", 0, test_hours_h=0, other_hours_h=0, emergency_hours_h=0),
        meter(
            "2023-07-01T00:00", tests_h + other_h + emergency_h, test_hours_h=tests_h, other_hours_h=other_h, emergency_hours_h=emergency_h
        ),
    ]
    both = judged(tmp_path, "2023-12-31", rows)
    assert [(found.standing, found.legs[0].used) for found in both] == [whole, other]
    assert [found.reasons[0].source for found in both] == [SOURCE, SOURCE]


# 90 h of tests at the end of 30 December, 15 h on 1 January: one row a day, none in between
TURN = [
    meter("2023-12-30T00:00", 0, test_hours_h=0, other_hours_h=0),
    meter("2023-12-31T00:00", 90, test_hours_h=90, other_hours_h=0),
    meter("2024-01-01T00:00", 90, test_hours_h=0, other_hours_h=0),
    meter("2024-01-02T00:00", 105, test_hours_h=15, other_hours_h=0),
]


@pytest.mark.parametrize(("as_of", "standing", "used"), [("2023-12-31", "upcoming", 90.0), ("2024-01-01", "in_interval", 15.0)])
def test_the_year_restarts(tmp_path: Path, as_of: str, standing: str, used: float) -> None:
    """Z14: 90 h by 31 December, 15 h on 1 January: within, for the year restarts."""
    finding, _ = judged(tmp_path, as_of, TURN)
    assert (finding.standing, finding.legs[0].used) == (standing, used)


def test_the_same_hours_are_too_many_for_any_twelve_months(tmp_path: Path) -> None:
    """Z14 counted over any 12 months: 105 h of 100, past them on 1 January at 100 h, two thirds of that day on."""
    rolling = [{**BUDGETS[0], "per": "P12M"}]
    findings = judge(
        tmp_path, "2024-01-01", [task(every={"calendar": "P10Y"})], TURN, engine=ENGINE, quantities=COLUMNS, rules={"budgets": rolling}
    )
    finding = finding_for(findings, "maintenance-and-testing")
    assert (finding.standing, finding.legs[0].used, finding.past_by and finding.past_by.value) == ("overdue", 105.0, 5.0)
    # 10 of the day's 15 h reach the line: 16 h after midnight
    assert (finding.crossed_at, finding.due_on) == ("2024-01-01T16:00:00+00:00", "2024-01-01")


def test_a_year_that_was_exceeded_is_told_later(tmp_path: Path) -> None:
    """105 h in 2023 is no matter of 2024's standing, and is said all the same."""
    rows = [
        meter("2023-06-30T00:00", 0, test_hours_h=0, other_hours_h=0),
        meter("2023-07-01T00:00", 105, test_hours_h=105, other_hours_h=0),
        meter("2024-03-01T00:00", 105, test_hours_h=0, other_hours_h=0),
    ]
    finding, _ = judged(tmp_path, "2024-03-01", rows)
    assert (finding.standing, finding.legs[0].used) == ("in_interval", 0.0)
    assert reason_for(finding, "budget-exceeded-before").facts == {"used": 105.0, "allowed": 100.0, "from": "2023-06-30"}


TEST_RUNS = {
    "id": "test-hours",
    "title": "Test runs",
    "of": {"records": ["test-run"]},
    "at_most": 100,
    "per": "calendar_year",
    "source": SOURCE,
}


def recorded(folder: Path, as_of: str, runs: Sequence[dict[str, object]], **written: Any) -> Finding:  # noqa: ANN401 - passed on
    """Judge the hours that service records of test runs add up to."""
    rows = steady("2023-01-01", "2024-01-03", 0)
    findings = judge(
        folder, as_of, [task(every={"calendar": "P10Y"})], rows, engine=ENGINE, services=runs, rules={"budgets": [TEST_RUNS]}, **written
    )
    assert [fault.kind for fault in findings.faults] == []
    return finding_for(findings, "test-hours")


def test_hours_of_service_records_add_up(tmp_path: Path) -> None:
    """Records of 60 h and 45 h: 105 of 100, exceeded by the second one; a void one counts nothing, one in part does."""
    runs = [
        done("test-run", "2023-03-01T10:00", hours_h=60, ref="a"),
        done("test-run", "2023-04-01T10:00", hours_h=30, ref="b"),
        {**done("test-run", "2023-04-02T10:00", ref="b"), "outcome": "void"},
        {**done("test-run", "2023-05-01T10:00", hours_h=45), "outcome": "partial"},
    ]
    finding = recorded(tmp_path, "2023-12-31", runs)
    assert (finding.standing, finding.legs[0].used, finding.crossed_at) == ("overdue", 105.0, "2023-05-01T10:00:00+00:00")
    assert finding.legs[0].leg == "hours_h of test-run"


def test_records_of_the_new_year_are_the_new_years(tmp_path: Path) -> None:
    """Z14 from records: 90 h by 31 December, 15 h on 1 January."""
    runs = [done("test-run", "2023-12-31", hours_h=90), done("test-run", "2024-01-01", hours_h=15)]
    assert leg_of(recorded(tmp_path, "2024-01-01", runs), "hours_h of test-run").used == 15.0


def test_a_record_without_hours_leaves_the_budget_unknown(tmp_path: Path) -> None:
    """Nobody wrote down how long the run was: unknown, unless the rest is too much already."""
    blank = done("test-run", "2023-03-01T10:00")
    finding = recorded(tmp_path / "a", "2023-12-31", [blank, done("test-run", "2023-05-01T10:00", hours_h=40)])
    assert (finding.standing, finding.legs[0].used) == ("unknown", 40.0)
    assert "services.csv:2" in finding.reasons[0].text
    finding = recorded(tmp_path / "b", "2023-12-31", [blank, done("test-run", "2023-05-01T10:00", hours_h=101)])
    assert finding.standing == "overdue"
