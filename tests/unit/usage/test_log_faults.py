"""Faults of the log that the judge names and judges around: silences, a log that ended, levels that cannot be."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from intervals import assess, read_site
from intervals.problems import RequestProblemError
from intervals.questions.explain.explain import explain_finding
from tests.site_maker import done, fault_kinds, finding_for, judge, leg_of, meter, reason_for, rule, steady, task, used_of

OIL = task(every={"running_hours": 100})
HEAVY = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
IN_SERVICE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000}


def test_a_silence_keeps_its_hours_and_loses_its_levels(tmp_path: Path) -> None:
    """From 2 to 5 January no row: the 30 h count once each, for the load that the later row states is not known of them."""
    rows = [meter("2024-01-02T00:00", 10, load_kw=500), meter("2024-01-05T00:00", 40, load_kw=950)]
    findings = judge(tmp_path, "2024-01-04", [OIL], rows, engine=IN_SERVICE, gap_h=36, rules={"adjustments": [HEAVY]})
    assert used_of(finding_for(findings)) == 40.0
    assert finding_for(findings).unknown_hours_h == 30.0
    assert reason_for(finding_for(findings), "unknown-heavy").facts["hours_h"] == 30.0
    (fault,) = findings.faults
    assert (fault.kind, fault.file, fault.line) == ("gap", "readings/log.csv", 3)


@pytest.mark.parametrize(("gap_h", "kinds"), [(72, []), (71, ["gap"])])
def test_a_silence_as_long_as_the_rhythm_is_no_gap(tmp_path: Path, gap_h: float, kinds: list[str]) -> None:
    """Three days between rows are a gap where the rhythm is shorter than 72 h, and none at 72 h."""
    rows = [meter("2024-01-02T00:00", 10), meter("2024-01-05T00:00", 40)]
    assert fault_kinds(judge(tmp_path, "2024-01-04", [OIL], rows, engine=IN_SERVICE, gap_h=gap_h)) == kinds


def test_an_engines_own_rhythm_overrides_the_logs(tmp_path: Path) -> None:
    """An engine that is read weekly says so itself."""
    rows = [meter("2024-01-02T00:00", 10), meter("2024-01-08T00:00", 40)]
    assert fault_kinds(judge(tmp_path, "2024-01-07", [OIL], rows, engine={**IN_SERVICE, "gap_h": 200}, gap_h=36)) == []


def test_a_log_that_ended_invents_nothing(tmp_path: Path) -> None:
    """50 h by 11 January, judged at the end of the 12th (48 h later): a fault, and the 50 h left cannot have been run in 48."""
    rows = steady("2024-01-01", "2024-01-11", 5)
    findings = judge(tmp_path, "2024-01-12", [OIL], rows, engine=IN_SERVICE, gap_h=36)
    assert fault_kinds(findings) == ["log_ended"]
    assert used_of(finding_for(findings)) == 50.0
    assert finding_for(findings).standing == "in_interval"


def test_a_leg_is_unknown_once_its_remaining_hours_could_have_been_run(tmp_path: Path) -> None:
    """The same log at the end of the 13th: 72 h of silence are more than the 50 h left."""
    rows = steady("2024-01-01", "2024-01-11", 5)
    findings = judge(tmp_path, "2024-01-13", [OIL], rows, engine=IN_SERVICE, gap_h=36)
    assert finding_for(findings).standing == "unknown"
    assert used_of(finding_for(findings)) is None


def test_a_leg_past_its_line_stays_overdue_when_the_log_ends(tmp_path: Path) -> None:
    """110 of 100 h by 23 January: overdue a year later, whatever was run since."""
    rows = steady("2024-01-01", "2024-01-23", 5)
    findings = judge(tmp_path, "2025-01-23", [OIL], rows, engine=IN_SERVICE, gap_h=36)
    assert finding_for(findings).standing == "overdue"
    assert used_of(finding_for(findings)) == 110.0


def test_a_silence_within_the_rhythm_is_no_end_of_the_log(tmp_path: Path) -> None:
    """Judged 24 h after the last row of a daily log: known."""
    rows = steady("2024-01-01", "2024-01-20", 5)
    findings = judge(tmp_path, "2024-01-20", [OIL], rows, engine=IN_SERVICE, gap_h=36)
    assert fault_kinds(findings) == []
    assert used_of(finding_for(findings)) == 95.0


def test_a_calendar_leg_needs_no_log(tmp_path: Path) -> None:
    """The log ended long ago; a task by the calendar alone is judged all the same."""
    rows = steady("2024-01-01", "2024-01-11", 5)
    findings = judge(tmp_path, "2024-06-01", [task(every={"calendar": "P1Y"})], rows, engine=IN_SERVICE, gap_h=36)
    assert finding_for(findings).standing == "in_interval"


@pytest.mark.parametrize(
    ("column", "value"), [("load_kw", 1300.5), ("load_kw", -1), ("fuel_sulphur_pct", 5.01), ("fuel_sulphur_pct", -0.1), ("load_pct", 130.1)]
)
def test_levels_that_cannot_be_are_blanked(tmp_path: Path, column: str, value: float) -> None:
    """Load above 130 % of rated, sulphur above 5 %, negatives: a fault with its place, and hours on which the level is unknown."""
    rows = [meter("2024-01-02T00:00", 10, **{column: value})]
    judged = rule("judged", {column.replace("load_kw", "load_pct"): {"above": 0}}, counts_as=2)
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, rules={"adjustments": [judged]})
    assert [(fault.kind, fault.file, fault.line) for fault in findings.faults] == [("impossible_value", "readings/log.csv", 2)]
    assert (used_of(finding_for(findings)), finding_for(findings).unknown_hours_h) == (10.0, 10.0)


@pytest.mark.parametrize(("column", "value"), [("load_kw", 1300), ("fuel_sulphur_pct", 5)])
def test_the_highest_levels_that_can_be_stand(tmp_path: Path, column: str, value: float) -> None:
    """130 % of rated and 5 % sulphur are still levels."""
    rows = [meter("2024-01-02T00:00", 10, **{column: value})]
    judged = rule("judged", {column.replace("load_kw", "load_pct"): {"above": 0}}, counts_as=2)
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, rules={"adjustments": [judged]})
    assert findings.faults == ()
    assert used_of(finding_for(findings)) == 20.0


def test_of_rows_at_one_time_the_first_by_file_name_and_line_counts(tmp_path: Path) -> None:
    """The same stamp in a.csv (10 h, twice) and b.csv (12 h): 10 h count; the others are duplicate and conflict, each with its place."""
    rows = {"b.csv": [meter("2024-01-02T00:00", 12)], "a.csv": [meter("2024-01-02T00:00", 10), meter("2024-01-02T00:00", 10)]}
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE)
    assert used_of(finding_for(findings)) == 10.0
    found = {(fault.kind, fault.file, fault.line) for fault in findings.faults}
    assert found == {("duplicate_row", "readings/a.csv", 3), ("conflicting_row", "readings/b.csv", 2)}


def test_a_row_of_an_unknown_engine_is_set_aside(tmp_path: Path) -> None:
    """Accepted and set-aside rows add up to the rows read."""
    rows = [meter("2024-01-02T00:00", 10), {"at": "2024-01-02T00:00", "engine": "G7", "hour_meter_h": 5}]
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE)
    assert (findings.rows.read, findings.rows.accepted, findings.rows.set_aside) == (2, 1, 1)
    assert [(fault.kind, fault.line) for fault in findings.faults] == [("unknown_engine", 3)]


def test_a_task_that_fits_no_engine_is_a_fault(tmp_path: Path) -> None:
    """Plugs are for gas engines; the one engine burns diesel."""
    tasks = [OIL, task("plugs", applies_to={"fuel": ["natural-gas"]}, every={"running_hours": 500})]
    findings = judge(tmp_path, "2024-01-01", tasks, [meter("2024-01-02T00:00", 10)], engine={**IN_SERVICE, "fuel": "diesel"})
    assert [fault.kind for fault in findings.faults] == ["task_fits_no_engine"]
    assert [finding.task for finding in findings.findings] == ["oil"]


def test_a_task_asked_for_that_is_not_for_the_engine_is_refused_with_the_reason(tmp_path: Path) -> None:
    """No finding is no good news: what was asked for is not judged, and why is said."""
    tasks = [OIL, task("plugs", applies_to={"fuel": ["natural-gas"]}, every={"running_hours": 500})]
    judge(tmp_path, "2024-01-01", tasks, [meter("2024-01-02T00:00", 10)], engine={**IN_SERVICE, "fuel": "diesel"})
    why = 'plugs applies where fuel is natural-gas; for G1: fuel is "diesel"'
    with pytest.raises(RequestProblemError) as refused:
        assess(read_site(tmp_path), date(2024, 1, 1), tasks=["plugs"])
    assert [(problem.code, problem.fix) for problem in refused.value.problems] == [("CLI015", why)]
    with pytest.raises(RequestProblemError) as refused:
        explain_finding(read_site(tmp_path), "G1", "plugs", date(2024, 1, 1))
    assert [(problem.code, problem.fix) for problem in refused.value.problems] == [("CLI011", why)]


def test_rows_out_of_order_are_sorted(tmp_path: Path) -> None:
    """The later row first in the file: no fault, the same hours."""
    rows = [meter("2024-01-03T00:00", 20), meter("2024-01-02T00:00", 10)]
    findings = judge(tmp_path, "2024-01-02", [OIL], rows, engine=IN_SERVICE)
    assert fault_kinds(findings) == []
    assert used_of(finding_for(findings)) == 20.0


def test_a_lay_up_is_no_silence(tmp_path: Path) -> None:
    """Laid up from 3 January to 28 February: neither a gap nor the end of the log."""
    rows = [meter("2024-01-02T00:00", 10), meter("2024-01-03T00:00", 20), meter("2024-03-01T00:00", 20)]
    engine = {**IN_SERVICE, "laid_up": [{"from": "2024-01-03", "to": "2024-02-29"}]}
    assert fault_kinds(judge(tmp_path, "2024-02-29", [OIL], rows, engine=engine, gap_h=36)) == []
    assert fault_kinds(judge(tmp_path, "2024-02-10", [OIL], rows[:2], engine=engine, gap_h=36)) == []


def test_the_finding_names_the_leg_that_nothing_tells(tmp_path: Path) -> None:
    """An unknown standing says why in its first reason."""
    rows = steady("2024-01-01", "2024-01-11", 5)
    findings = judge(tmp_path, "2024-06-01", [OIL], rows, engine=IN_SERVICE, gap_h=36, services=[done("oil", "2024-01-05T00:00")])
    assert "log ended" in finding_for(findings).reasons[0].text
    assert leg_of(finding_for(findings)).running_hours_h is None
