"""Tasks done by the log: runs that complete a task, what ends them, and what the others lacked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from intervals import read_site
from intervals.findings import Finding, Findings, Skipped
from intervals.questions.explain.explain import explain_finding
from tests.site_maker import done, fault_kinds, finding_for, judge, meter, skipped_of, task

MONTHLY = {"calendar": "P1M"}
LOADED = {"running_min": 30, "load_pct": {"at_least": 30}}
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 400}
Spell = tuple[float, float]


def minutes_log(start: str, spells: Sequence[Spell], *, every_min: int = 5, **more: object) -> list[dict[str, object]]:
    """Return rows every few minutes from `start`: a standstill row, then spells of (minutes, load_kw), then standstill.

    The load of a spell is that of the engine while it runs; a load of 0 is standstill. The meter rises while it runs.
    """
    at, hours = datetime.fromisoformat(start), 0.0
    rows = [meter(at.isoformat(timespec="minutes"), 0.0, load_kw=0, **more)]
    for minutes, load_kw in [*spells, (15.0, 0.0)]:
        for _ in range(round(minutes / every_min)):
            at += timedelta(minutes=every_min)
            hours += every_min / 60 if load_kw else 0.0
            rows.append(meter(at.isoformat(timespec="minutes"), round(hours, 6), load_kw=load_kw, **more))
    return rows


def judged(
    folder: Path,
    rows: Sequence[Mapping[str, object]],
    done_when: Mapping[str, object] = LOADED,
    *,
    as_of: str = "2024-01-31",
    services: Sequence[Mapping[str, object]] = (),
    engine: Mapping[str, object] = ENGINE,
    **keys: Any,  # noqa: ANN401 - what a task takes
) -> Findings:
    """Judge a monthly exercise by a log; the meter's first reading is that of the first day, as the log begins later."""
    exercise = task("exercise", every=keys.pop("every", MONTHLY), done_when=done_when, **keys)
    return judge(folder, as_of, [exercise], rows, engine=engine, services=services)


def exercise_of(findings: Findings) -> Finding:
    """Return the finding of the exercise."""
    return finding_for(findings, "exercise")


def ended(findings: Findings) -> tuple[str, str | None] | None:
    """Return when the last completion was, and by which row."""
    last = exercise_of(findings).last_done
    return None if last is None else (last.at[:16], last.record)


def short_runs(findings: Findings) -> list[Skipped]:
    """Return the runs that fell short."""
    return [entry for entry in skipped_of(findings, "exercise") if entry.kind == "run_fell_short"]


def test_a_run_that_is_long_and_loaded_enough_is_a_completion(tmp_path: Path) -> None:
    """From 10:00, 30 min at 125 of 400 kW: done at 10:30, by the row that ends the run (header, standstill, six rows: line 8)."""
    findings = judged(tmp_path, minutes_log("2024-01-10T10:00", [(30, 125)]))
    assert ended(findings) == ("2024-01-10T10:30", "readings/log.csv:8")
    assert exercise_of(findings).legs[0].used == 21.0
    assert short_runs(findings) == []


@pytest.mark.parametrize(
    ("spells", "words"),
    [
        (
            [(25, 125)],
            "the run of 25 min that ended by 2024-01-10 10:25 (readings/log.csv:7) fell short: 25 min in a row with at least 30 % load",
        ),
        (
            [(60, 119)],
            "the run of 60 min that ended by 2024-01-10 11:00 (readings/log.csv:14) fell short: 0 min in a row with at least 30 %",
        ),
        # 20 and 25 min, five minutes at 20 % between them
        ([(20, 125), (5, 80), (25, 125)], "fell short: 25 min in a row with at least 30 % load, 30 min needed"),
    ],
)
def test_a_run_that_fell_short_is_listed_with_what_it_lacked(tmp_path: Path, spells: Sequence[Spell], words: str) -> None:
    """Too short, too light, or broken: nothing is completed, the run is told and asks for nothing."""
    findings = judged(tmp_path, minutes_log("2024-01-10T10:00", spells))
    assert exercise_of(findings).last_done is None
    (run,) = short_runs(findings)
    assert words in run.text
    assert (run.open, run.at, run.rule) == (False, "2024-01-10", "run-fell-short")


def test_a_standstill_ends_a_run(tmp_path: Path) -> None:
    """Twice 20 min with ten minutes of standstill: two runs, both short."""
    findings = judged(tmp_path, minutes_log("2024-01-10T10:00", [(20, 125), (10, 0), (20, 125)]))
    assert exercise_of(findings).last_done is None
    assert len(short_runs(findings)) == 2


def test_every_run_is_a_completion_of_its_own(tmp_path: Path) -> None:
    """Two runs on two days: the month counts from the second, and nothing was missed between."""
    rows = minutes_log("2024-01-10T10:00", [(30, 125)])
    later = minutes_log("2024-02-08T10:00", [(30, 125)])
    for row in later:
        row["hour_meter_h"] = float(str(row["hour_meter_h"])) + 0.5
    findings = judged(tmp_path, [*rows, *later], as_of="2024-02-29")
    assert ended(findings) == ("2024-02-08T10:30", f"readings/log.csv:{len(rows) + 8}")
    assert skipped_of(findings, "exercise") == []


def test_a_load_that_dips_for_a_row_ends_the_stretch_and_not_the_run(tmp_path: Path) -> None:
    """35 min at 125 kW, 5 at 80, 35 at 125: two stretches of one run, both long enough; none of it is short."""
    findings = judged(tmp_path, minutes_log("2024-01-10T10:00", [(35, 125), (5, 80), (35, 125)]))
    assert ended(findings) == ("2024-01-10T11:15", "readings/log.csv:17")
    assert short_runs(findings) == []


def test_rows_in_which_it_started_and_stopped_begin_and_end_a_run(tmp_path: Path) -> None:
    """Every quarter, 10:05 to 10:40: 10, 15 and 10 min by the meter are 35."""
    shown = {"10:00": 0.0, "10:15": 10 / 60, "10:30": 25 / 60, "10:45": 35 / 60, "11:00": 35 / 60}
    rows = [meter(f"2024-01-10T{at}", round(hours, 6), load_kw=125) for at, hours in shown.items()]
    assert ended(judged(tmp_path, rows)) == ("2024-01-10T10:45", "readings/log.csv:5")


def test_a_row_that_ran_in_part_between_two_that_ran_counts_for_neither(tmp_path: Path) -> None:
    """Quarters of 15, 15, 7, 15 and 10 min: it stopped in the third, so 30 and 25 min are two runs."""
    rows, hours = [meter("2024-01-10T10:00", 0.0, load_kw=125)], 0.0
    for number, minutes in enumerate([15, 15, 7, 15, 10, 0], start=1):
        hours += minutes / 60
        at = datetime.fromisoformat("2024-01-10T10:00") + timedelta(minutes=15 * number)
        rows.append(meter(at.isoformat(timespec="minutes"), round(hours, 6), load_kw=125))
    findings = judged(tmp_path, rows)
    assert ended(findings) == ("2024-01-10T10:30", "readings/log.csv:4")
    assert ["run of 25 min" in run.text for run in short_runs(findings)] == [True]


def test_the_sampling_of_the_log_is_allowed_for(tmp_path: Path) -> None:
    """25 min with 5 allowed are enough for 30; 20 are not."""
    for minutes, is_done in ((25, True), (20, False)):
        rows = minutes_log("2024-01-10T10:00", [(minutes, 125)])
        findings = judged(tmp_path / str(minutes), rows, {**LOADED, "sampling_min": 5})
        assert (exercise_of(findings).last_done is not None) == is_done
    assert "30 min needed, less 5 min for the log's sampling" in short_runs(findings)[0].text


def test_a_weekly_row_is_a_run_of_its_own(tmp_path: Path) -> None:
    """One row a week with half an hour and a start, at 125 kW while it ran: each is a run, two do not make an hour."""
    weeks = (("03", 0.0, 0), ("10", 0.5, 1), ("17", 1.0, 2), ("24", 1.0, 2))
    rows = [meter(f"2024-01-{day}T12:00", hours, load_kw=125, starts=starts) for day, hours, starts in weeks]
    assert ended(judged(tmp_path / "half", rows)) == ("2024-01-17T12:00", "readings/log.csv:4")
    hour = judged(tmp_path / "hour", rows, {"running_min": 60, "load_pct": {"at_least": 30}})
    assert exercise_of(hour).last_done is None
    assert len(short_runs(hour)) == 2


def test_several_starts_in_a_coarse_row_are_no_run(tmp_path: Path) -> None:
    """A week with half an hour and two starts: nothing tells how long either run was."""
    weeks = (("03", 0.0, 0), ("10", 0.5, 2), ("17", 0.5, 2))
    rows = [meter(f"2024-01-{day}T12:00", hours, load_kw=125, starts=starts) for day, hours, starts in weeks]
    findings = judged(tmp_path, rows)
    assert (exercise_of(findings).last_done, short_runs(findings)) == (None, [])
    (fault,) = (fault for fault in findings.faults if fault.kind == "runs_not_told")
    assert fault.text == "0.5 h in rows too coarse to show a run: no exercise is found in them"


def test_a_coarse_row_without_a_counter_of_starts_proves_no_run(tmp_path: Path) -> None:
    """Half an hour in a week may have been one run or ten: nothing is credited, and that is a named fault."""
    rows = [meter(f"2024-01-{day}T12:00", hours, load_kw=125) for day, hours in (("03", 0.0), ("10", 0.5), ("17", 0.5))]
    findings = judged(tmp_path, rows)
    assert exercise_of(findings).last_done is None
    assert "runs_not_told" in fault_kinds(findings)


def test_a_start_ends_the_run_before(tmp_path: Path) -> None:
    """Rows of five minutes, all run in full, a start in the fifth: 20 and 25 min."""
    rows = minutes_log("2024-01-10T10:00", [(45, 125)])
    for number, row in enumerate(rows):
        row["starts"] = 0 if number == 0 else 1 if number < 5 else 2
    findings = judged(tmp_path, rows)
    assert [run.text.split(" min")[0].rsplit(" ", 1)[1] for run in short_runs(findings)] == ["20", "25"]


def test_a_meter_in_tenths_under_rows_of_minutes_does_not_break_a_run(tmp_path: Path) -> None:
    """Every minute, the meter a tenth further each six: the load tells that it ran; 30 min from 10:00."""
    rows = []
    for minute in range(46):
        ran = min(minute, 30)
        rows.append(meter(f"2024-01-10T10:{minute:02d}", (ran // 6) / 10, load_kw=125 if 0 < minute <= 30 else 0))
    assert ended(judged(tmp_path, rows)) == ("2024-01-10T10:30", "readings/log.csv:32")


def test_hours_without_a_load_are_told_as_unknown(tmp_path: Path) -> None:
    """Half an hour, the load of its middle ten minutes not logged."""
    rows = minutes_log("2024-01-10T10:00", [(30, 125)])
    for row in rows[3:5]:
        row["load_kw"] = ""
    findings = judged(tmp_path, rows)
    assert short_runs(findings)[0].text.endswith("10 min in a row with at least 30 % load, 30 min needed; for 10 min it is unknown")


SEQUENCE = {
    "sequence": [{"running_min": 30, "load_pct": {"at_least": 50}}, {"running_min": 60, "load_pct": {"at_least": 75}}],
    "sampling_min": 0,
}


@pytest.mark.parametrize(
    ("spells", "lacked"),
    [
        ([(30, 200), (60, 300)], None),
        # the later part's load is enough for the earlier one too
        ([(90, 300)], None),
        ([(60, 300), (30, 200)], "part 2 of 2: 30 min in a row with at least 75 % load, 60 min needed"),
        ([(30, 200), (55, 300)], "part 2 of 2: 55 min in a row with at least 75 % load, 60 min needed"),
        ([(25, 200), (60, 299)], "part 2 of 2: 0 min in a row with at least 75 % load, 60 min needed"),
        # ten minutes at 25 % end the stretch
        ([(30, 200), (10, 100), (60, 300)], "part 2 of 2: 30 min in a row with at least 75 % load, 60 min needed"),
        ([(25, 200)], "part 1 of 2: 25 min in a row with at least 50 % load, 30 min needed"),
    ],
)
def test_the_parts_of_a_sequence_follow_one_another_in_one_run(tmp_path: Path, spells: Sequence[Spell], lacked: str | None) -> None:
    """Half an hour at half load, then an hour at three quarters, of 400 kW."""
    findings = judged(tmp_path, minutes_log("2024-01-10T10:00", spells), SEQUENCE)
    if lacked is None:
        assert ended(findings) is not None
        assert short_runs(findings) == []
    else:
        assert exercise_of(findings).last_done is None
        assert lacked in short_runs(findings)[0].text


THREE = [
    task("exercise", every={"calendar": "P1M"}, done_when={"running_min": 30, "load_pct": {"at_least": 30}}),
    task("load-bank", every={"calendar": "P1Y"}, done_when=SEQUENCE),
    task("long-run", every={"calendar": "P3Y"}, done_when={"running_min": 240, "load_pct": {"at_least": 30}}),
]


@pytest.mark.parametrize(
    ("spells", "told"),
    [
        # an exercise that passes is no attempt at the longer runs, one that was too light is an attempt at an exercise alone
        ([(30, 125)], []),
        ([(60, 100)], ["exercise"]),
        # five minutes are no attempt at anything, ten are one
        ([(5, 0.1)], []),
        ([(10, 125)], ["exercise"]),
        # nor are ten minutes of a weekly start without load
        ([(10, 0.1)], []),
        # a load bank run that lacks five minutes completes the exercise and is told all the same
        ([(30, 200), (55, 300)], ["load-bank"]),
        # half of the four hours, at 30 %
        ([(120, 120)], ["long-run"]),
        ([(115, 120)], []),
    ],
)
def test_a_run_is_told_of_the_task_that_it_was_an_attempt_at(tmp_path: Path, spells: Sequence[Spell], told: list[str]) -> None:
    """Of the task that asks for the least, unless it completed another one; of the others where it met half of what they ask for."""
    findings = judge(tmp_path, "2024-01-31", [dict(each) for each in THREE], minutes_log("2024-01-10T10:00", spells), engine=ENGINE)
    assert [entry.task for entry in findings.skipped] == told


def test_a_run_is_no_visit_at_which_other_work_could_have_been_done(tmp_path: Path) -> None:
    """The exercise runs the engine; valves that fell due a few days later were not left out of a stop."""
    tasks = [
        task("exercise", every={"calendar": "P1M"}, done_when=dict(LOADED), stops_engine=True),
        task("valves", every={"calendar": "P10D"}),
    ]
    findings = judge(tmp_path, "2024-01-15", tasks, minutes_log("2024-01-10T10:00", [(30, 125)]), engine=ENGINE)
    assert skipped_of(findings, "valves") == []


def test_a_run_before_its_window_is_told_and_asks_for_nothing(tmp_path: Path) -> None:
    """Due on 31 January, from the 21st on: a run on the 10th counts, and is no open matter."""
    keys: dict[str, Any] = {"every": {"calendar": "P30D"}, "window": {"before": "P10D", "after": "P10D"}}
    findings = judged(tmp_path, minutes_log("2024-01-10T10:00", [(30, 125)]), **keys)
    (entry,) = skipped_of(findings, "exercise")
    assert (entry.kind, entry.open) == ("too_early", False)
    assert exercise_of(findings).due_on == "2024-02-09"


def test_a_run_without_a_condition_asks_for_minutes_alone(tmp_path: Path) -> None:
    """Any half hour will do."""
    assert ended(judged(tmp_path, minutes_log("2024-01-10T10:00", [(30, 20)]), {"running_min": 30})) is not None


def test_a_service_record_of_the_day_tells_of_the_same_run(tmp_path: Path) -> None:
    """Recorded on the day of the run: one completion, at the run's end; recorded the day after: another one."""
    rows = minutes_log("2024-01-10T10:00", [(30, 125)])
    same = judged(tmp_path / "same", rows, services=[done("exercise", "2024-01-10")])
    assert ended(same) == ("2024-01-10T10:30", "readings/log.csv:8")
    after = judged(tmp_path / "after", rows, services=[done("exercise", "2024-01-11")])
    assert ended(after) == ("2024-01-11T12:00", "services.csv:2")


def test_a_record_still_completes_without_a_run(tmp_path: Path) -> None:
    """What was done by hand, or before the log began, counts as it did."""
    rows = minutes_log("2024-01-10T10:00", [(10, 125)])
    assert ended(judged(tmp_path, rows, services=[done("exercise", "2024-01-05")])) == ("2024-01-05T12:00", "services.csv:2")


def test_a_run_renews_what_its_task_renews(tmp_path: Path) -> None:
    """The load bank run is the month's exercise too."""
    tasks = [
        task("exercise", every=MONTHLY),
        task("load-bank", every={"calendar": "P1Y"}, done_when=SEQUENCE, renews=["exercise"]),
    ]
    findings = judge(tmp_path, "2024-01-31", tasks, minutes_log("2024-01-10T10:00", [(30, 200), (60, 300)]), engine=ENGINE)
    last = exercise_of(findings).last_done
    assert last is not None
    assert last.at.startswith("2024-01-10T11:30")


def test_a_run_under_way_at_the_moment_of_judging_counts_once_it_is_long_enough(tmp_path: Path) -> None:
    """From 10:00 to 11:00: at 10:30 it is done, at 10:25 nothing is said of it."""
    rows = minutes_log("2024-01-10T10:00", [(60, 125)])
    assert ended(judged(tmp_path / "a", rows, as_of="2024-01-10T10:30")) == ("2024-01-10T10:30", "readings/log.csv:8")
    early = judged(tmp_path / "b", rows, as_of="2024-01-10T10:25")
    assert (exercise_of(early).last_done, short_runs(early)) == (None, [])


def test_the_explanation_says_what_was_run(tmp_path: Path) -> None:
    """The window begins with the run, and with the record that tells of the same one."""
    judged(tmp_path, minutes_log("2024-01-10T10:00", [(35, 125)]), services=[done("exercise", "2024-01-10")])
    explained = explain_finding(read_site(tmp_path), "G1", "exercise", date(2024, 1, 31))
    words = "done according to readings/log.csv:9, by the log: 35 min in a row with at least 30 % load; recorded in services.csv:2"
    assert words in explained.window[0].sum


def test_a_run_across_midnight_counts_for_the_day_that_it_began_on(tmp_path: Path) -> None:
    """From 23:30: half an hour by midnight, and the date ends there."""
    rows = minutes_log("2024-01-10T23:30", [(60, 125)])
    findings = judged(tmp_path, rows, as_of="2024-01-10")
    assert exercise_of(findings).last_done is not None
    assert exercise_of(findings).legs[0].used == 0.0


def test_a_task_that_is_not_for_the_engine_finds_no_runs(tmp_path: Path) -> None:
    """For gas engines only: the diesel's runs are nobody's exercise."""
    tasks = [task("exercise", every=MONTHLY, done_when=LOADED, applies_to={"fuel": "gas"}), task("oil", every=dict(MONTHLY))]
    engine = {**ENGINE, "fuel": "diesel"}
    findings = judge(tmp_path, "2024-01-31", tasks, minutes_log("2024-01-10T10:00", [(10, 125)]), engine=engine)
    assert findings.skipped == ()


def test_other_tasks_are_cut_at_the_run(tmp_path: Path) -> None:
    """A leg of running hours counts from the run's end: half an hour of exercise, then an hour more."""
    rows = minutes_log("2024-01-10T10:00", [(30, 125), (10, 0), (60, 80)])
    findings = judged(tmp_path, rows, every={"running_hours": 10})
    assert exercise_of(findings).legs[0].used == 1.0
