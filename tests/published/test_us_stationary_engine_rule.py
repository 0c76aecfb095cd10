"""40 CFR part 63 subpart ZZZZ (2015 edition, read): hours of operation or annually, whichever comes first.

Table 2d, area sources, written as a rule set; a site folder goes in, findings come out. Nothing here is legal advice.
The later wording "within 1 year + 30 days of the previous change" (89 FR 70505, 30 August 2024) is from memory, not confirmed.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from intervals.findings import Amount, Finding
from tests.site_maker import done, finding_for, judge, leg_of, meter, rule, task

SOURCE = "40 CFR part 63 subpart ZZZZ, table 2d (2015 edition)"

# Table 2d: hours by row and work (read); None where the row asks for nothing of the kind
TABLE_2D: dict[str, dict[str, float | None]] = {
    "1": {"oil": 1000, "air-cleaner": 1000, "plugs": None, "hoses": 500},
    "4": {"oil": 500, "air-cleaner": 1000, "plugs": None, "hoses": 500},
    "5": {"oil": 500, "air-cleaner": None, "plugs": 1000, "hoses": 500},
    "6": {"oil": 4320, "air-cleaner": None, "plugs": 4320, "hoses": 4320},
    "7": {"oil": 1440, "air-cleaner": None, "plugs": 1440, "hoses": 1440},
    "8": {"oil": 2160, "air-cleaner": None, "plugs": 2160, "hoses": 2160},
    "13": {"oil": 1440, "air-cleaner": None, "plugs": 1440, "hoses": 1440},
}
WORKS = ("oil", "air-cleaner", "plugs", "hoses")


def tasks_of_table(calendar: str = "P1Y") -> list[dict[str, object]]:
    """Return the table as tasks: one for each row and work, for engines that state their row."""
    return [
        task(f"{work}-row-{row}", applies_to={"table_2d_row": row}, every={"running_hours": hours, "calendar": calendar}, source=SOURCE)
        for row, works in TABLE_2D.items()
        for work, hours in works.items()
        if hours is not None
    ]


def in_row(
    folder: Path, row: str, as_of: str, meter_h: float, *, done_at_h: float, done_on: str, calendar: str = "P1Y"
) -> dict[str, Finding]:
    """Judge an engine of a row: everything done on one day at one reading, and one reading at the moment of judging."""
    works = [work for work in WORKS if TABLE_2D[row][work] is not None]
    services = [done(f"{work}-row-{row}", f"{done_on}T00:00", done_at_h) for work in works]
    rows = [meter(f"{done_on}T00:00", done_at_h), meter(f"{as_of}T12:00", meter_h)]
    engine = {"attributes": {"table_2d_row": row}}
    findings = judge(folder, as_of, tasks_of_table(calendar), rows, engine=engine, services=services)
    return {work: finding_for(findings, f"{work}-row-{row}") for work in works}


@pytest.mark.parametrize("row", sorted(TABLE_2D))
def test_a_row_asks_for_its_works_at_its_hours(tmp_path: Path, row: str) -> None:
    """An engine of a row has the tasks of that row and no others, each with its hours and a year."""
    found = in_row(tmp_path, row, "2023-06-01", 1210, done_at_h=1200, done_on="2023-03-01")
    assert {work: leg_of(finding).allowed for work, finding in found.items()} == {
        work: hours for work, hours in TABLE_2D[row].items() if hours is not None
    }
    # 1 March 2023 to 1 March 2024 are 366 d
    assert {leg_of(finding, "calendar").allowed for finding in found.values()} == {366.0}
    assert {finding.reasons[0].source for finding in found.values()} == {SOURCE}


def test_z1_ten_hours_are_left(tmp_path: Path) -> None:
    """Z1 (worked): row 4, oil changed 2023-03-01 at 1,200.0 h; on 2023-12-01 at 1,690.0 h: 10 h left, due at 1,700.0 h or 2024-03-01."""
    finding = in_row(tmp_path, "4", "2023-12-01", 1690.0, done_at_h=1200.0, done_on="2023-03-01")["oil"]
    assert finding.standing in ("in_interval", "upcoming")
    hours, calendar = leg_of(finding), leg_of(finding, "calendar")
    assert hours.remaining == 10.0
    # 1,690 + 10 = 1,700 h; from 1 December 2023 to 1 March 2024 are 91 d
    assert calendar.remaining == 91.0


def test_z2_overdue_by_one_day_of_the_calendar(tmp_path: Path) -> None:
    """Z2 (worked): the same; on 2024-03-02 at 1,240.0 h: overdue by calendar, one day; 460 h left."""
    finding = in_row(tmp_path, "4", "2024-03-02", 1240.0, done_at_h=1200.0, done_on="2023-03-01")["oil"]
    assert (finding.standing, finding.governing, finding.due_on) == ("overdue", "calendar", "2024-03-01")
    assert (finding.past_by, finding.crossed_at) == (Amount(value=1.0, unit="d"), "2024-03-02T00:00:00+00:00")
    assert leg_of(finding).remaining == 460.0


def test_z2_in_time_through_the_due_date(tmp_path: Path) -> None:
    """Z2 a day earlier: through 1 March 2024 it may be done."""
    finding = in_row(tmp_path, "4", "2024-03-01", 1240.0, done_at_h=1200.0, done_on="2023-03-01")["oil"]
    assert (finding.standing, finding.governing) == ("upcoming", "calendar")


@pytest.mark.parametrize(("as_of", "standing"), [("2024-03-31", "upcoming"), ("2024-04-01", "overdue")])
def test_z2_under_the_2024_wording(tmp_path: Path, as_of: str, standing: str) -> None:
    """Z2 (worked): one year and 30 days, in time until 2024-03-31 (the wording from memory)."""
    rows = [meter("2023-03-01T00:00", 1200.0), meter("2024-04-03T00:00", 1240.0)]
    oil = task(every={"running_hours": 500, "calendar": "P1Y30D"}, source=SOURCE)
    finding = finding_for(judge(tmp_path, as_of, [oil], rows, services=[done("oil", "2023-03-01T00:00", 1200.0)]))
    assert finding.standing == standing


def test_the_wordings_are_dated_values(tmp_path: Path) -> None:
    """2024-02-29 + 1 year = 2025-02-28, + 30 days = 2025-03-30 (worked): what is in force on the last day counts."""
    every: list[Mapping[str, object]] = [
        {"in_force_from": "2013-05-03", "running_hours": 500, "calendar": "P1Y", "source": "2013 wording"},
        {"in_force_from": "2024-10-29", "running_hours": 500, "calendar": "P1Y30D", "source": "2024 wording"},
    ]
    rows = [meter("2024-02-29T00:00", 0), meter("2025-05-01T00:00", 10)]
    services = [done("oil", "2024-02-29T00:00")]
    before = finding_for(judge(tmp_path / "a", "2024-10-28", [task(every=every)], rows, services=services))
    after = finding_for(judge(tmp_path / "b", "2025-03-30", [task(every=every)], rows, services=services))
    past = finding_for(judge(tmp_path / "c", "2025-03-31", [task(every=every)], rows, services=services))
    # to 2025-02-28 are 365 d, to 2025-03-30 395 d
    assert [leg_of(finding, "calendar").allowed for finding in (before, after, past)] == [365.0, 395.0, 395.0]
    assert [finding.standing for finding in (after, past)] == ["upcoming", "overdue"]


@pytest.mark.parametrize(("meter_h", "hoses"), [(500.0, "upcoming"), (500.1, "overdue")])
def test_z3_at_the_line_then_past_it(tmp_path: Path, meter_h: float, hoses: str) -> None:
    """Z3 (worked): row 1, everything at 0 h; at 500.0 h hoses and belts are at the line, at 500.1 h past it; oil and air cleaner not."""
    found = in_row(tmp_path, "1", "2023-06-01", meter_h, done_at_h=0.0, done_on="2023-03-01")
    assert {work: finding.standing for work, finding in found.items()} == {
        "oil": "in_interval",
        "air-cleaner": "in_interval",
        "hoses": hoses,
    }


@pytest.mark.parametrize(
    ("as_of", "meter_h", "governing", "standing"),
    [
        ("2023-05-10", 20760.0, "running_hours", "upcoming"),
        ("2023-05-10", 20760.1, "running_hours", "overdue"),
        ("2024-05-10", 13000.0, "calendar", "upcoming"),
        ("2024-05-11", 13000.0, "calendar", "overdue"),
    ],
)
def test_a_performance_test_every_8760_hours_or_three_years(
    tmp_path: Path, as_of: str, meter_h: float, governing: str, standing: str
) -> None:
    """Table 3 (read): tested 2021-05-10 at 12,000 h, due at 20,760 h or 2024-05-10."""
    test = task("performance-test", every={"running_hours": 8760, "calendar": "P3Y"}, source="40 CFR part 63 subpart ZZZZ, table 3")
    rows = [meter("2021-05-10T00:00", 12000.0), meter(f"{as_of}T23:00", meter_h)]
    findings = judge(tmp_path, as_of, [test], rows, services=[done("performance-test", "2021-05-10T00:00", 12000.0)])
    finding = finding_for(findings, "performance-test")
    assert (finding.governing, finding.standing) == (governing, standing)


def test_an_engine_that_does_not_state_its_row_is_unknown(tmp_path: Path) -> None:
    """Never dropped: every task of the table is unknown until the site says which row the engine belongs to."""
    engines = [{"id": "G1"}, {"id": "G2", "attributes": {"table_2d_row": "4"}}]
    findings = judge(tmp_path, "2023-12-01", tasks_of_table(), [meter("2023-03-01T00:00", 0)], engines=engines)
    assert {finding.standing for finding in findings.findings if finding.engine == "G1"} == {"unknown"}


def test_an_emergency_may_delay_the_work_by_an_approved_deferral(tmp_path: Path) -> None:
    """Footnote (read): an emergency under way may delay the work; it is done as soon as practicable after. The line does not move."""
    rows = [meter("2023-03-01T00:00", 1200), meter("2024-03-10T00:00", 1240)]
    deferral = {
        "at": "2024-03-01T08:00",
        "engine": "G1",
        "task": "oil",
        "outcome": "deferred",
        "approved_by": "station engineer",
        "until_date": "2024-03-08",
    }
    oil = task(every={"running_hours": 500, "calendar": "P1Y"})
    services = [done("oil", "2023-03-01T00:00", 1200), deferral]
    held = finding_for(judge(tmp_path / "a", "2024-03-08", [oil], rows, services=services))
    ended = finding_for(judge(tmp_path / "b", "2024-03-09", [oil], rows, services=services))
    assert (held.standing, ended.standing) == ("upcoming", "overdue")
    assert leg_of(held, "calendar").allowed == 366.0


def test_a_named_rule_fires_with_its_source(tmp_path: Path) -> None:
    """Row 13 (read): landfill or digester gas of 10 % or more of the yearly heat input has an interval of its own, 1,440 h."""
    gas = rule("digester-gas", {"digester_gas_pct": {"at_least": 10}}, interval_becomes={"running_hours": 1440}, source="table 2d, row 13")
    rows = [meter("2023-03-01T00:00", 0), meter("2023-06-01T00:00", 100)]
    for share, allowed in ((10, 1440.0), (9.9, 2160.0)):
        findings = judge(
            tmp_path / str(share), "2023-05-31", [task(every={"running_hours": 2160, "calendar": "P1Y"})], rows,
            engine={"attributes": {"digester_gas_pct": share}}, services=[done("oil", "2023-03-01T00:00")], rules={"adjustments": [gas]},
        )  # fmt: skip
        assert leg_of(finding_for(findings)).allowed == allowed
