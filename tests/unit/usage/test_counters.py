"""Counters and amounts beside the hour meter: where they start, what a step back does, and how a split row splits them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from tests.site_maker import done, fault_kinds, finding_for, judge, meter, task, used_of

STARTS = task(every={"starts": 500})
ENERGY = task("liner", every={"energy_kwh": 100000})
TOP_UP = task("oil", every={"oil_added_l": 200})
IN_SERVICE = {"in_service": "2024-01-01", "meter_at_start_h": 0}


def test_a_counter_starts_at_its_stated_reading(tmp_path: Path) -> None:
    """40 starts on the first day, 47 a day later: 7 starts."""
    rows = [meter("2024-01-02T00:00", 10, starts=47)]
    findings = judge(tmp_path, "2024-01-01", [STARTS], rows, engine={**IN_SERVICE, "at_start": {"starts": 40}})
    assert used_of(finding_for(findings), "starts") == 7.0


def test_a_counter_without_a_stated_reading_starts_at_its_first(tmp_path: Path) -> None:
    """47, then 52 starts: 5 are counted."""
    rows = [meter("2024-01-02T00:00", 10, starts=47), meter("2024-01-03T00:00", 20, starts=52)]
    findings = judge(tmp_path, "2024-01-02", [STARTS], rows, engine=IN_SERVICE)
    assert used_of(finding_for(findings), "starts") == 5.0


def test_a_counter_that_steps_back_counts_nothing_there(tmp_path: Path) -> None:
    """40, 47, 3, 8 starts: 7 + 0 + 5 = 12, and a fault."""
    rows = [meter("2024-01-02T00:00", 10, starts=47), meter("2024-01-03T00:00", 20, starts=3), meter("2024-01-04T00:00", 30, starts=8)]
    findings = judge(tmp_path, "2024-01-03", [STARTS], rows, engine={**IN_SERVICE, "at_start": {"starts": 40}})
    assert used_of(finding_for(findings), "starts") == 12.0
    assert fault_kinds(findings) == ["counter_went_back"]
    assert findings.faults[0].at == "2024-01-03T00:00:00+00:00"


def test_a_counter_that_steps_back_is_named_with_file_and_line(tmp_path: Path) -> None:
    """Every fault is named with the file and line that it stands in."""
    rows = [meter("2024-01-02T00:00", 10, starts=47), meter("2024-01-03T00:00", 20, starts=3)]
    findings = judge(tmp_path, "2024-01-02", [STARTS], rows, engine=IN_SERVICE)
    assert (findings.faults[0].file, findings.faults[0].line) == ("readings/log.csv", 3)


def test_a_blank_cell_of_a_counter_is_bridged(tmp_path: Path) -> None:
    """40, blank, 52 starts: 12."""
    rows = [meter("2024-01-02T00:00", 10, starts=""), meter("2024-01-03T00:00", 20, starts=52)]
    findings = judge(tmp_path, "2024-01-02", [STARTS], rows, engine={**IN_SERVICE, "at_start": {"starts": 40}})
    assert used_of(finding_for(findings), "starts") == 12.0


def test_a_split_row_splits_counters_and_amounts_by_time(tmp_path: Path) -> None:
    """Done at six o'clock: three quarters of the day's 8 starts, 4,000 kWh and 20 L are after it."""
    rows = [meter("2024-01-02T00:00", 12, starts=8, energy_kwh=4000, oil_added_l=20)]
    both = task("both", every={"starts": 500, "energy_kwh": 100000, "oil_added_l": 200, "running_hours": 1000})
    findings = judge(
        tmp_path, "2024-01-01", [both], rows,
        engine={**IN_SERVICE, "at_start": {"starts": 0, "energy_kwh": 0}}, services=[done("both", "2024-01-01T06:00")],
    )  # fmt: skip
    finding = finding_for(findings, "both")
    assert {leg.leg: leg.used for leg in finding.legs} == {"starts": 6.0, "energy_kwh": 3000.0, "oil_added_l": 15.0, "running_hours": 9.0}


def test_an_amount_before_its_stamp_belongs_to_the_step_that_ends_there(tmp_path: Path) -> None:
    """Covers before: the 20 L of 2 January were used before it; done at the stamp, nothing of them is after."""
    rows = [meter("2024-01-02T00:00", 12, oil_added_l=20), meter("2024-01-03T00:00", 24, oil_added_l=5)]
    findings = judge(tmp_path, "2024-01-02", [TOP_UP], rows, engine=IN_SERVICE, services=[done("oil", "2024-01-02T00:00")])
    assert used_of(finding_for(findings), "oil_added_l") == 5.0


def test_an_amount_after_its_stamp_belongs_to_the_step_that_begins_there(tmp_path: Path) -> None:
    """Covers after: the 20 L stamped 2 January were used after it."""
    rows = [meter("2024-01-02T00:00", 12, oil_added_l=20), meter("2024-01-03T00:00", 24, oil_added_l=5)]
    findings = judge(tmp_path, "2024-01-02", [TOP_UP], rows, engine=IN_SERVICE, covers="after", services=[done("oil", "2024-01-02T00:00")])
    assert used_of(finding_for(findings), "oil_added_l") == 20.0


def test_counters_are_read_at_the_stamp_whatever_levels_cover(tmp_path: Path) -> None:
    """Covers after: 12 h on the 2nd and 24 h on the 3rd are 12 h between the two."""
    rows = [meter("2024-01-02T00:00", 12), meter("2024-01-03T00:00", 24)]
    hours = task(every={"running_hours": 1000})
    findings = judge(tmp_path, "2024-01-02", [hours], rows, engine=IN_SERVICE, covers="after", services=[done("oil", "2024-01-02T00:00")])
    assert used_of(finding_for(findings)) == 12.0


def test_a_counter_that_is_not_logged_makes_its_leg_unknown(tmp_path: Path) -> None:
    """Nothing tells of starts: the task is unknown."""
    rows = [meter("2024-01-02T00:00", 12)]
    findings = judge(tmp_path, "2024-01-01", [STARTS], rows, engine=IN_SERVICE)
    assert finding_for(findings).standing == "unknown"


def test_a_quantity_of_the_sites_own_may_be_a_leg(tmp_path: Path) -> None:
    """A declared amount, exhaust soot blown off in grams, counts like any other."""
    rows = [meter("2024-01-02T00:00", 12, soot_g=30), meter("2024-01-03T00:00", 24, soot_g=45)]
    findings = judge(
        tmp_path, "2024-01-02", [task("soot", every={"soot_g": 100})], rows,
        engine=IN_SERVICE, quantities={"soot_g": {"kind": "amount", "unit": "g"}},
    )  # fmt: skip
    assert used_of(finding_for(findings, "soot"), "soot_g") == 75.0


def blocks_of() -> list[Mapping[str, Any]]:
    """Return two blocks of readings, a.csv and b.csv, both with the counter of starts."""
    return [
        {
            "files": [f"readings/{name}.csv"],
            "timestamp": {"column": "at"},
            "engine": {"column": "engine"},
            "gap_h": 1000,
            "quantities": {"hour_meter_h": {"column": "hour_meter_h"}, "starts": {"column": "starts"}},
        }
        for name in ("a", "b")
    ]


def rows_of(starts: Sequence[tuple[int, object]], hour: int = 0) -> list[dict[str, object]]:
    """Return rows of days of January 2024 with what the counter of starts shows; the engine runs 10 h a day."""
    return [meter(f"2024-01-{day:02}T{hour:02}:00", 10 * (day - 1) + round(hour / 2.4, 1), starts=count) for day, count in starts]


@pytest.mark.parametrize(
    ("first", "second", "starts", "kinds"),
    [
        # the second takes over where the first ends: 52 - 40
        ([(2, 40), (3, 47)], [(4, 49), (5, 52)], 12, []),
        # it begins before the first: 47 - 30
        ([(4, 40), (5, 47)], [(2, 30), (3, 36)], 17, []),
        # it is there on both sides, and where the first tells it adds nothing: 60 - 30
        ([(3, 40), (4, 47)], [(2, 30), (3, 40), (4, 47), (5, 60)], 30, []),
        # blanks of the first within its readings are bridged, at its ends the second counts: 60 - 30
        ([(2, ""), (3, 40), (4, ""), (5, 47), (6, "")], [(2, 30), (4, 43), (6, 60)], 30, []),
        # a first without any reading leaves all to the second: 36 - 30
        ([(2, ""), (3, "")], [(2, 30), (3, 36)], 6, []),
        # within the first's readings the second does not count, whatever it shows: 47 - 40
        ([(2, 40), (5, 47)], [(3, 900), (4, 950)], 7, []),
        # another counter of the same starts, 1,000 ahead: 47 - 40 of the first, then 1,055 - 1,047 of the second
        ([(2, 40), (3, 47)], [(2, 1040), (3, 1047), (4, 1050), (5, 1055)], 15, []),
        # one that was reset, and is behind: 47 - 40, then 15 - 7
        ([(2, 40), (3, 47)], [(2, 0), (3, 7), (4, 10), (5, 15)], 15, []),
        # the same before the first: 1,040 - 1,030, then 47 - 40
        ([(4, 40), (5, 47)], [(2, 1030), (3, 1036), (4, 1040), (5, 1047)], 17, []),
        # without a reading of both around one time nothing tells them apart: a step back counts nothing, 7 + 0 + 3
        ([(2, 40), (3, 47)], [(4, 5), (5, 8)], 10, ["counter_went_back"]),
    ],
)
def test_a_counter_of_two_blocks_counts_once(
    tmp_path: Path, first: list[tuple[int, object]], second: list[tuple[int, object]], starts: float, kinds: list[str]
) -> None:
    """The first block's readings count, and the second's where the first does not tell yet or no more."""
    rows = {"a.csv": rows_of(first), "b.csv": rows_of(second)}
    engine = {"in_service": "2024-01-02", "meter_at_start_h": 10}
    findings = judge(tmp_path, "2024-01-06", [STARTS], rows, engine=engine, readings=blocks_of())
    assert used_of(finding_for(findings), "starts") == pytest.approx(starts, abs=1e-9)
    assert fault_kinds(findings) == kinds


def test_a_counter_that_is_read_at_other_times_goes_on_from_the_last_reading(tmp_path: Path) -> None:
    """40 and 47 at midnight, then 46, 50 and 54 at noon: 47 lies between 46 and 50, so that it is 7 + (54 - 47) = 14."""
    rows = {"a.csv": rows_of([(2, 40), (3, 47)]), "b.csv": rows_of([(2, 46), (3, 50), (4, 54)], hour=12)}
    engine = {"in_service": "2024-01-02", "meter_at_start_h": 10}
    assert used_of(finding_for(judge(tmp_path, "2024-01-06", [STARTS], rows, engine=engine, readings=blocks_of())), "starts") == 14.0


def test_a_stated_start_stands_before_the_block_that_begins_first(tmp_path: Path) -> None:
    """20 at the first moment, 30 in the second block, 40 and 47 in the first: 27."""
    rows = {"a.csv": rows_of([(4, 40), (5, 47)]), "b.csv": rows_of([(3, 30)])}
    engine = {"in_service": "2024-01-02", "meter_at_start_h": 10, "at_start": {"starts": 20}}
    assert used_of(finding_for(judge(tmp_path, "2024-01-06", [STARTS], rows, engine=engine, readings=blocks_of())), "starts") == 27.0


def test_a_step_back_in_the_second_block_is_named_with_its_row(tmp_path: Path) -> None:
    """49, 3, 8 after the first block's 40 and 47: 7 + 2 + 0 + 5, and the row of the 3."""
    rows = {"a.csv": rows_of([(2, 40), (3, 47)]), "b.csv": rows_of([(4, 49), (5, 3), (6, 8)])}
    engine = {"in_service": "2024-01-02", "meter_at_start_h": 10}
    findings = judge(tmp_path, "2024-01-06", [STARTS], rows, engine=engine, readings=blocks_of())
    assert used_of(finding_for(findings), "starts") == 14.0
    assert [(fault.kind, fault.file, fault.line) for fault in findings.faults] == [("counter_went_back", "readings/b.csv", 3)]
