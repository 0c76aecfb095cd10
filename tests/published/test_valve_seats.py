"""Valve seats of 41 diesel engines, 48 replacements: Meeker & Escobar, Statistical Methods for Reliability Data (1998), table C.8.

The days are those of the data set `valveSeat` of R's package survival, from memory; the mean cumulative replacements that they give are
read: 0.1463 at 100 days, 0.4634 at 300, 1.5427 at the end. Each replacement is a service record; a budget counts them.
"""

from __future__ import annotations

from datetime import date, timedelta
from functools import cache
from pathlib import Path

import pytest

from tests.published.shipped_sites import check_site
from tests.site_maker import Row, task

# the days of each engine's replacements, and last of all the day on which it was last seen
SEATS = [
    [761], [759], [98, 667], [326, 653, 653, 667], [665], [84, 667], [87, 663], [646, 653], [92, 653], [651], [258, 328, 377, 621, 650],
    [61, 539, 648], [254, 276, 298, 640, 644], [76, 538, 642], [635, 641], [349, 404, 561, 649], [631], [596], [120, 479, 614],
    [323, 449, 582], [139, 139, 589], [593], [573, 589], [165, 408, 604, 606], [249, 594], [344, 497, 613], [265, 586, 595],
    [166, 206, 348, 389], [601], [410, 581, 601], [611], [608], [587], [367, 603], [202, 563, 570, 585], [587], [578], [578], [586], [585],
    [582],
]  # fmt: skip
START = date(2024, 1, 1)


@cache
def replaced_by(folder: Path, day: int) -> tuple[int, ...]:
    """Return how many seats each engine has had replaced by a day of its life, as a check counts them."""
    engines, services, rows = [], [], []
    for number, seen in enumerate(SEATS):
        engine = f"E{number}"
        engines.append({"id": engine, "in_service": START.isoformat(), "meter_at_start_h": 0})
        rows.append({"at": START.isoformat() + "T00:00", "engine": engine, "hour_meter_h": 0})
        for place, after in enumerate(seen[:-1]):
            # two seats of one day are two records, hours apart
            at = f"{START + timedelta(days=after)}T{10 + place:02d}:00"
            services.append({"at": at, "engine": engine, "task": "valve-seat", "outcome": "done", "hours_h": 1})
    counted = {"id": "seats", "title": "Seats replaced", "of": {"records": ["valve-seat"]}, "at_most": 100, "per": "P10Y"}
    seat: list[Row] = [task("valve-seat", every={"calendar": "P10Y"})]
    findings = check_site(
        folder, (START + timedelta(days=day)).isoformat(), seat, rows, engines=engines, services=services, rules={"budgets": [counted]}
    )
    return tuple(round(finding.legs[0].used or 0) for finding in findings.findings if finding.task == "seats")


@pytest.mark.outside("9.5")
@pytest.mark.parametrize(("day", "mean"), [(100, 0.1463), (300, 0.4634)])
def test_mean_replacements_while_all_engines_are_seen(tmp_path: Path, day: int, mean: float) -> None:
    """No engine was lost sight of before day 389: the sum of all over 41."""
    assert round(sum(replaced_by(tmp_path, day)) / 41, 4) == mean


@pytest.mark.outside("9.5")
def test_mean_replacements_at_the_end(tmp_path: Path) -> None:
    """89 rows, 48 replacements; each day's number over the engines still seen then, added up: 1.5427."""
    assert (sum(len(seen) for seen in SEATS), sum(replaced_by(tmp_path, 761))) == (89, 48)
    days = sorted({day for seen in SEATS for day in seen[:-1]})
    increments = [sum(seen[:-1].count(day) for seen in SEATS) / sum(seen[-1] >= day for seen in SEATS) for day in days]
    assert round(sum(increments), 4) == 1.5427
