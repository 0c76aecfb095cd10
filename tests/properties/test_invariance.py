"""What must not change an answer: the order of rows, how a log is cut into files, a new meter, other engines, other tasks."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from intervals import assess
from intervals.documents import json_text
from intervals.findings import Finding, Findings
from intervals.questions.check.findings_document import findings_document, findings_text
from intervals.questions.explain.explain import explain_finding
from tests.properties.bounded import bounded
from tests.properties.made_logs import START, MadeLog, Step, made_logs, scratch, stamp
from tests.site_maker import NEVER_SILENT_H, rule, task, write_site

RULES: dict[str, object] = {
    "conditions": {"heavy": {"load_pct": {"above": 90}}},
    "adjustments": [
        rule("heavy-load", {"condition": "heavy"}, counts_as=2),
        rule("sulphur", {"fuel_sulphur_pct": {"at_least": 0.5, "at_most": 1.0}}, counts_as=1.5),
        rule("starts", {"starts_per_100h": {"above": 30}}, interval_times=0.8),
        rule("mean", {"mean_load_pct": {"above": 70}}, interval_times=0.9, known_share_at_least=0.2),
        rule("share", {"hours_share_pct": {"heavy": {"above": 20}}}, interval_becomes={"running_hours": 60}),
    ],
}
TASKS = [
    task(
        "oil",
        every={"running_hours": 100, "calendar": "P14D"},
        first={"running_hours": 20},
        tolerance_pct=10,
        stops_engine=True,
        renews=["sample"],
    ),
    task("sample", every={"running_hours": 40}, restarts_from="due_if_on_time", tolerance_pct=20),
    task("plugs", every={"starts": 30, "energy_kwh": 20000, "oil_added_l": 60}, whichever="last", restarts_from="due"),
    task("hoses", every={"calendar": "P10D"}, restarts_from="due_if_late"),
]
AS_OF = START.date() + timedelta(days=40)
ENGINE = {"in_service": START.date().isoformat()}


def judged(
    rows: Mapping[str, Sequence[Mapping[str, object]]],
    records: Sequence[Mapping[str, object]],
    *,
    engines: Sequence[Mapping[str, object]] = ({"id": "G1", **ENGINE},),
    tasks: Sequence[Mapping[str, object]] = TASKS,
    rules: Mapping[str, object] = RULES,
    gap_h: float = NEVER_SILENT_H,
) -> Findings:
    """Judge rows by file, with compliance of the log's first month."""
    with scratch() as folder:
        files = {name: filled(part) for name, part in rows.items()}
        site = write_site(folder, tasks, files, services=records, engines=engines, rules=rules, gap_h=gap_h)
        return assess(site, AS_OF, month="2024-03")


def filled(rows: Sequence[Mapping[str, object]]) -> list[dict[str, object]]:
    """Return rows that have every column, in one order."""
    columns = ("at", "engine", "hour_meter_h", "starts", "energy_kwh", "oil_added_l", "load_pct", "fuel_sulphur_pct")
    return [{column: row.get(column, "") for column in columns} for row in rows]


def text_of(findings: Findings) -> str:
    """Return the JSON document, which the models write as it stands with every figure rounded."""
    text = findings_text(findings)
    assert text == json_text(findings_document(findings))
    return text


def records_of(log: MadeLog, engine: str = "G1") -> list[dict[str, object]]:
    """Return records of the log's completions, of one task after another."""
    names = [str(entry["id"]) for entry in TASKS]
    return [
        {"at": stamp(minute), "engine": engine, "task": names[(minute + number) % len(names)], "outcome": "done"}
        for number, minute in enumerate(log.completions)
    ]


@bounded(25)
@given(st.fixed_dictionaries({"G1": made_logs(), "G2": made_logs()}), st.randoms(use_true_random=False), st.integers(1, 4))
def test_the_order_of_rows_and_files_does_not_matter(logs: dict[str, MadeLog], shuffling: random.Random, count: int) -> None:
    """Rows of both engines shuffled over several files give the same document, byte for byte."""
    rows = [row for engine, log in logs.items() for row in log.rows(engine)]
    records = [record for engine, log in logs.items() for record in records_of(log, engine)]
    engines = [{"id": engine, **ENGINE} for engine in logs]
    whole = judged({"log.csv": rows}, records, engines=engines)
    shuffling.shuffle(rows)
    parts: dict[str, list[dict[str, object]]] = {f"{number}.csv": [] for number in range(count)}
    for row in rows:
        parts[f"{shuffling.randrange(count)}.csv"].append(row)
    shuffled = judged({name: part for name, part in parts.items() if part}, records, engines=engines)
    assert text_of(shuffled) == text_of(whole)


@bounded(25)
@given(made_logs(), st.data())
def test_a_log_cut_into_files_anywhere_is_the_whole(log: MadeLog, data: st.DataObject) -> None:
    """Cut between any two rows: steps across the border are counted once. Gaps are where they are, but for file and line."""
    rows = log.rows()
    cuts = sorted(data.draw(st.lists(st.integers(1, len(rows)), max_size=3, unique=True)))
    parts = {f"{number}.csv": rows[low:high] for number, (low, high) in enumerate(zip([0, *cuts], [*cuts, len(rows)], strict=True))}
    gap_h = data.draw(st.sampled_from([10.0, 24.0, NEVER_SILENT_H]))
    whole = judged({"log.csv": rows}, records_of(log), gap_h=gap_h)
    cut = judged({name: part for name, part in parts.items() if part}, records_of(log), gap_h=gap_h)
    without_place = [[fault.model_copy(update={"file": None, "line": None}) for fault in one.faults] for one in (whole, cut)]
    assert without_place[0] == without_place[1]
    assert text_of(cut.model_copy(update={"faults": ()})) == text_of(whole.model_copy(update={"faults": ()}))


@bounded(25)
@given(made_logs(), st.randoms(use_true_random=False))
def test_the_order_of_records_does_not_matter(log: MadeLog, shuffling: random.Random) -> None:
    """Records written in another order restart the same tasks at the same times (their lines are others)."""
    records = records_of(log)
    ordered = judged({"log.csv": log.rows()}, records)
    shuffling.shuffle(records)
    shuffled = judged({"log.csv": log.rows()}, records)
    assert [figures_of(finding) for finding in shuffled.findings] == [figures_of(finding) for finding in ordered.findings]
    assert shuffled.skipped == ordered.skipped


def figures_of(finding: Finding) -> tuple[object, ...]:
    """Return what a finding says but for the lines it names."""
    at = None if finding.last_done is None else finding.last_done.at
    return finding.task, finding.standing, finding.governing, finding.legs, finding.crossed_at, finding.due_on, finding.forecast, at


def assert_alike(one: Findings, other: Findings) -> None:
    """Check that two answers say the same, figures to a hundred-thousandth."""
    assert len(one.findings) == len(other.findings)
    for left, right in zip(one.findings, other.findings, strict=True):
        assert (left.task, left.standing, left.governing) == (right.task, right.standing, right.governing)
        for mine, theirs in zip(left.legs, right.legs, strict=True):
            assert mine.used == pytest.approx(theirs.used, abs=1e-5)
            assert mine.allowed == pytest.approx(theirs.allowed, abs=1e-5)
    assert [(entry.task, entry.kind, entry.open) for entry in one.skipped] == [
        (entry.task, entry.kind, entry.open) for entry in other.skipped
    ]


@bounded(25)
@given(made_logs(), st.data())
def test_a_new_meter_changes_nothing(log: MadeLog, data: st.DataObject) -> None:
    """A registered change in any step, to any reading, gives what the log without it gives."""
    assume(stands_clear(log))
    index = data.draw(st.integers(0, len(log.steps) - 1))
    step, end = log.steps[index], log.ends[index]
    inside = data.draw(st.integers(0, step.minutes - 1))
    # old meter's last reading by an even share of the step; where exactly it stood does not matter to the sum
    old_h = log.start_h + sum(earlier.run_h for earlier in log.steps[:index]) + step.run_h * inside / step.minutes
    new_h = float(data.draw(st.integers(0, 20000)))
    rows = [dict(row) for row in log.rows()]
    for row in rows[index + 1 :]:
        row["hour_meter_h"] = repr(float(str(row["hour_meter_h"])) - old_h + new_h)
    assume(all(float(str(row["hour_meter_h"])) >= 0 for row in rows))
    change = {"at": stamp(end - step.minutes + inside), "old_read_h": old_h, "new_read_h": new_h}
    same = judged({"log.csv": log.rows()}, records_of(log))
    changed = judged({"log.csv": rows}, records_of(log), engines=[{"id": "G1", **ENGINE, "meter_changes": [change]}])
    assert changed.faults == same.faults
    assert_alike(changed, same)


@bounded(25)
@given(made_logs(), st.integers(50, 9999))
def test_a_meter_that_rolls_over_changes_nothing(log: MadeLog, rolls_over_at_h: int) -> None:
    """Readings modulo the roll-over give what readings that go on give, where no step is as long as the roll-over."""
    assume(stands_clear(log))
    rows = [{**row, "hour_meter_h": repr(float(str(row["hour_meter_h"])) % rolls_over_at_h)} for row in log.rows()]
    same = judged({"log.csv": log.rows()}, records_of(log))
    rolled = judged({"log.csv": rows}, records_of(log), engines=[{"id": "G1", **ENGINE, "meter_rolls_over_at_h": rolls_over_at_h}])
    assert rolled.faults == same.faults
    assert_alike(rolled, same)


def stands_clear(log: MadeLog) -> bool:
    """Say that sums in another order of figures cannot land on another side of a line: nothing is at one to a thousandth."""
    found = judged({"log.csv": log.rows()}, records_of(log))
    legs = [
        leg
        for finding in found.findings
        for leg in finding.legs
        if leg.leg == "running_hours" and leg.used is not None and leg.allowed is not None
    ]
    edges = [
        abs(leg.used - leg.allowed * share)
        for leg in legs
        for share in (0.8, 0.9, 1.0, 1.1, 1.2, 2, 3, 4, 5)
        if leg.used is not None and leg.allowed
    ]
    return all(edge > 1e-3 for edge in edges)


@bounded(20)
@given(made_logs(), made_logs())
def test_one_engine_says_nothing_about_another(log: MadeLog, other: MadeLog) -> None:
    """G1's findings are the same with and without G2 beside it."""
    alone = judged({"log.csv": log.rows()}, records_of(log))
    beside = judged(
        {"log.csv": [*other.rows("G2"), *log.rows()]}, records_of(log), engines=[{"id": "G1", **ENGINE}, {"id": "G2", **ENGINE}]
    )
    assert [finding for finding in beside.findings if finding.engine == "G1"] == list(alone.findings)
    assert [entry for entry in beside.skipped if entry.engine == "G1"] == list(alone.skipped)


@bounded(20)
@given(made_logs(), st.lists(st.integers(1, 40 * 1440), max_size=4, unique=True))
def test_completions_of_one_task_leave_the_others_as_they_are(log: MadeLog, washes: list[int]) -> None:
    """Cuts for a task that stops nothing and renews nothing move no other task's figures."""
    tasks = [*TASKS, task("wash", every={"running_hours": 500})]
    records = records_of(log)
    more = [{"at": stamp(minute), "engine": "G1", "task": "wash", "outcome": "done"} for minute in washes]
    assume(stands_clear(log))
    without, with_more = (
        judged({"log.csv": log.rows()}, records, tasks=tasks),
        judged({"log.csv": log.rows()}, [*records, *more], tasks=tasks),
    )
    for left, right in zip(without.findings, with_more.findings, strict=True):
        if left.task != "wash":
            assert (left.standing, left.governing, left.crossed_at is None) == (right.standing, right.governing, right.crossed_at is None)
            assert [leg.used for leg in left.legs] == pytest.approx([leg.used for leg in right.legs], abs=1e-5)
    kinds = [[(entry.task, entry.kind, entry.at) for entry in one.skipped if entry.task != "wash"] for one in (without, with_more)]
    assert kinds[0] == kinds[1]


NEVER = rule("never", {"engine": "nobody"}, interval_times=0.5)


@bounded(30)
@given(made_logs(most_completions=8), st.sampled_from(["first", "last"]), st.booleans())
def test_windows_judged_together_are_judged_as_one_by_one(log: MadeLog, whichever: str, has_first: bool) -> None:
    """A rule that never fires makes the judge walk window by window; it finds what the quick way finds."""
    keys: dict[str, object] = {"first": {"running_hours": 10}} if has_first else {}
    tasks = [
        task("oil", every={"running_hours": 30, "calendar": "P5D"}, whichever=whichever, tolerance_pct=10, **keys),
        task("plugs", every={"starts": 15}),
    ]
    records = [
        {"at": stamp(minute), "engine": "G1", "task": ("oil", "plugs")[number % 2], "outcome": "done"}
        for number, minute in enumerate(log.completions)
    ]
    hourly = [rule("heavy-load", {"load_pct": {"above": 90}}, counts_as=2)]
    quick = judged({"log.csv": log.rows()}, records, tasks=tasks, rules={"adjustments": hourly})
    walked = judged({"log.csv": log.rows()}, records, tasks=tasks, rules={"adjustments": [*hourly, NEVER]})
    assert quick.findings == walked.findings
    assert quick.skipped == walked.skipped
    assert quick.compliance == walked.compliance


@bounded(25)
@given(made_logs(), st.data())
def test_the_past_is_judged_as_it_was(log: MadeLog, data: st.DataObject) -> None:
    """Judged at the time of one of its rows, the log says what it said before later rows and records were written."""
    index = data.draw(st.integers(1, len(log.steps)))
    minute = log.ends[index - 1]
    rows, records = log.rows(), records_of(log)
    until = [record for record in records if str(record["at"]) <= stamp(minute)]
    answers = []
    for some_rows, some_records in ((rows, records), (rows[: index + 1], until)):
        with scratch() as folder:
            engines = [{"id": "G1", **ENGINE}]
            site = write_site(folder, TASKS, {"log.csv": filled(some_rows)}, services=some_records, engines=engines, rules=RULES)
            answers.append(assess(site, START + timedelta(minutes=minute)))
    assert answers[0].findings == answers[1].findings
    assert answers[0].skipped == answers[1].skipped


@bounded(20)
@given(made_logs())
def test_the_same_folder_gives_the_same_bytes(log: MadeLog) -> None:
    """Judged twice, printed twice, byte for byte the same."""
    assert text_of(judged({"log.csv": log.rows()}, records_of(log))) == text_of(judged({"log.csv": log.rows()}, records_of(log)))


@bounded(20)
@given(made_logs(), st.integers(1, 400))
def test_moving_everything_by_whole_weeks_moves_only_the_dates(log: MadeLog, weeks: int) -> None:
    """In UTC a log, its records and the moment moved by whole weeks give the same figures (no task here counts months)."""
    still = judged({"log.csv": log.rows()}, records_of(log))
    rows = [{**row, "at": moved(str(row["at"]), weeks)} for row in log.rows()]
    records = [{**record, "at": moved(str(record["at"]), weeks)} for record in records_of(log)]
    engine = {"id": "G1", "in_service": (START.date() + timedelta(weeks=weeks)).isoformat()}
    with scratch() as folder:
        site = write_site(folder, TASKS, {"log.csv": filled(rows)}, services=records, engines=[engine], rules=RULES)
        later = assess(site, AS_OF + timedelta(weeks=weeks))
    assert [(entry.standing, entry.governing, entry.legs) for entry in later.findings] == [
        (entry.standing, entry.governing, entry.legs) for entry in still.findings
    ]


@bounded(15)
@given(made_logs())
def test_an_explanation_adds_up(log: MadeLog) -> None:
    """The cells of a window hold its running hours, and what they count, with what the window began with, is what was used."""
    with scratch() as folder:
        engines = [{"id": "G1", **ENGINE}]
        site = write_site(folder, TASKS, {"log.csv": filled(log.rows())}, services=records_of(log), engines=engines, rules=RULES)
        told = [explain_finding(site, "G1", name, AS_OF) for name in ("oil", "sample")]
    for explanation in told:
        (leg,) = (leg for leg in explanation.finding.legs if leg.leg == "running_hours")
        carried = [reason.facts["starts_with"] for reason in explanation.finding.reasons if reason.rule == "keeps-grid"]
        started_with = sum(float(value) for value in carried if isinstance(value, int | float))
        assert sum(cell.hours_h for cell in explanation.cells) == pytest.approx(leg.running_hours_h, abs=1e-5)
        assert started_with + sum(cell.equivalent_h for cell in explanation.cells) == pytest.approx(leg.used, abs=1e-5)


def moved(at: str, weeks: int) -> str:
    """Return a stamp so many weeks later."""
    return f"{date.fromisoformat(at[:10]) + timedelta(weeks=weeks)}{at[10:]}"


def test_logs_are_made_as_they_say() -> None:
    """The made log's own arithmetic: the meter ends where its steps end, and harder is more hours as far as there is time."""
    step = Step(minutes=60, run_minutes=30, starts=0, energy_kwh=0, oil_added_l=0, load_pct=None, fuel_sulphur_pct=None)
    assert MadeLog((step, step)).rows()[-1]["hour_meter_h"] == "1.0"
    assert MadeLog((step,)).harder([45]).steps == (replace(step, run_minutes=60),)
