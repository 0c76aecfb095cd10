"""Service records: voids, renewed tasks, dates without a time, duplicates, meter readings that disagree."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.site_maker import done, fault_kinds, finding_for, judge, meter, skipped_of, steady, task, used_of

# 10 h a day from 0 h on 1 January 2024
ROWS = steady("2024-01-01", "2024-01-31", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
OIL = task(every={"running_hours": 1000})
TASKS = [OIL, task("plugs", every={"running_hours": 1000}), task("sample", every={"running_hours": 1000})]


def used_on_the_tenth(folder: Path, *services: dict[str, object]) -> float | None:
    """Return the oil's hours at the end of 10 January (100 h on the meter)."""
    return used_of(finding_for(judge(folder, "2024-01-10", TASKS, ROWS, engine=ENGINE, services=services)))


def void(ref: str, at: str = "2024-01-08T00:00", task_id: str = "oil", engine: str = "G1") -> dict[str, object]:
    """Return a record that takes an earlier one back."""
    return done(task_id, at, outcome="void", ref=ref, engine=engine)


def test_a_void_takes_back_the_record_of_its_ref(tmp_path: Path) -> None:
    """Done at 40 and 60 h, the second voided: since 40 h."""
    services = (done("oil", "2024-01-05T00:00", ref="J1"), done("oil", "2024-01-07T00:00", ref="J2"), void("J2"))
    assert used_on_the_tenth(tmp_path, *services) == 60.0


@pytest.mark.parametrize(
    "services",
    [
        (done("oil", "2024-01-05T00:00", ref="J1"), void("J9")),
        (done("oil", "2024-01-05T00:00", ref="J1"), void("J1", task_id="plugs")),
        (done("oil", "2024-01-03T00:00", ref="J1"), done("oil", "2024-01-05T00:00", ref="J1"), void("J1")),
        (void("J1"), done("oil", "2024-01-05T00:00", ref="J1")),
        (done("oil", "2024-01-05T00:00"), void("")),
    ],
    ids=["no such ref", "of another task", "two of that ref", "not earlier in the file", "no ref at all"],
)
def test_a_void_of_none_or_several_is_a_fault_and_voids_nothing(tmp_path: Path, services: tuple[dict[str, object], ...]) -> None:
    """The record at 40 h stands: 60 h since."""
    findings = judge(tmp_path, "2024-01-10", TASKS, ROWS, engine=ENGINE, services=services)
    assert used_of(finding_for(findings)) == 60.0
    assert fault_kinds(findings) == ["void_without_record"]


def test_a_void_of_another_engine_is_a_fault(tmp_path: Path) -> None:
    """The ref is G1's, the void G2's."""
    engines = [{"id": "G1", **ENGINE}, {"id": "G2", **ENGINE}]
    rows = ROWS + steady("2024-01-01", "2024-01-31", 10, engine="G2")
    services = [done("oil", "2024-01-05T00:00", ref="J1"), void("J1", engine="G2")]
    findings = judge(tmp_path, "2024-01-10", [OIL], rows, engines=engines, services=services)
    assert used_of(finding_for(findings)) == 60.0
    assert fault_kinds(findings, "G2") == ["void_without_record"]


def test_a_task_renews_others_and_those_renew_more(tmp_path: Path) -> None:
    """An overhaul renews the oil, and the oil renews the sample: done at 50 h, all three have 50 h at 100."""
    tasks = [
        task("overhaul", every={"running_hours": 9000}, renews=["oil"]),
        task("oil", every={"running_hours": 1000}, renews=["sample"]),
        task("sample", every={"running_hours": 500}),
        task("plugs", every={"running_hours": 500}),
    ]
    findings = judge(tmp_path, "2024-01-10", tasks, ROWS, engine=ENGINE, services=[done("overhaul", "2024-01-06T00:00")])
    assert {entry.task: used_of(entry) for entry in findings.findings} == {"overhaul": 50.0, "oil": 50.0, "sample": 50.0, "plugs": 100.0}


def test_renewing_does_not_work_backwards(tmp_path: Path) -> None:
    """The sample does not renew the oil."""
    tasks = [task("oil", every={"running_hours": 1000}, renews=["sample"]), task("sample", every={"running_hours": 500})]
    findings = judge(tmp_path, "2024-01-10", tasks, ROWS, engine=ENGINE, services=[done("sample", "2024-01-06T00:00")])
    assert (used_of(finding_for(findings)), used_of(finding_for(findings, "sample"))) == (100.0, 50.0)


def test_a_partial_job_renews_nothing(tmp_path: Path) -> None:
    """Neither itself nor what it would renew."""
    tasks = [task("oil", every={"running_hours": 1000}, renews=["sample"]), task("sample", every={"running_hours": 500})]
    findings = judge(tmp_path, "2024-01-10", tasks, ROWS, engine=ENGINE, services=[done("oil", "2024-01-06T00:00", outcome="partial")])
    assert (used_of(finding_for(findings)), used_of(finding_for(findings, "sample"))) == (100.0, 100.0)
    assert [entry.task for entry in findings.skipped] == ["oil"]


def test_a_date_stands_where_the_meter_reached_its_reading(tmp_path: Path) -> None:
    """On 5 January at 42.5 h: at six o'clock; at the end of the 10th 57.5 h since."""
    findings = judge(tmp_path, "2024-01-10", [OIL], ROWS, engine=ENGINE, services=[done("oil", "2024-01-05", 42.5)])
    last_done = finding_for(findings).last_done
    assert last_done is not None
    assert last_done.at == "2024-01-05T06:00:00+00:00"
    assert used_of(finding_for(findings)) == 57.5


@pytest.mark.parametrize("typed", [None, 55.0])
def test_a_date_without_a_reading_of_that_day_stands_at_noon(tmp_path: Path, typed: float | None) -> None:
    """No reading, or one that the meter did not show that day: noon, 45 h on the log."""
    findings = judge(tmp_path, "2024-01-10", [OIL], ROWS, engine=ENGINE, services=[done("oil", "2024-01-05", typed)])
    last_done = finding_for(findings).last_done
    assert last_done is not None
    assert last_done.at == "2024-01-05T12:00:00+00:00"
    assert used_of(finding_for(findings)) == 55.0


def test_a_date_stands_at_the_first_moment_of_its_reading(tmp_path: Path) -> None:
    """The engine stood all day at 40 h: the day's first moment."""
    rows = [meter("2024-01-04T00:00", 40), meter("2024-01-07T00:00", 40), meter("2024-01-11T00:00", 80)]
    findings = judge(tmp_path, "2024-01-10", [OIL], rows, engine=ENGINE, services=[done("oil", "2024-01-05", 40)])
    last_done = finding_for(findings).last_done
    assert last_done is not None
    assert last_done.at == "2024-01-05T00:00:00+00:00"


def test_two_records_of_one_task_at_one_time_are_one_and_a_fault(tmp_path: Path) -> None:
    """The second is named, with the place of the first."""
    services = [done("oil", "2024-01-05T00:00", ref="J1"), done("oil", "2024-01-05T00:00", ref="J2")]
    findings = judge(tmp_path, "2024-01-10", [OIL], ROWS, engine=ENGINE, services=services)
    assert used_of(finding_for(findings)) == 60.0
    (fault,) = findings.faults
    assert (fault.kind, fault.file, fault.line) == ("duplicate_record", "services.csv", 3)
    assert "services.csv:2" in fault.text


@pytest.mark.parametrize("is_first", [False, True])
@pytest.mark.parametrize("other", ["partial", "deferred"])
def test_two_records_of_one_task_at_one_time_are_one_whatever_they_say(tmp_path: Path, other: str, is_first: bool) -> None:
    """Done and done in part, or deferred, at the same moment: done is done, whichever stands first; the other is a fault."""
    services = [done("oil", "2024-01-05T00:00"), done("oil", "2024-01-05T00:00", outcome=other, approved_by="chief", until_h=500)]
    services = services[::-1] if is_first else services
    findings = judge(tmp_path, "2024-01-10", [OIL], ROWS, engine=ENGINE, services=services)
    assert fault_kinds(findings) == ["duplicate_record"]
    assert (findings.skipped, finding_for(findings).deferred_until) == ((), None)


def test_two_tasks_at_one_time_are_two(tmp_path: Path) -> None:
    """A visit at which two things were done."""
    findings = judge(
        tmp_path, "2024-01-10", TASKS, ROWS, engine=ENGINE, services=[done("oil", "2024-01-05T00:00"), done("plugs", "2024-01-05T00:00")]
    )
    assert findings.faults == ()


@pytest.mark.parametrize(
    ("typed", "kinds", "kept"),
    [(64.0, [], 64.0), (16.0, [], 16.0), (64.1, ["service_meter_disagrees"], 40.0), (15.9, ["service_meter_disagrees"], 40.0)],
)
def test_a_typed_reading_more_than_a_day_off_is_a_fault(tmp_path: Path, typed: float, kinds: list[str], kept: float) -> None:
    """The log shows 40 h: up to 24 h beside it the typed one is printed; beyond, the log's hours count. The window is the same."""
    findings = judge(tmp_path, "2024-01-10", [OIL], ROWS, engine=ENGINE, services=[done("oil", "2024-01-05T00:00", typed)])
    assert fault_kinds(findings) == kinds
    last_done = finding_for(findings).last_done
    assert last_done is not None
    assert last_done.hour_meter_h == kept
    assert used_of(finding_for(findings)) == 60.0


def test_a_record_of_an_unknown_task_is_a_fault(tmp_path: Path) -> None:
    """A slip of the pen is named with its line, and moves nothing."""
    findings = judge(tmp_path, "2024-01-10", [OIL], ROWS, engine=ENGINE, services=[done("oil-chnage", "2024-01-05T00:00")])
    assert [(fault.kind, fault.line) for fault in findings.faults] == [("unknown_task", 2)]
    assert used_of(finding_for(findings)) == 100.0


def test_records_out_of_order_are_sorted(tmp_path: Path) -> None:
    """The later one first in the file."""
    assert used_on_the_tenth(tmp_path, done("oil", "2024-01-07T00:00"), done("oil", "2024-01-03T00:00")) == 40.0


def test_an_outcome_left_blank_is_done(tmp_path: Path) -> None:
    """A record without a word about its outcome says that the work was done."""
    assert used_on_the_tenth(tmp_path, done("oil", "2024-01-05T00:00", outcome="")) == 60.0


def test_a_void_takes_what_it_renewed_back_too(tmp_path: Path) -> None:
    """The voided oil change no longer renews the sample."""
    tasks = [task("oil", every={"running_hours": 1000}, renews=["sample"]), task("sample", every={"running_hours": 500})]
    services = [done("oil", "2024-01-06T00:00", ref="J1"), void("J1")]
    findings = judge(tmp_path, "2024-01-10", tasks, ROWS, engine=ENGINE, services=services)
    assert used_of(finding_for(findings, "sample")) == 100.0


def test_a_completion_before_the_first_day_begins_a_window_of_its_own(tmp_path: Path) -> None:
    """Used until June of the year before on another job: the record is older than in_service, and the window begins with it."""
    findings = judge(tmp_path, "2024-01-10", [task(every={"calendar": "P1Y"})], ROWS, engine=ENGINE, services=[done("oil", "2023-12-01")])
    assert used_of(finding_for(findings), "calendar") == 40.0
    assert skipped_of(findings) == []


def test_a_voided_record_tells_no_meter_reading(tmp_path: Path) -> None:
    """The log ended at 20 h; a record typed 180 h on the 10th was taken back the same day: 20 h are known, and no more."""
    rows = steady("2024-01-01", "2024-01-03", 10)
    services = [done("oil", "2024-01-10T00:00", 180, ref="J1"), void("J1", "2024-01-10T01:00")]
    findings = judge(tmp_path, "2024-01-10", [OIL], rows, engine=ENGINE, gap_h=36, services=services)
    assert used_of(finding_for(findings)) == 20.0


def test_a_reading_before_the_first_day_that_contradicts_it_is_not_used(tmp_path: Path) -> None:
    """In service with 0 h on 1 January, and a record of 1,800 h of the year before: the log's hours stand, the record is named."""
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 0}
    findings = judge(
        tmp_path, "2024-01-05", [task(every={"running_hours": 1000})], steady("2024-01-01", "2024-01-06", 10),
        engine=engine, services=[done("oil", "2023-04-01T00:00", 1800)],
    )  # fmt: skip
    assert "record_before_in_service" in fault_kinds(findings)
    assert "meter_went_back" not in fault_kinds(findings)


@pytest.mark.parametrize("written", ["OIL", "Oil", "oil"])
def test_a_task_is_known_in_whatever_case_it_is_written(tmp_path: Path, written: str) -> None:
    """Done at 40 h under the task's name in other letters: 60 h since, and nothing is wrong."""
    findings = judge(tmp_path, "2024-01-10", TASKS, ROWS, engine=ENGINE, services=[done(written, "2024-01-05T00:00")])
    assert (used_of(finding_for(findings)), fault_kinds(findings)) == (60.0, [])


def test_tasks_that_differ_by_case_are_told_apart(tmp_path: Path) -> None:
    """Of the tasks `oil` and `Oil` each is known by its own spelling alone; a third way of writing them is neither."""
    tasks = [OIL, task("Oil", every={"running_hours": 1000})]
    services = [done("oil", "2024-01-05T00:00"), done("Oil", "2024-01-07T00:00"), done("OIL", "2024-01-09T00:00")]
    findings = judge(tmp_path, "2024-01-10", tasks, ROWS, engine=ENGINE, services=services)
    assert [used_of(finding_for(findings, name)) for name in ("oil", "Oil")] == [60.0, 40.0]
    assert fault_kinds(findings) == ["unknown_task"]


def test_a_name_is_looked_up_in_the_rule_set_of_its_engine(tmp_path: Path) -> None:
    """G1's rule set has `oil`, G2's has `Oil`: a record of OIL is G1's oil, one of oil G2's Oil, both done at 40 h."""
    other = "ruleset: other\ntitle: Other\nversion: '1'\ntasks:\n"
    other += "  - {id: Oil, title: Oil, every: {running_hours: 1000}, because: wear, source: common practice}\n"
    (tmp_path / "other.yaml").write_text(other, encoding="utf-8")
    engines = [{"id": "G1", **ENGINE}, {"id": "G2", **ENGINE, "ruleset": "./other.yaml"}]
    rows = ROWS + steady("2024-01-01", "2024-01-31", 10, engine="G2")
    services = [done("OIL", "2024-01-05T00:00"), done("oil", "2024-01-05T00:00", engine="G2")]
    findings = judge(tmp_path, "2024-01-10", [OIL], rows, engines=engines, services=services)
    assert [(each.engine, each.task, used_of(each)) for each in findings.findings] == [("G1", "oil", 60.0), ("G2", "Oil", 60.0)]
    assert fault_kinds(findings) == []


def test_a_task_that_is_none_is_told_with_the_one_that_may_be_meant(tmp_path: Path) -> None:
    """A record of "oli" moves nothing, and its fault names oil."""
    findings = judge(tmp_path, "2024-01-10", TASKS, ROWS, engine=ENGINE, services=[done("oli", "2024-01-05T00:00")])
    assert used_of(finding_for(findings)) == 100.0
    assert fault_kinds(findings) == ["unknown_task"]
    assert 'did you mean "oil"?' in findings.faults[0].text
