"""Lay-ups: no hours, no end of the log, and calendar dates that wait for the next start."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.site_maker import fault_kinds, finding_for, judge, meter, rules_fired, skipped_of, task, used_of

# 20 h in January's first days, nothing from the 6th to 15 March, then 10 h a day from 20 March on
ROWS = [
    meter("2024-01-01T00:00", 0),
    meter("2024-01-06T00:00", 20),
    meter("2024-03-20T00:00", 20),
    meter("2024-03-21T00:00", 30),
    meter("2024-03-22T00:00", 40),
]
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "laid_up": [{"from": "2024-01-06", "to": "2024-03-15"}]}
MONTHLY = task(every={"calendar": "P1M"})


@pytest.mark.parametrize(
    ("as_of", "standing"),
    [
        # due 1 February, in the lay-up: upcoming until the engine has run on 20 March
        ("2024-01-20", "in_interval"),
        ("2024-02-01", "upcoming"),
        ("2024-02-15", "upcoming"),
        ("2024-03-15", "upcoming"),
        ("2024-03-19", "upcoming"),
        ("2024-03-20", "overdue"),
        ("2024-03-21", "overdue"),
    ],
)
def test_what_falls_due_in_a_lay_up_waits_for_the_next_start(tmp_path: Path, as_of: str, standing: str) -> None:
    """Upcoming with the reason before-next-start, overdue at the first running hour."""
    finding = finding_for(judge(tmp_path, as_of, [MONTHLY], ROWS, engine=ENGINE, gap_h=240))
    assert finding.standing == standing
    is_waiting = "2024-02-02" <= as_of < "2024-03-20"
    assert ("before-next-start" in rules_fired(finding)) is is_waiting


def test_the_crossing_is_the_first_running(tmp_path: Path) -> None:
    """The meter moves from 20 March on: crossed then."""
    finding = finding_for(judge(tmp_path, "2024-03-21", [MONTHLY], ROWS, engine=ENGINE, gap_h=240))
    assert finding.crossed_at == "2024-03-20T00:00:00+00:00"


def test_a_task_may_say_that_lay_ups_count(tmp_path: Path) -> None:
    """in_lay_up: counts, so it is overdue on 2 February."""
    monthly = task(every={"calendar": "P1M"}, in_lay_up="counts")
    finding = finding_for(judge(tmp_path, "2024-02-15", [monthly], ROWS, engine=ENGINE, gap_h=240))
    assert (finding.standing, finding.crossed_at) == ("overdue", "2024-02-02T00:00:00+00:00")


def test_what_was_overdue_before_the_lay_up_stays_overdue(tmp_path: Path) -> None:
    """Due after three days, two days before the lay-up began."""
    finding = finding_for(judge(tmp_path, "2024-02-15", [task(every={"calendar": "P3D"})], ROWS, engine=ENGINE, gap_h=240))
    assert finding.standing == "overdue"


def test_what_falls_due_after_the_lay_up_is_judged_as_ever(tmp_path: Path) -> None:
    """Due on 16 March, a day after it: overdue on the 17th, though the engine has not run."""
    finding = finding_for(judge(tmp_path, "2024-03-17", [task(every={"calendar": "P75D"})], ROWS, engine=ENGINE, gap_h=240))
    # 1 January + 75 d = 16 March
    assert finding.standing == "overdue"


def test_a_lay_up_has_no_hours_and_is_no_silence(tmp_path: Path) -> None:
    """20 h all through it; neither gap nor log_ended in a log of a daily rhythm."""
    findings = judge(tmp_path, "2024-03-10", [task(every={"running_hours": 100})], ROWS[:2], engine=ENGINE, gap_h=240)
    assert used_of(finding_for(findings)) == 20.0
    assert (finding_for(findings).standing, fault_kinds(findings)) == ("in_interval", [])


def test_points_that_fall_into_a_lay_up_are_not_missed(tmp_path: Path) -> None:
    """1 February and 1 March fall into it: nothing is skipped, by 22 March."""
    assert skipped_of(judge(tmp_path, "2024-03-22", [MONTHLY], ROWS, engine=ENGINE, gap_h=240)) == []


def test_a_lay_up_ends_with_the_first_moment_of_its_last_date(tmp_path: Path) -> None:
    """Dates in the site file are their first local midnight: laid up to 15 March, a task due on that day does not wait."""
    # 1 January + 74 d = 15 March
    finding = finding_for(judge(tmp_path, "2024-03-17", [task(every={"calendar": "P74D"})], ROWS, engine=ENGINE, gap_h=240))
    assert finding.standing == "overdue"


def test_a_deferral_in_hours_does_not_run_out_while_laid_up(tmp_path: Path) -> None:
    """100 h by 11 January, laid up to 11 February, 200 h by the 21st: 150 h are passed at the end of the 15th, not in the lay-up."""
    rows = [meter("2024-01-01T00:00", 0), meter("2024-01-11T00:00", 100), meter("2024-02-21T00:00", 200)]
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 0, "laid_up": [{"from": "2024-01-11", "to": "2024-02-11"}]}
    deferral = {"at": "2024-01-10T00:00", "engine": "G1", "task": "oil", "outcome": "deferred", "approved_by": "chief", "until_h": 150}
    oil = task(every={"running_hours": 100})
    held = finding_for(judge(tmp_path / "a", "2024-02-10", [oil], rows, engine=engine, services=[deferral]))
    ended = finding_for(judge(tmp_path / "b", "2024-02-20", [oil], rows, engine=engine, services=[deferral]))
    assert held.standing == "upcoming"
    assert (ended.standing, ended.crossed_at) == ("overdue", "2024-02-16T00:00:00+00:00")


def test_hours_run_in_a_lay_up_are_a_fault_and_end_the_waiting(tmp_path: Path) -> None:
    """Laid up from 1 February, due on 10 February, and the meter runs on from the 12th: overdue from then, and named."""
    rows = [meter("2024-01-01T00:00", 0), meter("2024-02-12T00:00", 0), meter("2024-02-13T00:00", 10), meter("2024-02-20T00:00", 80)]
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 0, "laid_up": [{"from": "2024-02-01", "to": "2024-03-01"}]}
    # 1 January + 40 d = 10 February
    findings = judge(tmp_path, "2024-02-20", [task(every={"calendar": "P40D"})], rows, engine=engine, gap_h=2000)
    assert (finding_for(findings).standing, finding_for(findings).crossed_at) == ("overdue", "2024-02-12T00:00:00+00:00")
    assert fault_kinds(findings) == ["ran_while_laid_up"]
