"""Skipped occurrences: due points that passed without the work, tasks left out of a visit, jobs that were not finished."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from intervals.findings import Skipped
from tests.site_maker import done, judge, rule, skipped_of, steady, task

# 10 h a day from 0 h on 1 January 2024
ROWS = steady("2024-01-01", "2024-08-31", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
HUNDRED_H = {"running_hours": 100}


def skipped(
    folder: Path, as_of: str, tasks: Sequence[Mapping[str, object]], services: Sequence[Mapping[str, object]] = ()
) -> list[tuple[str, bool, str]]:
    """Return kind, open and date of everything skipped of the oil task."""
    return [short(entry) for entry in skipped_of(judge(folder, as_of, tasks, ROWS, engine=ENGINE, services=services))]


def short(entry: Skipped) -> tuple[str, bool, str]:
    """Return kind, open and date."""
    return entry.kind, entry.open, entry.at


def test_one_due_point_passed_is_overdue_and_not_missed(tmp_path: Path) -> None:
    """Due at 100 h, judged at 190 h: late, but no second point has been reached."""
    assert skipped(tmp_path, "2024-01-19", [task(every=HUNDRED_H)]) == []


def test_a_point_is_missed_when_the_next_one_is_reached(tmp_path: Path) -> None:
    """At 200 h, the end of 20 January, the point at 100 h is missed; at 300 h that at 200 h too. Both are open."""
    assert skipped(tmp_path / "a", "2024-01-20T23:00", [task(every=HUNDRED_H)]) == []
    assert skipped(tmp_path / "b", "2024-01-21", [task(every=HUNDRED_H)]) == [("missed", True, "2024-01-21")]
    found = skipped(tmp_path / "c", "2024-02-05", [task(every=HUNDRED_H)])
    assert found == [("missed", True, "2024-01-21"), ("missed", True, "2024-01-31")]


def test_a_completion_closes_what_was_missed_before_it(tmp_path: Path) -> None:
    """Done at 250 h: the point at 100 h stays missed and is no longer open; that at 200 h was done late."""
    found = skipped(tmp_path, "2024-02-05", [task(every=HUNDRED_H)], [done("oil", "2024-01-26T00:00")])
    assert found == [("missed", False, "2024-01-21")]


def test_the_first_point_is_at_allowed_and_each_further_one_a_full_interval_later(tmp_path: Path) -> None:
    """First 50 h, then every 100: points at 50, 150, 250; at 260 h the first two are missed, at 150 and 250 h."""
    oil = task(every=HUNDRED_H, first={"running_hours": 50})
    found = skipped(tmp_path, "2024-01-26", [oil])
    assert found == [("missed", True, "2024-01-16"), ("missed", True, "2024-01-26")]


def test_calendar_points_count_from_the_last_completion(tmp_path: Path) -> None:
    """Monthly from 31 January: 29 February, 31 March, 30 April; on 1 May two are missed."""
    found = skipped(tmp_path, "2024-05-01", [task(every={"calendar": "P1M"})], [done("oil", "2024-01-31")])
    # the engine's first window, 1 to 31 January, was within its month
    assert found == [("missed", True, "2024-03-31"), ("missed", True, "2024-04-30")]


def test_only_the_governing_leg_counts(tmp_path: Path) -> None:
    """By 31 March 900 h of 100 (nine points) and three months of one (two points): the hours govern, eight are missed."""
    found = skipped(tmp_path, "2024-03-31", [task(every={"running_hours": 100, "calendar": "P1M"})])
    # 1 January to 1 April are 91 d, 910 h: points at 100 ... 900
    assert len(found) == 8


def test_a_shortened_interval_has_its_points_closer(tmp_path: Path) -> None:
    """Twice the weight: 200 equivalent hours at the end of 10 January, and the point at 100 is missed."""
    rows = [{**row, "load_pct": 95} for row in ROWS]
    rules = {"adjustments": [rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)]}
    findings = judge(tmp_path, "2024-01-11", [task(every=HUNDRED_H)], rows, engine=ENGINE, rules=rules)
    assert [short(entry) for entry in skipped_of(findings)] == [("missed", True, "2024-01-11")]


def test_the_whole_history_is_told(tmp_path: Path) -> None:
    """Every 250 h: 100 h points missed once in each of two closed windows."""
    services = [done("oil", "2024-01-26T00:00"), done("oil", "2024-02-20T00:00"), done("oil", "2024-02-25T00:00")]
    found = skipped(tmp_path, "2024-02-28", [task(every=HUNDRED_H)], services)
    assert found == [("missed", False, "2024-01-21"), ("missed", False, "2024-02-15")]


VISIT = task("plugs", every={"running_hours": 95}, stops_engine=True)


@pytest.mark.parametrize(
    ("visit", "found"),
    [
        # at 90 h (1 - early of 100 h) it could have been done; at 89 h not yet
        ("2024-01-10T00:00", [("left_out", True, "2024-01-10")]),
        ("2024-01-09T21:36", []),
    ],
)
def test_a_task_that_could_have_been_done_at_a_visit_is_left_out(tmp_path: Path, visit: str, found: list[tuple[str, bool, str]]) -> None:
    """Plugs done at 90 h, the oil not; at 130 h it has run past its line."""
    assert skipped(tmp_path, "2024-01-13", [task(every=HUNDRED_H), VISIT], [done("plugs", visit)]) == found


@pytest.mark.parametrize(
    ("visit", "words"),
    [
        ("2024-01-10T00:00", "with 90 of 100 h used, and has since run past its line"),
        ("2024-01-12T00:00", "with 110 of 100 h used, already past its line"),
    ],
)
def test_what_is_left_out_is_told_with_where_it_stood(tmp_path: Path, visit: str, words: str) -> None:
    """Before its line it has run past it since; past it, it had."""
    findings = judge(tmp_path, "2024-01-13", [task(every=HUNDRED_H), VISIT], ROWS, engine=ENGINE, services=[done("plugs", visit)])
    (entry,) = [entry for entry in skipped_of(findings) if entry.kind == "left_out"]
    assert words in entry.text


def test_it_is_left_out_only_once_it_has_run_past_its_line(tmp_path: Path) -> None:
    """At 100 h, still on the line, nothing is left out yet."""
    tasks, services = [task(every=HUNDRED_H), VISIT], [done("plugs", "2024-01-10T00:00")]
    assert skipped(tmp_path / "a", "2024-01-10", tasks, services) == []
    assert skipped(tmp_path / "b", "2024-01-14", tasks, services) == [("left_out", True, "2024-01-10")]


@pytest.mark.parametrize(
    ("done_on", "found"),
    [
        # three days after the visit of 10 January belong to it, past the line as they are; four do not
        ("2024-01-13T12:00", []),
        ("2024-01-14T00:00", [("left_out", False, "2024-01-10")]),
    ],
)
def test_what_is_done_within_three_days_was_not_left_out(tmp_path: Path, done_on: str, found: list[tuple[str, bool, str]]) -> None:
    """visit_days is three unless the task says otherwise."""
    services = [done("plugs", "2024-01-10T00:00"), done("oil", done_on)]
    assert skipped(tmp_path, "2024-01-16", [task(every=HUNDRED_H), VISIT], services) == found


def test_a_task_may_say_how_long_a_visit_lasts(tmp_path: Path) -> None:
    """visit_days: 5."""
    services = [done("plugs", "2024-01-10T00:00"), done("oil", "2024-01-15T00:00")]
    assert skipped(tmp_path, "2024-01-16", [task(every=HUNDRED_H, visit_days=5), VISIT], services) == []


def test_a_task_may_say_how_early_it_can_be_done(tmp_path: Path) -> None:
    """early_pct 30: from 70 h on."""
    tasks = [task(every=HUNDRED_H, early_pct=30), VISIT]
    assert skipped(tmp_path, "2024-01-13", tasks, [done("plugs", "2024-01-08T00:00")]) == [("left_out", True, "2024-01-08")]


def test_once_a_window_the_last_such_day(tmp_path: Path) -> None:
    """Two visits, at 90 and 110 h: the second is told."""
    services = [done("plugs", "2024-01-10T00:00"), done("plugs", "2024-01-12T00:00")]
    assert skipped(tmp_path, "2024-01-16", [task(every=HUNDRED_H), VISIT], services) == [("left_out", True, "2024-01-12")]


def test_a_task_that_does_not_stop_the_engine_is_no_visit(tmp_path: Path) -> None:
    """A sample drawn from the running engine is no occasion."""
    tasks = [task(every=HUNDRED_H), task("sample", every={"running_hours": 95})]
    assert skipped(tmp_path, "2024-01-13", tasks, [done("sample", "2024-01-10T00:00")]) == []


def test_a_later_completion_closes_it(tmp_path: Path) -> None:
    """Done at 150 h: left out, and no longer open."""
    services = [done("plugs", "2024-01-10T00:00"), done("oil", "2024-01-16T00:00")]
    assert skipped(tmp_path, "2024-01-20", [task(every=HUNDRED_H), VISIT], services) == [("left_out", False, "2024-01-10")]


def test_a_calendar_task_may_be_left_out(tmp_path: Path) -> None:
    """Due 1 February (31 d): from 27.9 d on; the visit of 29 January (28 d) was an occasion, that of the 28th (27 d) not."""
    tasks = [task(every={"calendar": "P1M"}), VISIT]
    assert skipped(tmp_path / "a", "2024-02-02", tasks, [done("plugs", "2024-01-29T08:00")]) == [("left_out", True, "2024-01-29")]
    assert skipped(tmp_path / "b", "2024-02-02", tasks, [done("plugs", "2024-01-28T08:00")]) == []


def test_a_partial_job_is_not_credited(tmp_path: Path) -> None:
    """It restarts nothing, and is open until the task is done in full."""
    partial = done("oil", "2024-01-05T00:00", outcome="partial")
    assert skipped(tmp_path / "a", "2024-01-08", [task(every=HUNDRED_H)], [partial]) == [("not_credited", True, "2024-01-05")]
    closed = skipped(tmp_path / "b", "2024-01-08", [task(every=HUNDRED_H)], [partial, done("oil", "2024-01-07T00:00")])
    assert closed == [("not_credited", False, "2024-01-05")]


def test_a_voided_partial_job_is_nothing(tmp_path: Path) -> None:
    """Void takes it away."""
    services = [done("oil", "2024-01-05T00:00", outcome="partial", ref="J1"), done("oil", "2024-01-06T00:00", outcome="void", ref="J1")]
    assert skipped(tmp_path, "2024-01-08", [task(every=HUNDRED_H)], services) == []


def test_open_ones_are_counted(tmp_path: Path) -> None:
    """Two missed and open at 310 h."""
    assert judge(tmp_path, "2024-01-31", [task(every=HUNDRED_H)], ROWS, engine=ENGINE).totals.skipped_open == 2


def test_a_month_keeps_only_its_own(tmp_path: Path) -> None:
    """Missed on 21 and 31 January, 10 and 20 February: judged for February, the last two are told."""
    findings = judge(tmp_path, "2024-02-29", [task(every=HUNDRED_H)], ROWS, engine=ENGINE, month="2024-02")
    # 600 h at the end of 29 February: points at 200 (21 Jan), 300 (31 Jan), 400 (10 Feb), 500 (20 Feb), 600 (1 March 00:00)
    assert [entry.at for entry in skipped_of(findings)] == ["2024-02-10", "2024-02-20"]


def test_what_waits_for_the_next_start_is_missed_once_the_next_due_point_is_reached(tmp_path: Path) -> None:
    """Due on 15 January, in a lay-up to 1 February, and so before its start; 29 January waits with it, and 12 February is the next one."""
    rows = [*steady("2024-01-01", "2024-01-10", 10), *steady("2024-02-01", "2024-02-29", 10, start_h=90)]
    engine = {**ENGINE, "laid_up": [{"from": "2024-01-10", "to": "2024-02-01"}]}
    for as_of, missed in (("2024-02-11", []), ("2024-02-12", [("missed", True, "2024-02-12")])):
        found = judge(tmp_path / as_of, as_of, [task(every={"calendar": "P14D"})], rows, engine=engine)
        assert [short(entry) for entry in skipped_of(found)] == missed
