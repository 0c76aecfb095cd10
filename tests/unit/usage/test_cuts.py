"""Cuts: a row that spans a completion, a midnight or the moment of judging is split in proportion to time."""

from __future__ import annotations

from pathlib import Path

from tests.site_maker import done, finding_for, judge, leg_of, meter, rule, task, used_of

OIL = task(every={"running_hours": 1000})
IN_SERVICE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000}


def test_a_row_is_split_at_a_completion(tmp_path: Path) -> None:
    """24 h over two days, done after a quarter of them: 6 h before, 18 h after."""
    rows = [meter("2024-01-03T00:00", 24)]
    findings = judge(tmp_path, "2024-01-02", [OIL], rows, engine=IN_SERVICE, services=[done("oil", "2024-01-01T12:00")])
    assert used_of(finding_for(findings)) == 18.0
    last_done = finding_for(findings).last_done
    assert last_done is not None
    assert (last_done.at, last_done.hour_meter_h, last_done.record) == ("2024-01-01T12:00:00+00:00", 6.0, "services.csv:2")


def test_a_row_is_split_at_the_moment_of_judging(tmp_path: Path) -> None:
    """24 h over two days, judged at a quarter past: 6 h have run."""
    rows = [meter("2024-01-03T00:00", 24)]
    assert used_of(finding_for(judge(tmp_path, "2024-01-01T12:00", [OIL], rows, engine=IN_SERVICE))) == 6.0


def test_weights_are_split_with_the_row(tmp_path: Path) -> None:
    """The row's 24 h at 95 % count twice; a quarter of them before the completion."""
    rows = [meter("2024-01-03T00:00", 24, load_kw=950)]
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
    findings = judge(
        tmp_path, "2024-01-02", [OIL], rows, engine=IN_SERVICE, services=[done("oil", "2024-01-01T12:00")], rules={"adjustments": [heavy]}
    )
    assert (used_of(finding_for(findings)), leg_of(finding_for(findings)).running_hours_h) == (36.0, 18.0)


def test_a_completion_of_one_task_cuts_no_other(tmp_path: Path) -> None:
    """Plugs done in the middle leave the oil's hours as they are."""
    rows = [meter("2024-01-03T00:00", 24)]
    tasks = [OIL, task("plugs", every={"running_hours": 1000})]
    findings = judge(tmp_path, "2024-01-02", tasks, rows, engine=IN_SERVICE, services=[done("plugs", "2024-01-01T12:00")])
    assert used_of(finding_for(findings)) == 24.0
    assert used_of(finding_for(findings, "plugs")) == 18.0


def test_a_short_day_of_daylight_saving_is_split_by_real_time(tmp_path: Path) -> None:
    """31 March 2024 in Amsterdam has 23 h: of 23 h run in it, noon (11 real hours in) leaves 12 after it."""
    rows = [meter("2024-03-31T00:00", 0), meter("2024-04-01T00:00", 23)]
    findings = judge(
        tmp_path, "2024-03-31", [OIL], rows,
        engine={"in_service": "2024-03-31", "meter_at_start_h": 0}, time_zone="Europe/Amsterdam",
        services=[done("oil", "2024-03-31T12:00")],
    )  # fmt: skip
    assert used_of(finding_for(findings)) == 12.0


def test_a_lay_up_takes_no_hours_of_the_step_that_spans_it(tmp_path: Path) -> None:
    """10 h by 6 January, 20 h by the 21st, laid up from the 6th to the 16th: the second 10 h were all run after it."""
    rows = [meter("2024-01-01T00:00", 0), meter("2024-01-06T00:00", 10), meter("2024-01-21T00:00", 20)]
    engine = {**IN_SERVICE, "laid_up": [{"from": "2024-01-06", "to": "2024-01-16"}]}
    assert used_of(finding_for(judge(tmp_path, "2024-01-10", [OIL], rows, engine=engine))) == 10.0
    assert used_of(finding_for(judge(tmp_path, "2024-01-20", [OIL], rows, engine=engine))) == 20.0
