"""Ship's auxiliary diesels: surveys, dates and fuel sulphur, through the rule set ship-auxiliary as shipped.

MARPOL Annex VI reg. 5.1 (read): a yearly survey within three months either side of the anniversary; reg. 9.8 (read): an early one moves
the anniversary to at most three months after itself; reg. 14 (told): sulphur limits by sea area and date. MARPOL Annex I reg. 10.2
(read): renewed within three months before the certificate expires, or late, five years from the old expiry; earlier, from the completion.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from intervals.findings import Findings
from tests.published.shipped_sites import judge_by_shipped
from tests.site_maker import Row, done, finding_for, leg_of, meter, skipped_of

SET = "ship-auxiliary"


def surveyed(folder: Path, as_of: str, services: Sequence[Row], *, in_service: str = "2020-06-15") -> Findings:
    """Judge an engine that hardly runs after surveys on the given days."""
    engine = {"in_service": in_service, "meter_at_start_h": 0, "fuel": "diesel", "rated_kw": 800}
    return judge_by_shipped(folder, SET, as_of, [meter(f"{in_service}T12:00", 0)], engine=engine, services=services)


@pytest.mark.outside("5.4")
@pytest.mark.parametrize(
    ("as_of", "standing"),
    [("2021-03-14", "in_interval"), ("2021-03-15", "upcoming"), ("2021-09-15", "upcoming"), ("2021-09-16", "overdue")],
)
def test_a_yearly_survey_has_three_months_either_side(tmp_path: Path, as_of: str, standing: str) -> None:
    """Anniversary 15 June: from 15 March to 15 September."""
    assert finding_for(surveyed(tmp_path, as_of, []), "annual-survey").standing == standing


@pytest.mark.outside("5.4")
@pytest.mark.parametrize("held", ["2021-03-15", "2021-06-15", "2021-09-15", "2021-12-01"])
def test_inside_its_window_and_late_the_anniversary_stays(tmp_path: Path, held: str) -> None:
    """Held early in the window, on the day, late or too late: the next window ends on 15 September 2022."""
    for as_of, standing in [("2022-09-15", "upcoming"), ("2022-09-16", "overdue")]:
        folder = tmp_path / as_of
        assert finding_for(surveyed(folder, as_of, [done("annual-survey", held)]), "annual-survey").standing == standing


@pytest.mark.outside("10.13")
@pytest.mark.parametrize(
    ("held", "due"),
    [
        # anniversary 15 June; held on 20 January 2021 the new one is 20 April, and the next survey is due a year after it
        ("2021-01-20", "2022-04-20"),
        # a day before the window opens: three months later would be 14 June
        ("2021-03-14", "2022-06-14"),
        # in the window it stays
        ("2021-03-15", "2022-06-15"),
    ],
)
def test_an_early_survey_moves_the_anniversary(tmp_path: Path, held: str, due: str) -> None:
    """Annex VI reg. 9.8: to a date at most three months after the survey's completion."""
    assert finding_for(surveyed(tmp_path, "2021-12-01", [done("annual-survey", held)]), "annual-survey").due_on == due


def test_a_survey_before_its_window_is_listed(tmp_path: Path) -> None:
    """Held on 14 March 2021, a day before the window opens: listed as too early, open until the next; on the 15th it is not."""
    for held, kinds in [("2021-03-14", [("too_early", True)]), ("2021-03-15", [])]:
        findings = surveyed(tmp_path / held, "2021-09-16", [done("annual-survey", held)])
        assert [(entry.kind, entry.open) for entry in skipped_of(findings, "annual-survey")] == kinds


@pytest.mark.outside("6.2")
@pytest.mark.parametrize(
    ("in_service", "as_of", "due"),
    [
        # 29 February 2024 + 1 year = 28 February 2025, + 4 years = 29 February 2028: months count from the anchor
        ("2024-02-29", ["2025-02-28", "2026-02-28", "2027-02-28"], "2028-02-29"),
        ("2024-02-29", [], "2025-02-28"),
    ],
)
def test_anniversaries_of_a_leap_day(tmp_path: Path, in_service: str, as_of: list[str], due: str) -> None:
    """The grid counts from its anchor, never from the last result; three months after it the window ends."""
    services = [done("annual-survey", day) for day in as_of]
    last = as_of[-1] if as_of else in_service
    finding = finding_for(surveyed(tmp_path, last, services, in_service=in_service), "annual-survey")
    assert finding.due_on == due


@pytest.mark.outside("5.3")
@pytest.mark.parametrize(
    ("held", "due"),
    [
        # the first certificate expires on 15 June 2025
        ("2025-03-15", "2030-06-15"),
        ("2025-06-15", "2030-06-15"),
        ("2025-08-01", "2030-06-15"),
        ("2025-03-14", "2030-03-14"),
        ("2024-12-01", "2029-12-01"),
    ],
)
def test_five_years_from_the_old_expiry_or_from_an_early_renewal(tmp_path: Path, held: str, due: str) -> None:
    """MARPOL Annex I reg. 10.2."""
    findings = surveyed(tmp_path, "2025-09-01", [done("renewal-survey", held)])
    assert finding_for(findings, "renewal-survey").due_on == due


@pytest.mark.outside("6.3")
@pytest.mark.parametrize(
    ("samples", "due"),
    [
        # quarterly from 30 November 2022: 28 February, 30 May, 30 August, 30 November
        ([], "2023-02-28"),
        (["2023-02-28"], "2023-05-30"),
        (["2023-02-28", "2023-05-30"], "2023-08-30"),
        (["2023-02-28", "2023-05-30", "2023-08-30"], "2023-11-30"),
    ],
)
def test_quarters_count_from_the_anchor(tmp_path: Path, samples: list[str], due: str) -> None:
    """A sample on its grid: the month's end in February does not pull the others forward."""
    services = [done("oil-sample", day) for day in samples]
    findings = surveyed(tmp_path, samples[-1] if samples else "2022-12-01", services, in_service="2022-11-30")
    assert finding_for(findings, "oil-sample").due_on == due


def test_a_renewal_holds_the_yearly_survey(tmp_path: Path) -> None:
    """Renewed on the fifth anniversary: the next yearly survey is due a year later, with its three months."""
    services = [done("annual-survey", f"{year}-06-15") for year in range(2021, 2025)] + [done("renewal-survey", "2025-06-15")]
    finding = finding_for(surveyed(tmp_path, "2025-07-01", services), "annual-survey")
    assert finding.standing == "in_interval"
    # 15 June 2025 to 15 September 2026 is 457 days
    assert leg_of(finding, "calendar").allowed == 457.0


@pytest.mark.outside("2.7")
@pytest.mark.parametrize(
    ("day", "in_area", "sulphur_pct", "kept"),
    [
        # outside emission control areas 3.50 % from 2012, 0.50 % from 2020 on; inside 1.00 % from July 2010, 0.10 % from 2015 on
        ("2012-01-01", 0, 3.51, False),
        ("2011-12-31", 0, 4.5, True),
        ("2011-12-31", 0, 4.51, False),
        ("2010-07-01", 1, 1.01, False),
        ("2010-06-30", 1, 1.5, True),
        ("2010-06-30", 1, 1.51, False),
        ("2020-01-01", 0, 0.51, False),
        ("2019-12-31", 0, 3.5, True),
        ("2019-06-01", 0, 3.5, True),
        ("2019-06-01", 0, 3.51, False),
        ("2020-06-01", 0, 0.5, True),
        ("2020-06-01", 0, 0.51, False),
        ("2014-06-01", 1, 1.0, True),
        ("2014-06-01", 1, 1.01, False),
        ("2015-06-01", 1, 0.1, True),
        ("2015-06-01", 1, 0.11, False),
        ("2020-06-01", 1, 0.1, True),
        ("2020-06-01", 1, 0.5, False),
    ],
)
def test_fuel_sulphur_by_sea_area_and_date(tmp_path: Path, day: str, in_area: int, sulphur_pct: float, kept: bool) -> None:
    """MARPOL Annex VI reg. 14 (told): not one hour above the limit of the sea and the day; six hours are run."""
    engine = {"in_service": "2009-01-01", "meter_at_start_h": 0, "fuel": "diesel", "rated_kw": 800}
    values = {"fuel_sulphur_pct": sulphur_pct, "in_control_area": in_area}
    rows = [meter(f"{day}T00:00", 0, **values), meter(f"{day}T06:00", 6, **values)]
    area = {"in_control_area": {"unit": "count", "kind": "level"}}
    findings = judge_by_shipped(tmp_path, SET, day, rows, engine=engine, quantities=area)
    inside, outside = finding_for(findings, "sulphur-control-area"), finding_for(findings, "sulphur-open-sea")
    asked, other = (inside, outside) if in_area else (outside, inside)
    assert (asked.standing != "overdue") == kept
    assert asked.legs[0].used == (0.0 if kept else 6.0)
    assert other.standing == "in_interval"


def test_before_any_limit_there_is_none(tmp_path: Path) -> None:
    """Annex VI came into force on 19 May 2005 (from memory): the day before, 6 h on 5 % sulphur broke nothing of it."""
    engine = {"in_service": "2005-01-01", "meter_at_start_h": 0, "fuel": "diesel", "rated_kw": 800, "attributes": {"in_control_area": 0}}
    for day, used, allowed in [("2005-05-18", 0.0, None), ("2005-05-19", 6.0, 0.0)]:
        rows = [meter(f"{day}T00:00", 0, fuel_sulphur_pct=5), meter(f"{day}T06:00", 6, fuel_sulphur_pct=5)]
        leg = finding_for(judge_by_shipped(tmp_path / day, SET, day, rows, engine=engine), "sulphur-open-sea").legs[0]
        assert (leg.used, leg.allowed) == (used, allowed)


def test_the_day_of_the_first_hour_above_the_limit_is_named(tmp_path: Path) -> None:
    """Good fuel until noon, 1.0 % from then on, outside control areas: six hours too many, since that day."""
    engine = {"in_service": "2012-01-01", "meter_at_start_h": 0, "fuel": "diesel", "rated_kw": 800, "attributes": {"in_control_area": 0}}
    rows = [
        meter("2026-03-01T00:00", 0, fuel_sulphur_pct=0.4),
        meter("2026-03-01T12:00", 12, fuel_sulphur_pct=0.4),
        meter("2026-03-01T18:00", 18, fuel_sulphur_pct=1.0),
    ]
    finding = finding_for(judge_by_shipped(tmp_path, SET, "2026-03-01", rows, engine=engine), "sulphur-open-sea")
    assert (finding.standing, finding.legs[0].used, finding.legs[0].allowed) == ("overdue", 6.0, 0.0)
    assert finding.crossed_at is not None
    assert finding.crossed_at.startswith("2026-03-01")


def test_fuel_that_nobody_analysed_leaves_it_unknown(tmp_path: Path) -> None:
    """Hours whose sulphur is not known may have been above the limit."""
    engine = {"in_service": "2026-01-01", "meter_at_start_h": 0, "fuel": "diesel", "rated_kw": 800, "attributes": {"in_control_area": 0}}
    rows = [meter("2026-03-01T00:00", 0), meter("2026-03-01T12:00", 12)]
    assert finding_for(judge_by_shipped(tmp_path, SET, "2026-03-01", rows, engine=engine), "sulphur-open-sea").standing == "unknown"
