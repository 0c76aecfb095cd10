"""What an overhaul moves and what it leaves: site folders in, findings out."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals import assess, read_site
from intervals.findings import Findings
from intervals.questions.examples.examples import run_examples
from intervals.questions.explain.explain import explain_finding
from intervals.rules.ruleset import load_ruleset
from intervals.site.model import load_site
from tests.published.shipped_sites import judge_by_shipped
from tests.site_maker import done, finding_for, judge, leg_of, moment, skipped_of, steady, task, used_of, write_site

TASKS = [
    task(every={"running_hours": 1000}, first={"running_hours": 100}, renews=["sample"]),
    task("sample", every={"running_hours": 500}),
    task("valves", every={"running_hours": 2000}, first={"running_hours": 250}),
    task("plugs", every={"running_hours": 2000}),
    task("filter", every={"running_hours": 2000}),
    task("survey", every={"calendar": "P1Y"}, window={"before": "P3M", "after": "P3M"}, restarts_from="due"),
    task("battery", every={"calendar": "P1M"}),
    task("overhaul", every={"running_hours": 30_000}, renews=["plugs"], makes_new="all"),
]
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
# 10 h a day from 1 January; the overhaul at 200 h on 21 January, judged at 300 h at the end of 30 January
ROWS = steady("2024-01-01", "2024-02-10", 10)


def overhauled(folder: Path, as_of: str = "2024-01-30") -> Findings:
    """Judge the site with one overhaul on 21 January."""
    return judge(folder, as_of, TASKS, ROWS, engine=ENGINE, services=[done("overhaul", "2024-01-21T00:00")])


def test_all_is_every_task_that_states_a_first_interval(tmp_path: Path) -> None:
    """Oil and valves start at zero with their first interval: 300 - 200 = 100 h used of 100 and of 250."""
    findings = overhauled(tmp_path)
    figures = {name: (used_of(finding_for(findings, name)), leg_of(finding_for(findings, name)).allowed) for name in ("oil", "valves")}
    assert figures == {"oil": (100.0, 100.0), "valves": (100.0, 250.0)}
    # a day later the oil has 110 h, and is overdue
    assert finding_for(overhauled(tmp_path, "2024-01-31"), "oil").standing == "overdue"


def test_what_is_named_in_renews_starts_with_its_whole_interval(tmp_path: Path) -> None:
    """The plugs: 100 h used of 2,000."""
    finding = finding_for(overhauled(tmp_path), "plugs")
    assert (used_of(finding), leg_of(finding).allowed) == (100.0, 2000.0)
    assert finding.last_done is not None
    assert finding.last_done.at.startswith("2024-01-21")


@pytest.mark.parametrize("name", ["filter", "sample"])
def test_what_no_rule_names_stays_where_it_was(tmp_path: Path, name: str) -> None:
    """300 h since the engine was new; the sample belongs to an oil change, and the oil was only made new."""
    finding = finding_for(overhauled(tmp_path), name)
    assert (used_of(finding), finding.last_done) == (300.0, None)


def test_an_overhaul_moves_no_survey_and_no_battery(tmp_path: Path) -> None:
    """The battery of 1 January is due on 1 February and overdue on the 2nd; the survey's window ends on 1 April 2025."""
    findings = overhauled(tmp_path, "2024-02-02")
    battery, survey = (finding_for(findings, name) for name in ("battery", "survey"))
    assert (battery.standing, battery.due_on, used_of(battery, "calendar")) == ("overdue", "2024-02-01", 32.0)
    # from 1 January 2024 to 1 January 2025 are 366 d, and 31 + 28 + 31 = 90 to 1 April
    assert (survey.last_done, leg_of(survey, "calendar").allowed) == (None, 456.0)


def test_explain_tells_whose_record_started_a_window(tmp_path: Path) -> None:
    """The oil's window begins with the overhaul; the filter's with the engine's first day."""
    overhauled(tmp_path)
    site = load_site(tmp_path)
    oil = explain_finding(site, "G1", "oil", moment("2024-01-30"))
    assert "renewed by overhaul" in str(oil.model_dump())
    untouched = explain_finding(site, "G1", "filter", moment("2024-01-30"))
    assert "overhaul" not in str(untouched.model_dump())


def test_an_overhaul_with_a_first_interval_does_not_make_itself_new(tmp_path: Path) -> None:
    """First at 100 h, then every 500: 20 h after the first one 500 are allowed."""
    tasks = [
        task("overhaul", every={"running_hours": 500}, first={"running_hours": 100}, makes_new="all"),
        task(every={"running_hours": 900}),
    ]
    findings = judge(tmp_path, "2024-01-12", tasks, ROWS, engine=ENGINE, services=[done("overhaul", "2024-01-11T00:00")])
    assert (used_of(finding_for(findings, "overhaul")), leg_of(finding_for(findings, "overhaul")).allowed) == (20.0, 500.0)


def test_a_named_task_without_a_first_interval_starts_with_its_whole_one(tmp_path: Path) -> None:
    """makes_new: [plugs], and the plugs state no first: 20 h of 2,000."""
    tasks = [task("plugs", every={"running_hours": 2000}), task("overhaul", every={"running_hours": 30_000}, makes_new=["plugs"])]
    findings = judge(tmp_path, "2024-01-12", tasks, ROWS, engine=ENGINE, services=[done("overhaul", "2024-01-11T00:00")])
    assert (used_of(finding_for(findings, "plugs")), leg_of(finding_for(findings, "plugs")).allowed) == (20.0, 2000.0)


def test_all_is_worked_out_on_the_whole_of_rule_sets_laid_over_one_another(tmp_path: Path) -> None:
    """The set on top gives the filter a first interval and takes the oil's away: the base's overhaul moves the one and not the other."""
    judge(tmp_path, "2024-01-30", TASKS, ROWS, engine=ENGINE, services=[done("overhaul", "2024-01-21T00:00")])
    (tmp_path / "rules.yaml").rename(tmp_path / "base.yaml")
    (tmp_path / "rules.yaml").write_text(
        "ruleset: ours\ntitle: Ours\nversion: 1\nbased_on: ./base.yaml\n"
        "tasks:\n  - {id: filter, first: {running_hours: 400}}\n  - {id: oil, first: null}\n",
        encoding="utf-8",
    )
    findings = assess(read_site(tmp_path), moment("2024-01-30"))
    assert (used_of(finding_for(findings, "filter")), leg_of(finding_for(findings, "filter")).allowed) == (100.0, 400.0)
    assert (used_of(finding_for(findings, "oil")), leg_of(finding_for(findings, "oil")).allowed) == (300.0, 1000.0)


def test_a_components_overhaul_follows_the_same_rule(tmp_path: Path) -> None:
    """A turbocharger with 1,000 h, overhauled at 1,200: its bearings state a first and have 100 h of 500; its balance check has 1,300."""
    tasks = [
        task(every={"running_hours": 1000}, applies_to={"fuel": "diesel"}),
        task("bearings", every={"running_hours": 8000}, first={"running_hours": 500}, applies_to={"kind": "turbocharger"}),
        task("balance", every={"running_hours": 8000}, applies_to={"kind": "turbocharger"}),
        task("turbo-overhaul", every={"running_hours": 12_000}, makes_new="all", applies_to={"kind": "turbocharger"}),
    ]
    component = {
        "id": "TC-7", "kind": "turbocharger", "hours_at_fitting_h": 1000, "in_service": "2023-01-01",
        "fitted": [{"engine": "G1", "from": "2024-01-01"}],
    }  # fmt: skip
    findings = judge(
        tmp_path,
        "2024-01-30",
        tasks,
        ROWS,
        engine={**ENGINE, "fuel": "diesel"},
        components=[component],
        services=[done("turbo-overhaul", "2024-01-21T00:00", engine="TC-7")],
    )
    bearings, balance = (finding_for(findings, name, "TC-7") for name in ("bearings", "balance"))
    assert (used_of(bearings), leg_of(bearings).allowed) == (100.0, 500.0)
    assert used_of(balance) == 1300.0


GAS = {"fuel": "natural-gas", "rated_kw": 1000, "in_service": "2024-01-01", "meter_at_start_h": 0, "attributes": {"extension_tank": False}}


def test_an_overhaul_of_a_gas_engine(tmp_path: Path) -> None:
    """Oil at its first change, clearances at their first check, what came off anew; air filter and generator bearings as they were.

    20 h a day from 1 January 2024. The overhaul on 10 April, 100 d later, at 2,000 h; judged at the end of 14 April, at 2,100 h.
    """
    rows = steady("2024-01-01", "2024-04-15", 20)
    findings = judge_by_shipped(
        tmp_path, "gas-engine", "2024-04-14", rows, engine=GAS, services=[done("overhaul", "2024-04-10T00:00", 2000)]
    )
    figures = {finding.task: (leg.used, leg.allowed) for finding in findings.findings for leg in finding.legs if leg.leg == "running_hours"}
    assert figures == {
        "oil-change": (100.0, 100.0),
        "oil-sample": (100.0, 1000.0),
        "spark-plugs": (100.0, 2000.0),
        "valve-clearance": (100.0, 250.0),
        "ignition-cables": (100.0, 4000.0),
        "crankcase-breather": (100.0, 4000.0),
        "air-filter": (2100.0, 4000.0),
        "coolant": (100.0, 4000.0),
        "mixture-cooler": (100.0, 8000.0),
        "turbocharger": (100.0, 10_000.0),
        "generator-bearings": (2100.0, 4000.0),
        "cylinder-heads": (100.0, 20_000.0),
        "overhaul": (100.0, 60_000.0),
    }


def test_an_overhaul_of_a_standby_set_leaves_what_is_not_the_engine(tmp_path: Path) -> None:
    """Everything of 1 January 2024; overhauled on 1 June, judged on 1 July: 182 d since January, 30 since June.

    Batteries, inspections, exercises and the stored fuel know nothing of the overhaul, and a test that was missed stays missed.
    """
    engine = {"fuel": "diesel", "duty": "standby", "rated_kw": 400, "in_service": "2024-01-01", "meter_at_start_h": 0}
    attributes = {"exercise_reaches_30_pct": True, "oil_analysed": False}
    findings = judge_by_shipped(
        tmp_path,
        "standby-diesel",
        "2024-07-01",
        steady("2024-01-01", "2024-07-02", 0.1),
        engine={**engine, "attributes": attributes},
        services=[done("overhaul", "2024-06-01T00:00")],
    )
    days = {finding.task: leg.used for finding in findings.findings for leg in finding.legs if leg.leg == "calendar"}
    moved = ("oil-change", "fuel-filter", "coolant", "hoses-belts", "overhaul")
    assert {name for name, used in days.items() if used == 30.0} == set(moved)
    assert {used for name, used in days.items() if name not in moved} == {182.0}
    assert finding_for(findings, "batteries").standing == "overdue"
    assert any(entry.open for entry in skipped_of(findings, "batteries"))


def test_an_overhaul_aboard_moves_no_survey(tmp_path: Path) -> None:
    """Surveyed on 1 January 2024, overhauled on 1 June: the surveys keep their 366 + 90 and 1,827 d, and count from January.

    1 January 2029 is five years, 1,827 d, after 1 January 2024 (2024 and 2028 are leap years).
    """
    engine = {"fuel": "diesel", "rated_kw": 800, "in_service": "2024-01-01", "meter_at_start_h": 0, "attributes": {"in_control_area": 0}}
    findings = judge_by_shipped(
        tmp_path,
        "ship-auxiliary",
        "2024-07-01",
        steady("2024-01-01", "2024-07-02", 10, fuel_sulphur_pct=0.05),
        engine=engine,
        services=[done("overhaul", "2024-06-01T00:00")],
    )
    legs = {name: leg_of(finding_for(findings, name), "calendar") for name in ("annual-survey", "renewal-survey", "machinery-survey")}
    assert {name: (leg.used, leg.allowed) for name, leg in legs.items()} == {
        "annual-survey": (182.0, 456.0),
        "renewal-survey": (182.0, 1827.0),
        "machinery-survey": (182.0, 1827.0),
    }
    assert leg_of(finding_for(findings, "coolant-test"), "calendar").used == 182.0
    # 30 d of 10 h from 1 June to the end of 1 July are 310 h, of the first 250
    valves = finding_for(findings, "valve-clearance")
    assert (used_of(valves), leg_of(valves).allowed, valves.standing) == (310.0, 250.0, "overdue")


def test_a_worked_example_shows_what_an_overhaul_moves(tmp_path: Path) -> None:
    """Of 900 h and 90 starts the overhaul lies 100 h back, with 10 starts: oil 100 h, plugs 10 starts, the filter all 900 h."""
    tasks = [
        task(every={"running_hours": 1000}, first={"running_hours": 100}),
        task("plugs", every={"starts": 500}),
        task("filter", every={"running_hours": 2000}),
        task("overhaul", every={"running_hours": 30_000}, renews=["plugs"], makes_new="all"),
    ]
    expected = [("oil", {"used": 100, "allowed": 100}), ("plugs", {"used": 10, "allowed": 500}), ("filter", {"used": 900, "allowed": 2000})]
    examples = [
        {
            "name": f"Example {number}",
            "since_last": {"running_hours": 900, "days": 45, "starts": 90},
            "done_since": {"overhaul": {"running_hours": 100, "days": 5}},
            "task": name,
            "expect": expect,
        }
        for number, (name, expect) in enumerate([*expected, ("filter", {"used": 100})])
    ]
    write_site(tmp_path, tasks, ROWS, rules={"examples": examples})
    results = run_examples(load_ruleset(tmp_path / "rules.yaml"))
    assert [(result.passed, result.text) for result in results] == [(True, "")] * 3 + [(False, "used is 900, expected 100")]
