"""40 CFR 63 subpart ZZZZ, edition of 2015 (read but where told): who is bound, since when, and area sources with texts of their own.

63.6590(a)(1), (b)(3), (c)(1); 63.6595(a)(1); 63.6603(b) and (read) 63.6675; 63.6603(c), (f) and 63.6640(c) as told.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from intervals.findings import Findings
from tests.published.shipped_sites import Case, check_cases, finding_since_last, governing_figures, judge_by_shipped, standing_of
from tests.site_maker import finding_for, meter

AREA, MAJOR = "us-area-source", "us-major-source"
LONG_AGO = {"running_hours": 9000, "days": 900}
CI: dict[str, object] = {"ignition": "compression", "role": "non-emergency"}
LARGE_SI: dict[str, object] = {
    "constructed": "2004-05-01", "ignition": "spark", "role": "non-emergency", "cycle": "four-stroke", "burn": "rich", "power_hp": 800,
    "waste_gas_pct": 0,
}  # fmt: skip


@pytest.mark.outside("10.1")
def test_a_diesel_of_2004_at_an_area_source_is_bound() -> None:
    """CI, 250 HP, construction commenced 2004: table 2d binds (63.6590(a)(1)(iii), 63.6603)."""
    engine = {**CI, "power_hp": 250, "constructed": "2004-05-01"}
    assert governing_figures(finding_since_last(AREA, "oil-change-ci", engine, {"running_hours": 1000.1, "days": 90})) == (
        "overdue",
        1000.1,
        1000,
    )


def findings_of(folder: Path, ruleset: str, engine: Mapping[str, object]) -> Findings:
    """Judge an engine with a long log beside another one that has tasks, so that there is always something to judge."""
    engines = [
        {"id": "G1", "in_service": "2014-06-01", "meter_at_start_h": 0, "attributes": dict(engine)},
        {"id": "G2", "in_service": "2014-06-01", "attributes": {**CI, "power_hp": 90, "constructed": "2004-05-01"}},
    ]
    rows = [meter("2014-06-01T00:00", 0), meter("2026-06-30T00:00", 20000)]
    return judge_by_shipped(folder, ruleset, "2026-06-30", rows, engine={}, engines=engines)


@pytest.mark.outside("10.2")
@pytest.mark.parametrize("constructed", ["2006-06-12", "2014-03-01"])
def test_a_diesel_of_2014_has_no_duty_under_this_subpart(tmp_path: Path, constructed: str) -> None:
    """CI, 750 HP, from 12 June 2006 on: 40 CFR 60 subpart IIII, no further requirements (63.6590(a)(2)(iii), (c)(1))."""
    engine = {
        **CI,
        "power_hp": 750,
        "constructed": constructed,
        "remote_alaska": False,
        "offshore": False,
        "limited_use": False,
    }
    assert [finding.task for finding in findings_of(tmp_path, AREA, engine).findings if finding.engine == "G1"] == []


@pytest.mark.outside("10.3")
@pytest.mark.parametrize("ruleset", [AREA, MAJOR])
def test_an_engine_whose_construction_is_not_stated_is_unknown(tmp_path: Path, ruleset: str) -> None:
    """Every task that may be its own is unknown after 20,000 h and twelve years, none is overdue in the law's name."""
    findings = findings_of(tmp_path, ruleset, {"ignition": "compression", "role": "emergency", "power_hp": 400})
    standings = {finding.standing for finding in findings.findings if finding.engine == "G1"}
    assert standings == {"unknown"}


@pytest.mark.outside("10.4")
def test_limited_use_at_a_major_source_has_no_test(tmp_path: Path) -> None:
    """Limited use, CI > 500 HP, major source: no performance test, no further duty (63.6590(b)(3))."""
    engine = {**CI, "power_hp": 900, "constructed": "2001-05-01", "limited_use": True}
    assert [finding.task for finding in findings_of(tmp_path, MAJOR, engine).findings if finding.engine == "G1"] == []


@pytest.mark.parametrize(
    ("power_hp", "constructed", "is_bound"),
    [
        # above 500 HP existing is from before 19 December 2002, up to 500 HP from before 12 June 2006
        (501, "2002-12-18", True),
        (501, "2002-12-19", False),
        (90, "2006-06-11", True),
        (90, "2006-06-12", False),
    ],
)
def test_two_dates_bound_existing_engines_at_major_sources(power_hp: int, constructed: str, is_bound: bool) -> None:
    """63.6590(a)(1)(i) and (ii)."""
    engine = {**CI, "power_hp": power_hp, "constructed": constructed, "limited_use": False}
    task = "performance-test" if power_hp > 500 else "oil-change-ci"
    other = Case("oil-change-ci", {**CI, "power_hp": 90, "constructed": "2004-05-01"}, LONG_AGO)
    finding, _ = check_cases(MAJOR, [Case(task, engine, LONG_AGO), other])
    assert (None if finding is None else finding.standing) == ("overdue" if is_bound else None)


@pytest.mark.outside("10.5")
@pytest.mark.parametrize(("hours", "is_kept"), [(99.9, True), (99.99, True), (100.0, False)])
def test_limited_use_is_less_than_a_hundred_hours(tmp_path: Path, hours: float, is_kept: bool) -> None:
    """63.6675: 100.0 h a year is no limited use."""
    attributes = {**CI, "power_hp": 900, "constructed": "2001-05-01", "limited_use": True, "remote_alaska": False, "offshore": False}
    rows = [meter("2026-01-01T00:00", 0), meter("2026-06-01T00:00", hours)]
    engine = {"in_service": "2026-01-01", "meter_at_start_h": 0, "attributes": attributes}
    finding = finding_for(judge_by_shipped(tmp_path, AREA, "2026-06-01", rows, engine=engine), "limited-use-hours")
    assert (finding.standing != "overdue", finding.legs[0].used) == (is_kept, hours)


@pytest.mark.outside("10.6")
@pytest.mark.parametrize(
    ("task", "engine", "day_before", "first_day"),
    [
        ("oil-change-ci", {**CI, "power_hp": 90, "constructed": "2004-05-01"}, "2013-05-02", "2013-05-03"),
        (
            "spark-plugs-si",
            {"ignition": "spark", "role": "non-emergency", "power_hp": 90, "lean_two_stroke": False, "constructed": "2004-05-01"},
            "2013-10-18",
            "2013-10-19",
        ),
    ],
)
def test_nothing_was_due_before_the_duty_began(task: str, engine: Mapping[str, object], day_before: str, first_day: str) -> None:
    """63.6595: 3 May 2013 for compression, 19 October 2013 for spark ignition; before, 9,000 h since the last time break no text."""
    standings = [standing_of(finding_since_last(MAJOR, task, engine, LONG_AGO, as_of=day)) for day in (day_before, first_day)]
    assert standings == ["unknown", "overdue"]


@pytest.mark.outside("10.10")
@pytest.mark.parametrize(("hours", "standing"), [(500, "upcoming"), (500.1, "overdue")])
def test_remote_alaska_has_row_1_at_any_power(hours: float, standing: str) -> None:
    """CI > 300 HP in remote Alaska: row 1 of table 2d (63.6603(b)); hoses and belts 500 h."""
    engine = {**CI, "power_hp": 700, "constructed": "2004-05-01", "remote_alaska": True}
    assert governing_figures(finding_since_last(AREA, "hoses-belts-ci", engine, {"running_hours": hours, "days": 60})) == (
        standing,
        hours,
        500,
    )


@pytest.mark.parametrize(
    ("task", "hours"),
    [
        ("oil-change-offshore-ci", 1000),
        ("air-filter-offshore-ci", 750),
        ("fuel-filters-belts-offshore-ci", 750),
        ("hoses-offshore-ci", 1000),
    ],
)
def test_an_offshore_vessel_has_hours_of_its_own(task: str, hours: int) -> None:
    """63.6603(c) (told): 750 and 1,000 h."""
    engine = {**CI, "power_hp": 700, "constructed": "2001-03-01", "remote_alaska": False, "offshore": True, "limited_use": False}
    cases = [Case(task, engine, {"running_hours": hours + past, "days": 90}) for past in (0, 0.1)]
    assert [standing_of(finding) for finding in check_cases(AREA, cases)] == ["upcoming", "overdue"]
    assert check_cases(AREA, [Case("performance-test", engine, LONG_AGO), *cases])[0] is None


@pytest.mark.parametrize(("task", "remote"), [("remote-status-review", True), ("catalyst-check", False)], ids=["63.6603(f)", "63.6640(c)"])
def test_a_large_gas_engine_is_reviewed_or_checked_every_year(task: str, remote: bool) -> None:
    """63.6603(f): a remote one is reviewed every twelve months; 63.6640(c): one that is not has its catalyst checked (both told)."""
    engine = {**LARGE_SI, "remote": remote}
    for as_of, days, standing in [("2026-06-30", 365, "upcoming"), ("2026-06-30", 366, "overdue")]:
        assert standing_of(finding_since_last(AREA, task, engine, {"running_hours": 10, "days": days}, as_of=as_of)) == standing
    other = "catalyst-check" if remote else "remote-status-review"
    assert finding_since_last(AREA, other, engine, {"running_hours": 10, "days": 400}) is None
