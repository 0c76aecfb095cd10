"""What a law asks for after an event, in the rule sets as shipped.

40 CFR 63.6640(c) (told): retest within seven days of a failed catalyst check; 40 CFR 60.4243(b)(2)(i) (from memory): first test within a
year of start-up; 40 CFR 60.4209(b), edition of 2019 (read): the particle filter's monitor; 33 CFR 164.25 (from memory): before sailing.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.published.shipped_sites import judge_by_shipped
from tests.site_maker import done, finding_for, meter, rules_fired

GAS_800_HP = {
    "constructed": "2004-05-01", "ignition": "spark", "role": "non-emergency", "cycle": "four-stroke", "burn": "rich", "power_hp": 800,
    "remote": False, "waste_gas_pct": 0,
}  # fmt: skip
NEW_300_HP = {"constructed": "2024-03-01", "ignition": "spark", "role": "non-emergency", "power_hp": 300, "certified": False}


def test_a_catalyst_that_passed_is_not_tested_again(tmp_path: Path) -> None:
    """Checked on 10 May 2026 and not found failed: the retest waits for a check that fails (then see its example)."""
    engine = {"in_service": "2020-01-01", "meter_at_start_h": 0, "records_from": "2020-01-01", "attributes": GAS_800_HP}
    rows = [meter("2026-05-10T00:00", 0), meter("2026-05-20T00:00", 200)]
    services = [done("catalyst-check", "2026-05-10T10:00")]
    findings = judge_by_shipped(tmp_path, "us-area-source", "2026-05-18", rows, engine=engine, services=services)
    finding = finding_for(findings, "catalyst-retest")
    assert (finding.standing, rules_fired(finding)) == ("in_interval", ["waits-for-event"])


@pytest.mark.parametrize(
    ("as_of", "tested", "standing"),
    [("2025-05-10", False, "upcoming"), ("2025-05-11", False, "overdue"), ("2026-05-11", True, "in_interval")],
)
def test_an_uncertified_engine_up_to_500_hp_is_tested_once(tmp_path: Path, as_of: str, tested: bool, standing: str) -> None:
    """Started on 10 May 2024: by 10 May 2025, and not again."""
    engine = {"in_service": "2024-05-10", "meter_at_start_h": 0, "attributes": NEW_300_HP}
    services = [done("first-test-si", "2025-04-01T10:00")] if tested else []
    rows = [meter("2024-05-10T00:00", 0), meter("2026-05-20T00:00", 9000)]
    findings = judge_by_shipped(tmp_path, "us-new-engines", as_of, rows, engine=engine, services=services)
    assert finding_for(findings, "first-test-si").standing == standing


@pytest.mark.parametrize(("told", "standing"), [(0, "in_interval"), (1, "overdue")])
def test_the_particle_filter_is_due_when_its_monitor_tells(tmp_path: Path, told: int, standing: str) -> None:
    """60.4209(b): the monitor notifies when the high back-pressure limit is approached."""
    attributes = {**NEW_300_HP, "ignition": "compression", "certified": True, "particle_filter": True}
    engine = {"in_service": "2024-05-10", "meter_at_start_h": 0, "attributes": attributes}
    rows = [meter("2026-05-10T00:00", 0, filter_back_pressure_high=0), meter("2026-05-10T10:00", 10, filter_back_pressure_high=told)]
    level = {"filter_back_pressure_high": {"unit": "count", "kind": "level"}}
    findings = judge_by_shipped(tmp_path, "us-new-engines", "2026-05-10", rows, engine=engine, quantities=level)
    assert finding_for(findings, "particle-filter").standing == standing


@pytest.mark.parametrize(
    ("as_of", "tried", "standing"),
    [
        # sailing on 20 May at 18:00: from 06:00 on
        ("2026-05-20T05:59", None, "in_interval"),
        ("2026-05-20T17:00", None, "upcoming"),
        ("2026-05-20T18:01", None, "overdue"),
        ("2026-05-20T18:01", "2026-05-20T09:00", "in_interval"),
        # tried a quarter of an hour before the twelve
        ("2026-05-20T18:01", "2026-05-20T05:45", "overdue"),
    ],
)
def test_the_generator_is_tried_within_twelve_hours_before_sailing(tmp_path: Path, as_of: str, tried: str | None, standing: str) -> None:
    """33 CFR 164.25: not more than twelve hours before getting under way."""
    engine = {"in_service": "2026-05-01", "meter_at_start_h": 0, "fuel": "diesel", "rated_kw": 150}
    services = [done("before-sailing", tried)] if tried else []
    rows = [meter("2026-05-01T00:00", 0), meter("2026-05-21T00:00", 1)]
    planned = {"departure": ["2026-05-20T18:00"]}
    findings = judge_by_shipped(tmp_path, "ship-departure", as_of, rows, engine=engine, services=services, planned=planned)
    assert finding_for(findings, "before-sailing").standing == standing
