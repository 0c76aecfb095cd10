"""Directive (EU) 2015/2193: art. 6(3) and 6(8), hours as a rolling mean (read); annex III, measuring (from memory); as shipped.

An existing plant has five years, a new one three. That the years are the calendar's is chosen by the rule set.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from intervals.findings import Finding
from tests.published.shipped_sites import finding_since_last, judge_by_shipped, standing_of
from tests.site_maker import Row, finding_for, meter

SET = "eu-combustion-plants"
LIMITED: dict[str, object] = {"thermal_input_mw": 5, "hours_limited": True}


def ran(hours_by_half_year: Mapping[str, float]) -> list[Row]:
    """Return a meter that shows, at each day's midnight, what was run up to it."""
    rows: list[Row] = []
    total = 0.0
    for day, hours in hours_by_half_year.items():
        total += hours
        rows.append(meter(f"{day}T00:00", total))
    return rows


def mean_of(folder: Path, as_of: str, rows: Sequence[Row], in_service: str, budget: str) -> Finding:
    """Return the finding of a plant of limited hours."""
    engine = {"in_service": in_service, "meter_at_start_h": 0, "attributes": LIMITED}
    return finding_for(judge_by_shipped(folder, SET, as_of, rows, engine=engine), budget)


@pytest.mark.outside("10.14")
@pytest.mark.parametrize(("as_of", "used"), [("2019-12-31", 440.0), ("2020-12-31", 340.0)])
def test_the_mean_is_that_of_calendar_years(tmp_path: Path, as_of: str, used: float) -> None:
    """2,700 h from July 2015 to June 2020, but 2,200 h in 2015 to 2019 and 1,700 h in 2016 to 2020: 440 and 340 h a year, within 500."""
    # 2015: 1,000 h in its second half; 2016 to 2019: 300 h each; 2020: 500 h in its first half
    years = {f"{year}-01-01": 300.0 for year in (2017, 2018, 2019, 2020)}
    rows = ran({"2015-01-01": 0, "2015-07-01": 0, "2016-01-01": 1000, **years, "2020-07-01": 500, "2021-01-01": 0})
    finding = mean_of(tmp_path, as_of, rows, "2015-01-01", "hours-existing")
    assert (finding.standing != "overdue", finding.legs[0].used, finding.legs[0].allowed) == (True, used, 500.0)


@pytest.mark.parametrize(("last_year_h", "kept"), [(900.0, True), (900.1, False)])
def test_five_years_at_their_limit(tmp_path: Path, last_year_h: float, kept: bool) -> None:
    """4 x 400 h and 900 h are 2,500 h in five years, 500 a year; a tenth of an hour more is too much."""
    years = {f"{year}-01-01": 400.0 for year in (2017, 2018, 2019, 2020)}
    rows = ran({"2016-01-01": 0, **years, "2021-01-01": last_year_h})
    assert (mean_of(tmp_path, "2020-12-31", rows, "2016-01-01", "hours-existing").standing != "overdue") == kept


@pytest.mark.parametrize(("last_year_h", "kept"), [(700.0, True), (700.1, False)])
def test_a_new_plant_has_three_years(tmp_path: Path, last_year_h: float, kept: bool) -> None:
    """In service from 2020: 300 + 500 + 700 h are 1,500 h in three years."""
    rows = ran({"2020-01-01": 0, "2021-01-01": 300, "2022-01-01": 500, "2023-01-01": last_year_h})
    assert (mean_of(tmp_path, "2022-12-31", rows, "2020-01-01", "hours-new").standing != "overdue") == kept


@pytest.mark.parametrize(
    ("task", "stated", "since", "standings"),
    [
        ("measuring-3-years", {"hours_limited": False}, ({"days": 1096}, {"days": 1097}), ["upcoming", "overdue"]),
        ("measuring-yearly", {"thermal_input_mw": 20.1, "hours_limited": False}, ({"days": 365}, {"days": 366}), ["upcoming", "overdue"]),
        (
            "measuring-by-hours",
            {},
            ({"running_hours": 1500, "days": 900}, {"running_hours": 1500.1, "days": 900}),
            ["upcoming", "overdue"],
        ),
    ],
)
def test_measuring_every_three_years_or_by_hours(
    task: str, stated: Mapping[str, object], since: Sequence[Mapping[str, float]], standings: list[str]
) -> None:
    """Annex III part 1 (from memory): three years, above 20 MW one; of limited hours three times the limit, 1,500 h."""
    engine = {**LIMITED, **stated}
    assert [standing_of(finding_since_last(SET, task, engine, used, as_of="2026-10-31")) for used in since] == standings
