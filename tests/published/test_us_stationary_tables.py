"""40 CFR 63 subpart ZZZZ, tables 2c, 2d and 3, edition of 2015 (read): the hours and the year of each row, as shipped.

The second text of each interval, one year and 30 days from the previous time, is from memory: 89 FR 70505, in force from 30 August
2024 (that day read). Hours are the tables' own, dates are added up here by hand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

import pytest

from intervals.findings import Finding
from tests.published.shipped_sites import Case, check_cases, finding_since_last, governing_figures, judge_by_shipped, shipped, standing_of
from tests.site_maker import done, finding_for, leg_of, meter

AREA, MAJOR = "us-area-source", "us-major-source"
EXISTING = {"constructed": "2004-05-01"}
CI: dict[str, object] = {**EXISTING, "ignition": "compression", "role": "non-emergency"}
SI: dict[str, object] = {**EXISTING, "ignition": "spark", "role": "non-emergency", "waste_gas_pct": 0}
FOUR = {**SI, "cycle": "four-stroke"}
EMERGENCY_CI: dict[str, object] = {**EXISTING, "ignition": "compression", "role": "emergency", "power_hp": 600}
EMERGENCY_SI: dict[str, object] = {**EXISTING, "ignition": "spark", "role": "emergency", "power_hp": 400}


class TableRow(NamedTuple):
    """One row of a table for one engine: the hours of its works, None where it asks for nothing of the kind."""

    number: str
    ruleset: str
    engine: Mapping[str, object]
    ending: str
    oil: int
    air: int | None
    plugs: int | None
    hoses: int

    @property
    def jobs(self) -> list[tuple[str, int]]:
        """The row's tasks with their hours; the filter goes with the oil."""
        works = {
            "oil-change": self.oil,
            "oil-filter": self.oil,
            "air-cleaner": self.air,
            "spark-plugs": self.plugs,
            "hoses-belts": self.hoses,
        }
        return [(f"{work}-{self.ending}", hours) for work, hours in works.items() if hours is not None]


ROWS = [
    TableRow("1.1", AREA, {**CI, "power_hp": 300}, "ci", 1000, 1000, None, 500),
    TableRow("1.2", AREA, EMERGENCY_CI, "emergency-ci", 500, 1000, None, 500),
    TableRow("1.2", AREA, {**EMERGENCY_CI, "role": "black-start", "power_hp": 2000}, "emergency-ci", 500, 1000, None, 500),
    TableRow("1.3", AREA, EMERGENCY_SI, "emergency-si", 500, None, 1000, 500),
    TableRow("1.3", AREA, {**EMERGENCY_SI, "role": "black-start"}, "emergency-si", 500, None, 1000, 500),
    TableRow("1.3", AREA, {**FOUR, "role": "up-to-24-h", "burn": "lean", "power_hp": 501}, "emergency-si", 500, None, 1000, 500),
    TableRow("1.4", AREA, {**SI, "cycle": "two-stroke", "burn": "lean", "power_hp": 800}, "two-stroke", 4320, None, 4320, 4320),
    TableRow("1.5", AREA, {**FOUR, "burn": "lean", "power_hp": 500}, "four-stroke", 1440, None, 1440, 1440),
    TableRow("1.5", AREA, {**FOUR, "burn": "rich", "power_hp": 100, "waste_gas_pct": 9.9}, "four-stroke", 1440, None, 1440, 1440),
    TableRow("1.6", AREA, {**FOUR, "burn": "lean", "power_hp": 501, "remote": True}, "remote", 2160, None, 2160, 2160),
    TableRow("1.6", AREA, {**FOUR, "burn": "rich", "power_hp": 900, "remote": True}, "remote", 2160, None, 2160, 2160),
    TableRow(
        "1.7", AREA, {**FOUR, "burn": "lean", "power_hp": 900, "remote": False, "waste_gas_pct": 10}, "waste-gas", 1440, None, 1440, 1440
    ),
    TableRow("1.8", MAJOR, {**EMERGENCY_CI, "power_hp": 400}, "emergency-ci", 500, 1000, None, 500),
    TableRow("1.8", MAJOR, {**CI, "power_hp": 99}, "ci", 1000, 1000, None, 500),
    TableRow("1.8", MAJOR, EMERGENCY_SI, "emergency-si", 500, None, 1000, 500),
    TableRow("1.8", MAJOR, {**SI, "power_hp": 99, "lean_two_stroke": False}, "si", 1440, None, 1440, 1440),
    TableRow("1.8", MAJOR, {**SI, "power_hp": 99, "lean_two_stroke": True}, "two-stroke", 4320, None, 4320, 4320),
]


def found_for(ruleset: str, past_h: float, days: int, as_of: str) -> list[tuple[str, int | None, Finding | None]]:
    """Return each task of a rule set's rows with its hours, and its finding so much past them (at none, where `past_h` is below zero)."""
    jobs = [(row, task, hours) for row in ROWS if row.ruleset == ruleset for task, hours in row.jobs]
    cases = [Case(task, row.engine, {"running_hours": 0 if past_h < 0 else hours + past_h, "days": days}) for row, task, hours in jobs]
    return [(task, hours, finding) for (_, task, hours), finding in zip(jobs, check_cases(ruleset, cases, as_of), strict=True)]


@pytest.mark.outside("1.1", "1.2", "1.3", "1.4", "1.5", "1.6", "1.7", "1.8")
@pytest.mark.parametrize(("past_h", "standing"), [(0, "upcoming"), (0.1, "overdue")])
@pytest.mark.parametrize("ruleset", [AREA, MAJOR])
def test_every_interval_of_the_tables_by_hours(ruleset: str, past_h: float, standing: str) -> None:
    """At the table's hours the work is still in time, a tenth of an hour later it is overdue."""
    for task, hours, finding in found_for(ruleset, past_h, 200, "2026-06-30"):
        assert (task, *governing_figures(finding)) == (task, standing, (hours or 0) + past_h, hours)


@pytest.mark.outside("1.1", "1.2", "1.3", "1.4", "1.5", "1.6", "1.7", "1.8", "1.9")
@pytest.mark.parametrize(
    ("as_of", "days", "standing", "due"),
    [
        # last done on 1 July: due on 1 July a year later by the 2015 text, on 31 July by the text of 2024
        ("2023-07-01", 365, "upcoming", "2023-07-01"),
        ("2023-07-02", 366, "overdue", "2023-07-01"),
        ("2026-07-31", 395, "upcoming", "2026-07-31"),
        ("2026-08-01", 396, "overdue", "2026-07-31"),
    ],
)
@pytest.mark.parametrize("ruleset", [AREA, MAJOR])
def test_every_interval_of_the_tables_by_the_year(ruleset: str, as_of: str, days: int, standing: str, due: str) -> None:
    """In time all through the due date, overdue the day after."""
    for task, _, finding in found_for(ruleset, -1, days, as_of):
        assert finding is not None
        assert (task, finding.standing, finding.due_on) == (task, standing, due)


@pytest.mark.outside("1.1", "1.2", "1.3", "1.4", "1.5", "1.6", "1.7", "1.8")
@pytest.mark.parametrize("row", ROWS, ids=[f"{row.ruleset}-{row.ending}-{number}" for number, row in enumerate(ROWS)])
def test_an_engine_has_the_work_of_its_own_row_only(tmp_path: Path, row: TableRow) -> None:
    """Of the four columns those that the row fills; no task of another row is for the engine, none is left open."""
    engine = {"in_service": "2026-01-01", "meter_at_start_h": 0, "attributes": {**row.engine, "limited_use": False}}
    findings = judge_by_shipped(tmp_path, row.ruleset, "2026-01-02", [meter("2026-01-02T00:00", 1)], engine=engine).findings
    budgets = {budget.id for budget in shipped(row.ruleset).budgets}
    told = {finding.task for finding in findings} - budgets - {"remote-status-review"}
    assert told == {task for task, _ in row.jobs}
    assert all(finding.standing != "unknown" for finding in findings if finding.task not in budgets)


@pytest.mark.parametrize(
    ("ruleset", "engine"),
    [
        (AREA, {**CI, "power_hp": 301, "remote_alaska": False, "offshore": False}),
        (MAJOR, {**CI, "power_hp": 100}),
        (MAJOR, {**EMERGENCY_SI, "power_hp": 501}),
        (MAJOR, {**EMERGENCY_CI, "power_hp": 501}),
        (MAJOR, {**EMERGENCY_CI, "role": "black-start", "power_hp": 501}),
        (MAJOR, {**SI, "power_hp": 100, "lean_two_stroke": False}),
    ],
)
def test_engines_that_keep_a_limit_or_nothing_have_no_row(tmp_path: Path, ruleset: str, engine: Mapping[str, object]) -> None:
    """Just above the power of a row there is none of its work."""
    stated = {"in_service": "2026-01-01", "meter_at_start_h": 0, "attributes": {**engine, "limited_use": False}}
    other = {"id": "G2", "in_service": "2026-01-01", "attributes": {**EMERGENCY_CI, "power_hp": 100}}
    rows = [meter("2026-01-02T00:00", 1)]
    findings = judge_by_shipped(tmp_path, ruleset, "2026-01-02", rows, engine={}, engines=[{"id": "G1", **stated}, other])
    assert [finding.task for finding in findings.findings if finding.engine == "G1"] == []


@pytest.mark.parametrize("missing", ["ignition", "role", "power_hp", "constructed"])
def test_what_decides_the_row_and_is_not_stated_leaves_it_unknown(missing: str) -> None:
    """Nothing is dropped because an attribute was forgotten."""
    engine = {name: value for name, value in {**CI, "power_hp": 250}.items() if name != missing}
    assert standing_of(finding_since_last(AREA, "oil-change-ci", engine, {"running_hours": 1, "days": 1})) == "unknown"


# Row 4, the oil changed on 1 March 2023 at 1,200.0 h
ROW_4 = {"in_service": "2020-01-01", "meter_at_start_h": 0, "records_from": "2023-03-01", "attributes": EMERGENCY_CI}
CHANGED = done("oil-change-emergency-ci", "2023-03-01T00:00", 1200.0)


@pytest.mark.outside("1.Z1")
def test_z1_ten_hours_before_the_line(tmp_path: Path) -> None:
    """Meter 1,690.0 on 1 December 2023: 10 h left, due at 1,700.0 h or on 1 March 2024."""
    rows = [meter("2023-03-01T00:00", 1200.0), meter("2023-12-01T00:00", 1690.0)]
    findings = judge_by_shipped(tmp_path, AREA, "2023-12-01T00:00", rows, engine=ROW_4, services=[CHANGED])
    finding = finding_for(findings, "oil-change-emergency-ci")
    assert finding.standing in ("in_interval", "upcoming")
    assert (leg_of(finding).remaining, leg_of(finding).allowed) == (10.0, 500.0)
    # 1 March 2023 to 1 March 2024 is 366 days
    assert leg_of(finding, "calendar").allowed == 366.0


@pytest.mark.outside("1.Z2")
def test_z2_a_day_past_its_year(tmp_path: Path) -> None:
    """Meter 1,240.0 on 2 March 2024: overdue by calendar by one day, 460 h left; and the filter with it."""
    rows = [meter("2023-03-01T00:00", 1200.0), meter("2024-03-02T00:00", 1240.0)]
    findings = judge_by_shipped(tmp_path, AREA, "2024-03-02", rows, engine=ROW_4, services=[CHANGED])
    for task in ("oil-change-emergency-ci", "oil-filter-emergency-ci"):
        finding = finding_for(findings, task)
        assert (finding.standing, finding.governing, finding.due_on) == ("overdue", "calendar", "2024-03-01")
        assert finding.past_by is not None
        assert (finding.past_by.value, finding.past_by.unit) == (1.0, "d")
        assert leg_of(finding).remaining == 460.0


@pytest.mark.outside("1.Z2", "1.9")
@pytest.mark.parametrize(
    ("as_of", "days", "standing"), [("2024-03-02", 367, "upcoming"), ("2024-03-31", 396, "upcoming"), ("2024-04-01", 397, "overdue")]
)
def test_z2_under_the_wording_of_2024(as_of: str, days: int, standing: str) -> None:
    """The same case judged by the second text alone, in a rule set based on the shipped one, is in time until 31 March 2024."""
    oil = {"id": "oil-change-emergency-ci", "every": {"running_hours": 500, "calendar": "P1Y30D"}}
    rules = {"ruleset": "later-text", "title": "The text of 2024 alone", "version": "1", "based_on": AREA, "tasks": [oil]}
    case = Case("oil-change-emergency-ci", EMERGENCY_CI, {"running_hours": 40, "days": days})
    (finding,) = check_cases("./rules.yaml", [case], as_of, rules=rules)
    assert finding is not None
    assert (finding.standing, finding.due_on) == (standing, "2024-03-31")


@pytest.mark.outside("1.9", "6.2", "10.8")
@pytest.mark.parametrize(
    ("as_of", "days", "standing", "due"),
    [
        # changed on 29 February 2024: + 1 year = 28 February 2025, + 30 days = 30 March
        ("2025-03-30", 395, "upcoming", "2025-03-30"),
        ("2025-03-31", 396, "overdue", "2025-03-30"),
        # changed on 25 August 2023: overdue by the old text until the new one comes into force on 30 August 2024
        ("2024-08-25", 366, "upcoming", "2024-08-25"),
        ("2024-08-29", 370, "overdue", "2024-08-25"),
        ("2024-08-30", 371, "upcoming", "2024-09-24"),
    ],
)
def test_the_text_in_force_on_the_last_day_counts(as_of: str, days: int, standing: str, due: str) -> None:
    """Each text counts from its own day on; a year and 30 days adds the year first."""
    for ruleset in (AREA, MAJOR):
        engine = {**EMERGENCY_CI, "power_hp": 400}
        finding = finding_since_last(ruleset, "oil-change-emergency-ci", engine, {"running_hours": 40, "days": days}, as_of=as_of)
        assert finding is not None
        assert (finding.standing, finding.due_on) == (standing, due)


@pytest.mark.outside("1.Z3")
@pytest.mark.parametrize(("meter_h", "hoses"), [(500.0, "upcoming"), (500.1, "overdue")])
def test_z3_hoses_and_belts_before_oil(tmp_path: Path, meter_h: float, hoses: str) -> None:
    """Row 1, everything at 0 h on the day the duty began: hoses and belts at 500 h, oil and air cleaner at 1,000 h."""
    engine = {"in_service": "2023-01-01", "meter_at_start_h": 0, "attributes": {**CI, "power_hp": 250}}
    rows = [meter("2023-01-01T00:00", 0), meter("2023-02-01T00:00", meter_h)]
    findings = judge_by_shipped(tmp_path, AREA, "2023-02-01T00:00", rows, engine=engine)
    assert finding_for(findings, "hoses-belts-ci").standing == hoses
    for task in ("oil-change-ci", "oil-filter-ci", "air-cleaner-ci"):
        assert finding_for(findings, task).standing == "in_interval"


@pytest.mark.outside("1.11", "10.7")
@pytest.mark.parametrize(("meter_h", "standing"), [(650.0, "upcoming"), (700.1, "overdue")])
def test_an_emergency_may_delay_the_work(tmp_path: Path, meter_h: float, standing: str) -> None:
    """Footnote 2 to table 2d: deferred at 495 h until the emergency is over at 700 h; the line at 500 h does not move."""
    held = {
        "at": "2023-02-01T00:00",
        "engine": "G1",
        "task": "oil-change-emergency-ci",
        "outcome": "deferred",
        "until_h": 700,
        "approved_by": "shift lead",
    }
    engine = {"in_service": "2023-01-01", "meter_at_start_h": 0, "attributes": EMERGENCY_CI}
    rows = [meter("2023-01-01T00:00", 0), meter("2023-02-01T00:00", 495.0), meter("2023-02-10T00:00", meter_h)]
    finding = finding_for(
        judge_by_shipped(tmp_path, AREA, "2023-02-10T00:00", rows, engine=engine, services=[held]), "oil-change-emergency-ci"
    )
    assert (finding.standing, leg_of(finding).allowed) == (standing, 500.0)


@pytest.mark.outside("10.7")
@pytest.mark.parametrize(
    ("ruleset", "delay", "analysis"),
    [(AREA, "footnote 2 to table 2d", "table 2d footnote 1"), (MAJOR, "footnote 1 to table 2c", "table 2c footnote 2")],
)
def test_footnotes_stand_with_table_and_edition(ruleset: str, delay: str, analysis: str) -> None:
    """Table 2d: the analysis is footnote 1, the delay footnote 2; table 2c has them the other way round."""
    assert delay in (shipped(ruleset).notes or "")
    sources = [task.in_place_of_time.source or "" for task in shipped(ruleset).tasks if task.in_place_of_time and "offshore" not in task.id]
    assert len(sources) > 3
    assert all(f"{analysis}, 2015 edition (read)" in source for source in sources)


@pytest.mark.outside("1.13")
@pytest.mark.parametrize("ruleset", [AREA, MAJOR])
def test_records_and_meter_are_told(ruleset: str) -> None:
    """63.6660: records for five years; 63.6625(f): an hour meter that cannot be reset. Nothing in a log shows either, so notes tell it."""
    notes = " ".join((shipped(ruleset).notes or "").split())
    assert "kept five years (63.6660)" in notes
    assert "hour meter that cannot be reset (63.6625(f))" in notes


PERFORMANCE: Sequence[tuple[str, int, float, str]] = [
    # tested on 10 May 2021 at 12,000 h: due at 20,760 h or on 10 May 2024
    ("2024-05-10", 1096, 5000.0, "upcoming"),
    ("2024-05-11", 1097, 5000.0, "overdue"),
    ("2023-01-10", 610, 8760.0, "upcoming"),
    ("2023-01-10", 610, 8760.1, "overdue"),
]


@pytest.mark.outside("1.14")
@pytest.mark.parametrize(("as_of", "days", "hours", "standing"), PERFORMANCE)
@pytest.mark.parametrize("ruleset", [AREA, MAJOR])
def test_performance_test_every_8760_h_or_three_years(ruleset: str, as_of: str, days: int, hours: float, standing: str) -> None:
    """Table 3 row 4: whichever comes first; an engine of 500 HP has no such test."""
    engine = {**CI, "constructed": "2001-05-01", "power_hp": 501, "limited_use": False, "remote_alaska": False, "offshore": False}
    since = {"running_hours": hours, "days": days}
    cases = [Case("performance-test", engine, since), Case("performance-test", {**engine, "power_hp": 500}, since)]
    tested, small = check_cases(ruleset, cases, as_of)
    assert (standing_of(tested), small) == (standing, None)


@pytest.mark.parametrize(("as_of", "days", "standing"), [("2026-05-10", 1826, "upcoming"), ("2026-05-11", 1827, "overdue")])
def test_performance_test_of_an_engine_of_limited_use(as_of: str, days: int, standing: str) -> None:
    """Table 3 row 5: 8,760 h or five years; 10 May 2021 to 10 May 2026 is 1,826 days."""
    engine = {**CI, "power_hp": 900, "limited_use": True, "remote_alaska": False, "offshore": False}
    assert (
        standing_of(finding_since_last(AREA, "performance-test-limited-use", engine, {"running_hours": 90, "days": days}, as_of=as_of))
        == standing
    )


@pytest.mark.parametrize("ruleset", [AREA, MAJOR])
def test_every_interval_names_its_text(ruleset: str) -> None:
    """What is from memory says so and asks to be confirmed, beside the day that was read."""
    for task in shipped(ruleset).tasks:
        for every in task.every:
            source = every.source or ""
            assert "(read)" in source or "(told)" in source, task.id
            assert "from memory" not in source or "confirm before use" in source, task.id
