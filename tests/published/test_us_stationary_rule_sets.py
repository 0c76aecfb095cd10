"""US stationary engines: 40 CFR 63 subpart ZZZZ, tables 2c, 2d and 3 (2015 edition, read), through the rule sets as shipped.

The second text of each interval, one year and 30 days from the previous time, is from memory: 89 FR 70505, in effect on 30 August
2024. Hours and dates are the tables' own or are added up here by hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from intervals.findings import Findings
from tests.published.shipped_sites import finding_since_last, governing_figures, judge_by_shipped, shipped
from tests.site_maker import Row, done, finding_for, leg_of, meter

AREA, MAJOR = "us-area-source", "us-major-source"
CI: dict[str, object] = {"ignition": "compression", "role": "non-emergency"}
SI: dict[str, object] = {"ignition": "spark", "role": "non-emergency", "waste_gas_pct": 0}
FOUR = {**SI, "cycle": "four-stroke"}
EMERGENCY_CI = {"ignition": "compression", "role": "emergency", "power_hp": 600}
# rule set, engine, ids end in, hours for oil and filter, air cleaner, spark plugs, hoses and belts
ROWS: list[tuple[str, Mapping[str, object], str, int, int | None, int | None, int]] = [
    (AREA, {**CI, "power_hp": 300}, "ci", 1000, 1000, None, 500),
    (AREA, EMERGENCY_CI, "emergency-ci", 500, 1000, None, 500),
    (AREA, {"ignition": "compression", "role": "black-start", "power_hp": 2000}, "emergency-ci", 500, 1000, None, 500),
    (AREA, {"ignition": "spark", "role": "emergency"}, "emergency-si", 500, None, 1000, 500),
    (AREA, {"ignition": "spark", "role": "black-start"}, "emergency-si", 500, None, 1000, 500),
    (AREA, {**FOUR, "role": "up-to-24-h", "burn": "lean", "power_hp": 501}, "emergency-si", 500, None, 1000, 500),
    (AREA, {**SI, "cycle": "two-stroke", "burn": "lean", "power_hp": 800}, "two-stroke", 4320, None, 4320, 4320),
    (AREA, {**FOUR, "burn": "lean", "power_hp": 500}, "four-stroke", 1440, None, 1440, 1440),
    (AREA, {**FOUR, "burn": "rich", "power_hp": 100, "waste_gas_pct": 9.9}, "four-stroke", 1440, None, 1440, 1440),
    (AREA, {**FOUR, "burn": "lean", "power_hp": 501, "remote": True}, "remote", 2160, None, 2160, 2160),
    (AREA, {**FOUR, "burn": "rich", "power_hp": 900, "remote": True}, "remote", 2160, None, 2160, 2160),
    (AREA, {**FOUR, "burn": "lean", "power_hp": 900, "waste_gas_pct": 10}, "waste-gas", 1440, None, 1440, 1440),
    (MAJOR, {**EMERGENCY_CI, "power_hp": 400}, "emergency-ci", 500, 1000, None, 500),
    (MAJOR, {**CI, "power_hp": 99}, "ci", 1000, 1000, None, 500),
    (MAJOR, {"ignition": "spark", "role": "emergency", "power_hp": 400}, "emergency-si", 500, None, 1000, 500),
    (MAJOR, {"ignition": "spark", "role": "non-emergency", "power_hp": 99, "lean_two_stroke": False}, "si", 1440, None, 1440, 1440),
    (MAJOR, {"ignition": "spark", "role": "non-emergency", "power_hp": 99, "lean_two_stroke": True}, "two-stroke", 4320, None, 4320, 4320),
]
JOBS = [
    (ruleset, engine, f"{job}-{ending}", hours)
    for ruleset, engine, ending, oil, air, plugs, hoses in ROWS
    for job, hours in (("oil-change", oil), ("oil-filter", oil), ("air-cleaner", air), ("spark-plugs", plugs), ("hoses-belts", hoses))
    if hours is not None
]
ALL_JOBS = {ruleset: {task.id for task in shipped(ruleset).tasks} for ruleset in (AREA, MAJOR)}


@pytest.mark.parametrize(("ruleset", "engine", "task", "hours"), JOBS)
def test_every_interval_of_the_tables_by_hours(ruleset: str, engine: Mapping[str, object], task: str, hours: int) -> None:
    """At the table's hours the work is still in time, a tenth of an hour later it is overdue."""
    assert governing_figures(finding_since_last(ruleset, task, engine, {"running_hours": hours, "days": 200})) == ("upcoming", hours, hours)
    past = finding_since_last(ruleset, task, engine, {"running_hours": hours + 0.1, "days": 200})
    assert governing_figures(past) == ("overdue", hours + 0.1, hours)


@pytest.mark.parametrize(("ruleset", "engine", "task", "hours"), JOBS)
def test_every_interval_of_the_tables_by_the_year(ruleset: str, engine: Mapping[str, object], task: str, hours: int) -> None:
    """Last done on 1 July: due on 1 July a year later by the 2015 text, on 31 July by the text of 2024."""
    del hours
    for as_of, days, standing, due in [
        ("2023-07-01", 365, "upcoming", "2023-07-01"),
        ("2023-07-02", 366, "overdue", "2023-07-01"),
        ("2026-07-31", 395, "upcoming", "2026-07-31"),
        ("2026-08-01", 396, "overdue", "2026-07-31"),
    ]:
        finding = finding_since_last(ruleset, task, engine, {"running_hours": 0, "days": days}, as_of=as_of)
        assert finding is not None
        assert (finding.standing, finding.due_on) == (standing, due)


@pytest.mark.parametrize(("ruleset", "engine", "ending", "oil", "air", "plugs", "hoses"), ROWS)
def test_an_engine_has_the_work_of_its_own_row_only(
    ruleset: str, engine: Mapping[str, object], ending: str, oil: int, air: int | None, plugs: int | None, hoses: int
) -> None:
    """Of the four columns those that the row fills; no task of another row is for the engine, none is left open."""
    del oil, hoses
    jobs = ["oil-change", "oil-filter", *(["air-cleaner"] if air else []), *(["spark-plugs"] if plugs else []), "hoses-belts"]
    told = {**engine, "limited_use": False}
    fitting = {task for task in ALL_JOBS[ruleset] if finding_since_last(ruleset, task, told, {"running_hours": 1, "days": 1}) is not None}
    assert fitting - {"performance-test"} == {f"{job}-{ending}" for job in jobs}


@pytest.mark.parametrize(
    ("ruleset", "engine"),
    [
        (AREA, {**CI, "power_hp": 301}),
        (AREA, {**FOUR, "burn": "lean", "power_hp": 501, "remote": False}),
        (MAJOR, {**CI, "power_hp": 100}),
        (MAJOR, {"ignition": "spark", "role": "emergency", "power_hp": 501}),
        (MAJOR, {"ignition": "spark", "role": "non-emergency", "power_hp": 100, "lean_two_stroke": False}),
    ],
)
def test_engines_that_keep_a_limit_or_nothing_have_no_row(ruleset: str, engine: Mapping[str, object]) -> None:
    """Just above the power of a row there is none of its work."""
    told = {**engine, "limited_use": False}
    assert all(finding_since_last(ruleset, task, told, {"running_hours": 1, "days": 1}) is None for task in ALL_JOBS[ruleset])


@pytest.mark.parametrize("missing", ["ignition", "role", "power_hp"])
def test_what_decides_the_row_and_is_not_stated_leaves_it_unknown(missing: str) -> None:
    """Nothing is dropped because an attribute was forgotten."""
    engine = {name: value for name, value in {**CI, "power_hp": 250}.items() if name != missing}
    finding = finding_since_last(AREA, "oil-change-ci", engine, {"running_hours": 1, "days": 1})
    assert finding is not None
    assert finding.standing == "unknown"


# Row 4, the oil changed on 1 March 2023 at 1,200.0 h
ROW_4 = {"in_service": "2020-01-01", "meter_at_start_h": 0, "records_from": "2023-03-01", "attributes": EMERGENCY_CI}
CHANGED = done("oil-change-emergency-ci", "2023-03-01T00:00", 1200.0)


def test_z1_ten_hours_before_the_line(tmp_path: Path) -> None:
    """Meter 1,690.0 on 1 December 2023: 10 h left, due at 1,700.0 h or on 1 March 2024."""
    rows = [meter("2023-03-01T00:00", 1200.0), meter("2023-12-01T00:00", 1690.0)]
    findings = judge_by_shipped(tmp_path, AREA, "2023-12-01T00:00", rows, engine=ROW_4, services=[CHANGED])
    finding = finding_for(findings, "oil-change-emergency-ci")
    assert finding.standing in ("in_interval", "upcoming")
    assert leg_of(finding).remaining == 10.0
    assert leg_of(finding).allowed == 500.0
    # 1 March 2023 to 1 March 2024 is 366 days
    assert leg_of(finding, "calendar").allowed == 366.0


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


def test_z2_under_the_wording_of_2024() -> None:
    """The same case judged by the second text alone is in time until 31 March 2024."""
    ruleset = shipped(AREA)
    tasks = tuple(task.model_copy(update={"every": (task.every[-1].model_copy(update={"in_force_from": None}),)}) for task in ruleset.tasks)
    later = ruleset.model_copy(update={"tasks": tasks})
    for as_of, days, standing in [("2024-03-02", 367, "upcoming"), ("2024-03-31", 396, "upcoming"), ("2024-04-01", 397, "overdue")]:
        finding = finding_since_last(later, "oil-change-emergency-ci", EMERGENCY_CI, {"running_hours": 40, "days": days}, as_of=as_of)
        assert finding is not None
        assert (finding.standing, finding.due_on) == (standing, "2024-03-31")


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
        finding = finding_since_last(ruleset, "oil-change-emergency-ci", EMERGENCY_CI, {"running_hours": 40, "days": days}, as_of=as_of)
        assert finding is not None
        assert (finding.standing, finding.due_on) == (standing, due)


@pytest.mark.parametrize(("meter_h", "hoses"), [(500.0, "upcoming"), (500.1, "overdue")])
def test_z3_hoses_and_belts_before_oil(tmp_path: Path, meter_h: float, hoses: str) -> None:
    """Row 1, everything at 0 h: hoses and belts at 500 h, oil and air cleaner at 1,000 h."""
    engine = {"in_service": "2023-01-01", "meter_at_start_h": 0, "attributes": {**CI, "power_hp": 250}}
    rows = [meter("2023-01-01T00:00", 0), meter("2023-02-01T00:00", meter_h)]
    findings = judge_by_shipped(tmp_path, AREA, "2023-02-01T00:00", rows, engine=engine)
    assert finding_for(findings, "hoses-belts-ci").standing == hoses
    for task in ("oil-change-ci", "oil-filter-ci", "air-cleaner-ci"):
        assert finding_for(findings, task).standing == "in_interval"


def test_an_emergency_may_delay_the_work(tmp_path: Path) -> None:
    """Deferred at 495 h until the emergency is over at 700 h: upcoming at 650 h, overdue past 700 h (footnote to the tables)."""
    held = {
        "at": "2023-02-01T00:00",
        "engine": "G1",
        "task": "oil-change-emergency-ci",
        "outcome": "deferred",
        "until_h": 700,
        "approved_by": "shift lead",
    }
    engine = {"in_service": "2023-01-01", "meter_at_start_h": 0, "attributes": EMERGENCY_CI}
    for meter_h, standing in [(650.0, "upcoming"), (700.1, "overdue")]:
        rows = [meter("2023-01-01T00:00", 0), meter("2023-02-01T00:00", 495.0), meter("2023-02-10T00:00", meter_h)]
        folder = tmp_path / standing
        findings = judge_by_shipped(folder, AREA, "2023-02-10T00:00", rows, engine=engine, services=[held])
        assert finding_for(findings, "oil-change-emergency-ci").standing == standing


@pytest.mark.parametrize(
    ("as_of", "days", "hours", "standing"),
    [
        # tested on 10 May 2021 at 12,000 h: due at 20,760 h or on 10 May 2024
        ("2024-05-10", 1096, 5000.0, "upcoming"),
        ("2024-05-11", 1097, 5000.0, "overdue"),
        ("2023-01-10", 610, 8760.0, "upcoming"),
        ("2023-01-10", 610, 8760.1, "overdue"),
    ],
)
@pytest.mark.parametrize("ruleset", [AREA, MAJOR])
def test_performance_test_every_8760_h_or_three_years(ruleset: str, as_of: str, days: int, hours: float, standing: str) -> None:
    """Table 3 row 4, and 40 CFR 60.4211(g)(3): whichever comes first."""
    engine = {**CI, "power_hp": 501, "limited_use": False}
    finding = finding_since_last(ruleset, "performance-test", engine, {"running_hours": hours, "days": days}, as_of=as_of)
    assert finding is not None
    assert finding.standing == standing
    assert finding_since_last(ruleset, "performance-test", {**engine, "power_hp": 500}, {"running_hours": hours, "days": days}) is None


def test_performance_test_of_an_engine_of_limited_use() -> None:
    """Table 3 row 5: 8,760 h or five years; 10 May 2021 to 10 May 2026 is 1,826 days."""
    engine = {**CI, "power_hp": 900, "limited_use": True}
    for as_of, days, standing in [("2026-05-10", 1826, "upcoming"), ("2026-05-11", 1827, "overdue")]:
        since = {"running_hours": 90, "days": days}
        assert governing_figures(finding_since_last(AREA, "performance-test-limited-use", engine, since, as_of=as_of))[0] == standing


@pytest.mark.parametrize("ruleset", [AREA, MAJOR])
def test_every_interval_names_its_text(ruleset: str) -> None:
    """The first text is one that was read; what is from memory says so and asks to be confirmed."""
    for task in shipped(ruleset).tasks:
        first, *later = [every.source or task.source or "" for every in task.every]
        assert "(read)" in first
        assert all("from memory: confirm before use" in source for source in later)


def ran_for(task: str, at: str, hours: float) -> Row:
    """Return a service record of a run with its hours."""
    return {"at": at, "engine": "G1", "task": task, "outcome": "done", "hours_h": hours}


def year_of_emergency_engine(folder: Path, as_of: str, records: list[Row], *, ruleset: str = AREA) -> Findings:
    """Judge an emergency engine that ran 400 h in an emergency beside the runs on record."""
    engine = {"in_service": "2023-01-01", "meter_at_start_h": 0, "attributes": {**EMERGENCY_CI, "power_hp": 400}}
    rows = [meter("2023-01-01T00:00", 0), meter("2023-09-01T00:00", 400.0)]
    return judge_by_shipped(folder, ruleset, as_of, rows, engine=engine, services=records)


def used_of_budget(findings: Findings, budget: str) -> tuple[bool, float | None, float | None]:
    """Return whether a budget was kept, what was used and what was allowed."""
    finding = finding_for(findings, budget)
    return finding.standing != "overdue", finding.legs[0].used, finding.legs[0].allowed


@pytest.mark.parametrize("ruleset", [AREA, MAJOR])
@pytest.mark.parametrize(
    ("tests_h", "other_h", "kept", "other_kept"),
    [
        (60, 35, True, True),  # Z11: 95 h of 100; 400 h of emergency do not count
        (60, 45, False, True),  # Z12: 105 h
        (50, 50, True, True),
        (40, 50.1, True, False),
        (100, 0, True, True),
        (100.1, 0, False, True),
    ],
)
def test_z11_z12_hours_of_an_emergency_engine(
    tmp_path: Path, ruleset: str, tests_h: float, other_h: float, kept: bool, other_kept: bool
) -> None:
    """63.6640(f): 100 h a calendar year for checks and tests, of which up to 50 h non-emergency use; emergency hours unlimited."""
    records = [ran_for("test-run", "2023-05-01", tests_h), ran_for("non-emergency-run", "2023-06-01", other_h)]
    findings = year_of_emergency_engine(tmp_path, "2023-12-31", records, ruleset=ruleset)
    assert used_of_budget(findings, "tests-and-other-hours") == (kept, round(tests_h + other_h, 6), 100.0)
    assert used_of_budget(findings, "non-emergency-hours") == (other_kept, other_h, 50.0)


def test_z14_the_year_restarts(tmp_path: Path) -> None:
    """90 h of tests by 31 December, 15 h on 1 January: within, in either year."""
    records = [ran_for("test-run", "2023-12-30", 90), ran_for("test-run", "2024-01-01T10:00", 15)]
    for as_of, used in [("2023-12-31", 90.0), ("2024-01-01", 15.0)]:
        findings = year_of_emergency_engine(tmp_path / as_of, as_of, records)
        assert used_of_budget(findings, "tests-and-other-hours") == (True, used, 100.0)


@pytest.mark.parametrize(("hours", "kept"), [(24.0, True), (24.1, False)])
def test_a_four_stroke_of_row_5_runs_up_to_24_h_a_year(tmp_path: Path, hours: float, kept: bool) -> None:
    """Table 2d row 5: beyond 24 h in a calendar year it belongs elsewhere; the year before does not count."""
    engine = {
        "in_service": "2022-01-01",
        "meter_at_start_h": 0,
        "attributes": {**FOUR, "role": "up-to-24-h", "burn": "lean", "power_hp": 900},
    }
    rows = [meter("2022-01-01T00:00", 0), meter("2023-01-01T00:00", 20.0), meter("2023-06-01T00:00", 20.0 + hours)]
    findings = judge_by_shipped(tmp_path, AREA, "2023-06-01", rows, engine=engine)
    assert used_of_budget(findings, "twenty-four-hours") == (kept, hours, 24.0)


def judged_sample(
    folder: Path, engine: Mapping[str, object], columns: str, values: str, *, as_of: str = "2023-06-15", ran_after_h: float = 0.0
) -> Findings:
    """Judge an engine at 480 h whose oil was sampled on 1 June 2023, with the result on Friday 9 June."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "lab.csv").write_text(
        f"at,engine,kind,result_at,{columns}\n2023-06-01T10:00,G1,oil-analysis,2023-06-09,{values}\n", encoding="utf-8"
    )
    rows = [meter("2023-01-01T00:00", 0), meter("2023-06-01T00:00", 480.0), meter("2023-06-10T00:00", 480.0)]
    rows.append(meter("2023-06-14T00:00", 480.0 + ran_after_h))
    described = {"in_service": "2023-01-01", "meter_at_start_h": 0, "attributes": engine}
    return judge_by_shipped(folder, AREA, as_of, rows, engine=described)


SI_COLUMNS = "acid_number,acid_number_new,viscosity,viscosity_new,water_pct"
CI_COLUMNS = "base_number,base_number_new,viscosity,viscosity_new,water_pct"
EMERGENCY_SI = {"ignition": "spark", "role": "emergency"}


@pytest.mark.parametrize(
    ("engine", "columns", "values", "passes"),
    [
        # Z8: new acid number 1.5; used 4.5 is a rise of 3.0 and passes, 4.51 does not
        (EMERGENCY_SI, SI_COLUMNS, "4.5,1.5,14,14,0.1", True),
        (EMERGENCY_SI, SI_COLUMNS, "4.51,1.5,14,14,0.1", False),
        # viscosity within 20 % of new: 14.0 -> 11.2 to 16.8; water up to 0.5 %
        (EMERGENCY_SI, SI_COLUMNS, "2,1.5,16.8,14,0.5", True),
        (EMERGENCY_SI, SI_COLUMNS, "2,1.5,11.2,14,0.5", True),
        (EMERGENCY_SI, SI_COLUMNS, "2,1.5,16.81,14,0.5", False),
        (EMERGENCY_SI, SI_COLUMNS, "2,1.5,11.19,14,0.5", False),
        (EMERGENCY_SI, SI_COLUMNS, "2,1.5,14,14,0.51", False),
        # compression ignition: base number below 30 % of new is condemned: 10 -> 3.0 passes, 2.99 does not
        (EMERGENCY_CI, CI_COLUMNS, "3.0,10,14,14,0.1", True),
        (EMERGENCY_CI, CI_COLUMNS, "2.99,10,14,14,0.1", False),
    ],
)
def test_z8_oil_analysis_in_place_of_the_change(
    tmp_path: Path, engine: Mapping[str, object], columns: str, values: str, passes: bool
) -> None:
    """63.6625(i), (j): within every limit the 500 h start at the sample; beyond one the oil is due. The filter is not covered."""
    ending = "si" if engine is EMERGENCY_SI else "ci"
    findings = judged_sample(tmp_path, engine, columns, values, as_of="2023-06-10")
    oil, oil_filter = finding_for(findings, f"oil-change-emergency-{ending}"), finding_for(findings, f"oil-filter-emergency-{ending}")
    assert leg_of(oil_filter).used == 480.0
    if passes:
        assert (oil.standing, leg_of(oil).used) == ("in_interval", 0.0)
    else:
        # two business days after Friday 9 June: Tuesday 13 June
        assert (oil.standing, oil.due_on, leg_of(oil).used) == ("upcoming", "2023-06-13", 480.0)


@pytest.mark.parametrize(("ran_after_h", "standing"), [(2.0, "overdue"), (0.0, "upcoming")])
def test_condemned_oil_is_changed_within_two_business_days_or_before_the_next_start(
    tmp_path: Path, ran_after_h: float, standing: str
) -> None:
    """Whichever is later: run after Tuesday 13 June on condemned oil it is overdue, at standstill it waits for the next start."""
    folder = tmp_path / standing
    folder.mkdir()
    findings = judged_sample(folder, EMERGENCY_SI, SI_COLUMNS, "5,1.5,14,14,0.1", as_of="2023-06-16", ran_after_h=ran_after_h)
    finding = finding_for(findings, "oil-change-emergency-si")
    assert finding.standing == standing
