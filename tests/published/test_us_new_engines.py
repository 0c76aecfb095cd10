"""40 CFR 60 subparts IIII and JJJJ, edition of 2015 (read but where told), through us-new-engines as shipped.

60.4243(b)(2)(ii): an uncertified spark-ignition engine above 500 HP; 60.4211(f), 60.4243(d): hours of emergency engines; 60.4211(g)(3): a
compression-ignition engine that is not kept as certified; 60.4243(e) (told): propane in emergencies.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from tests.published.shipped_sites import Case, check_cases, finding_since_last, judge_by_shipped
from tests.site_maker import done, finding_for, meter

SET = "us-new-engines"
UNCERTIFIED: dict[str, object] = {
    "constructed": "2024-01-10", "ignition": "spark", "role": "non-emergency", "power_hp": 501, "certified": False,
}  # fmt: skip


@pytest.mark.outside("10.9")
@pytest.mark.parametrize(
    ("as_of", "meter_h", "tested_on", "standing"),
    [
        # started on 10 May 2024: the first test by 10 May 2025
        ("2025-05-10", 3000, None, "upcoming"),
        ("2025-05-11", 3000, None, "overdue"),
        # tested on 10 May 2025 at 3,000 h: 11,760 h or 10 May 2028
        ("2027-05-10", 11760, "2025-05-10T00:00", "upcoming"),
        ("2027-05-10", 11760.1, "2025-05-10T00:00", "overdue"),
        ("2028-05-10", 4000, "2025-05-10T00:00", "upcoming"),
        ("2028-05-11", 4000, "2025-05-10T00:00", "overdue"),
    ],
)
def test_the_first_test_within_a_year_then_by_hours_or_three_years(
    tmp_path: Path, as_of: str, meter_h: float, tested_on: str | None, standing: str
) -> None:
    """60.4243(b)(2)(ii): within one year of start-up, then every 8,760 h or three years, whichever is first."""
    engine = {"in_service": "2024-05-10", "meter_at_start_h": 0, "attributes": UNCERTIFIED}
    services = [] if tested_on is None else [done("performance-test-si", tested_on, 3000)]
    rows = [meter("2024-05-10T00:00", 0), meter("2025-05-10T00:00", 3000), meter(f"{as_of}T12:00", meter_h)]
    findings = judge_by_shipped(tmp_path, SET, as_of, rows, engine=engine, services=services)
    assert finding_for(findings, "performance-test-si").standing == standing


@pytest.mark.parametrize("changed", [{"power_hp": 500}, {"certified": True}, {"constructed": "2006-06-12"}])
def test_engines_that_need_no_test(changed: Mapping[str, object]) -> None:
    """Up to 500 HP, certified and kept so, or ordered before the subpart: nothing of it is theirs."""
    cases = [Case("performance-test-si", {**UNCERTIFIED, **changed}, {"days": 900}), Case("performance-test-si", UNCERTIFIED, {"days": 9})]
    assert check_cases(SET, cases)[0] is None


def test_a_diesel_that_is_not_kept_as_certified() -> None:
    """60.4211(g)(3): tested on 10 May 2021, due on 10 May 2024."""
    engine = {**UNCERTIFIED, "constructed": "2019-01-10", "ignition": "compression"}
    for as_of, days, standing in [("2024-05-10", 1096, "upcoming"), ("2024-05-11", 1097, "overdue")]:
        finding = finding_since_last(SET, "performance-test-ci", engine, {"running_hours": 5000, "days": days}, as_of=as_of)
        assert finding is not None
        assert finding.standing == standing


@pytest.mark.outside("10.11")
@pytest.mark.parametrize("ignition", ["compression", "spark"])
@pytest.mark.parametrize(
    ("tests_h", "other_h", "kept", "other_kept"),
    [(60, 40, True, True), (60, 40.1, False, True), (40, 50, True, True), (40, 50.1, True, False)],
)
def test_hours_of_new_emergency_engines(
    tmp_path: Path, ignition: str, tests_h: float, other_h: float, kept: bool, other_kept: bool
) -> None:
    """60.4211(f), 60.4243(d): 100 h a calendar year of checks and readiness, 50 of them non-emergency; 600 h of emergency are no matter."""
    engine = {"in_service": "2024-05-10", "meter_at_start_h": 0, "attributes": {**UNCERTIFIED, "ignition": ignition, "role": "emergency"}}
    runs = [("test-run", "2025-03-01", tests_h), ("non-emergency-run", "2025-04-01", other_h)]
    services = [{"at": at, "task": task, "outcome": "done", "hours_h": hours} for task, at, hours in runs]
    rows = [meter("2024-05-10T00:00", 0), meter("2025-12-01T00:00", 600)]
    findings = judge_by_shipped(tmp_path, SET, "2025-12-31", rows, engine=engine, services=services)
    standings = [finding_for(findings, budget).standing != "overdue" for budget in ("tests-and-other-hours", "non-emergency-hours")]
    assert standings == [kept, other_kept]


@pytest.mark.parametrize(("hours", "kept"), [(100, True), (100.1, False)])
def test_propane_stands_in_for_a_hundred_hours(tmp_path: Path, hours: float, kept: bool) -> None:
    """60.4243(e) (told): a natural-gas engine on propane in emergencies."""
    engine = {"in_service": "2024-05-10", "meter_at_start_h": 0, "fuel": "natural-gas", "attributes": UNCERTIFIED}
    services = [{"at": "2025-02-01", "task": "propane-run", "outcome": "done", "hours_h": hours}]
    rows = [meter("2024-05-10T00:00", 0), meter("2025-12-01T00:00", 600)]
    findings = judge_by_shipped(tmp_path, SET, "2025-12-31", rows, engine=engine, services=services)
    assert (finding_for(findings, "propane-hours").standing != "overdue") == kept


def test_an_engine_whose_day_is_not_stated_is_unknown() -> None:
    """Never overdue in the law's name."""
    engine = {name: value for name, value in UNCERTIFIED.items() if name != "constructed"}
    finding = finding_since_last(SET, "performance-test-si", engine, {"running_hours": 9000, "days": 2000})
    assert finding is not None
    assert finding.standing == "unknown"
