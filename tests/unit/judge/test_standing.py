"""Standing: overdue, upcoming, in interval or unknown, and when the line was crossed."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from intervals.findings import Finding
from tests.site_maker import done, finding_for, judge, meter, reason_for, rule, rules_fired, steady, task

# 10 h a day from 0 h on 1 January 2024
ROWS = steady("2024-01-01", "2024-03-31", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}


def standing_at(folder: Path, as_of: str, every: Mapping[str, object], **keys: Any) -> Finding:  # noqa: ANN401 - keys of a task
    """Judge a task since the engine's first day."""
    return finding_for(judge(folder, as_of, [task(every=every, **keys)], ROWS, engine=ENGINE))


@pytest.mark.parametrize(
    ("as_of", "standing"),
    [
        # 10 % of 100 h: upcoming from 90 h on, at the end of the 9th; at 100 h still upcoming; beyond: overdue
        ("2024-01-09T23:59", "in_interval"),
        ("2024-01-09", "upcoming"),
        ("2024-01-10", "upcoming"),
        ("2024-01-11T00:01", "overdue"),
    ],
)
def test_upcoming_begins_with_the_lead_and_ends_past_the_line(tmp_path: Path, as_of: str, standing: str) -> None:
    """The default lead is a tenth of the allowed; at consumed 1 the task is upcoming, not overdue."""
    assert standing_at(tmp_path, as_of, {"running_hours": 100}).standing == standing


@pytest.mark.parametrize(
    ("lead", "as_of", "standing"),
    [
        ({"running_hours": 30}, "2024-01-06", "in_interval"),
        ({"running_hours": 30}, "2024-01-07", "upcoming"),
        # 80 h are cut to half of 100
        ({"running_hours": 80}, "2024-01-04", "in_interval"),
        ({"running_hours": 80}, "2024-01-05", "upcoming"),
        ({"running_hours": 0}, "2024-01-10T23:00", "in_interval"),
        ({"running_hours": 0}, "2024-01-10", "upcoming"),
        # a lead for another leg leaves the default
        ({"calendar": "P1D"}, "2024-01-09", "upcoming"),
    ],
)
def test_a_lead_is_the_tasks_and_never_more_than_half(tmp_path: Path, lead: Mapping[str, object], as_of: str, standing: str) -> None:
    """Lead in the leg's unit, capped at half of the allowed."""
    assert standing_at(tmp_path, as_of, {"running_hours": 100, "calendar": "P10Y"}, lead=lead).standing == standing


@pytest.mark.parametrize(
    ("lead", "as_of", "standing"),
    [
        # in service 1 January, due 1 March (60 d): default lead 6 d, from 24 February on
        (None, "2024-02-23", "in_interval"),
        (None, "2024-02-24", "upcoming"),
        ({"calendar": "P14D"}, "2024-02-15", "in_interval"),
        ({"calendar": "P14D"}, "2024-02-16", "upcoming"),
        # two months are cut to half of the 60 d
        ({"calendar": "P2M"}, "2024-01-30", "in_interval"),
        ({"calendar": "P2M"}, "2024-01-31", "upcoming"),
    ],
)
def test_a_calendar_lead_counts_days_before_the_due_date(
    tmp_path: Path, lead: Mapping[str, object] | None, as_of: str, standing: str
) -> None:
    """Remaining days equal to the lead are inside it."""
    keys = {} if lead is None else {"lead": lead}
    assert standing_at(tmp_path, as_of, {"calendar": "P2M"}, **keys).standing == standing


def test_the_lead_follows_a_shortened_interval(tmp_path: Path) -> None:
    """1,000 x 0.1 = 100 h allowed: the lead is 10 h and not 100."""
    shorter = rule("shorter", {"days_since": {"at_least": 0}}, interval_times=0.1)
    findings = judge(tmp_path, "2024-01-08", [task(every={"running_hours": 1000})], ROWS, engine=ENGINE, rules={"adjustments": [shorter]})
    assert finding_for(findings).standing == "in_interval"


BOTH = {"running_hours": 100, "calendar": "P1M"}


@pytest.mark.parametrize(
    ("as_of", "first", "last"),
    [
        # 100 h after 10 d; a month after 31 d, its lead 3.1 d from 29 January on
        ("2024-01-05", "in_interval", "in_interval"),
        ("2024-01-10", "upcoming", "in_interval"),
        ("2024-01-15", "overdue", "in_interval"),
        ("2024-01-29", "overdue", "upcoming"),
        ("2024-02-01", "overdue", "upcoming"),
        ("2024-02-02", "overdue", "overdue"),
    ],
)
def test_whichever_comes_first_or_last(tmp_path: Path, as_of: str, first: str, last: str) -> None:
    """First: any leg past is overdue, any inside its lead upcoming. Last: all must be."""
    assert standing_at(tmp_path / "first", as_of, BOTH).standing == first
    assert standing_at(tmp_path / "last", as_of, BOTH, whichever="last").standing == last


@pytest.mark.parametrize(
    ("as_of", "first", "last"),
    [
        # the starts are not logged: unknown. The hours: clear, near, past
        ("2024-01-05", "unknown", "in_interval"),
        ("2024-01-10", "upcoming", "unknown"),
        ("2024-01-15", "overdue", "unknown"),
    ],
)
def test_an_unknown_leg_beside_a_known_one(tmp_path: Path, as_of: str, first: str, last: str) -> None:
    """First: a known leg past or near decides, else the task is unknown. Last: a known leg outside its lead decides."""
    every = {"running_hours": 100, "starts": 50}
    assert standing_at(tmp_path / "first", as_of, every).standing == first
    assert standing_at(tmp_path / "last", as_of, every, whichever="last").standing == last


def test_a_crossing_is_interpolated(tmp_path: Path) -> None:
    """105 h at 10 h a day: half way through 11 January."""
    finding = standing_at(tmp_path, "2024-01-20", {"running_hours": 105})
    assert (finding.crossed_at, finding.due_on) == ("2024-01-11T12:00:00+00:00", "2024-01-11")
    assert finding.past_by is not None
    # 200 h at the end of the 20th
    assert (finding.past_by.value, finding.past_by.unit) == (95.0, "h")


def test_the_earliest_crossing_counts_for_first_and_the_latest_for_last(tmp_path: Path) -> None:
    """105 h on 11 January; a month ends with 1 February."""
    every = {"running_hours": 105, "calendar": "P1M"}
    assert standing_at(tmp_path / "a", "2024-02-10", every).crossed_at == "2024-01-11T12:00:00+00:00"
    finding = standing_at(tmp_path / "b", "2024-02-10", every, whichever="last")
    assert (finding.crossed_at, finding.due_on) == ("2024-02-02T00:00:00+00:00", "2024-02-01")
    # the governing leg is the one least consumed, the calendar: 40 of 31 d
    assert finding.past_by is not None
    assert (finding.governing, finding.past_by.value, finding.past_by.unit) == ("calendar", 9.0, "d")


def test_a_crossing_counts_equivalent_hours(tmp_path: Path) -> None:
    """Twice the weight from the first hour: 200 equivalent hours after 100 h, at the end of the 10th; 210 half a day later."""
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
    rows = [{**row, "load_pct": 95} for row in ROWS]
    findings = judge(tmp_path, "2024-01-20", [task(every={"running_hours": 210})], rows, engine=ENGINE, rules={"adjustments": [heavy]})
    assert finding_for(findings).crossed_at == "2024-01-11T12:00:00+00:00"


def test_a_crossing_holds_the_window_factors_of_the_moment_fixed(tmp_path: Path) -> None:
    """A factor of 0.5 that fires only from the 15th day on: at the end of the 20th 100 h are allowed, and were run by the 10th."""
    late = rule("late", {"days_since": {"at_least": 15}}, interval_times=0.5)
    findings = judge(tmp_path, "2024-01-20", [task(every={"running_hours": 205})], ROWS, engine=ENGINE, rules={"adjustments": [late]})
    # 102.5 h are a quarter of a day into the 11th
    assert finding_for(findings).crossed_at == "2024-01-11T06:00:00+00:00"


def test_figures_of_what_is_not_overdue_are_empty(tmp_path: Path) -> None:
    """No crossing, no past_by, not within tolerance."""
    finding = standing_at(tmp_path, "2024-01-05", {"running_hours": 100}, tolerance_pct=10)
    assert (finding.crossed_at, finding.past_by, finding.within_tolerance) == (None, None, False)


@pytest.mark.parametrize(
    ("as_of", "within"),
    [
        ("2024-01-11T00:01", True),
        # 110 h at the end of the 11th: within 10 %; a minute later beyond
        ("2024-01-11", True),
        ("2024-01-12T00:01", False),
    ],
)
def test_late_within_tolerance_is_overdue_and_told_apart(tmp_path: Path, as_of: str, within: bool) -> None:
    """Tolerance changes the word, not the standing."""
    finding = standing_at(tmp_path, as_of, {"running_hours": 100}, tolerance_pct=10)
    assert (finding.standing, finding.within_tolerance) == ("overdue", within)
    assert ("within-tolerance" in rules_fired(finding)) is within


def test_tolerance_is_reckoned_in_exact_decimals(tmp_path: Path) -> None:
    """90 h and 10 %: 99 h are within, though 90 x 1.1 is not 99 in binary."""
    findings = judge(
        tmp_path, "2024-01-10", [task(every={"running_hours": 90}, tolerance_pct=10)], [meter("2024-01-11T00:00", 99)], engine=ENGINE
    )
    assert finding_for(findings).within_tolerance
    findings = judge(
        tmp_path, "2024-01-10", [task(every={"running_hours": 90}, tolerance_pct=10)], [meter("2024-01-11T00:00", 99.000001)], engine=ENGINE
    )
    assert not finding_for(findings).within_tolerance


def test_the_first_reason_is_the_rule_that_decided(tmp_path: Path) -> None:
    """Every standing is a rule that fired, with the figures it rests on."""
    finding = standing_at(tmp_path, "2024-01-20", {"running_hours": 100})
    assert rules_fired(finding)[0] == "past-interval"
    assert reason_for(finding, "past-interval").facts == {"consumed": 2.0, "used": 200.0, "allowed": 100.0, "leg": "running_hours"}
    assert standing_at(tmp_path, "2024-01-05", {"running_hours": 100}).reasons[0].rule == "in-interval"
    assert standing_at(tmp_path, "2024-01-09", {"running_hours": 100}).reasons[0].rule == "inside-lead"


def test_totals_count_every_standing(tmp_path: Path) -> None:
    """One of each at the end of 15 January (150 h)."""
    tasks = [
        task("past", every={"running_hours": 100}),
        task("near", every={"running_hours": 155}),
        task("clear", every={"running_hours": 1000}),
        task("untold", every={"starts": 10}),
    ]
    totals = judge(tmp_path, "2024-01-15", tasks, ROWS, engine=ENGINE).totals
    assert (totals.overdue, totals.upcoming, totals.in_interval, totals.unknown, totals.skipped_open) == (1, 1, 1, 1, 0)


def test_a_done_record_ends_overdue(tmp_path: Path) -> None:
    """Overdue before it, in interval after it."""
    oil = task(every={"running_hours": 100})
    services = [done("oil", "2024-01-20T00:00")]
    assert finding_for(judge(tmp_path, "2024-01-18", [oil], ROWS, engine=ENGINE, services=services)).standing == "overdue"
    assert finding_for(judge(tmp_path, "2024-01-20", [oil], ROWS, engine=ENGINE, services=services)).standing == "in_interval"
