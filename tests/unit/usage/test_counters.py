"""Counters and amounts beside the hour meter: where they start, what a step back does, and how a split row splits them."""

from __future__ import annotations

from pathlib import Path

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
