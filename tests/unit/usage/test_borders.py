"""At the very border: what is just still so, and what is just no more."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.site_maker import done, fault_kinds, finding_for, judge, meter, rule, task, used_of

OIL = task("oil", every={"running_hours": 1000})
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000}
HEAVY = {"adjustments": [rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)]}


@pytest.mark.parametrize(("load_kw", "used", "kinds"), [(1300, 20.0, []), (1300.1, 10.0, ["impossible_value"])])
def test_a_load_of_130_per_cent_is_the_highest_that_can_be(tmp_path: Path, load_kw: float, used: float, kinds: list[str]) -> None:
    """Ten hours at 1,300 of 1,000 kW count twice; at 1,300.1 kW the load is blank, and they count once."""
    findings = judge(tmp_path, "2024-01-01", [OIL], [meter("2024-01-02T00:00", 10, load_kw=load_kw)], engine=ENGINE, rules=HEAVY)
    assert (used_of(finding_for(findings)), fault_kinds(findings)) == (used, kinds)


@pytest.mark.parametrize(("energy_kwh", "used"), [(13_000, 20.0), (13_001, 10.0)])
def test_a_load_reckoned_from_energy_has_the_same_bound(tmp_path: Path, energy_kwh: float, used: float) -> None:
    """13,000 kWh in ten hours are 130 % of 1,000 kW; a kilowatt-hour more cannot be."""
    engine = {**ENGINE, "at_start": {"energy_kwh": 0}}
    findings = judge(tmp_path, "2024-01-01", [OIL], [meter("2024-01-02T00:00", 10, energy_kwh=energy_kwh)], engine=engine, rules=HEAVY)
    assert used_of(finding_for(findings)) == used


@pytest.mark.parametrize(("load_kw", "used"), [("", 40.0), (500, 20.0)])
def test_energy_stands_for_a_load_only_where_none_is_logged(tmp_path: Path, load_kw: object, used: float) -> None:
    """9,500 kWh in ten hours are 95 %; where the other day has a logged load, the day without one is unknown and counts once."""
    rows = [meter("2024-01-02T00:00", 10, energy_kwh=9500, load_kw=""), meter("2024-01-03T00:00", 20, energy_kwh=19000, load_kw=load_kw)]
    engine = {**ENGINE, "at_start": {"energy_kwh": 0}}
    assert used_of(finding_for(judge(tmp_path, "2024-01-02", [OIL], rows, engine=engine, rules=HEAVY))) == used


@pytest.mark.parametrize(("at", "kinds"), [("2024-01-03T12:00", []), ("2024-01-03T12:01", ["gap"])])
def test_a_silence_of_the_very_length_is_no_gap(tmp_path: Path, at: str, kinds: list[str]) -> None:
    """Thirty-six hours from midnight of the 2nd to noon of the 3rd are the log's rhythm; a minute more is a gap."""
    rows = [meter("2024-01-02T00:00", 10), meter(at, 20)]
    assert fault_kinds(judge(tmp_path, "2024-01-03", [OIL], rows, engine=ENGINE, gap_h=36)) == kinds


@pytest.mark.parametrize(("first", "used"), [("2024-01-01T00:00", 10.0), ("2024-01-01T01:00", 15.0)])
def test_a_counter_read_on_the_first_moment_counts_before_what_the_site_states(tmp_path: Path, first: str, used: float) -> None:
    """The site states 0 starts, the first row 5, the last 15: from that row on 10 if it is of the first moment, else all 15."""
    starts = task("starter", every={"starts": 1000})
    rows = [meter(first, 0, starts=5), meter("2024-01-02T00:00", 10, starts=15)]
    findings = judge(tmp_path, "2024-01-01", [starts], rows, engine={**ENGINE, "at_start": {"starts": 0}})
    assert used_of(finding_for(findings, "starter"), "starts") == used


@pytest.mark.parametrize(("shown_h", "standing"), [(39.0, "upcoming"), (41.0, "overdue")])
def test_a_deferral_runs_on_across_a_meter_change(tmp_path: Path, shown_h: float, standing: str) -> None:
    """Deferred at 1,000 h until 1,050 h; the meter is changed at 1,010 h for one at 0 h: 40 h on the new one are 1,050 h."""
    engine = {**ENGINE, "meter_changes": [{"at": "2024-03-05T00:00", "old_read_h": 1010, "new_read_h": 0}]}
    rows = [meter("2024-03-01T00:00", 1000), meter("2024-03-05T00:00", 1010), meter("2024-03-10T00:00", shown_h)]
    deferred = {**done("oil", "2024-03-01T00:00", 1000), "outcome": "deferred", "until_h": 1050, "approved_by": "the chief engineer"}
    findings = judge(tmp_path, "2024-03-09", [task("oil", every={"running_hours": 900})], rows, engine=engine, services=[deferred])
    assert finding_for(findings).standing == standing
