"""An engine judged by several rule sets: each on its own, one log and one set of records for all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import yaml

from intervals.findings import Finding, Findings
from intervals.history.inputs import read_inputs
from intervals.problems import ProblemsError
from intervals.questions.check import engine_groups
from intervals.questions.check.assess import assess_site, judge_inputs
from intervals.questions.check.findings_document import findings_text
from intervals.questions.duty.duty import measure_duty
from intervals.questions.explain.explain import explain_finding
from intervals.questions.log.logbook import summarise_log
from intervals.questions.month.monthly import report_month
from intervals.questions.propose.propose import propose_intervals
from intervals.questions.what_if.what_if import compare_rules
from intervals.reports.check.calendar import event_uid, findings_calendar
from intervals.reports.month.page import month_page
from intervals.rules.changes import RuleChanges
from intervals.site.model import Site, load_site
from tests.site_maker import Row, done, meter, steady, task, write_site
from tests.unit.questions.check.test_engine_groups import TravellingWorkers

AS_OF = date(2026, 3, 31)
ROWS = steady("2026-01-01", "2026-04-01", 10)
IN_SERVICE = {"in_service": "2026-01-01", "meter_at_start_h": 0}


def two_sets(
    folder: Path,
    plant: Sequence[Mapping[str, object]],
    law: Sequence[Mapping[str, object]],
    *,
    rows: Sequence[Row] = ROWS,
    engine: Mapping[str, object] | None = None,
    **site: Any,  # noqa: ANN401 - what `write_site` takes
) -> Site:
    """Write a site whose engine goes by the rule sets `plant` and `law`."""
    law_set = {"ruleset": "law", "title": "The law", "version": "1", "tasks": [dict(each) for each in law]}
    (folder / "law.yaml").write_text(yaml.safe_dump(law_set, sort_keys=False), encoding="utf-8")
    named: dict[str, Any] = {"ruleset": ["./rules.yaml", "./law.yaml"], "rules": {"ruleset": "plant"}, **site}
    return write_site(folder, plant, rows, engine={**IN_SERVICE, **(engine or {})}, **named)


def found_of(findings: Findings, ruleset: str, task_id: str) -> Finding:
    """Return the one finding of a task under a rule set."""
    (found,) = (each for each in findings.findings if (each.ruleset, each.task) == (ruleset, task_id))
    return found


def done_on(findings: Findings, ruleset: str, task_id: str) -> str | None:
    """Return the day on which a task was done last."""
    last = found_of(findings, ruleset, task_id).last_done
    return None if last is None else last.at[:10]


def refusal_of(site: Site) -> list[str]:
    """Return the problems that judging a site is refused for, as they are printed."""
    with pytest.raises(ProblemsError) as caught:
        assess_site(site, AS_OF)
    return [problem.render() for problem in caught.value.problems]


OIL = task("oil", every={"running_hours": 500})
BELTS = task("belts", every={"running_hours": 400})


def test_each_rule_set_judges_and_findings_are_in_its_order(tmp_path: Path) -> None:
    """Engine, then rule set as the site lists them, then task: 90 days at 10 h are 900 h, of 500 and of 1,000."""
    site = two_sets(tmp_path, [OIL, BELTS], [task("oil", every={"running_hours": 1000})])
    findings = assess_site(site, AS_OF)
    assert [(each.ruleset, each.task) for each in findings.findings] == [("plant", "oil"), ("plant", "belts"), ("law", "oil")]
    assert [each.ruleset for each in findings.rulesets] == ["plant", "law"]
    used = [(leg.used, leg.allowed) for each in findings.findings for leg in each.legs]
    assert used == [(900.0, 500.0), (900.0, 400.0), (900.0, 1000.0)]


def test_an_engine_may_have_its_own_list(tmp_path: Path) -> None:
    """What an engine lists takes the place of what the site lists; a list of one is that one."""
    engines = [{"id": "G1", **IN_SERVICE}, {"id": "G2", **IN_SERVICE, "ruleset": ["./law.yaml"]}]
    rows = [*ROWS, *steady("2026-01-01", "2026-04-01", 10, engine="G2")]
    (tmp_path / "law.yaml").write_text(yaml.safe_dump({"ruleset": "law", "title": "The law", "version": "1", "tasks": [BELTS]}))
    site = write_site(tmp_path, [OIL], rows, engines=engines, rules={"ruleset": "plant"}, ruleset=["./rules.yaml", "./law.yaml"])
    assert [site.rulesets_of(engine) for engine in site.engines] == [("./rules.yaml", "./law.yaml"), ("./law.yaml",)]
    findings = assess_site(site, AS_OF)
    assert [(each.engine, each.ruleset) for each in findings.findings] == [("G1", "plant"), ("G1", "law"), ("G2", "law")]
    names = [findings.name_of(each) for each in findings.findings]
    assert names == ["plant.oil", "law.belts", "belts"]


def test_a_record_serves_every_set_that_has_its_task(tmp_path: Path) -> None:
    """A bare word is for all sets, `set.task` for one; what no set knows is one fault, what one set knows is none."""
    services = [done("oil", "2026-02-01"), done("law.oil", "2026-03-01"), done("belts", "2026-02-10"), done("PLANT.belts", "2026-02-20")]
    services += [done("nonsense", "2026-02-05"), done("other.oil", "2026-02-06")]
    findings = assess_site(two_sets(tmp_path, [OIL, BELTS], [OIL], services=services), AS_OF)
    assert done_on(findings, "plant", "oil") == "2026-02-01"
    assert done_on(findings, "law", "oil") == "2026-03-01"
    assert done_on(findings, "plant", "belts") == "2026-02-20"
    unknown = [fault.text for fault in findings.faults if fault.kind == "unknown_task"]
    assert unknown[0] == 'no task "nonsense" in rule sets plant, law; the record is set aside'
    assert [text.split('"')[1] for text in unknown] == ["nonsense", "other.oil"]


def test_a_word_of_the_site_may_stand_for_the_task_of_one_set(tmp_path: Path) -> None:
    """`task_names` maps to `law.oil` as it maps to an id."""
    services = {"task_names": {"Lawful oil": "law.oil"}}
    site = two_sets(tmp_path, [OIL], [OIL], services=[done("Lawful oil", "2026-02-01")])
    described = yaml.safe_load((tmp_path / "site.yaml").read_text(encoding="utf-8")) | {"services": services}
    (tmp_path / "site.yaml").write_text(yaml.safe_dump(described, sort_keys=False), encoding="utf-8")
    findings = assess_site(load_site(site.folder), AS_OF)
    assert (done_on(findings, "plant", "oil"), done_on(findings, "law", "oil")) == (None, "2026-02-01")


def test_a_fault_of_the_data_is_told_once(tmp_path: Path) -> None:
    """The gap and the deferral that nobody approved are of the engine; what is not known of a task names its set."""
    rows = [row for row in ROWS if not "2026-02-01" < str(row["at"]) < "2026-02-10"]
    services = [{**done("oil", "2026-02-15"), "outcome": "deferred", "until_h": 900}]
    engine = {"records_from": "2026-02-01"}
    findings = assess_site(two_sets(tmp_path, [OIL], [OIL], rows=rows, engine=engine, services=services, gap_h=36), AS_OF)
    kinds = [fault.kind for fault in findings.faults]
    assert kinds.count("gap") == 1
    assert kinds.count("deferral_not_approved") == 1
    assert [fault.text.split(":")[0] for fault in findings.faults if fault.kind == "no_completion_known"] == ["plant.oil", "law.oil"]


def test_a_void_that_found_its_record_in_one_set_is_no_fault(tmp_path: Path) -> None:
    """The record is for the plant alone, the void says the bare word: nothing is left of it, and nothing is told."""
    services = [done("plant.oil", "2026-02-01", ref="7"), {**done("oil", "2026-02-02", ref="7"), "outcome": "void"}]
    findings = assess_site(two_sets(tmp_path, [OIL], [OIL], services=services), AS_OF)
    assert done_on(findings, "plant", "oil") is None
    assert [fault.kind for fault in findings.faults if fault.kind == "void_without_record"] == []


ONE_JOB = [["plant.service", "law.oil-change"]]
SERVICE = task("service", every={"running_hours": 500})
CHANGE = task("oil-change", every={"running_hours": 1000}, renews=["oil-filter"])
FILTER = task("oil-filter", every={"running_hours": 1000})


@pytest.mark.parametrize("recorded", ["service", "oil-change"])
def test_one_job_does_the_task_of_the_other_set_too(tmp_path: Path, recorded: str) -> None:
    """Whichever of the two is recorded on 20 January: both are done then, by that record, and so is what the law's renews.

    From the noon of 20 January to 1 April are 70.5 days at 10 h, 705 h.
    """
    site = two_sets(tmp_path, [SERVICE], [CHANGE, FILTER], services=[done(recorded, "2026-01-20")], one_job=ONE_JOB)
    findings = assess_site(site, AS_OF)
    for ruleset, name in (("plant", "service"), ("law", "oil-change"), ("law", "oil-filter")):
        found = found_of(findings, ruleset, name)
        assert found.last_done is not None
        assert (found.last_done.at, found.last_done.record) == ("2026-01-20T12:00:00+00:00", "services.csv:2")
        assert found.legs[0].used == 705.0


def test_same_as_in_a_rule_set_is_one_job(tmp_path: Path) -> None:
    """What the plant's own rule set says of its task holds both ways."""
    service = {**SERVICE, "same_as": "law.oil-change"}
    findings = assess_site(two_sets(tmp_path, [service], [CHANGE, FILTER], services=[done("oil-change", "2026-01-20")]), AS_OF)
    assert done_on(findings, "plant", "service") == "2026-01-20"


def test_what_is_one_job_with_a_third_is_one_job_with_both(tmp_path: Path) -> None:
    """Two groups that share the law's task are one, though nobody says so of the plant's two."""
    plant = [SERVICE, task("visit", every={"running_hours": 700})]
    site = two_sets(
        tmp_path,
        plant,
        [CHANGE, FILTER],
        services=[done("visit", "2026-01-20")],
        one_job=[*ONE_JOB, ["law.oil-change", "plant.visit"]],
    )
    findings = assess_site(site, AS_OF)
    assert [done_on(findings, *each) for each in (("plant", "service"), ("plant", "visit"), ("law", "oil-change"))] == ["2026-01-20"] * 3


def test_what_renewal_completes_completes_its_fellow(tmp_path: Path) -> None:
    """The law's oil change renews its filter, which is one job with the plant's."""
    site = two_sets(
        tmp_path,
        [task("cartridge", every={"running_hours": 500})],
        [CHANGE, FILTER],
        services=[done("oil-change", "2026-01-20")],
        one_job=[["plant.cartridge", "law.oil-filter"]],
    )
    assert done_on(assess_site(site, AS_OF), "plant", "cartridge") == "2026-01-20"


def test_a_voided_record_does_neither_of_the_two(tmp_path: Path) -> None:
    """The record is taken back: the job was done under no rule set."""
    services = [done("service", "2026-01-20", ref="3"), {**done("service", "2026-01-21", ref="3"), "outcome": "void"}]
    findings = assess_site(two_sets(tmp_path, [SERVICE], [CHANGE, FILTER], services=services, one_job=ONE_JOB), AS_OF)
    assert [done_on(findings, *each) for each in (("plant", "service"), ("law", "oil-change"))] == [None, None]


def test_a_deferral_and_a_job_in_part_stay_where_they_were_written(tmp_path: Path) -> None:
    """800 h of 500: the plant's service is put off until 950 h; the law's change at 400 h is overdue all the same."""
    services = [
        {**done("service", "2026-02-15"), "outcome": "deferred", "until_h": 950, "approved_by": "A. Person"},
        {**done("service", "2026-02-16"), "outcome": "partial"},
    ]
    change = task("oil-change", every={"running_hours": 400})
    findings = assess_site(two_sets(tmp_path, [SERVICE], [change], services=services, one_job=ONE_JOB), date(2026, 3, 21))
    assert found_of(findings, "plant", "service").standing == "upcoming"
    assert found_of(findings, "law", "oil-change").standing == "overdue"
    assert [(each.ruleset, each.kind) for each in findings.skipped if each.kind == "not_credited"] == [("plant", "not_credited")]


def test_a_run_that_the_log_proves_does_the_fellow_too(tmp_path: Path) -> None:
    """An hour from noon on 5 March ends at 13:00; a record of that day by the law's word tells of the same run."""
    rows = [
        meter("2026-03-01T00:00", 0),
        meter("2026-03-05T12:00", 0),
        *(meter(f"2026-03-05T12:{m:02d}", m / 60) for m in range(10, 60, 10)),
    ]
    rows += [meter("2026-03-05T13:00", 1), meter("2026-03-06T00:00", 1), meter("2026-04-01T00:00", 1)]
    exercise = task("exercise", every={"calendar": "P1M"}, done_when={"running_min": 30})
    site = two_sets(
        tmp_path,
        [exercise],
        [task("test-run", every={"calendar": "P1M"})],
        rows=rows,
        services=[done("test-run", "2026-03-05")],
        engine={"in_service": "2026-03-01"},
        one_job=[["plant.exercise", "law.test-run"]],
    )
    findings = assess_site(site, AS_OF)
    for ruleset, name in (("plant", "exercise"), ("law", "test-run")):
        last = found_of(findings, ruleset, name).last_done
        assert last is not None
        assert (last.at, last.record) == ("2026-03-05T13:00:00+00:00", "readings/log.csv:9")


def test_a_stop_under_one_set_is_a_stop_under_all(tmp_path: Path) -> None:
    """The plant's overhaul stops the engine on 18 February at 485 h; the law's 500 h were nearly used, left, and have run past since."""
    overhaul = task("overhaul", every={"running_hours": 5000}, stops_engine=True)
    findings = assess_site(two_sets(tmp_path, [overhaul], [OIL], services=[done("overhaul", "2026-02-18")]), AS_OF)
    (left,) = (each for each in findings.skipped if each.kind == "left_out")
    assert (left.ruleset, left.task, left.at) == ("law", "oil", "2026-02-18")
    assert "plant.overhaul" in left.text


def test_what_is_said_to_be_one_job_must_be_there(tmp_path: Path) -> None:
    """A misspelt task and a rule set that judges nothing here are problems of site.yaml, each with the nearest name."""
    site = two_sets(
        tmp_path, [SERVICE], [CHANGE, FILTER], one_job=[["plant.servise", "law.oil-change"], ["plant.service", "lav.oil-change"]]
    )
    first, second = refusal_of(site)
    assert "SIT048" in first
    assert 'no task "servise" in rule set plant; did you mean "service"?' in first
    assert 'no rule set of this site is called "lav"; did you mean "law"?' in second


def test_a_fellow_in_a_set_that_judges_nothing_here_is_passed_over(tmp_path: Path) -> None:
    """The plant's own rule set may be used without the other one; a task that a set of the site lacks is a problem of the rule set."""
    alone = two_sets(tmp_path, [{**SERVICE, "same_as": ["us-area-source.oil-change-emergency-ci", "their-own.oil"]}], [CHANGE, FILTER])
    assert len(assess_site(alone, AS_OF).findings) == 3
    (problem,) = refusal_of(two_sets(tmp_path, [{**SERVICE, "same_as": "law.oil-chnge"}], [CHANGE, FILTER]))
    assert "RUL029" in problem
    assert 'did you mean "oil-change"?' in problem


def test_two_sets_of_one_engine_must_differ_by_id(tmp_path: Path) -> None:
    """Nothing would tell their findings apart."""
    site = two_sets(tmp_path, [OIL], [BELTS], rules={"ruleset": "law"})
    (problem,) = refusal_of(site)
    assert "SIT019" in problem
    assert './rules.yaml and ./law.yaml are both called "law"' in problem


def test_tasks_are_asked_for_by_either_name(tmp_path: Path) -> None:
    """`oil` is asked of both sets, `law.oil` of one; `law.belts` is nowhere."""
    site = two_sets(tmp_path, [OIL, BELTS], [OIL])
    assert [each.ruleset for each in assess_site(site, AS_OF, tasks=["oil"]).findings] == ["plant", "law"]
    assert [each.ruleset for each in assess_site(site, AS_OF, tasks=["law.oil"]).findings] == ["law"]
    with pytest.raises(ProblemsError, match="CLI011"):
        assess_site(site, AS_OF, tasks=["law.belts"])


def test_a_task_of_several_sets_is_explained_by_its_full_name(tmp_path: Path) -> None:
    """The bare word is refused with both spellings; one that a single set has needs none."""
    site = two_sets(tmp_path, [OIL, BELTS], [OIL])
    with pytest.raises(ProblemsError) as caught:
        explain_finding(site, "G1", "oil", AS_OF)
    (problem,) = caught.value.problems
    assert (problem.code, problem.fix) == ("CLI016", "write plant.oil or law.oil")
    assert explain_finding(site, "G1", "law.oil", AS_OF).finding.ruleset == "law"
    assert explain_finding(site, "G1", "belts", AS_OF).finding.ruleset == "plant"


def test_the_sum_names_the_job_that_it_is_one_with(tmp_path: Path) -> None:
    """Where a window begins with the record of another set's task, it says so."""
    site = two_sets(tmp_path, [SERVICE], [CHANGE, FILTER], services=[done("service", "2026-01-20")], one_job=ONE_JOB)
    window = explain_finding(site, "G1", "law.oil-change", AS_OF).window
    assert window[0].sum.endswith("done according to services.csv:2, one job with plant.service")


def test_processes_and_workers_find_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two processes, and groups that travel to workers, give the bytes that one process gives."""
    monkeypatch.setattr(engine_groups, "MOST_ENGINES", 1)
    site = two_sets(tmp_path, [SERVICE], [CHANGE, FILTER], services=[done("service", "2026-01-20")], one_job=ONE_JOB)
    inputs = read_inputs(site, AS_OF)
    alone = findings_text(judge_inputs(inputs, jobs=1))
    workers: Any = TravellingWorkers()
    assert findings_text(judge_inputs(inputs, workers=workers)) == alone
    assert findings_text(assess_site(site, AS_OF, jobs=2)) == alone


def test_events_of_two_sets_are_two_events(tmp_path: Path) -> None:
    """The same task id under two sets has two UIDs; under one set the UID is what it always was."""
    every = {"calendar": "P1Y"}
    findings = assess_site(two_sets(tmp_path, [task("oil", every=every)], [task("oil", every=every)]), AS_OF)
    calendar = findings_calendar(findings, "Quay").decode()
    for name in ("plant.oil", "law.oil"):
        assert event_uid("quay", "G1", name) in calendar
    assert event_uid("quay", "G1", "oil") not in calendar
    alone = assess_site(write_site(tmp_path / "alone", [task("oil", every=every)], ROWS, engine=IN_SERVICE), AS_OF)
    assert event_uid("quay", "G1", "oil") in findings_calendar(alone, "Quay").decode()


def test_the_months_page_tells_the_sets_apart(tmp_path: Path) -> None:
    """One engine with one block of hours, a row of the fleet for each set's task, each with a place of its own."""
    site = two_sets(tmp_path, [OIL], [OIL], services=[done("oil", "2026-03-02")])
    report = report_month(site, AS_OF, "2026-03")
    assert [engine.engine for engine in report.engines] == ["G1"]
    assert [row.title for row in report.fleet] == ["Oil (plant)", "Oil (law)"]
    page = month_page(report, made_at="2026-04-01", version="1")
    assert 'id="G1-plant-oil"' in page
    assert 'id="G1-law-oil"' in page


def test_duty_and_log_are_of_the_engine(tmp_path: Path) -> None:
    """One entry an engine; the duty lists the tasks of both sets, each with its set."""
    site = two_sets(tmp_path, [OIL], [task("oil", every={"running_hours": 1000})])
    (engine,) = measure_duty(site, AS_OF).engines
    assert [(each.ruleset, each.base_h) for each in engine.tasks] == [("plant", 500.0), ("law", 1000.0)]
    assert [engine.name_of(each) for each in engine.tasks] == ["plant.oil", "law.oil"]
    (log,) = summarise_log(site, AS_OF).engines
    assert (log.engine, log.running_hours_h) == ("G1", 900.0)


def test_a_changed_value_is_set_in_every_set_that_has_its_place(tmp_path: Path) -> None:
    """`tasks.oil` is in both sets: 900 h of 2,000 is no longer past either line; the belts are as before."""
    site = two_sets(tmp_path, [OIL, BELTS], [task("oil", every={"running_hours": 800})])
    found = compare_rules(site, AS_OF, RuleChanges.typed(["tasks.oil.every.running_hours=2000"], []))
    told = [(row.ruleset, row.task, row.before and row.before.allowed, row.after and row.after.allowed) for row in found.tasks]
    assert told == [("plant", "oil", 500.0, 2000.0), ("plant", "belts", 400.0, 400.0), ("law", "oil", 800.0, 2000.0)]


def test_a_proposal_is_for_one_of_the_sets(tmp_path: Path) -> None:
    """Which one is to be said."""
    site = two_sets(tmp_path, [OIL], [BELTS])
    with pytest.raises(ProblemsError, match="CLI132"):
        propose_intervals(site, AS_OF)
    assert propose_intervals(site, AS_OF, ruleset="./law.yaml").ruleset == "law"
    with pytest.raises(ProblemsError, match="CLI132"):
        propose_intervals(site, AS_OF, ruleset="./lav.yaml")


def test_a_component_is_judged_by_all_its_sets(tmp_path: Path) -> None:
    """A turbocharger on G1 since 1 January: 900 h of both sets' 800, its overhaul of the one being the other's inspection."""
    charger = {"id": "TC-1", "kind": "turbocharger", "fitted": [{"engine": "G1", "from": "2026-01-01"}], "in_service": "2026-01-01"}
    for_chargers = {"applies_to": {"kind": "turbocharger"}, "every": {"running_hours": 800}}
    site = two_sets(
        tmp_path,
        [OIL, task("charger", **for_chargers)],
        [task("inspection", **for_chargers)],
        components=[charger],
        services=[{**done("charger", "2026-03-02"), "engine": "TC-1"}],
        one_job=[["plant.charger", "law.inspection"]],
    )
    findings = assess_site(site, AS_OF)
    mine = [(each.ruleset, each.task, each.last_done and each.last_done.at[:10]) for each in findings.findings if each.engine == "TC-1"]
    assert mine == [("plant", "charger", "2026-03-02"), ("law", "inspection", "2026-03-02")]
