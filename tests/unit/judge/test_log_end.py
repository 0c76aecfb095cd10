"""A log that stops: what is expected stays where it was, and once its day has gone by the task is unknown."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from intervals import read_site
from intervals.findings import Finding, Findings
from intervals.questions.explain.explain import explain_finding as explain
from tests.site_maker import done, finding_for, judge, leg_of, reason_for, rule, rules_fired, steady, task, write_site

# 20 h a day from 0 h on 1 July 2026; the last row is that of the midnight that ends 30 September: 92 d, 1,840 h
ROWS = steady("2026-07-01", "2026-10-01", 20)
ENGINE = {"in_service": "2026-07-01", "meter_at_start_h": 0}
# 2,340 h allowed: 500 h left at the log's end; 25 d at 20 h a day: the line is expected to be reached with the end of 25 October
OIL = task(every={"running_hours": 2340})
GONE = "expected on 2026-10-25, the log ended on 2026-09-30"


def asked(folder: Path, as_of: str, tasks: list[dict[str, object]] | None = None, **written: Any) -> Findings:  # noqa: ANN401 - passed on
    """Judge the site at a moment; its log ended on 30 September, and a silence of 36 h is one."""
    written.setdefault("gap_h", 36)
    return judge(folder / as_of.replace(":", ""), as_of, tasks or [OIL], ROWS, engine=ENGINE, **written)


def oil(folder: Path, as_of: str, **written: Any) -> Finding:  # noqa: ANN401 - passed on
    """Judge the oil change at a moment."""
    return finding_for(asked(folder, as_of, **written))


@pytest.mark.parametrize("gap_h", [36, 1_000_000])
@pytest.mark.parametrize("as_of", ["2026-09-30", "2026-10-01T06:00", "2026-10-05", "2026-10-15", "2026-10-24", "2026-10-25"])
def test_the_expected_day_is_the_same_whenever_one_asks(tmp_path: Path, as_of: str, gap_h: float) -> None:
    """Asked at the log's end, hours after it or weeks after it, the day is 25 October: pace and use are those at the log's end."""
    finding = oil(tmp_path, as_of, gap_h=gap_h)
    assert finding.forecast is not None
    assert (finding.due_on, finding.forecast.on) == ("2026-10-25", "2026-10-25")
    assert (finding.forecast.early, finding.forecast.late) == ("2026-10-25", "2026-10-25")
    assert "expected-day-gone" not in rules_fired(finding)


@pytest.mark.parametrize("gap_h", [36, 200])
@pytest.mark.parametrize("as_of", ["2026-10-26T12:00", "2026-10-26", "2026-11-30"])
def test_once_its_day_has_gone_by_the_task_is_unknown(tmp_path: Path, as_of: str, gap_h: float) -> None:
    """From 26 October on nobody can tell whether the line was passed; the words stay the same for as long as the log is silent."""
    finding = oil(tmp_path, as_of, gap_h=gap_h)
    reason = finding.reasons[0]
    assert (finding.standing, reason.rule) == ("unknown", "expected-day-gone")
    assert reason.text == f"unknown: {GONE} with 500 h of 2,340 h left, counted since the first day 2026-07-01"
    assert (reason.facts["expected_on"], reason.facts["log_ended_on"], reason.facts["left"]) == ("2026-10-25", "2026-09-30", 500.0)
    assert (finding.crossed_at, finding.past_by) == (None, None)
    assert finding.forecast is not None
    assert (finding.due_on, finding.forecast.on) == ("2026-10-25", "2026-10-25")


def test_what_could_have_been_run_makes_the_leg_unknown_before_its_day(tmp_path: Path) -> None:
    """500 h at full time are 20 d 20 h: from 21 October, 20:00 on the leg is unknown, and the expected day is told with it."""
    before, after = oil(tmp_path, "2026-10-21T19:59", gap_h=36), oil(tmp_path, "2026-10-21T20:00", gap_h=36)
    assert (before.standing, leg_of(before).used) == ("in_interval", 1840.0)
    assert (after.standing, leg_of(after).used, after.reasons[0].rule) == ("unknown", None, "not-known")
    left = "with 500 h of 2,340 h left, which may have been used since"
    assert after.reasons[0].text == f"unknown: running hours: {GONE} {left}"


def test_the_pace_is_that_of_the_last_ninety_days_of_the_log(tmp_path: Path) -> None:
    """60 d at 5 h, 90 d at 10 h, then silence: 300 h left are 30 d from the log's end, not 30 d at a pace thinned by silence."""
    # 1 January 2026 + 60 d = 2 March, + 90 d = 31 May: 300 + 900 = 1,200 h; the log's last day is 30 May
    rows = steady("2026-01-01", "2026-03-02", 5) + steady("2026-03-02", "2026-05-31", 10, start_h=300)[1:]
    for as_of in ("2026-06-05", "2026-06-20", "2026-07-09"):
        finding = finding_for(
            judge(tmp_path / as_of, as_of, [task(every={"running_hours": 1500})], rows, engine={"in_service": "2026-01-01"}, gap_h=36)
        )
        forecast = finding.forecast
        assert forecast is not None
        # 30 May + 30 d = 29 June, which the range holds
        assert forecast.on == forecast.early == "2026-06-29"
        assert "2026-06-29" < str(forecast.late) < "2026-07-29"
        assert ("expected-day-gone" in rules_fired(finding)) == (as_of > "2026-06-29")


def test_a_log_that_ends_within_its_last_day_moves_nothing(tmp_path: Path) -> None:
    """The last row is at 18:00 of the 30th, 1,835 h: asked then, at midnight and days later, what is left is counted from 18:00 on."""
    rows = [*ROWS[:-1], {"at": "2026-09-30T18:00", "hour_meter_h": 1835.0}]
    # 91.75 d of 20 h are 1,835 h, so the pace is 20 h a day; 505 h are 25.25 d from 30 September, 18:00: midnight that ends 25 October
    found = [
        finding_for(judge(tmp_path / as_of.replace(":", ""), as_of, [OIL], rows, engine=ENGINE, gap_h=36))
        for as_of in ("2026-09-30T18:00", "2026-09-30T22:00", "2026-09-30", "2026-10-01T02:00", "2026-10-03")
    ]
    assert {finding.due_on for finding in found} == {"2026-10-25"}
    assert {finding.forecast.early for finding in found if finding.forecast} == {"2026-10-25"}


def test_the_calendar_keeps_its_own_date(tmp_path: Path) -> None:
    """Hours expected on 25 October, four months over on 1 November: unknown once the first has gone by, overdue once the second has."""
    both = [task(every={"running_hours": 2340, "calendar": "P4M"}, lead={"calendar": "P10D"})]
    ahead, gone, over = (finding_for(asked(tmp_path, as_of, both, gap_h=600)) for as_of in ("2026-10-25", "2026-10-28", "2026-11-02"))
    assert (ahead.standing, ahead.due_on) == ("upcoming", "2026-10-25")
    # inside the lead of the calendar, and the hours may be past: what is worse is told
    assert (gone.standing, gone.due_on, gone.reasons[0].rule) == ("unknown", "2026-10-25", "expected-day-gone")
    assert f"running hours {GONE}" in gone.reasons[0].text
    assert (over.standing, over.due_on) == ("overdue", "2026-11-01")


def test_of_two_legs_of_which_the_last_counts_the_later_day_is_expected(tmp_path: Path) -> None:
    """Hours expected on 25 October and a year that has hardly begun: in interval, whatever was run."""
    last = [task(every={"running_hours": 2340, "calendar": "P1Y"}, whichever="last")]
    finding = finding_for(asked(tmp_path, "2026-11-30", last, gap_h=36))
    assert (finding.standing, finding.due_on) == ("in_interval", "2027-07-01")


def test_other_counters_are_expected_likewise(tmp_path: Path) -> None:
    """Two starts a day, 184 by the end of September; 200 allowed: eight days, 8 October; unknown from the 9th on."""
    rows = [{**row, "starts": 2 * number} for number, row in enumerate(ROWS)]
    starter = task("starter", every={"starts": 200})
    found = {
        as_of: finding_for(
            judge(tmp_path / as_of, as_of, [starter], rows, engine={**ENGINE, "at_start": {"starts": 0}}, gap_h=200), "starter"
        )
        for as_of in ("2026-10-08", "2026-10-09")
    }
    assert (found["2026-10-08"].standing, found["2026-10-08"].due_on) == ("upcoming", "2026-10-08")
    assert found["2026-10-09"].standing == "unknown"
    assert "expected on 2026-10-08, the log ended on 2026-09-30 with 16 starts" in found["2026-10-09"].reasons[0].text


def test_equivalent_hours_are_expected_at_their_own_pace(tmp_path: Path) -> None:
    """Every hour weighs twice: 40 equivalent hours a day; of 4,180 allowed 500 are left: 12.5 d, on 13 October."""
    rows = [{**row, "load_pct": 95} for row in ROWS]
    heavy = {"adjustments": [rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)]}
    twice = [task(every={"running_hours": 4180})]
    found = [
        finding_for(judge(tmp_path / as_of, as_of, twice, rows, engine=ENGINE, rules=heavy, gap_h=36))
        for as_of in ("2026-10-05", "2026-10-14")
    ]
    assert [(finding.standing, finding.due_on) for finding in found] == [("in_interval", "2026-10-13"), ("unknown", "2026-10-13")]


def test_what_was_done_after_the_end_of_the_log_counts_from_then_on(tmp_path: Path) -> None:
    """Done on 10 October at noon, nothing typed: 2,340 h at 20 h a day are 117 d from then on, noon of 4 February."""
    finding = oil(tmp_path, "2026-10-20", services=[done("oil", "2026-10-10T12:00")])
    assert (finding.standing, finding.due_on) == ("in_interval", "2027-02-04")


def test_a_meter_typed_into_a_record_is_a_reading(tmp_path: Path) -> None:
    """The record of another job shows 2,040 h at the end of 10 October: 300 h are left, and are counted from then on."""
    other = task("plugs", every={"calendar": "P1Y"})
    services = [done("plugs", "2026-10-11T00:00", 2040)]
    finding = finding_for(asked(tmp_path, "2026-10-20", [OIL, other], services=services, gap_h=36))
    # 200 h in ten days, 20 h a day still: 15 d after the end of 10 October
    assert (finding.standing, finding.due_on) == ("in_interval", "2026-10-25")


def test_a_lay_up_is_no_silence(tmp_path: Path) -> None:
    """Laid up for all of October: what is expected comes 31 d later, on 25 November, and is not gone by before that."""
    engine = {**ENGINE, "laid_up": [{"from": "2026-10-01", "to": "2026-11-01"}]}
    for as_of, standing in (("2026-10-28", "in_interval"), ("2026-11-25", "in_interval"), ("2026-11-26", "unknown")):
        finding = finding_for(judge(tmp_path / as_of, as_of, [OIL], ROWS, engine=engine, gap_h=600))
        assert (finding.standing, finding.due_on) == (standing, "2026-11-25")


def test_a_clock_change_makes_no_day(tmp_path: Path) -> None:
    """In Amsterdam 25 October 2026 lasts 25 hours; 25 d of 20 h from the midnight that ends 30 September still end with the 25th."""
    finding = finding_for(
        judge(tmp_path, "2026-10-05", [OIL], ROWS, engine=ENGINE, time_zone="Europe/Amsterdam"),
    )
    assert finding.due_on == "2026-10-25"


def budget(**keys: object) -> dict[str, object]:
    """Return a rule set with a budget of running hours a calendar year."""
    of = {"id": "hours", "title": "Hours", "of": "running_hours", "per": "calendar_year", **keys}
    return {"budgets": [of]}


@pytest.mark.parametrize(("as_of", "standing"), [("2026-10-05", "in_interval"), ("2026-10-25", "in_interval"), ("2026-10-26", "unknown")])
def test_a_budget_is_expected_to_be_used_up_on_one_day(tmp_path: Path, as_of: str, standing: str) -> None:
    """1,840 of 2,340 h at the log's end: used up on 25 October, whenever one asks, and unknown from then on."""
    far = [task(every={"calendar": "P9Y"})]
    finding = finding_for(asked(tmp_path, as_of, far, rules=budget(at_most=2340, lead_pct=5), gap_h=600), "hours")
    assert (finding.standing, finding.due_on) == (standing, "2026-10-25")
    if standing == "unknown":
        assert GONE in reason_for(finding, "expected-day-gone").text


def test_the_arithmetic_of_an_expected_day_is_told(tmp_path: Path) -> None:
    """What is left, the pace, the days, and from when on they count; the same sum once the day has gone by."""
    write_site(tmp_path, [OIL], ROWS, engine=ENGINE, gap_h=36)
    for as_of in (date(2026, 10, 5), date(2026, 11, 30)):
        steps = {step.label: step.sum for step in explain(read_site(tmp_path), "G1", "oil", as_of).steps}
        sums = "500 h left / 20 h per day = 25 d from 2026-09-30 on: 2026-10-25, as the log is silent"
        assert steps["running_hours expected"] == sums
        assert steps["running_hours range"].startswith("2026-10-25; from the last half year, ")


def test_the_arithmetic_of_a_deferral_is_told(tmp_path: Path) -> None:
    """2,100 h less 1,840 h at 20 h a day."""
    deferred = {**done("oil", "2026-09-20"), "outcome": "deferred", "approved_by": "chief", "until_h": 2100}
    write_site(tmp_path, [OIL], ROWS, engine=ENGINE, services=[deferred])
    steps = {step.label: step.sum for step in explain(read_site(tmp_path), "G1", "oil", date(2026, 10, 5)).steps}
    assert steps["deferral expected"] == "260 h left, used up from 2026-09-30 on: 2026-10-13"


def test_use_a_day_is_that_of_the_days_that_the_log_covers(tmp_path: Path) -> None:
    """Half the interval below 15 h a day: 20 h a day stay 20 h a day while the log is silent, and are not 1,840 h in 127 d."""
    seldom = rule("seldom", {"running_hours_per_day": {"below": 15}}, interval_times=0.5)
    for as_of in ("2026-09-30", "2026-11-04"):
        finding = oil(tmp_path, as_of, rules={"adjustments": [seldom]})
        assert (leg_of(finding).allowed, finding.due_on) == (2340.0, "2026-10-25")


def test_a_reading_by_hand_after_the_log_is_not_called_its_end(tmp_path: Path) -> None:
    """The rows end with 30 September, a record gives the meter on 5 October: the words tell the one from the other."""
    services = [done("plugs", "2026-10-05T08:01", 1900)]
    findings = asked(tmp_path, "2026-11-30", [OIL, task("plugs", every={"running_hours": 9000})], services=services)
    (fault,) = (fault for fault in findings.faults if fault.kind == "log_ended")
    assert fault.text.startswith("the log ended on 2026-10-01T00:00")
    assert "the hour meter was last read by hand on 2026-10-05T08:01" in fault.text
    assert "the hour meter was last read on 2026-10-05" in finding_for(findings, task_id="oil").reasons[0].text


def test_without_a_meter_what_is_past_its_line_stays_overdue_after_the_log_ended(tmp_path: Path) -> None:
    """By its load it ran 714 h of 100 h by 30 September: a month of silence after it takes nothing back."""
    rows = [{"at": f"2026-09-{day:02}T{hour:02}:00", "engine": "G1", "load_kw": 50} for day in range(1, 31) for hour in range(0, 24, 6)]
    site: dict[str, Any] = {"gap_h": 36, "running_when": {"load_kw": {"above": 5}}, "engine": {"in_service": "2026-09-01"}}
    hundred, thousand = task(every={"running_hours": 100}), task("plugs", every={"running_hours": 1000})
    findings = judge(tmp_path, "2026-10-30", [hundred, thousand], rows, **site)
    # from 0:00 on 1 September to 18:00 on 30 September it ran all the time: 29 x 24 + 18 h
    assert leg_of(finding_for(findings), "running_hours").used == 714
    assert finding_for(findings).standing == "overdue"
    # 286 h of 1,000 h are left, and may have been run in the 29 days since
    assert finding_for(findings, "plugs").standing == "unknown"
    assert "log_ended" in {fault.kind for fault in findings.faults}
