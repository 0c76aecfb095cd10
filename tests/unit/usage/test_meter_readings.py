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
