"""Which meter readings count: two of one instant that contradict each other, and hand-typed ones in whole hours."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.site_maker import done, fault_kinds, finding_for, judge, meter, task, used_of

OIL = task(every={"running_hours": 1000})
PLUGS = task("plugs", every={"running_hours": 1000})
IN_SERVICE = {"in_service": "2024-01-01", "meter_at_start_h": 100}
TWO_BLOCKS: list[Mapping[str, Any]] = [
    {
        "files": [f"readings/{name}.csv"],
        "timestamp": {"column": "at"},
        "engine": {"column": "engine"},
        "gap_h": 1000,
        "quantities": {"hour_meter_h": {"column": "hour_meter_h"}},
    }
    for name in ("a", "b")
]


def test_a_reading_that_another_block_contradicts_is_told(tmp_path: Path) -> None:
    """At one instant 110 h in the first block and 112 h in the second: 110 - 100 = 10 h count, and the fault names both with their rows."""
    rows = {"a.csv": [meter("2024-01-02T00:00", 110)], "b.csv": [meter("2024-01-01T12:00", 105), meter("2024-01-02T00:00", 112)]}
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, readings=TWO_BLOCKS)
    assert used_of(finding_for(findings)) == 10.0
    (fault,) = findings.faults
    assert (fault.engine, fault.kind, fault.file, fault.line) == ("G1", "conflicting_row", "readings/b.csv", 3)
    assert fault.text == "meter reads 112.0 h, and 110.0 h at the same time in readings/a.csv:2: that reading counts"


@pytest.mark.parametrize(
    ("first_h", "second_h", "kinds"),
    [
        (110, 110, []),
        (110.6, 110, []),
        (110, 110.6, []),
        (110.4, 111, []),
        (110, 111, ["conflicting_row"]),
        (111.25, 110, ["conflicting_row"]),
        (110.25, 110.35, []),
        (110.25, 110.36, ["conflicting_row"]),
        (None, 110, []),
    ],
)
def test_readings_that_differ_by_rounding_alone_do_not_contradict(
    tmp_path: Path, first_h: float | None, second_h: float, kinds: list[str]
) -> None:
    """Beside whole hours less than an hour is rounding; beside decimals a tenth of an hour, by which any two readings may differ."""
    rows = {"a.csv": [meter("2024-01-02T00:00", first_h)], "b.csv": [meter("2024-01-02T00:00", second_h)]}
    assert fault_kinds(judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, readings=TWO_BLOCKS)) == kinds


def test_a_contradiction_after_the_date_of_judging_is_not_told(tmp_path: Path) -> None:
    """What later rows say is not judged."""
    rows = {
        "a.csv": [meter("2024-01-02T00:00", 110), meter("2024-01-04T00:00", 120)],
        "b.csv": [meter("2024-01-04T00:00", 125)],
    }
    assert fault_kinds(judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, readings=TWO_BLOCKS)) == []


def test_a_row_at_the_first_moment_that_contradicts_the_meter_at_start_is_told(tmp_path: Path) -> None:
    """105 h in the row of the first moment, 100 h in the site file: the row is named, and both readings."""
    rows = [meter("2024-01-01T00:00", 105), meter("2024-01-02T00:00", 115)]
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE)
    assert used_of(finding_for(findings)) == 10.0
    (fault,) = findings.faults
    assert (fault.kind, fault.file, fault.line) == ("conflicting_row", "readings/log.csv", 2)
    assert "105.0 h" in fault.text
    assert "meter_at_start_h is 100.0 h" in fault.text


def test_of_two_readings_of_one_instant_the_one_counts_that_fits(tmp_path: Path) -> None:
    """The first block says 1,020 h for 120 h, and goes on so; the second says 120 h and 130 h: 140 - 100 = 40 h, and nothing is blank."""
    rows = {
        "a.csv": [meter(f"2024-01-0{day}T00:00", shown_h) for day, shown_h in ((2, 110), (3, 1020), (4, 1030), (5, 140))],
        "b.csv": [meter("2024-01-03T00:00", 120), meter("2024-01-04T00:00", 130)],
    }
    findings = judge(tmp_path, "2024-01-04", [OIL], rows, engine=IN_SERVICE, readings=TWO_BLOCKS)
    assert used_of(finding_for(findings)) == 40.0
    assert [(fault.kind, fault.file, fault.line) for fault in findings.faults] == [
        ("conflicting_row", "readings/a.csv", 3),
        ("conflicting_row", "readings/a.csv", 4),
    ]
    assert findings.faults[0].text == "meter reads 1,020.0 h, and 120.0 h at the same time in readings/b.csv:2: that reading counts"


def test_the_last_reading_counts_that_fits_the_one_before(tmp_path: Path) -> None:
    """Nothing comes after 1,120 h and 120 h of one instant: 120 h are a day after 110 h, and 20 h count in all."""
    rows = {"a.csv": [meter("2024-01-02T00:00", 110), meter("2024-01-03T00:00", 1120)], "b.csv": [meter("2024-01-03T00:00", 120)]}
    findings = judge(tmp_path, "2024-01-02", [OIL], rows, engine=IN_SERVICE, readings=TWO_BLOCKS)
    assert used_of(finding_for(findings)) == 20.0
    assert [(fault.kind, fault.file) for fault in findings.faults] == [("conflicting_row", "readings/a.csv")]


def test_of_two_readings_that_fit_neither_way_the_first_counts(tmp_path: Path) -> None:
    """1,020 h and 2,020 h where 120 h would fit: the first is taken and blanked, and 30 h count over it."""
    rows = {
        "a.csv": [meter("2024-01-02T00:00", 110), meter("2024-01-03T00:00", 1020), meter("2024-01-04T00:00", 130)],
        "b.csv": [meter("2024-01-03T00:00", 2020)],
    }
    findings = judge(tmp_path, "2024-01-03", [OIL], rows, engine=IN_SERVICE, readings=TWO_BLOCKS)
    assert used_of(finding_for(findings)) == 30.0
    assert {(fault.kind, fault.file) for fault in findings.faults} == {
        ("conflicting_row", "readings/b.csv"),
        ("meter_reading_odd", "readings/a.csv"),
    }


@pytest.mark.parametrize("order", ["ab", "ba"])
def test_of_two_readings_the_one_counts_that_the_meter_can_show(tmp_path: Path, order: str) -> None:
    """10,007 h on a meter that starts again at 10,000, and 120 h: 120 h count whichever comes first, and the other is the fault."""
    first, second = (f"{name}.csv" for name in order)
    rows = {first: [meter("2024-01-03T00:00", 10007)], second: [meter("2024-01-03T00:00", 120)]}
    engine = {**IN_SERVICE, "meter_rolls_over_at_h": 10000}
    findings = judge(tmp_path, "2024-01-02", [OIL], rows, engine=engine, readings=TWO_BLOCKS)
    assert used_of(finding_for(findings)) == 20.0
    assert [(fault.kind, fault.file) for fault in findings.faults] == [("meter_reading_odd", f"readings/{first}")]


def test_a_log_of_nothing_that_the_meter_can_show_is_told(tmp_path: Path) -> None:
    """Both blocks and a record say 10,007 h and more of a meter that starts again at 10,000: each is a fault, and no hours are known."""
    rows = {"a.csv": [meter("2024-01-03T00:00", 10007)], "b.csv": [meter("2024-01-04T00:00", 10017)]}
    engine = {"in_service": "2024-01-01", "meter_rolls_over_at_h": 10000}
    services = [done("oil", "2024-01-02T00:00", 10001)]
    findings = judge(tmp_path, "2024-01-04", [OIL], rows, engine=engine, readings=TWO_BLOCKS, services=services)
    odd = [(fault.file, fault.line) for fault in findings.faults if fault.kind == "meter_reading_odd"]
    assert odd == [("services.csv", 2), ("readings/a.csv", 2), ("readings/b.csv", 2)]
    assert finding_for(findings).standing == "unknown"


@pytest.mark.parametrize("order", ["ab", "ba"])
def test_readings_before_and_after_a_roll_over_do_not_contradict(tmp_path: Path, order: str) -> None:
    """9,999.95 h and 0 h of one instant are 0.05 h apart on a meter that starts again at 10,000; 9,990 to 2 h the next day are 12 h."""
    first, second = (f"{name}.csv" for name in order)
    rows = {
        first: [meter("2024-01-01T12:00", 9999.95), meter("2024-01-02T00:00", 2)],
        second: [meter("2024-01-01T12:00", 0)],
    }
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 9990, "meter_rolls_over_at_h": 10000}
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=engine, readings=TWO_BLOCKS)
    assert fault_kinds(findings) == []
    assert used_of(finding_for(findings)) == pytest.approx(12.0, abs=1e-9)


@pytest.mark.parametrize("order", ["ab", "ba"])
def test_the_old_and_the_new_meter_do_not_contradict_at_their_change(tmp_path: Path, order: str) -> None:
    """At the change one block says 120 h and the other 0 h: 20 h before it and 12 h after it are 32 h, whichever comes first."""
    first, second = (f"{name}.csv" for name in order)
    rows = {
        first: [meter("2024-01-02T00:00", 120), meter("2024-01-03T00:00", 12)],
        second: [meter("2024-01-02T00:00", 0)],
    }
    engine = {**IN_SERVICE, "meter_changes": [{"at": "2024-01-02T00:00", "old_read_h": 120, "new_read_h": 0}]}
    findings = judge(tmp_path, "2024-01-02", [OIL], rows, engine=engine, readings=TWO_BLOCKS)
    assert fault_kinds(findings) == []
    assert used_of(finding_for(findings)) == 32.0


def test_the_meter_at_start_counts_where_the_row_of_the_first_moment_does_not_fit(tmp_path: Path) -> None:
    """10,500 h in the row of the first moment, 100 h in the site file, 115 h a day later: 15 h, and the row is named."""
    rows = [meter("2024-01-01T00:00", 10500), meter("2024-01-02T00:00", 115)]
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE)
    assert used_of(finding_for(findings)) == 15.0
    (fault,) = findings.faults
    assert (fault.kind, fault.file, fault.line) == ("conflicting_row", "readings/log.csv", 2)
    text = "meter reads 10,500.0 h at the engine's first moment, and meter_at_start_h is 100.0 h: meter_at_start_h counts"
    assert fault.text == text


def test_two_records_of_one_day_without_a_time_do_not_contradict(tmp_path: Path) -> None:
    """Both are taken to stand at noon; that the engine ran 4 h between the two jobs is no fault."""
    services = [done("oil", "2024-01-05", 140), done("plugs", "2024-01-05", 144)]
    findings = judge(tmp_path, "2024-01-05", [OIL, PLUGS], [meter("2024-01-02T00:00", 110)], engine=IN_SERVICE, services=services)
    assert fault_kinds(findings) == []


def test_whole_hours_typed_in_a_silence_are_no_step_back(tmp_path: Path) -> None:
    """1,000.6 h before the silence, 1,000 h typed in it: the meter stood, and of the 10 h of the next five days two days are 4 h."""
    rows = [meter("2024-01-02T00:00", 1000.6), meter("2024-01-12T00:00", 1010.6)]
    findings = judge(
        tmp_path, "2024-01-08", [OIL, PLUGS], rows, gap_h=36,
        engine={"in_service": "2024-01-01", "meter_at_start_h": 990}, services=[done("plugs", "2024-01-07T00:00", 1000)],
    )  # fmt: skip
    assert fault_kinds(findings) == ["gap"]
    assert used_of(finding_for(findings, "plugs")) == 4.0
    assert used_of(finding_for(findings)) == 10.6 + 4.0


@pytest.mark.parametrize(
    ("before_h", "typed_h", "kinds"),
    [
        (1000.999, 1000, []),
        (1001, 1000, ["meter_went_back"]),
        (1000.6, 999, ["meter_went_back"]),
        (1000.6, 1000.1, ["meter_went_back"]),
    ],
)
def test_only_what_rounding_leaves_out_is_levelled(tmp_path: Path, before_h: float, typed_h: float, kinds: list[str]) -> None:
    """After the log's end: less than an hour below, in whole hours, is rounding; an hour, or a reading with decimals, is a step back."""
    findings = judge(
        tmp_path, "2024-01-07", [OIL, PLUGS], [meter("2024-01-02T00:00", before_h)],
        engine={"in_service": "2024-01-01", "meter_at_start_h": 990}, services=[done("plugs", "2024-01-07T00:00", typed_h)],
    )  # fmt: skip
    assert fault_kinds(findings) == kinds
    assert used_of(finding_for(findings)) == pytest.approx(before_h - 990, abs=1e-9)


def test_whole_hours_of_several_records_in_one_silence_are_levelled(tmp_path: Path) -> None:
    """Twice 1,000 h after 1,000.6 h, then 1,002 h: 1.4 h since."""
    services = [done("plugs", "2024-01-05T00:00", 1000), done("plugs", "2024-01-06T00:00", 1000), done("plugs", "2024-01-07T00:00", 1002)]
    findings = judge(
        tmp_path, "2024-01-07", [OIL, PLUGS], [meter("2024-01-02T00:00", 1000.6)],
        engine={"in_service": "2024-01-01", "meter_at_start_h": 990}, services=services,
    )  # fmt: skip
    assert fault_kinds(findings) == []
    assert used_of(finding_for(findings)) == pytest.approx(12.0, abs=1e-9)


def test_whole_hours_of_a_new_meter_are_held_against_the_hours_before_the_change(tmp_path: Path) -> None:
    """1,000.6 h, the meter changed for one at 0.6 h, and 0 h typed after it: the engine stood, and 5 h to 5.6 h have run since."""
    rows = [meter("2024-01-02T00:00", 1000.6), meter("2024-01-12T00:00", 5.6)]
    changes = [{"at": "2024-01-04T00:00", "old_read_h": 1000.6, "new_read_h": 0.6}]
    findings = judge(
        tmp_path, "2024-01-11", [OIL, PLUGS], rows, gap_h=36,
        engine={"in_service": "2024-01-01", "meter_at_start_h": 990, "meter_changes": changes},
        services=[done("plugs", "2024-01-07T00:00", 0)],
    )  # fmt: skip
    assert fault_kinds(findings) == ["gap"]
    assert used_of(finding_for(findings, "plugs")) == pytest.approx(5.0, abs=1e-9)
