"""Minima: so much must be reached in a period; lacking is late when the period is over, and until a later one is reached."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from intervals import ProblemsError, read_site
from intervals.findings import Finding, Findings
from intervals.questions.explain.explain import explain_finding
from tests.site_maker import finding_for, judge, meter, moment, reason_for, steady, task

YEARLY = task(every={"calendar": "P10Y"})
ENGINE: dict[str, object] = {"in_service": "2023-01-01", "meter_at_start_h": 0}


def minimum(**keys: object) -> dict[str, object]:
    """Return 12 h of test runs at least in a calendar year, or what it says instead."""
    return {
        "id": "tests", "title": "Test runs", "of": {"records": ["test-run"]}, "at_least": 12, "per": "calendar_year", **keys
    }  # fmt: skip


def ran(on: str, hours: float) -> dict[str, object]:
    """Return the record of a test run."""
    return {"at": f"{on}T10:00", "engine": "G1", "task": "test-run", "outcome": "done", "hours_h": hours}


# 9 h in 2023, 12 h in 2024 by 1 July
RUNS = [ran("2023-03-01", 4), ran("2023-09-01", 5), ran("2024-02-01", 6), ran("2024-07-01", 6)]
ROWS = [meter("2023-01-01T00:00", 0), meter("2025-07-01T00:00", 100)]


def judged(folder: Path, as_of: str, rule: Mapping[str, object], rows: Sequence[Mapping[str, object]] = ROWS, **written: Any) -> Finding:  # noqa: ANN401 - passed on
    """Judge one minimum."""
    return finding_for(findings_of(folder, as_of, rule, rows, **written), "tests")


def findings_of(
    folder: Path,
    as_of: str,
    rule: Mapping[str, object],
    rows: Sequence[Mapping[str, object]] = ROWS,
    **written: Any,  # noqa: ANN401 - passed on
) -> Findings:
    """Judge a site whose one engine has one minimum."""
    written = {"engine": ENGINE, "services": RUNS, **written}
    return judge(folder, as_of, [YEARLY], rows, rules={"budgets": [rule]}, **written)


@pytest.mark.parametrize(
    ("as_of", "standing", "used", "due_on"),
    [
        # a tenth of 365 days before the end: from 36.5 days before 31 December on
        ("2023-11-24", "in_interval", 9.0, "2023-12-31"),
        ("2023-11-25", "upcoming", 9.0, "2023-12-31"),
        ("2023-12-30", "upcoming", 9.0, "2023-12-31"),
        ("2023-12-31", "overdue", 9.0, "2023-12-31"),
        # 2023 stays lacking until 2024 is reached
        ("2024-06-30", "overdue", 9.0, "2023-12-31"),
        ("2024-07-01", "in_interval", 12.0, None),
        ("2025-01-01", "in_interval", 0.0, "2025-12-31"),
    ],
)
def test_twelve_hours_of_test_runs_in_a_calendar_year(tmp_path: Path, as_of: str, standing: str, used: float, due_on: str | None) -> None:
    """9 h in 2023 lack three; exactly 12 h in 2024 are enough; 2025 starts from nothing."""
    finding = judged(tmp_path, as_of, minimum())
    assert (finding.standing, finding.legs[0].used, finding.due_on) == (standing, used, due_on)


def test_what_lacks_is_said_with_its_day(tmp_path: Path) -> None:
    """Before the end, at it, and when it was made good in the next year."""
    before = judged(tmp_path / "a", "2023-12-01", minimum()).reasons[0].text
    assert before == "upcoming: 3 h lacking, to be reached by 2023-12-31; 9 h of test-run records in 2023, at least 12 asked"
    missed = judged(tmp_path / "b", "2024-01-15", minimum())
    assert missed.reasons[0].text == "overdue: 3 h lacking; 9 h of test-run records in 2023, at least 12 asked, not reached by 2023-12-31"
    assert missed.past_by is not None
    assert (missed.past_by.value, missed.past_by.unit, missed.legs[0].remaining, missed.crossed_on) == (3.0, "h", 3.0, "2023-12-31")
    reached = judged(tmp_path / "c", "2024-07-01", minimum())
    assert reached.reasons[0].text == "in interval: reached; 12 h of test-run records in 2024, at least 12 asked"
    assert reason_for(reached, "minimum-not-reached-before").text == "not reached once before: 9 h in 2023, at least 12 asked"


@pytest.mark.parametrize(
    ("month", "expected"),
    [("2023-12", ("late", "2023-12-31")), ("2024-12", ("on_time", "2024-12-31")), ("2024-07", None)],
)
def test_it_is_decided_in_the_month_in_which_its_period_ends(tmp_path: Path, month: str, expected: tuple[str, str] | None) -> None:
    """Whether it was reached in July already or not at all."""
    findings = findings_of(tmp_path, "2025-01-31", minimum(), month=month)
    assert findings.compliance is not None
    found = [(entry.met, entry.decided_on) for entry in findings.compliance.occurrences if entry.task == "tests"]
    assert found == ([] if expected is None else [expected])


def test_of_twelve_calendar_months_each_month_asks(tmp_path: Path) -> None:
    """4 h at least: 4 h in March 2023 and 5 h in September; from September 2023 to August 2024 the 5 h and 12 h more."""
    rule = minimum(per={"calendar_months": 12}, at_least=10)
    # January to December 2023: 9 h of 10; February 2023 to January 2024 too; with the 6 h of February 2024 it is 15 h
    assert judged(tmp_path / "a", "2023-12-31", rule).standing == "overdue"
    still = judged(tmp_path / "b", "2024-01-31", rule)
    assert (still.standing, still.due_on) == ("overdue", "2023-12-31")
    assert judged(tmp_path / "c", "2024-02-01", rule).standing == "in_interval"
    lacking = judged(tmp_path / "d", "2025-02-28", rule)
    # March 2024 to February 2025: 6 h
    assert (lacking.standing, lacking.legs[0].used, lacking.due_on) == ("overdue", 6.0, "2025-02-28")


def test_a_minimum_of_any_stretch_says_how_long_it_stays_reached(tmp_path: Path) -> None:
    """4 h on 1 March 2023 of 4 asked in any 12 months: reached until 29 February 2024, upcoming from a tenth of the stretch before."""
    rule = minimum(per="P12M", at_least=4, lead_pct=10)
    runs = [ran("2023-03-01", 4)]
    early = judged(tmp_path / "a", "2024-01-10", rule, services=runs)
    assert (early.standing, early.due_on) == ("in_interval", "2024-02-29")
    near = judged(tmp_path / "b", "2024-02-01", rule, services=runs)
    assert (near.standing, near.due_on) == ("upcoming", "2024-02-29")
    assert near.reasons[0].text.startswith("upcoming: reached until 2024-02-29 without any more")
    late = judged(tmp_path / "c", "2024-03-10", rule, services=runs)
    assert (late.standing, late.due_on, late.legs[0].used) == ("overdue", "2024-03-01", 0.0)


def test_a_period_that_began_before_service_asks_nothing(tmp_path: Path) -> None:
    """In service since March 2024: 2024 is no whole year, 2025 is."""
    engine = {"in_service": "2024-03-01", "meter_at_start_h": 0}
    rows = [meter("2024-03-01T00:00", 0), meter("2026-01-02T00:00", 100)]
    first = judged(tmp_path / "a", "2024-12-31", minimum(), rows, engine=engine, services=[])
    assert first.standing == "in_interval"
    assert first.reasons[0].text.startswith("in interval: nothing is asked of a period that began before it was in service")
    assert judged(tmp_path / "b", "2025-12-31", minimum(), rows, engine=engine, services=[]).standing == "overdue"
    # what was not asked for is not counted as kept either
    reached = findings_of(tmp_path / "c", "2025-01-31", minimum(), rows, engine=engine, services=[ran("2024-04-01", 12)], month="2024-12")
    assert reached.compliance is not None
    assert [entry for entry in reached.compliance.occurrences if entry.task == "tests"] == []


def test_hours_that_may_have_been_run_leave_it_unknown(tmp_path: Path) -> None:
    """The log ends in August with 9 h of 12: the rest of the year may hold the other three, or in time it may not."""
    rule = minimum(of="running_hours")
    rows = [meter("2023-01-01T00:00", 0), meter("2023-08-01T00:00", 9)]
    known = {"gap_h": 24, "services": []}
    assert judged(tmp_path / "a", "2023-10-01", rule, rows, **known).standing == "in_interval"
    end = judged(tmp_path / "b", "2023-12-31", rule, rows, **known)
    assert end.standing == "unknown"
    assert "the log ended on" in end.reasons[0].text
    assert "known are 9 h of running hours in 2023, at least 12 asked" in end.reasons[0].text
    month = findings_of(tmp_path / "c", "2024-01-05", rule, rows, month="2023-12", **known)
    assert month.compliance is not None
    assert not [entry for entry in month.compliance.occurrences if entry.task == "tests"]
    # reached is reached, whatever is not known
    assert judged(tmp_path / "d", "2023-12-31", minimum(of="running_hours", at_least=9), rows, **known).standing == "in_interval"


def test_records_that_do_not_reach_back_leave_it_unknown(tmp_path: Path) -> None:
    """Complete only from June 2023 on: what was run in spring may have been written down elsewhere."""
    finding = judged(tmp_path, "2023-12-31", minimum(), records_from="2023-06-01")
    assert finding.standing == "unknown"
    assert "the service records are complete" in finding.reasons[0].text


def test_a_minimum_that_changes_holds_from_its_day(tmp_path: Path) -> None:
    """12 h from 2024 on, 9 h before."""
    rule = minimum(at_least=[{"at_least": 9}, {"in_force_from": "2024-01-01", "at_least": 12, "source": "second issue"}])
    assert judged(tmp_path / "a", "2023-12-31", rule).standing == "in_interval"
    later = judged(tmp_path / "b", "2024-06-30", rule)
    assert (later.standing, later.legs[0].allowed, later.reasons[0].source) == ("in_interval", 12.0, "second issue")


def test_only_what_ran_under_a_condition_counts(tmp_path: Path) -> None:
    """2 h a day, from 11 January on at 80 % load: 20 h below 70 % do not count for 10 h above it."""
    rule = minimum(of="running_hours", per="calendar_month", at_least=10, when={"load_pct": {"at_least": 70}})
    light = steady("2023-01-01", "2023-01-11", 2, load_kw=300)
    heavy = steady("2023-01-12", "2023-02-02", 2, start_h=22, load_kw=800)
    engine = {**ENGINE, "rated_kw": 1000}
    assert judged(tmp_path / "a", "2023-01-13", rule, [*light, *heavy], engine=engine).legs[0].used == 6.0
    assert judged(tmp_path / "b", "2023-01-31", rule, [*light, *heavy], engine=engine).standing == "in_interval"


def test_the_sum_can_be_done_again(tmp_path: Path) -> None:
    """Of the period that lacks something, though another one runs: its records, what is asked, what is lacking."""
    judged(tmp_path, "2024-01-15", minimum())
    explanation = explain_finding(read_site(tmp_path), "G1", "tests", moment("2024-01-15"))
    sums = {step.label: step.sum for step in explanation.steps}
    assert sums["asked"] == "12 h"
    assert sums["lacking"] == "12 - 9 = 3 h"
    assert sums["not reached by"] == "2023-12-31"
    assert explanation.window[1].sum.startswith("2024-01-01T00:00:00+00:00, the end of the period; last day covered 2023-12-31")


@pytest.mark.parametrize(
    ("rule", "code", "words"),
    [
        (minimum(at_most=20), "RUL012", "one of the two"),
        (minimum(at_least=0), "RUL016", "0"),
        ({key: value for key, value in minimum().items() if key != "at_least"}, "RUL011", "at_least: 12"),
        (minimum(minimum=12), "RUL010", "at_least: 12"),
        (minimum(at_least=[{"at_least": 1}, {"at_least": 2}]), "RUL022", "in_force_from"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path: Path, rule: Mapping[str, object], code: str, words: str) -> None:
    """With its code, its place and what to write."""
    with pytest.raises(ProblemsError) as caught:
        judged(tmp_path, "2024-01-01", rule)
    problems = [problem for problem in caught.value.problems if problem.code == code]
    assert problems
    assert words in f"{problems[0].text} {problems[0].fix}"
    assert (problems[0].path or "").startswith("$.budgets[0]")
