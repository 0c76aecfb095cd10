"""Tasks done once after an event: when they are due, what ends that, and what they do while nothing has happened."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from intervals import read_site
from intervals.findings import Finding, Findings
from intervals.questions.explain.explain import explain_finding
from tests.site_maker import done, finding_for, judge, meter, moment, reason_for, rules_fired, steady, task, used_of

# 10 h a day from 0 h on 1 January 2024
ROWS = steady("2024-01-01", "2024-12-31", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 400}
OVERHAUL = task("overhaul", every={"running_hours": 12000})
RECHECK = task("recheck", once=True, after={"done": "overhaul"}, within={"running_hours": 50})
SAILING = task("sailing", once=True, after={"planned": "departure", "ahead": "PT12H"}, within={"elapsed_hours": 12})


def judged(
    folder: Path,
    as_of: str,
    tasks: Sequence[Mapping[str, object]],
    services: Sequence[Mapping[str, object]] = (),
    **more: Any,  # noqa: ANN401 - what `judge` takes
) -> Findings:
    """Judge tasks by the steady log."""
    return judge(folder, as_of, [OVERHAUL, *tasks], more.pop("rows", ROWS), engine=ENGINE, services=services, **more)


def recheck(
    folder: Path,
    as_of: str,
    services: Sequence[Mapping[str, object]] = (),
    **more: Any,  # noqa: ANN401 - what `judge` takes
) -> Finding:
    """Return the finding of the re-check after an overhaul."""
    return finding_for(judged(folder, as_of, [RECHECK], services, **more), "recheck")


def met(found: Findings, name: str) -> list[tuple[str, str | None, bool]]:
    """Return how the month's occurrences of a task were met, when that was decided, and whether they were open."""
    listed = () if found.compliance is None else found.compliance.occurrences
    return [(entry.met, entry.decided_on, entry.open) for entry in listed if entry.task == name]


def test_without_its_event_nothing_is_due(tmp_path: Path) -> None:
    """No overhaul yet: in interval by the rule that it waits, without legs, lead or date."""
    found = recheck(tmp_path, "2024-06-30")
    assert (found.standing, rules_fired(found), found.legs, found.due_on) == ("in_interval", ["waits-for-event"], (), None)


@pytest.mark.parametrize(("as_of", "used", "standing"), [("2024-02-05", 50.0, "upcoming"), ("2024-02-06", 60.0, "overdue")])
def test_it_is_due_so_long_after_its_event(tmp_path: Path, as_of: str, used: float, standing: str) -> None:
    """Overhauled as 1 February begins, 10 h a day: at the end of the 5th 50 h, which are not past the line; a day later 60 h are."""
    found = recheck(tmp_path, as_of, [done("overhaul", "2024-02-01T00:00")])
    assert (used_of(found), found.standing) == (used, standing)
    assert "overhaul done, services.csv:2" in found.reasons[0].text


def test_done_once_nothing_is_due_until_the_next_event(tmp_path: Path) -> None:
    """Re-checked on the 3rd: done once, last done is told; the next overhaul opens it again, 10 h after it 10 h are used."""
    services = [done("overhaul", "2024-02-01T00:00"), done("recheck", "2024-02-03T00:00"), done("overhaul", "2024-08-01T00:00")]
    found = recheck(tmp_path / "a", "2024-07-31", services)
    assert (found.standing, rules_fired(found), found.legs) == ("in_interval", ["done-once"], ())
    assert found.last_done is not None
    assert found.last_done.record == "services.csv:3"
    again = recheck(tmp_path / "b", "2024-08-01", services)
    assert (again.standing, used_of(again)) == ("in_interval", 10.0)


def test_a_job_that_no_event_asks_for_is_recorded_and_others_wait_for_it(tmp_path: Path) -> None:
    """A rebuild falls due by nothing, before and after it is done; ten days after it 10 x 10 h of the 50 h of its re-check are used."""
    rebuild = {"id": "rebuild", "title": "Rebuild", "once": True, "after": "never"}
    test = {**RECHECK, "after": {"done": "rebuild"}}
    before = judged(tmp_path / "a", "2024-06-30", [rebuild, test])
    assert [finding_for(before, name).standing for name in ("rebuild", "recheck")] == ["in_interval", "in_interval"]
    assert "falls due by nothing" in finding_for(before, "rebuild").reasons[0].text
    after = judged(tmp_path / "b", "2024-07-10", [rebuild, test], [done("rebuild", "2024-07-01T00:00")])
    last_done = finding_for(after, "rebuild").last_done
    assert last_done is not None
    assert last_done.record == "services.csv:2"
    assert (finding_for(after, "recheck").standing, used_of(finding_for(after, "recheck"))) == ("overdue", 100.0)


def test_what_was_done_before_the_event_does_not_count_for_it(tmp_path: Path) -> None:
    """A re-check the day before the overhaul answers nothing: 60 h after it is overdue."""
    services = [done("recheck", "2024-01-31T00:00"), done("overhaul", "2024-02-01T00:00")]
    assert recheck(tmp_path, "2024-02-06", services).standing == "overdue"


def test_the_work_that_made_the_event_does_not_answer_it(tmp_path: Path) -> None:
    """An overhaul that renews the re-check does not do it for itself; a record of its own at the same moment does."""
    renewing = {**OVERHAUL, "renews": ["recheck"]}
    overhauled = [done("overhaul", "2024-02-01T00:00")]
    found = judge(tmp_path / "a", "2024-02-06", [renewing, RECHECK], ROWS, engine=ENGINE, services=overhauled)
    assert finding_for(found, "recheck").standing == "overdue"
    both = [*overhauled, done("recheck", "2024-02-01T00:00")]
    found = judge(tmp_path / "b", "2024-02-06", [renewing, RECHECK], ROWS, engine=ENGINE, services=both)
    assert rules_fired(finding_for(found, "recheck")) == ["done-once"]


def test_a_second_event_does_not_move_one_that_is_open_and_is_named(tmp_path: Path) -> None:
    """Overhauled on 1 and 4 February: counted from the first, 60 h used on the 6th, and the second is told."""
    found = recheck(tmp_path, "2024-02-06", [done("overhaul", "2024-02-01T00:00"), done("overhaul", "2024-02-04T00:00")])
    assert used_of(found) == 60.0
    assert "overhaul done on 2024-02-04 (services.csv:3)" in reason_for(found, "event-again").text


def test_records_that_do_not_reach_back_leave_it_unknown(tmp_path: Path) -> None:
    """Records are complete from March: what came before is not known, and neither what followed an overhaul of February."""
    assert recheck(tmp_path / "a", "2024-06-30", records_from="2024-03-01").standing == "unknown"
    february = [done("overhaul", "2024-02-01T00:00")]
    assert recheck(tmp_path / "b", "2024-06-30", february, records_from="2024-03-01").standing == "unknown"
    checked = [*february, done("recheck", "2024-04-01T00:00")]
    assert rules_fired(recheck(tmp_path / "c", "2024-06-30", checked, records_from="2024-03-01")) == ["done-once"]


def test_start_up_is_the_first_day(tmp_path: Path) -> None:
    """In service on 1 January 2024, within a year: due on 1 January 2025, with a lead and a forecast as any calendar leg."""
    first = task("first-test", once=True, after="start_up", within={"calendar": "P1Y"})
    found = finding_for(judged(tmp_path, "2024-06-30", [first]), "first-test")
    assert (found.standing, found.due_on, used_of(found, "calendar")) == ("in_interval", "2025-01-01", 181.0)


def test_a_month_counts_an_occurrence_once(tmp_path: Path) -> None:
    """Line passed on the 6th of February, done on 3 March: late in February, open then, and not again in March."""
    services = [done("overhaul", "2024-02-01T00:00"), done("recheck", "2024-03-03T00:00")]
    found = judged(tmp_path / "a", "2024-02-29", [RECHECK], services, month="2024-02")
    assert met(found, "recheck") == [("late", "2024-02-06", True)]
    assert met(judged(tmp_path / "b", "2024-03-31", [RECHECK], services, month="2024-03"), "recheck") == []


def test_soon_after_an_event_is_on_time_and_not_early(tmp_path: Path) -> None:
    """Done after 10 of 50 h: on time in that month."""
    services = [done("overhaul", "2024-02-01T00:00"), done("recheck", "2024-02-02T00:00")]
    assert met(judged(tmp_path, "2024-02-29", [RECHECK], services, month="2024-02"), "recheck") == [("on_time", "2024-02-02", False)]


def test_an_interval_is_not_counted_again_while_it_stays_undone(tmp_path: Path) -> None:
    """500 h after the overhaul a task of 50 h fell due once: nothing was missed."""
    found = judged(tmp_path, "2024-03-22", [RECHECK], [done("overhaul", "2024-02-01T00:00")])
    assert [entry for entry in found.skipped if entry.task == "recheck"] == []


@pytest.mark.parametrize(
    ("as_of", "standing"),
    [
        ("2024-11-03T01:59", "in_interval"),
        ("2024-11-03T08:00", "in_interval"),
        ("2024-11-03T13:00", "upcoming"),
        ("2024-11-03T14:00", "upcoming"),
        ("2024-11-03T14:01", "overdue"),
    ],
)
def test_hours_before_a_planned_time_are_exact(tmp_path: Path, as_of: str, standing: str) -> None:
    """Within 12 h before 14:00: it waits until 02:00, is upcoming in the last 1.2 h, at 14:00 at its line, a minute later past it."""
    found = judge(
        tmp_path,
        as_of,
        [OVERHAUL, SAILING],
        ROWS,
        engine=ENGINE,
        planned={"departure": ["2024-11-03T14:00", "2024-11-20T14:00"]},
    )
    finding = finding_for(found, "sailing")
    assert finding.standing == standing
    assert (finding.legs == ()) == (as_of == "2024-11-03T01:59")


def test_each_departure_that_passed_undone_is_one_missed_occurrence(tmp_path: Path) -> None:
    """Departures on the 3rd, 10th and 20th, checked before the 10th only: the other two are missed, in the list and in the month."""
    departures = {"departure": ["2024-11-20T14:00", "2024-11-03T14:00", "2024-11-10T14:00"]}
    services = [done("sailing", "2024-11-10T08:00")]
    found = judge(tmp_path, "2024-11-30", [OVERHAUL, SAILING], ROWS, engine=ENGINE, services=services, planned=departures, month="2024-11")
    missed = [(entry.at, entry.open) for entry in found.skipped if entry.task == "sailing" and entry.kind == "missed"]
    assert missed == [("2024-11-03", False), ("2024-11-20", True)]
    assert sorted(met(found, "sailing")) == [
        ("missed", "2024-11-03", False),
        ("missed", "2024-11-20", True),
        ("on_time", "2024-11-10", False),
    ]


def test_one_check_serves_two_departures_that_it_comes_before(tmp_path: Path) -> None:
    """Departures at 14:00 and 20:00: a check at 09:00 is within 12 h of both."""
    departures = {"departure": ["2024-11-03T14:00", "2024-11-03T20:00"]}
    services = [done("sailing", "2024-11-03T09:00")]
    found = judge(tmp_path, "2024-11-30", [OVERHAUL, SAILING], ROWS, engine=ENGINE, services=services, planned=departures, month="2024-11")
    assert [entry for entry in met(found, "sailing") if entry[0] == "on_time"] == [("on_time", "2024-11-03", False)] * 2
    assert rules_fired(finding_for(found, "sailing")) == ["done-once"]


def hot_rows() -> list[dict[str, object]]:
    """Return rows each ten minutes of 2 January: it runs from 08:00 to 12:00, above 95 degrees from 09:00 to 09:40."""
    rows = [meter("2024-01-01T00:00", 0.0, oil_temp_c=20)]
    for step in range(25):
        at, ran = f"2024-01-02T{8 + step // 6:02d}:{step % 6 * 10:02d}", step / 6
        rows.append(meter(at, round(ran, 6), oil_temp_c=96 if 6 < step <= 10 else 80))
    return [*rows, *(meter(f"2024-01-{day:02d}T00:00", 4.0, oil_temp_c=20) for day in range(3, 20))]


@pytest.mark.parametrize(("for_min", "expected"), [(30, "overdue"), (40, "overdue"), (41, "in_interval")])
def test_a_level_in_the_log_is_an_event_once_it_held_for_long_enough(tmp_path: Path, for_min: float, expected: str) -> None:
    """40 minutes above 95 degrees are 30 and 40 minutes in a row, and not 41."""
    look = task("look", once=True, after={"when": {"oil_temp_c": {"above": 95}}, "for_min": for_min}, within={"calendar": "P7D"})
    found = finding_for(judged(tmp_path, "2024-01-15", [look], rows=hot_rows()), "look")
    assert found.standing == expected


def test_due_when_is_due_at_once(tmp_path: Path) -> None:
    """Above 95 degrees as soon as a row shows it: overdue from 09:10, and at the line (96 is not above 96) there is no event."""
    look = task("look", due_when={"oil_temp_c": {"above": 95}})
    found = finding_for(judged(tmp_path / "a", "2024-01-15", [look], rows=hot_rows()), "look")
    assert (found.standing, found.crossed_at) == ("overdue", "2024-01-02T09:10:00+00:00")
    look = task("look", due_when={"oil_temp_c": {"above": 96}})
    found = finding_for(judged(tmp_path / "b", "2024-01-15", [look], rows=hot_rows()), "look")
    assert rules_fired(found) == ["waits-for-event"]


def test_what_is_due_at_once_is_not_due_before_its_event(tmp_path: Path) -> None:
    """A start-up and an overhaul at midnight: due on that very day, in the finding and in the month."""
    at_once = [
        task("look", once=True, after="start_up", at_once=True),
        task("bolts", once=True, after={"done": "overhaul"}, at_once=True),
    ]
    found = judged(tmp_path, "2024-01-15", at_once, services=[done("overhaul", "2024-01-10")])
    for name, day in (("look", "2024-01-01"), ("bolts", "2024-01-10")):
        finding = finding_for(found, name)
        assert (finding.standing, finding.due_on, (finding.crossed_at or "")[:10]) == ("overdue", day, day)


def test_what_is_due_at_once_has_no_share_of_an_interval(tmp_path: Path) -> None:
    """Neither a reason nor the sums divide by the nothing that it is allowed: to the end of the 15th 360 h are past."""
    look = task("look", once=True, after="start_up", at_once=True)
    finding = finding_for(judged(tmp_path, "2024-01-15", [look]), "look")
    assert finding.reasons[0].facts["consumed"] is None
    found = explain_finding(read_site(tmp_path), "G1", "look", moment("2024-01-15"))
    sums = {step.label: step.sum for step in found.steps}
    assert sums["elapsed_hours past"] == "due at once: 360 h past"
    assert sums["governing"] == "elapsed_hours: due at once"


def test_due_when_takes_a_measure_since_it_was_last_done(tmp_path: Path) -> None:
    """40 of 240 min are hot, 16.7 %: due above 15 %, not above 20 %, at the end of the day that shows it."""
    rules = {"conditions": {"hot": {"oil_temp_c": {"above": 95}}}}
    for bound, expected in ((15, "overdue"), (20, "in_interval")):
        look = task("look", due_when={"hours_share_pct": {"hot": {"above": bound}}})
        found = finding_for(judged(tmp_path / str(bound), "2024-01-15", [look], rows=hot_rows(), rules=rules), "look")
        assert found.standing == expected


def test_a_result_of_the_laboratory_is_an_event_on_the_day_it_came(tmp_path: Path) -> None:
    """101 ppm of at most 100, result on 5 February, 7 days: due on the 12th; a blank value cannot be judged, and says so."""
    wear = task("wear", once=True, after={"result": "oil-analysis", "when": {"iron_ppm": {"above": 100}}}, within={"calendar": "P7D"})
    head = "at,engine,kind,result_at,iron_ppm\n"
    (tmp_path / "lab.csv").write_text(f"{head}2024-01-01,G1,oil-analysis,2024-01-05,100\n2024-02-01,G1,oil-analysis,2024-02-05,101\n")
    found = finding_for(judged(tmp_path, "2024-02-13", [wear]), "wear")
    assert (found.standing, found.due_on) == ("overdue", "2024-02-12")
    assert "lab.csv:3" in found.reasons[0].text
    (tmp_path / "lab.csv").write_text(f"{head}2024-02-01,G1,oil-analysis,2024-02-05,\n")
    assert finding_for(judged(tmp_path, "2024-02-13", [wear]), "wear").standing == "unknown"


def test_a_grade_found_is_an_event(tmp_path: Path) -> None:
    """The card of an inspection says failed: the retest is due within 7 days; of one that says worn it is not."""
    retest = task("retest", once=True, after={"found": "inspection", "grade": ["failed", "at_limit"]}, within={"calendar": "P7D"})
    inspection = task("inspection", every={"calendar": "P1Y"})
    services = [done("inspection", "2024-03-01T10:00", ref="7K3M-9QXT-02HD-15WV")]
    (tmp_path / "records").mkdir()
    for grade, expected in (("failed", ("overdue", "2024-03-08")), ("worn", ("in_interval", None))):
        row = f"2024-03-01T10:00,G1,inspection,as_found,{grade},,7K3M-9QXT-02HD-15WV"
        (tmp_path / "records" / "measures.csv").write_text(f"at,engine,task,measure,value,unit,card\n{row}\n")
        found = finding_for(judged(tmp_path, "2024-03-09", [inspection, retest], services), "retest")
        assert (found.standing, found.due_on) == expected


def test_a_deferral_holds_the_occasion_open(tmp_path: Path) -> None:
    """Put off on the 5th until 20 February with an approval: upcoming on the 10th, overdue on the 21st."""
    put_off: dict[str, object] = {
        "at": "2024-02-05",
        "engine": "G1",
        "task": "recheck",
        "outcome": "deferred",
        "until_date": "2024-02-20",
        "approved_by": "A",
    }
    services = [done("overhaul", "2024-02-01T00:00"), put_off]
    assert recheck(tmp_path / "a", "2024-02-10", services).standing == "upcoming"
    assert recheck(tmp_path / "b", "2024-02-21", services).standing == "overdue"


def test_a_leg_of_clock_hours_counts_whether_the_engine_runs_or_not(tmp_path: Path) -> None:
    """Every 36 h by the clock, done on 1 June at 06:00: at noon of the 2nd 30 h are used, at 18:00 36 h, a minute later it is overdue."""
    watch = task("watch", every={"elapsed_hours": 36})
    for as_of, used, standing in (("T12:00", 30.0, "in_interval"), ("T18:00", 36.0, "upcoming"), ("T18:01", 36.016667, "overdue")):
        found = finding_for(
            judged(tmp_path / as_of[1:3] / as_of[4:], f"2024-06-02{as_of}", [watch], [done("watch", "2024-06-01T06:00")]), "watch"
        )
        assert (used_of(found, "elapsed_hours"), found.standing) == (used, standing)


def test_a_component_waits_for_events_of_its_own(tmp_path: Path) -> None:
    """A turbocharger fitted on 1 February: its bolts are due 50 h after that; departures of another engine are none of its own."""
    bolts = task("bolts", applies_to={"kind": "turbocharger"}, once=True, after="start_up", within={"running_hours": 50})
    look = {**SAILING, "id": "look", "applies_to": {"kind": "turbocharger"}}
    found = judge(
        tmp_path,
        "2024-02-06",
        [OVERHAUL, bolts, look],
        ROWS,
        engine=ENGINE,
        components=[{"id": "TC-1", "kind": "turbocharger", "fitted": [{"engine": "G1", "from": "2024-02-01"}]}],
        planned={"departure": [{"at": "2024-02-03T14:00", "engine": "G1"}]},
    )
    assert (finding_for(found, "bolts", "TC-1").standing, used_of(finding_for(found, "bolts", "TC-1"))) == ("overdue", 60.0)
    assert rules_fired(finding_for(found, "look", "TC-1")) == ["waits-for-event"]


def test_what_fell_due_in_a_lay_up_waits_for_the_next_start(tmp_path: Path) -> None:
    """Overhauled on 1 February, 7 days, laid up from the 3rd to the 20th: before the next start on the 15th, overdue once it ran again."""
    retest = task("retest", once=True, after={"done": "overhaul"}, within={"calendar": "P7D"})
    rows = [*steady("2024-01-01", "2024-02-03", 10), *steady("2024-02-21", "2024-03-31", 10, start_h=330)]
    engine = {**ENGINE, "laid_up": [{"from": "2024-02-03", "to": "2024-02-20"}]}
    services = [done("overhaul", "2024-02-01T00:00")]
    for as_of, expected in (("2024-02-15", ["before-next-start"]), ("2024-02-25", ["past-interval"])):
        found = judge(tmp_path / as_of, as_of, [OVERHAUL, retest], rows, engine=engine, services=services)
        assert rules_fired(finding_for(found, "retest")) == expected


def test_a_visit_after_the_event_at_which_it_was_left_out_is_told(tmp_path: Path) -> None:
    """Of 50 h after the overhaul 47 are used at an oil change on the 5th, and it ran past its line: left out. The overhaul is none."""
    oil = task("oil", every={"running_hours": 250}, stops_engine=True)
    services = [done("overhaul", "2024-02-01T00:00"), done("oil", "2024-02-05T16:48")]
    stopping = {**OVERHAUL, "stops_engine": True}
    found = judge(tmp_path, "2024-02-10", [stopping, RECHECK, oil], ROWS, engine=ENGINE, services=services)
    listed = [(entry.kind, entry.at) for entry in found.skipped if entry.task == "recheck"]
    assert listed == [("left_out", "2024-02-05")]
