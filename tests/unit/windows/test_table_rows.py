"""An interval that results choose: failures among the last attempts, values of the laboratory, how a part was found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, get_args

import pytest

from intervals import assess, read_site
from intervals.findings import Finding
from intervals.history.inputs import read_inputs
from intervals.language.result_measures import FOUND_GRADES
from intervals.questions.explain.explain import explain_finding
from intervals.questions.input_digests import input_files
from intervals.questions.record.handed_in import AsFound
from intervals.rulebook.inference import RuleBase
from tests.site_maker import done, finding_for, moment, reason_for, steady, task, write_site

ROWS = steady("2024-01-01", "2024-12-31", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
MONTHLY = {"calendar": "P31D"}
WEEKLY = {"calendar": "P7D"}
AFTER_FAILURES = [{"when": {"failures_in_last_4": {"at_least": 2}}, "every": WEEKLY}]
TESTS = ("2024-01-10", "2024-02-10", "2024-03-10", "2024-04-10", "2024-05-10")


def card(number: int) -> str:
    """Return the code of a card."""
    return f"0000-0000-0000-{number:04d}"


def judged(
    folder: Path,
    as_of: str,
    table: Sequence[Mapping[str, object]],
    *,
    services: Sequence[Mapping[str, object]] = (),
    found: Mapping[str, str] | None = None,
    lab: str = "",
    engine: Mapping[str, object] = ENGINE,
    **keys: Any,  # noqa: ANN401 - other keys of the task
) -> Finding:
    """Judge a task by its table; `found` is what cards told of the parts, `lab` the rows of the file of analyses."""
    tested = task("test", **{"interval_from": "results", "table": list(table), **keys})
    write_site(folder, [tested], ROWS, services=services, engine=engine)
    if found is not None:
        (folder / "records").mkdir()
        lines = [f"2024-01-01T08:00,G1,test,as_found,{grade},,{code}" for code, grade in found.items()]
        (folder / "records" / "measures.csv").write_text("\n".join(["at,engine,task,measure,value,unit,card", *lines]), encoding="utf-8")
    if lab:
        (folder / "lab.csv").write_text(lab, encoding="utf-8")
    return finding_for(assess(read_site(folder), moment(as_of)), "test")


def records_of(*failed: int, days: Sequence[str] = TESTS) -> dict[str, Any]:
    """Return the records of tests, each by a card of its own, and what the cards told: those of some numbers failed."""
    services = [done("test", day, ref=card(number)) for number, day in enumerate(days)]
    return {"services": services, "found": {card(number): "failed" if number in failed else "good" for number in range(len(days))}}


def test_the_row_that_holds_is_the_interval(tmp_path: Path) -> None:
    """Of the last four of five tests two failed: 7 days from 10 May, overdue on the 18th by one."""
    finding = judged(tmp_path, "2024-05-18", AFTER_FAILURES, every=MONTHLY, outside="every", **records_of(2, 3))
    assert (finding.standing, finding.due_on, finding.legs[0].allowed) == ("overdue", "2024-05-17", 7.0)
    reason = reason_for(finding, "interval-from-results")
    assert reason.facts == {"failures_in_last_4": 2.0}
    assert reason.text == (
        "interval of 7 days by row 1 of its table (at least 2 failures in the last 4 attempts): "
        "2 failures in the last 4 attempts when its window began"
    )


def test_a_failure_drops_out_of_the_last_attempts(tmp_path: Path) -> None:
    """The first and the third of five failed: one of the last four, so that every month holds; due on 10 June."""
    finding = judged(tmp_path, "2024-05-18", AFTER_FAILURES, every=MONTHLY, outside="every", **records_of(0, 2))
    assert (finding.standing, finding.legs[0].allowed, finding.due_on) == ("in_interval", 31.0, "2024-06-10")
    assert "as every says, since no row of its table holds: 1 failure in the last 4 attempts" in finding.reasons[1].text


def test_a_later_failure_counts_from_the_next_window_on(tmp_path: Path) -> None:
    """A job in part that was found failed after the window began is an attempt of the next window; then it is one of the last four."""
    told = records_of(2, days=TESTS[:4])
    in_part = {**done("test", "2024-04-20", ref=card(9)), "outcome": "partial"}
    both: dict[str, Any] = {"services": [*told["services"], in_part], "found": {**told["found"], card(9): "failed"}}
    assert judged(tmp_path / "a", "2024-04-25", AFTER_FAILURES, every=MONTHLY, outside="every", **both).legs[0].allowed == 31.0
    both["services"].append(done("test", "2024-04-30", ref=card(8)))
    assert judged(tmp_path / "b", "2024-05-02", AFTER_FAILURES, every=MONTHLY, outside="every", **both).legs[0].allowed == 7.0


@pytest.mark.parametrize(
    ("failed", "standing", "allowed"),
    [
        # two known failures are two of the last four whatever the two before were
        ((0, 1), "in_interval", 7.0),
        # one known failure is one to three of four
        ((1,), "unknown", None),
    ],
)
def test_records_that_begin_late_leave_open_what_they_must(
    tmp_path: Path, failed: tuple[int, ...], standing: str, allowed: float | None
) -> None:
    """Two tests are on record since April, when the records begin."""
    told = records_of(*failed, days=("2024-04-10", "2024-05-10"))
    engine = {**ENGINE, "records_from": "2024-04-01"}
    finding = judged(tmp_path, "2024-05-12", AFTER_FAILURES, every=MONTHLY, outside="every", engine=engine, **told)
    assert finding.standing == standing
    assert [leg.allowed for leg in finding.legs] == ([] if allowed is None else [allowed])


def test_what_cannot_be_counted_is_told(tmp_path: Path) -> None:
    """Neither row nor every: the sentence says from what to what the failures may be."""
    told = records_of(1, days=("2024-04-10", "2024-05-10"))
    finding = judged(
        tmp_path, "2024-05-12", AFTER_FAILURES, every=MONTHLY, outside="every", engine={**ENGINE, "records_from": "2024-04-01"}, **told
    )
    assert (finding.reasons[0].rule, finding.reasons[0].facts) == ("results-not-known", {"failures_in_last_4": None})
    assert finding.reasons[0].text == (
        "unknown: its table cannot be judged at the start of its window: "
        "1 to 3 failures in the last 4 attempts (records do not reach back further)"
    )


IRON = [
    {"when": {"latest_iron_ppm": {"at_most": 60}}, "every": {"running_hours": 500}},
    {"when": {"latest_iron_ppm": {"above": 60, "at_most": 100}}, "every": {"running_hours": 250}, "source": "letter of the laboratory"},
]
LAB = "at,engine,kind,result_at,iron_ppm\n2024-02-01,G1,oil,2024-02-05,{first}\n2024-03-01,G1,oil,{came},{second}\n"
CHANGED = [done("test", "2024-03-10T00:00")]


@pytest.mark.parametrize(("iron", "allowed"), [("60", 500.0), ("60.1", 250.0), ("100", 250.0)])
def test_the_latest_analysis_chooses(tmp_path: Path, iron: str, allowed: float) -> None:
    """The sample of March, at a limit and just past one."""
    lab = LAB.format(first="20", second=iron, came="2024-03-05")
    finding = judged(tmp_path, "2024-03-20", IRON, services=CHANGED, lab=lab)
    assert (finding.legs[0].allowed, finding.standing) == (allowed, "in_interval")


def test_the_source_is_that_of_the_row(tmp_path: Path) -> None:
    """The interval of a row comes from where the row says."""
    finding = judged(tmp_path, "2024-03-20", IRON, services=CHANGED, lab=LAB.format(first="20", second="61", came="2024-03-05"))
    assert {finding.reasons[0].source, reason_for(finding, "interval-from-results").source} == {"letter of the laboratory"}


def test_a_result_that_came_later_was_not_known(tmp_path: Path) -> None:
    """The sample of March has its result on the 15th, after the change on the 10th: that of February chose."""
    lab = LAB.format(first="70", second="20", came="2024-03-15")
    assert judged(tmp_path, "2024-03-20", IRON, services=CHANGED, lab=lab).legs[0].allowed == 250.0


def test_outside_of_the_table_is_unknown(tmp_path: Path) -> None:
    """Beyond the last row no interval is known, and the finding says what was found; never overdue, whatever was used."""
    finding = judged(tmp_path, "2024-12-31", IRON, services=CHANGED, lab=LAB.format(first="20", second="101", came="2024-03-05"))
    assert (finding.standing, finding.legs, finding.forecast) == ("unknown", (), None)
    assert finding.reasons[0].text == "unknown: no row of its table holds at the start of its window: latest iron ppm 101"
    assert (finding.reasons[0].rule, finding.reasons[0].facts) == ("outside-table", {"latest_iron_ppm": 101.0})


@pytest.mark.parametrize("lab", ["", LAB.format(first="20", second="-3", came="2024-03-05")])
def test_without_a_value_nothing_is_chosen(tmp_path: Path, lab: str) -> None:
    """No file of analyses; or a latest value that cannot be, for which no older one stands in."""
    finding = judged(tmp_path, "2024-03-20", IRON, services=CHANGED, lab=lab)
    assert (finding.standing, finding.reasons[0].rule) == ("unknown", "results-not-known")
    assert finding.reasons[0].text.endswith("latest iron ppm unknown")


def test_a_value_compared_with_the_new_fluid_is_worked_out(tmp_path: Path) -> None:
    """Acid number 4.0 over 1.5 of the new oil rose by 2.5: within 3."""
    lab = "at,engine,kind,result_at,acid_number,acid_number_new\n2024-03-01,G1,oil,2024-03-05,4.0,1.5\n"
    table = [{"when": {"latest_acid_number_rise": {"at_most": 3}}, "every": {"running_hours": 900}}]
    assert judged(tmp_path, "2024-03-20", table, services=CHANGED, lab=lab).legs[0].allowed == 900.0


@pytest.mark.parametrize(("grade", "allowed"), [("good", 500.0), ("worn", 250.0), ("at_limit", 100.0)])
def test_as_found_chooses(tmp_path: Path, grade: str, allowed: float) -> None:
    """How the part was found when it was last done sets the hours to the next time."""
    table = [
        {"when": {"found": "good"}, "every": {"running_hours": 500}},
        {"when": {"found": "worn"}, "every": {"running_hours": 250}},
        {"when": {"found": ["at_limit", "failed"]}, "every": {"running_hours": 100}},
    ]
    services = [done("test", "2024-03-10", ref=card(1))]
    assert judged(tmp_path, "2024-03-12", table, services=services, found={card(1): grade}).legs[0].allowed == allowed


def test_nothing_was_found_on_the_first_day(tmp_path: Path) -> None:
    """Before the first completion nothing was found, and the table cannot be judged."""
    finding = judged(tmp_path, "2024-01-12", [{"when": {"found": "good"}, "every": WEEKLY}], found={})
    assert (finding.standing, finding.reasons[0].rule) == ("unknown", "results-not-known")


def test_a_row_may_ask_what_an_engine_states(tmp_path: Path) -> None:
    """Its own fuel beside results: the second row is for diesel."""
    table = [{"when": {"fuel": "biogas"}, "every": WEEKLY}, {"when": {"fuel": "diesel"}, "every": MONTHLY}]
    assert judged(tmp_path, "2024-01-12", table, engine={**ENGINE, "fuel": "diesel"}).legs[0].allowed == 31.0


def test_each_window_goes_by_its_own_row(tmp_path: Path) -> None:
    """After the failures of the second and third test their windows are a week long: what was late by that is skipped work."""
    told = records_of(1, 2)
    tested = task("test", every=MONTHLY, interval_from="results", table=AFTER_FAILURES, outside="every")
    write_site(tmp_path, [tested], ROWS, services=told["services"], engine=ENGINE)
    (tmp_path / "records").mkdir()
    lines = [f"2024-01-01T08:00,G1,test,as_found,{grade},,{code}" for code, grade in told["found"].items()]
    (tmp_path / "records" / "measures.csv").write_text("\n".join(["at,engine,task,measure,value,unit,card", *lines]), encoding="utf-8")
    findings = assess(read_site(tmp_path), moment("2024-05-12"))
    # in the windows from 10 March and 10 April two of the last four had failed: due after 7 d, again after 14, 21 and 28
    assert [entry.at[:10] for entry in findings.skipped if entry.kind == "missed"] == [
        *("2024-03-24", "2024-03-31", "2024-04-07"),
        *("2024-04-24", "2024-05-01", "2024-05-08"),
    ]


def test_rows_are_put_to_the_rules(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No row is decided by anything but the inference engine."""
    asked: list[object] = []
    fire = RuleBase.fire

    def noted(self: RuleBase, facts: Mapping[str, Any]) -> object:
        if self.about == "table":
            asked.append(facts["failures_in_last_4"])
        return fire(self, facts)

    monkeypatch.setattr(RuleBase, "fire", noted)
    judged(tmp_path, "2024-05-12", AFTER_FAILURES, every=MONTHLY, outside="every", **records_of(2, 3))
    assert asked
    assert set(asked) == {0.0, 1.0, 2.0}


def test_explain_shows_the_rows(tmp_path: Path) -> None:
    """What was found, each row up to the one that holds, and the interval."""
    judged(tmp_path, "2024-03-20", IRON, services=CHANGED, lab=LAB.format(first="20", second="61", came="2024-03-05"))
    found = explain_finding(read_site(tmp_path), "G1", "test", moment("2024-03-20"))
    assert [(each.name, each.value) for each in found.measures] == [("latest_iron_ppm", 61.0)]
    assert [(step.label, step.sum) for step in found.steps[:3]] == [
        ("row 1 of 2", "latest iron ppm at most 60: does not hold"),
        ("row 2 of 2", "latest iron ppm above 60 and latest iron ppm at most 100: holds"),
        ("interval", "250 h"),
    ]


def test_a_statement_names_the_file_of_what_was_found(tmp_path: Path) -> None:
    """What cards told of the parts is one of the files that a judgement rests on, where some table asks for it; else it is not."""
    judged(tmp_path / "a", "2024-05-12", AFTER_FAILURES, every=MONTHLY, outside="every", **records_of(2, 3))
    judged(tmp_path / "b", "2024-05-12", [{"when": {"fuel": "diesel"}, "every": WEEKLY}], **records_of(2, 3))
    for name, paths in (("a", ["records/measures.csv"]), ("b", [])):
        files = input_files(read_inputs(read_site(tmp_path / name), moment("2024-05-12")))
        assert [each.path for each in files if each.kind == "measures"] == paths


def test_the_grades_are_those_of_cards() -> None:
    """A table may ask for every grade that a card can tell, and for no other."""
    assert get_args(AsFound) == FOUND_GRADES


def test_an_analysis_may_be_of_the_same_day(tmp_path: Path) -> None:
    """A result that came in the morning is known when the job is done in the afternoon."""
    lab = "at,engine,kind,result_at,iron_ppm\n2024-03-01,G1,oil,2024-03-10T08:00,70\n"
    services = [done("test", "2024-03-10T15:00")]
    assert judged(tmp_path, "2024-03-20", IRON, services=services, lab=lab).legs[0].allowed == 250.0


def test_a_task_without_every_has_the_legs_of_its_rows(tmp_path: Path) -> None:
    """A row of hours and one of days: each window has the legs of its own row."""
    table = [
        {"when": {"latest_iron_ppm": {"above": 60}}, "every": {"calendar": "P30D"}},
        {"when": {"latest_iron_ppm": {"at_most": 60}}, "every": {"running_hours": 500}},
    ]
    lab = LAB.format(first="20", second="70", came="2024-03-05")
    services = [done("test", "2024-02-20T00:00"), *CHANGED]
    finding = judged(tmp_path, "2024-03-20", table, services=services, lab=lab)
    assert [(leg.leg, leg.allowed) for leg in finding.legs] == [("calendar", 30.0)]
