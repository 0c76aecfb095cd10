"""Fuel sulphur against the limit in force on the day, MARPOL Annex VI reg. 14 (told).

0.50 % m/m from 2020-01-01, 3.50 % before; in emission control areas 0.10 % from 2015-01-01, 1.00 % before.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from intervals.findings import Finding
from tests.site_maker import finding_for, judge, meter, reason_for, task

SOURCE = "MARPOL Annex VI reg. 14 (as told)"
GLOBAL = {
    "id": "sulphur-limit",
    "title": "No running on fuel above the sulphur limit",
    "of": "running_hours",
    "per": "calendar_year",
    "at_most": [
        {"in_force_from": "2012-01-01", "when": {"fuel_sulphur_pct": {"above": 3.5}}, "at_most": 0, "source": SOURCE},
        {"in_force_from": "2020-01-01", "when": {"fuel_sulphur_pct": {"above": 0.5}}, "at_most": 0, "source": SOURCE},
    ],
}
IN_AREA = {
    **GLOBAL,
    "at_most": [
        {"when": {"fuel_sulphur_pct": {"above": 1.0}, "in_control_area": {"at_least": 1}}, "at_most": 0, "source": SOURCE},
        {
            "in_force_from": "2015-01-01",
            "when": {"fuel_sulphur_pct": {"above": 0.1}, "in_control_area": {"at_least": 1}},
            "at_most": 0,
            "source": SOURCE,
        },
    ],
}
AREA = {"in_control_area": {"unit": "count", "kind": "level"}}


def judged(folder: Path, as_of: str, budget: Mapping[str, object], rows: Sequence[dict[str, object]], first: str) -> Finding:
    """Judge the sulphur budget of an engine."""
    findings = judge(
        folder,
        as_of,
        [task(every={"calendar": "P10Y"})],
        rows,
        engine={"in_service": first, "meter_at_start_h": 0},
        quantities=AREA if "in_control_area" in rows[0] else {},
        rules={"budgets": [budget]},
    )
    return finding_for(findings, "sulphur-limit")


@pytest.mark.parametrize(
    ("year", "sulphur", "standing", "used"),
    [
        (2019, 3.5, "in_interval", 0.0),
        (2019, 3.51, "overdue", 10.0),
        (2020, 0.5, "in_interval", 0.0),
        (2020, 0.51, "overdue", 10.0),
        (2020, 3.5, "overdue", 10.0),
    ],
)
def test_the_limit_at_sea_is_that_of_the_day(tmp_path: Path, year: int, sulphur: float, standing: str, used: float) -> None:
    """At the limit passes, above it every hour is too many."""
    rows = [meter(f"{year}-03-02T00:00", 10, fuel_sulphur_pct=sulphur)]
    finding = judged(tmp_path, f"{year}-03-01", GLOBAL, rows, f"{year}-03-01")
    assert (finding.standing, finding.legs[0].used) == (standing, used)


def test_hours_before_the_limit_changed_are_judged_by_the_limit_of_their_day(tmp_path: Path) -> None:
    """Any 12 months: 10 h at 2 % on 31 December 2019 were right, 10 h on 1 January 2020 are not."""
    rows = [meter("2019-12-31T00:00", 0, fuel_sulphur_pct=2), meter("2020-01-01T00:00", 10, fuel_sulphur_pct=2)]
    assert judged(tmp_path / "a", "2019-12-31", {**GLOBAL, "per": "P12M"}, rows, "2019-12-30").standing == "in_interval"
    rows.append(meter("2020-01-02T00:00", 20, fuel_sulphur_pct=2))
    finding = judged(tmp_path / "b", "2020-01-01", {**GLOBAL, "per": "P12M"}, rows, "2019-12-30")
    assert (finding.standing, finding.legs[0].used, finding.crossed_at) == ("overdue", 10.0, "2020-01-01T00:00:00+00:00")


@pytest.mark.parametrize(
    ("year", "sulphur", "inside", "standing"),
    [
        (2014, 1.0, 1, "in_interval"),
        (2014, 1.01, 1, "overdue"),
        (2015, 0.1, 1, "in_interval"),
        (2015, 0.11, 1, "overdue"),
        (2015, 1.0, 0, "in_interval"),
    ],
)
def test_emission_control_areas_have_their_own(tmp_path: Path, year: int, sulphur: float, inside: int, standing: str) -> None:
    """Where the ship was is logged; outside the area this limit asks nothing."""
    rows = [meter(f"{year}-03-02T00:00", 10, fuel_sulphur_pct=sulphur, in_control_area=inside)]
    assert judged(tmp_path, f"{year}-03-01", IN_AREA, rows, f"{year}-03-01").standing == standing


def test_before_any_limit_there_is_none(tmp_path: Path) -> None:
    """In 2011 nothing of this was in force."""
    finding = judged(tmp_path, "2011-03-01", GLOBAL, [meter("2011-03-02T00:00", 10, fuel_sulphur_pct=4)], "2011-03-01")
    assert (finding.standing, finding.legs[0].allowed) == ("in_interval", None)
    assert reason_for(finding, "no-limit-in-force").text.endswith("the first one is from 2012-01-01 on")


def test_hours_of_unknown_sulphur_are_not_known_to_be_right(tmp_path: Path) -> None:
    """10 h without a figure: unknown, not in order."""
    rows = [meter("2020-03-02T00:00", 10, fuel_sulphur_pct=0.4), meter("2020-03-03T00:00", 20, fuel_sulphur_pct="")]
    finding = judged(tmp_path, "2020-03-02", GLOBAL, rows, "2020-03-01")
    assert (finding.standing, finding.legs[0].used, finding.unknown_hours_h) == ("unknown", 0.0, 10.0)
