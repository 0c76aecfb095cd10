"""Hours of emergency engines, 40 CFR 63.6640(f), edition of 2015 (read): 100 h a year of tests and other use, 50 of the last.

The hours stand in service records; those of an emergency need none. Through the rule sets as shipped.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from intervals.findings import Finding, Findings
from tests.published.shipped_sites import judge_by_shipped
from tests.site_maker import Row, finding_for, leg_of, meter, reason_for

AREA, MAJOR = "us-area-source", "us-major-source"
ENGINE = {"constructed": "2004-05-01", "ignition": "compression", "role": "emergency", "power_hp": 400}
WHOLE, OTHER = "tests-and-other-hours", "non-emergency-hours"


def ran(task: str, at: str, hours: object, **columns: object) -> Row:
    """Return a service record of a run with its hours."""
    return {"at": at, "engine": "G1", "task": task, "outcome": "done", "hours_h": hours, **columns}


def judged(folder: Path, as_of: str, records: Sequence[Row], *, ruleset: str = AREA) -> Findings:
    """Judge an emergency engine that ran 400 h in an emergency beside the runs on record."""
    engine = {"in_service": "2023-01-01", "meter_at_start_h": 0, "attributes": ENGINE}
    rows = [meter("2023-01-01T00:00", 0), meter("2023-09-01T00:00", 400.0)]
    return judge_by_shipped(folder, ruleset, as_of, rows, engine=engine, services=records)


def used_of(finding: Finding) -> tuple[bool, float | None, float | None]:
    """Return whether a budget was kept, what was used and what was allowed."""
    return finding.standing != "overdue", finding.legs[0].used, finding.legs[0].allowed


@pytest.mark.outside("1.12", "1.Z11", "1.Z12")
@pytest.mark.parametrize("ruleset", [AREA, MAJOR])
@pytest.mark.parametrize(
    ("tests_h", "other_h", "kept", "other_kept"),
    [
        (60, 35, True, True),  # Z11: 95 h of 100; 400 h of emergency do not count
        (60, 45, False, True),  # Z12: 105 h
        (50, 50, True, True),
        (40, 50.1, True, False),
        (10, 51, True, False),
        (100, 0, True, True),
        (100.1, 0, False, True),
    ],
)
def test_z11_z12_hours_of_an_emergency_engine(
    tmp_path: Path, ruleset: str, tests_h: float, other_h: float, kept: bool, other_kept: bool
) -> None:
    """63.6640(f): checks and tests and other use together; emergency hours unlimited."""
    records = [ran("test-run", "2023-05-01", tests_h), ran("non-emergency-run", "2023-06-01", other_h)]
    findings = judged(tmp_path, "2023-12-31", records, ruleset=ruleset)
    assert used_of(finding_for(findings, WHOLE)) == (kept, round(tests_h + other_h, 6), 100.0)
    assert used_of(finding_for(findings, OTHER)) == (other_kept, other_h, 50.0)


@pytest.mark.outside("1.Z14")
@pytest.mark.parametrize(("as_of", "used"), [("2023-12-31", 90.0), ("2024-01-01", 15.0)])
def test_z14_the_year_restarts(tmp_path: Path, as_of: str, used: float) -> None:
    """90 h of tests by 31 December, 15 h on 1 January: within, in either year."""
    records = [ran("test-run", "2023-12-30", 90), ran("test-run", "2024-01-01T10:00", 15)]
    assert used_of(finding_for(judged(tmp_path, as_of, records), WHOLE)) == (True, used, 100.0)


def test_a_year_that_was_exceeded_is_told_later(tmp_path: Path) -> None:
    """105 h in 2023 is no matter of 2024's standing, and is said all the same."""
    finding = finding_for(judged(tmp_path, "2024-03-01", [ran("test-run", "2023-06-30T10:00", 105)]), WHOLE)
    assert used_of(finding) == (True, 0.0, 100.0)
    assert reason_for(finding, "budget-exceeded-before").facts == {"used": 105.0, "allowed": 100.0, "from": "2023-06-30"}


def test_hours_of_service_records_add_up(tmp_path: Path) -> None:
    """Records of 60 h and 45 h: 105 of 100, exceeded by the second one; a void one counts nothing, one in part does."""
    runs = [
        ran("test-run", "2023-03-01T10:00", 60, ref="a"),
        ran("test-run", "2023-04-01T10:00", 30, ref="b"),
        {**ran("test-run", "2023-04-02T10:00", "", ref="b"), "outcome": "void"},
        {**ran("test-run", "2023-05-01T10:00", 45), "outcome": "partial"},
    ]
    finding = finding_for(judged(tmp_path, "2023-12-31", runs), WHOLE)
    assert (finding.standing, finding.legs[0].used, finding.crossed_at) == ("overdue", 105.0, "2023-05-01T10:00:00+00:00")


@pytest.mark.parametrize(("hours", "standing"), [(40, "unknown"), (101, "overdue")])
def test_a_record_without_hours_leaves_the_budget_unknown(tmp_path: Path, hours: float, standing: str) -> None:
    """Nobody wrote down how long a run was: unknown, unless the rest is too much already."""
    runs = [ran("test-run", "2023-03-01T10:00", ""), ran("test-run", "2023-05-01T10:00", hours)]
    finding = finding_for(judged(tmp_path, "2023-12-31", runs), WHOLE)
    assert (finding.standing, finding.legs[0].used) == (standing, hours)


def test_up_to_500_hp_there_is_no_limit_of_24_h(tmp_path: Path) -> None:
    """A four-stroke of 500 HP has rows 7 and 10, whatever it runs, and a two-stroke row 6: the 24 h are those of row 5 alone."""
    attributes = {**ENGINE, "ignition": "spark", "role": "up-to-24-h", "burn": "lean", "waste_gas_pct": 0}
    for name, more in (("a", {"cycle": "four-stroke", "power_hp": 500}), ("b", {"cycle": "two-stroke", "power_hp": 900})):
        engine = {"in_service": "2022-01-01", "meter_at_start_h": 0, "attributes": {**attributes, **more}}
        rows = [meter("2022-01-01T00:00", 0), meter("2023-06-01T00:00", 400.0)]
        findings = judge_by_shipped(tmp_path / name, AREA, "2023-06-01", rows, engine=engine)
        assert "twenty-four-hours" not in {finding.task for finding in findings.findings}


@pytest.mark.parametrize(("hours", "kept"), [(24.0, True), (24.1, False)])
def test_a_four_stroke_of_row_5_runs_up_to_24_h_a_year(tmp_path: Path, hours: float, kept: bool) -> None:
    """Table 2d row 5: beyond 24 h in a calendar year it belongs elsewhere; the year before does not count."""
    attributes = {**ENGINE, "ignition": "spark", "cycle": "four-stroke", "role": "up-to-24-h", "burn": "lean", "power_hp": 900}
    engine = {"in_service": "2022-01-01", "meter_at_start_h": 0, "attributes": attributes}
    rows = [meter("2022-01-01T00:00", 0), meter("2023-01-01T00:00", 20.0), meter("2023-06-01T00:00", 20.0 + hours)]
    findings = judge_by_shipped(tmp_path, AREA, "2023-06-01", rows, engine=engine)
    assert used_of(finding_for(findings, "twenty-four-hours")) == (kept, hours, 24.0)
    assert leg_of(finding_for(findings, "oil-change-emergency-si")).allowed == 500.0
