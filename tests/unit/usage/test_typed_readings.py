"""Meter readings of service records where the log is silent: they count as far as they fit the log, and never spoil it."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals.findings import Findings
from tests.site_maker import done, fault_kinds, finding_for, judge, meter, task, used_of

OIL = task(every={"running_hours": 1000})
PLUGS = task("plugs", every={"running_hours": 1000})


def judge_silence(
    folder: Path, rows: list[dict[str, object]], services: list[dict[str, object]], as_of: str = "2024-01-12", **engine: float
) -> Findings:
    """Return the findings on a log in which a day and a half without a row are a silence."""
    return judge(folder, as_of, [OIL, PLUGS], rows, engine={"in_service": "2024-01-01", **engine}, services=services, gap_h=36)


def faults_of_meter(findings: Findings) -> list[tuple[str, str | None, int | None]]:
    """Return kind and place of each fault that is no silence."""
    return [(fault.kind, fault.file, fault.line) for fault in findings.faults if fault.kind not in ("gap", "service_meter_disagrees")]


@pytest.mark.parametrize("before_h", [1000.0, 99976.0])
def test_a_reading_of_another_hour_of_its_day_costs_the_log_nothing(tmp_path: Path, before_h: float) -> None:
    """0.6 h, two days later 18.6 h; 1 h less 0.6 h (or 0.4 h more) typed that day, for which noon is a guess.

    At noon, 6 h before 18.6 h, the meter cannot have been so low; at midnight, 18 h before it, it can. All 19.6 h of the log count.
    """
    rows = [
        meter(at, round(before_h + ran_h, 6))
        for at, ran_h in (("2024-01-01T12:00", 0), ("2024-01-02T18:00", 0.6), ("2024-01-04T18:00", 18.6), ("2024-01-04T19:00", 19.6))
    ]
    typed_h = before_h if before_h < 2000 else before_h + 1
    findings = judge_silence(tmp_path, rows, [done("plugs", "2024-01-04", typed_h)], "2024-01-04", meter_at_start_h=before_h)
    assert used_of(finding_for(findings)) == pytest.approx(19.6, abs=1e-9)
    assert fault_kinds(findings) == ["gap"]


def test_a_reading_that_its_time_contradicts_is_left_out(tmp_path: Path) -> None:
    """1,000 h at noon and 1,018.6 h six hours later: at most 6 x 1.01 + 0.1 h ran between, so the record is wrong, and no row."""
    rows = [meter("2024-01-02T18:00", 1000.6), meter("2024-01-04T18:00", 1018.6), meter("2024-01-04T19:00", 1019.6)]
    findings = judge_silence(tmp_path, rows, [done("plugs", "2024-01-04T12:00", 1000)], "2024-01-04", meter_at_start_h=990)
    assert used_of(finding_for(findings)) == pytest.approx(29.6, abs=1e-9)
    assert faults_of_meter(findings) == [("meter_reading_odd", "services.csv", 2)]
    (fault,) = (fault for fault in findings.faults if fault.kind == "meter_reading_odd")
    text = "meter reads 1,000.0 h after 1,000.6 h: it fits neither the reading before nor the one after; taken as blank"
    assert fault.text == text


@pytest.mark.parametrize(
    ("typed_h", "told"),
    [
        (1000, []),
        (1001, []),
        (1000.7, []),
        (1001.1, [("meter_reading_odd", "services.csv", 2)]),
        (1002, [("meter_reading_odd", "services.csv", 2)]),
        (999, [("meter_reading_odd", "services.csv", 2)]),
        (10000, [("meter_reading_odd", "services.csv", 2)]),
    ],
)
def test_whole_hours_may_be_rounded_either_way(tmp_path: Path, typed_h: float, told: list[tuple[str, str, int]]) -> None:
    """1,000.6 h before and 1,000.8 h after: 1,000 and 1,001 h are within an hour of both, other figures are left out; 10.8 h count."""
    rows = [meter("2024-01-02T00:00", 1000.6), meter("2024-01-12T00:00", 1000.8)]
    findings = judge_silence(tmp_path, rows, [done("plugs", "2024-01-07T00:00", typed_h)], meter_at_start_h=990)
    assert faults_of_meter(findings) == told
    assert used_of(finding_for(findings)) == pytest.approx(10.8, abs=1e-9)


def test_one_wrong_reading_among_several_is_left_out_alone(tmp_path: Path) -> None:
    """1,010, 1,035, 1,020 and 1,030 h between 1,000 and 1,040 h: three follow from one another, and from 1,030 h on 10 h ran."""
    rows = [meter("2024-01-02T00:00", 1000), meter("2024-01-12T00:00", 1040)]
    services = [done("plugs", f"2024-01-{day:02d}T00:00", shown_h) for day, shown_h in ((4, 1010), (6, 1035), (8, 1020), (10, 1030))]
    findings = judge_silence(tmp_path, rows, services, meter_at_start_h=990)
    assert faults_of_meter(findings) == [("meter_reading_odd", "services.csv", 3)]
    assert used_of(finding_for(findings, "plugs")) == 10.0


def test_a_reading_with_its_time_goes_before_the_noon_of_a_day(tmp_path: Path) -> None:
    """1,025 h on 7 January, and 1,021 h at 15:00 of it: the first was read after 15:00, and 19 h ran from 1,021 to 1,040 h."""
    rows = [meter("2024-01-02T00:00", 1000), meter("2024-01-12T00:00", 1040)]
    services = [done("oil", "2024-01-07", 1025), done("plugs", "2024-01-07T15:00", 1021)]
    findings = judge_silence(tmp_path, rows, services, meter_at_start_h=990)
    assert faults_of_meter(findings) == []
    assert used_of(finding_for(findings, "plugs")) == 19.0


def test_a_typing_error_before_the_first_row_is_left_out(tmp_path: Path) -> None:
    """80,000 h before a log that begins with 1,000 and 1,010 h: the record is wrong and no row; 500 h before it is right."""
    rows = [meter("2024-03-02T00:00", 1000), meter("2024-03-03T00:00", 1010)]
    services = [done("plugs", "2024-01-10T00:00", 500), done("plugs", "2024-02-10T00:00", 80000)]
    findings = judge_silence(tmp_path, rows, services[:1], "2024-03-02")
    assert faults_of_meter(findings) == [("history_unknown", None, None)]
    assert used_of(finding_for(findings, "plugs")) == 510.0
    findings = judge_silence(tmp_path, rows, services[1:], "2024-03-02")
    (fault,) = (fault for fault in findings.faults if fault.kind == "meter_reading_odd")
    assert (fault.file, fault.line) == ("services.csv", 2)
    assert fault.text == "meter reads 80,000.0 h before 1,000.0 h: it does not fit the readings after; taken as blank"
    assert not [fault for fault in findings.faults if fault.file == "readings/log.csv"]


def test_a_record_of_the_first_moment_that_contradicts_the_meter_at_start_is_told(tmp_path: Path) -> None:
    """500 h in a record of the first moment, 0 h in the site file, 10 h a day later: 10 h, and the record is named."""
    services = [done("plugs", "2024-01-01T00:00", 500), done("oil", "2024-01-01T00:00", 0)]
    findings = judge_silence(tmp_path, [meter("2024-01-02T00:00", 10)], services, "2024-01-01", meter_at_start_h=0)
    assert used_of(finding_for(findings)) == 10.0
    assert faults_of_meter(findings) == [("conflicting_row", "services.csv", 2)]
    text = "meter reads 500.0 h at the engine's first moment, and meter_at_start_h is 0.0 h: meter_at_start_h counts"
    assert text in [fault.text for fault in findings.faults]


@pytest.mark.parametrize("wrong_first", [True, False])
def test_of_two_records_of_one_instant_the_one_counts_that_fits(tmp_path: Path, *, wrong_first: bool) -> None:
    """100 h and 1,020 h typed of one moment between 1,000 and 1,040 h: 20 h ran since 1,020 h, whichever comes first."""
    rows = [meter("2024-01-02T00:00", 1000), meter("2024-01-12T00:00", 1040)]
    services = [done("oil", "2024-01-07T00:00", 100), done("plugs", "2024-01-07T00:00", 1020)]
    findings = judge_silence(tmp_path, rows, services if wrong_first else services[::-1], meter_at_start_h=990)
    assert faults_of_meter(findings) == [("meter_reading_odd", "services.csv", 2 if wrong_first else 3)]
    assert used_of(finding_for(findings, "plugs")) == 20.0


@pytest.mark.parametrize("is_turned", [False, True])
def test_the_order_of_lines_of_one_day_decides_nothing(tmp_path: Path, *, is_turned: bool) -> None:
    """140 and 144 h on one day after the log, 170 h later: 30 and 26 h have run since, whichever record comes first."""
    services = [done("oil", "2024-01-05", 140), done("plugs", "2024-01-05", 144)]
    last = done("plugs", "2024-01-09T00:00", 170, outcome="partial")
    services = [*(services[::-1] if is_turned else services), last]
    findings = judge_silence(tmp_path, [meter("2024-01-02T00:00", 110)], services, "2024-01-09", meter_at_start_h=100)
    assert [used_of(finding_for(findings, name)) for name in ("oil", "plugs")] == [30.0, 26.0]


def test_a_fault_shows_the_figures_as_they_were_written(tmp_path: Path) -> None:
    """After the log's 1,000.6 h 1,000 h were typed, and 1,500 h a day later: too much, and after 1,000 h as the file says."""
    services = [done("plugs", "2024-01-05T00:00", 1000), done("plugs", "2024-01-06T00:00", 1500)]
    findings = judge_silence(tmp_path, [meter("2024-01-02T00:00", 1000.6)], services, "2024-01-06", meter_at_start_h=990)
    assert faults_of_meter(findings) == [("meter_ran_fast", "services.csv", 3)]
    (text,) = (fault.text for fault in findings.faults if fault.kind == "meter_ran_fast")
    assert text.startswith("meter reads 1,500.0 h after 1,000.0 h: it is more than the 24.0 h elapsed allow")


def test_a_reading_is_not_levelled_where_the_next_follows_from_what_was_written(tmp_path: Path) -> None:
    """After the log's 1,000.6 h 1,000 h and 1,000.3 h were typed: one step back and then 0.3 h, not two readings in whole hours."""
    services = [done("plugs", "2024-01-05T00:00", 1000), done("plugs", "2024-01-06T00:00", 1000.3, outcome="partial")]
    findings = judge_silence(tmp_path, [meter("2024-01-02T00:00", 1000.6)], services, "2024-01-06", meter_at_start_h=990)
    assert faults_of_meter(findings) == [("meter_went_back", "services.csv", 2)]
    assert used_of(finding_for(findings)) == pytest.approx(10.9, abs=1e-9)


def test_a_meter_that_starts_again_in_a_silence(tmp_path: Path) -> None:
    """9,990 h, 0 h typed in the silence, 10 h after it, of a meter that starts again at 10,000: 10 h before and 10 h after."""
    rows = [meter("2024-01-02T00:00", 9990), meter("2024-01-12T00:00", 10)]
    services = [done("plugs", "2024-01-07T00:00", 0)]
    findings = judge_silence(tmp_path, rows, services, meter_at_start_h=9985, meter_rolls_over_at_h=10000)
    assert faults_of_meter(findings) == []
    assert [used_of(finding_for(findings, name)) for name in ("oil", "plugs")] == [25.0, 10.0]


def test_whole_hours_are_rounded_across_the_start_again(tmp_path: Path) -> None:
    """9,999.4 h and 9,999.8 h after the silence; 0 h typed in it is 9,999.8 h rounded up: nothing has run since."""
    rows = [meter("2024-01-02T00:00", 9999.4), meter("2024-01-12T00:00", 9999.8)]
    services = [done("plugs", "2024-01-07T00:00", 0)]
    findings = judge_silence(tmp_path, rows, services, meter_at_start_h=9990, meter_rolls_over_at_h=10000)
    assert faults_of_meter(findings) == []
    assert used_of(finding_for(findings)) == pytest.approx(9.8, abs=1e-9)
    assert used_of(finding_for(findings, "plugs")) == pytest.approx(0.0, abs=1e-9)
