"""The moment of judging: what a date and a time mean, what lies after it, and where the first window begins."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from intervals import assess
from intervals.problems import ProblemsError
from tests.site_maker import done, fault_kinds, finding_for, judge, meter, skipped_of, steady, task, used_of, write_site

OIL = task(every={"running_hours": 1000})
IN_SERVICE = {"in_service": "2024-01-01", "meter_at_start_h": 0}


def test_a_date_means_the_next_local_midnight_and_is_printed_so(tmp_path: Path) -> None:
    """31 January of an Amsterdam site is 1 February, 00:00+01:00; a day in summer has +02:00."""
    rows = [meter("2024-02-02T00:00", 10)]
    site: dict[str, Any] = {"engine": IN_SERVICE, "time_zone": "Europe/Amsterdam"}
    assert judge(tmp_path, "2024-01-31", [OIL], rows, **site).as_of == "2024-02-01T00:00:00+01:00"
    assert judge(tmp_path, "2024-07-31", [OIL], rows, **site).as_of == "2024-08-01T00:00:00+02:00"


@pytest.mark.parametrize("as_of", ["2024-01-31", None, 20240131, 1706745600.0, (2024, 1, 31)])
def test_what_is_no_date_is_refused_with_what_is_taken(tmp_path: Path, as_of: Any) -> None:  # noqa: ANN401 - anything but a date
    """A text, a number or nothing is a TypeError that names the two kinds that are taken, and what was given."""
    site = write_site(tmp_path, [OIL], [meter("2024-02-02T00:00", 10)], engine=IN_SERVICE)
    with pytest.raises(TypeError, match=r"a date .* or a datetime") as refused:
        assess(site, as_of)
    assert repr(as_of) in str(refused.value)


def test_an_offset_says_which_instant_is_meant(tmp_path: Path) -> None:
    """11:00 in UTC is noon in Amsterdam in winter: 25 h have run, as at the naive noon."""
    site = write_site(tmp_path, [OIL], steady("2024-01-01", "2024-01-05", 10), engine=IN_SERVICE, time_zone="Europe/Amsterdam")
    assert used_of(finding_for(assess(site, datetime(2024, 1, 3, 11, tzinfo=UTC)))) == 25.0


@pytest.mark.parametrize(
    ("now", "code"),
    [(datetime(2024, 3, 31, 21, 59, 59, tzinfo=UTC), "CLI012"), (datetime(2024, 3, 31, 22, tzinfo=UTC), None), (None, None)],
)
def test_with_a_clock_a_month_that_has_not_begun_is_refused(tmp_path: Path, now: datetime | None, code: str | None) -> None:
    """April begins in Amsterdam at 22:00 UTC of 31 March; without a clock there is nothing that could be ahead."""
    rows = steady("2024-01-01", "2024-01-31", 10)
    site = write_site(tmp_path, [OIL], rows, engine=IN_SERVICE, time_zone="Europe/Amsterdam")
    now_us = None if now is None else int(now.timestamp()) * 1_000_000
    try:
        assess(site, date(2024, 4, 30), month="2024-04", now_us=now_us)
        told = None
    except ProblemsError as error:
        (told,) = (problem.code for problem in error.problems)
    assert told == code


def test_a_month_that_is_none_is_told_with_the_rest(tmp_path: Path) -> None:
    """An engine that is not there, and a month that is none: two problems at once."""
    site = write_site(tmp_path, [OIL], [meter("2024-02-02T00:00", 10)], engine=IN_SERVICE)
    with pytest.raises(ProblemsError) as refused:
        assess(site, date(2024, 1, 31), engines=["G9"], month="2024-13")
    assert [problem.code for problem in refused.value.problems] == ["CLI010", "CLI012"]


def test_a_date_covers_the_whole_day(tmp_path: Path) -> None:
    """10 h a day: at the end of 3 January 30 h have run."""
    assert used_of(finding_for(judge(tmp_path, "2024-01-03", [OIL], steady("2024-01-01", "2024-01-05", 10), engine=IN_SERVICE))) == 30.0


def test_a_time_is_that_instant(tmp_path: Path) -> None:
    """At noon of the 3rd 25 h have run; a naive time is local."""
    rows = steady("2024-01-01", "2024-01-05", 10)
    findings = judge(tmp_path, "2024-01-03T12:00", [OIL], rows, engine=IN_SERVICE, time_zone="Europe/Amsterdam")
    assert used_of(finding_for(findings)) == 25.0
    assert findings.as_of == "2024-01-03T12:00:00+01:00"


def test_later_rows_are_accepted_and_not_judged(tmp_path: Path) -> None:
    """Rows after the moment are read and counted as rows, and their hours are not counted."""
    findings = judge(tmp_path, "2024-01-02", [OIL], steady("2024-01-01", "2024-01-31", 10), engine=IN_SERVICE)
    assert (findings.rows.read, findings.rows.accepted) == (31, 31)
    assert used_of(finding_for(findings)) == 20.0


def test_a_record_at_the_midnight_belongs_to_the_next_day(tmp_path: Path) -> None:
    """Done at 00:00 on the 3rd: not yet at the end of the 2nd, and at the end of the 3rd 10 h before it."""
    rows = steady("2024-01-01", "2024-01-31", 10)
    services = [done("oil", "2024-01-03T00:00")]
    assert used_of(finding_for(judge(tmp_path, "2024-01-02", [OIL], rows, engine=IN_SERVICE, services=services))) == 20.0
    assert used_of(finding_for(judge(tmp_path, "2024-01-03", [OIL], rows, engine=IN_SERVICE, services=services))) == 10.0


def test_a_record_at_the_very_time_of_judging_counts(tmp_path: Path) -> None:
    """Judged at a time, what is recorded at that time is done."""
    rows = steady("2024-01-01", "2024-01-31", 10)
    findings = judge(tmp_path, "2024-01-03T12:00", [OIL], rows, engine=IN_SERVICE, services=[done("oil", "2024-01-03T12:00")])
    assert used_of(finding_for(findings)) == 0.0


def test_a_later_void_does_not_count_yet(tmp_path: Path) -> None:
    """Done on the 3rd, voided on the 10th: on the 5th it still stands, on the 10th it does not."""
    rows = steady("2024-01-01", "2024-01-31", 10)
    services = [done("oil", "2024-01-03T00:00", ref="J1"), done("oil", "2024-01-10T00:00", outcome="void", ref="J1")]
    assert used_of(finding_for(judge(tmp_path, "2024-01-05", [OIL], rows, engine=IN_SERVICE, services=services))) == 30.0
    assert used_of(finding_for(judge(tmp_path, "2024-01-10", [OIL], rows, engine=IN_SERVICE, services=services))) == 100.0


def test_the_reading_of_a_later_record_does_not_count_yet(tmp_path: Path) -> None:
    """The log ended at 20 h on the 3rd; a record of 1 March, read 500 h, is not known on 31 January, with it or without."""
    rows = steady("2024-01-01", "2024-01-03", 10)
    later = [done("oil", "2024-03-01T00:00", 500)]
    without = judge(tmp_path / "a", "2024-01-31", [OIL], rows, engine=IN_SERVICE, gap_h=36)
    with_it = judge(tmp_path / "b", "2024-01-31", [OIL], rows, engine=IN_SERVICE, gap_h=36, services=later)
    assert used_of(finding_for(without)) == 20.0
    assert fault_kinds(with_it) == fault_kinds(without) == ["log_ended"]
    assert used_of(finding_for(with_it)) == 20.0


def test_before_any_completion_the_window_begins_with_the_engine(tmp_path: Path) -> None:
    """No record, records complete from the first day: 40 h since then, and nothing was ever done."""
    findings = judge(tmp_path, "2024-01-04", [OIL], steady("2024-01-01", "2024-01-31", 10), engine=IN_SERVICE)
    assert used_of(finding_for(findings)) == 40.0
    assert finding_for(findings).last_done is None


def test_where_the_records_do_not_reach_back_a_task_never_recorded_is_unknown(tmp_path: Path) -> None:
    """Records complete from 2023 on, the engine from 2020: what was done before is not known."""
    engine = {"in_service": "2020-01-01", "records_from": "2024-01-01", "meter_at_start_h": 0}
    findings = judge(tmp_path, "2024-01-04", [OIL], steady("2024-01-01", "2024-01-31", 10, start_h=9000), engine=engine)
    assert finding_for(findings).standing == "unknown"
    assert fault_kinds(findings) == ["no_completion_known"]


def test_the_sites_records_from_stands_for_all_engines(tmp_path: Path) -> None:
    """The same, said once for the site."""
    engine = {"in_service": "2020-01-01", "meter_at_start_h": 0}
    rows = steady("2024-01-01", "2024-01-31", 10, start_h=9000)
    findings = judge(tmp_path, "2024-01-04", [OIL], rows, engine=engine, records_from="2024-01-01")
    assert finding_for(findings).standing == "unknown"


def test_a_first_record_begins_the_first_window(tmp_path: Path) -> None:
    """The same engine, oil changed on 2 January: 30 h since."""
    engine = {"in_service": "2020-01-01", "records_from": "2024-01-01", "meter_at_start_h": 0}
    rows = steady("2024-01-01", "2024-01-31", 10, start_h=9000)
    findings = judge(tmp_path, "2024-01-04", [OIL], rows, engine=engine, services=[done("oil", "2024-01-02T00:00")])
    assert used_of(finding_for(findings)) == 30.0
    assert fault_kinds(findings) == []


def test_nothing_before_the_records_is_skipped(tmp_path: Path) -> None:
    """Done in 2020 and in February 2024; the yearly points between them were not missed before 2024, for the records do not tell."""
    engine = {"in_service": "2020-01-01", "records_from": "2024-01-01", "meter_at_start_h": 0}
    rows = steady("2024-01-01", "2024-02-20", 1, start_h=9000)
    yearly = task(every={"calendar": "P1Y"})
    services = [done("oil", "2020-06-01"), done("oil", "2024-02-01")]
    assert skipped_of(judge(tmp_path, "2024-02-10", [yearly], rows, engine=engine, services=services)) == []


def test_an_engine_that_is_not_in_service_yet_is_not_judged(tmp_path: Path) -> None:
    """In service from March: in January there is nothing to find of it."""
    engines = [{"id": "G1", **IN_SERVICE}, {"id": "G2", "in_service": "2024-03-01"}]
    findings = judge(tmp_path, "2024-01-04", [OIL], steady("2024-01-01", "2024-01-31", 10), engines=engines)
    assert [finding.engine for finding in findings.findings] == ["G1"]


def test_an_engine_that_has_gone_has_no_standing_and_nothing_open(tmp_path: Path) -> None:
    """Out of service on 10 January after 80 h of 40 allowed: the missed point is history, nothing is open and nothing overdue."""
    engine = {**IN_SERVICE, "out_of_service": "2024-01-10"}
    findings = judge(tmp_path, "2024-01-20", [task(every={"running_hours": 40})], steady("2024-01-01", "2024-01-09", 10), engine=engine)
    assert findings.findings == ()
    assert [(entry.kind, entry.open) for entry in skipped_of(findings)] == [("missed", False)]


def test_an_empty_log_is_refused(tmp_path: Path) -> None:
    """Nothing to judge is a problem and not a success."""
    with pytest.raises(ProblemsError) as refusal:
        judge(tmp_path, "2024-01-04", [OIL], [], engine=IN_SERVICE, readings={
            "files": ["readings/*.csv"], "timestamp": {"column": "at"}, "engine": {"column": "engine"},
            "quantities": {"hour_meter_h": {"column": "hour_meter_h"}},
        })  # fmt: skip
    assert {problem.code for problem in refusal.value.problems} <= {"REA090", "REA003"}


def test_a_rule_set_that_fits_no_engine_is_refused(tmp_path: Path) -> None:
    """No task for the one engine: nothing to judge."""
    plugs = task("plugs", applies_to={"fuel": "natural-gas"}, every={"running_hours": 500})
    with pytest.raises(ProblemsError) as refusal:
        judge(tmp_path, "2024-01-04", [plugs], steady("2024-01-01", "2024-01-31", 10), engine={**IN_SERVICE, "fuel": "diesel"})
    assert [problem.code for problem in refusal.value.problems] == ["RUL090"]


def test_a_task_that_asks_for_what_the_engine_does_not_state_is_unknown(tmp_path: Path) -> None:
    """Never dropped: the finding names the fuel that is not stated."""
    plugs = task("plugs", applies_to={"fuel": "natural-gas"}, every={"running_hours": 500})
    findings = judge(tmp_path, "2024-01-04", [OIL, plugs], steady("2024-01-01", "2024-01-31", 10), engine=IN_SERVICE)
    assert finding_for(findings, "plugs").standing == "unknown"
    assert "fuel" in finding_for(findings, "plugs").reasons[0].text


def test_findings_stand_by_engine_then_task_as_the_files_list_them(tmp_path: Path) -> None:
    """Neither sorted by name nor by standing."""
    engines = [{"id": "Z9", **IN_SERVICE}, {"id": "A1", **IN_SERVICE}]
    rows = steady("2024-01-01", "2024-01-31", 10, engine="A1") + steady("2024-01-01", "2024-01-31", 10, engine="Z9")
    tasks = [task("oil", every={"running_hours": 1000}), task("cables", every={"running_hours": 10})]
    findings = judge(tmp_path, "2024-01-04", tasks, rows, engines=engines)
    assert [(entry.engine, entry.task) for entry in findings.findings] == [("Z9", "oil"), ("Z9", "cables"), ("A1", "oil"), ("A1", "cables")]


def test_an_engine_asked_for_alone_does_not_unfit_the_tasks_of_others(tmp_path: Path) -> None:
    """Plugs are for G2: judging G1 alone is no reason to say that they fit no engine here."""
    tasks = [task("oil", every={"running_hours": 1000}), task("plugs", applies_to={"fuel": "natural-gas"}, every={"running_hours": 500})]
    engines = [{"id": "G1", "fuel": "diesel", **IN_SERVICE}, {"id": "G2", "fuel": "natural-gas", **IN_SERVICE}]
    rows = steady("2024-01-01", "2024-01-31", 10) + steady("2024-01-01", "2024-01-31", 10, engine="G2")
    site = write_site(tmp_path, tasks, rows, engines=engines)
    assert assess(site, date(2024, 1, 4), engines=("G1",)).faults == ()
    assert assess(site, date(2024, 1, 4)).faults == ()


def test_judged_before_any_engine_is_in_service_the_refusal_says_so(tmp_path: Path) -> None:
    """Nothing to judge yet: the problem is the date, and not what the tasks apply to."""
    with pytest.raises(ProblemsError) as refusal:
        judge(tmp_path, "2023-12-01", [OIL], steady("2024-01-01", "2024-01-31", 10), engine=IN_SERVICE)
    assert "fits" not in refusal.value.problems[0].text


def test_what_is_wrong_after_the_moment_is_not_a_fault_yet(tmp_path: Path) -> None:
    """Judged at the end of January, a gap of February and a meter that goes back in April have not happened."""
    rows = [*steady("2024-01-01", "2024-02-01", 10), meter("2024-03-01T00:00", 400), meter("2024-04-01T00:00", 5)]
    findings = judge(tmp_path, "2024-01-31", [OIL], rows, engine=IN_SERVICE, gap_h=36)
    assert fault_kinds(findings) == []
