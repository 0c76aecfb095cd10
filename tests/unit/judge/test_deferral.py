"""Deferrals: an approved one holds the occurrence open, as upcoming, until its hours or its date run out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from intervals.findings import Finding
from tests.site_maker import done, fault_kinds, finding_for, judge, leg_of, rules_fired, steady, task

# 10 h a day from 0 h on 1 January 2024; 100 h are used up at the end of the 10th
ROWS = steady("2024-01-01", "2024-03-31", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
OIL = task(every={"running_hours": 100})


def deferred(at: str = "2024-01-10T00:00", **keys: object) -> dict[str, object]:
    """Return an approved deferral."""
    return {"at": at, "engine": "G1", "task": "oil", "outcome": "deferred", "approved_by": "chief", **keys}


def at(folder: Path, as_of: str, *services: dict[str, object], **engine: object) -> Finding:
    """Judge the oil change."""
    return finding_for(judge(folder, as_of, [OIL], ROWS, engine={**ENGINE, **engine}, services=services))


@pytest.mark.parametrize(
    ("as_of", "standing"),
    [("2024-01-10", "upcoming"), ("2024-01-12", "upcoming"), ("2024-01-15", "upcoming"), ("2024-01-16T01:00", "overdue")],
)
def test_until_a_meter_reading(tmp_path: Path, as_of: str, standing: str) -> None:
    """Recorded on 10 January until 150 h: upcoming until the meter passes 150 h at the end of the 15th, then overdue."""
    assert at(tmp_path, as_of, deferred(until_h=150)).standing == standing


def test_what_is_foreseen_is_the_end_of_the_deferral(tmp_path: Path) -> None:
    """On 12 January 120 h: the 200 h are reached after eight more days of 10 h, at any pace, and a date before that comes first."""
    by_hours = at(tmp_path / "a", "2024-01-12", deferred(until_h=200))
    assert by_hours.due_on == "2024-01-20"
    assert by_hours.forecast is not None
    assert (by_hours.forecast.on, by_hours.forecast.early, by_hours.forecast.late) == ("2024-01-20", "2024-01-20", "2024-01-20")
    by_date = at(tmp_path / "b", "2024-01-12", deferred(until_h=200, until_date="2024-01-18"))
    assert by_date.forecast is not None
    assert (by_date.due_on, by_date.forecast.on, by_date.forecast.late) == ("2024-01-18", "2024-01-18", "2024-01-18")
    # so it is before its line, which no longer makes it overdue: 100 h at the end of the 10th, 200 h at the end of the 20th
    before = at(tmp_path / "c", "2024-01-08", deferred("2024-01-08T00:00", until_h=200))
    assert before.forecast is not None
    assert (before.due_on, before.forecast.on) == ("2024-01-20", "2024-01-20")


def test_the_crossing_is_the_moment_the_deferral_ran_out(tmp_path: Path) -> None:
    """155 h are reached at noon of 16 January; used, allowed and consumed are those of the interval."""
    finding = at(tmp_path, "2024-01-20", deferred(until_h=155))
    assert (finding.standing, finding.crossed_at) == ("overdue", "2024-01-16T12:00:00+00:00")
    leg = leg_of(finding)
    assert (leg.used, leg.allowed, leg.consumed) == (200.0, 100.0, 2.0)
    assert finding.deferred_until is not None
    assert (finding.deferred_until.hour_meter_h, finding.deferred_until.date) == (155.0, None)


@pytest.mark.parametrize(("as_of", "standing"), [("2024-01-20", "upcoming"), ("2024-01-21T00:01", "overdue"), ("2024-01-21", "overdue")])
def test_until_a_date_ends(tmp_path: Path, as_of: str, standing: str) -> None:
    """Until 20 January: upcoming all through that day, overdue from the midnight after it."""
    finding = at(tmp_path, as_of, deferred(until_date="2024-01-20"))
    assert finding.standing == standing
    if standing == "overdue":
        assert (finding.crossed_at, finding.due_on) == ("2024-01-21T00:00:00+00:00", "2024-01-20")


@pytest.mark.parametrize(
    ("until_date", "crossed_at"), [("2024-01-14", "2024-01-15T00:00:00+00:00"), ("2024-01-25", "2024-01-16T00:00:00+00:00")]
)
def test_of_both_ends_the_first_counts(tmp_path: Path, until_date: str, crossed_at: str) -> None:
    """Until 150 h (the end of the 15th) or a date, whichever is first."""
    assert at(tmp_path, "2024-01-31", deferred(until_h=150, until_date=until_date)).crossed_at == crossed_at


def test_without_approval_it_is_a_fault_and_moves_nothing(tmp_path: Path) -> None:
    """approved_by is blank: overdue since the line, which fell due on the day that used the interval up."""
    findings = judge(tmp_path, "2024-01-15", [OIL], ROWS, engine=ENGINE, services=[deferred(until_h=300, approved_by="")])
    assert fault_kinds(findings) == ["deferral_not_approved"]
    assert finding_for(findings).standing == "overdue"
    assert (finding_for(findings).crossed_at, finding_for(findings).due_on) == ("2024-01-11T00:00:00+00:00", "2024-01-10")
    assert finding_for(findings).deferred_until is None


def test_the_latest_counts(tmp_path: Path) -> None:
    """Until 300 h at first, a day later only until 130 h: overdue from 130 h on, the end of the 13th."""
    finding = at(tmp_path, "2024-01-15", deferred("2024-01-10T00:00", until_h=300), deferred("2024-01-11T00:00", until_h=130))
    assert (finding.standing, finding.crossed_at) == ("overdue", "2024-01-14T00:00:00+00:00")


def test_the_latest_counts_by_time_and_not_by_line(tmp_path: Path) -> None:
    """The same two records in the other order of the file."""
    finding = at(tmp_path, "2024-01-15", deferred("2024-01-11T00:00", until_h=130), deferred("2024-01-10T00:00", until_h=300))
    assert finding.standing == "overdue"


def test_it_holds_only_until_the_next_completion(tmp_path: Path) -> None:
    """Done on the 14th: the next occurrence is not deferred, and falls due 100 h after it."""
    services = (deferred(until_date="2024-03-31"), done("oil", "2024-01-14T00:00"))
    finding = at(tmp_path, "2024-01-31", *services)
    assert (finding.standing, finding.deferred_until) == ("overdue", None)


def test_a_deferral_of_what_is_in_interval_makes_it_upcoming(tmp_path: Path) -> None:
    """Deferred at 40 of 100 h: from there on the occurrence is held open."""
    finding = at(tmp_path, "2024-01-06", deferred("2024-01-05T00:00", until_h=150))
    assert finding.standing == "upcoming"


def test_a_deferral_that_ended_before_the_line_is_overdue_all_the_same(tmp_path: Path) -> None:
    """Deferred at 40 h until 60 h: overdue once the meter passes 60 h, at 80 of 100 h."""
    finding = at(tmp_path, "2024-01-08", deferred("2024-01-05T00:00", until_h=60))
    assert (finding.standing, finding.crossed_at) == ("overdue", "2024-01-07T00:00:00+00:00")


def test_until_h_is_bridged_over_a_meter_change(tmp_path: Path) -> None:
    """Until 150 h on a meter changed from 120 to 0 h at the end of the 12th: passed at 30 h of the new one, the end of the 15th."""
    rows = ROWS[:13] + [{**row, "hour_meter_h": 10.0 * number} for number, row in enumerate(ROWS[13:], start=1)]
    engine = {**ENGINE, "meter_changes": [{"at": "2024-01-13T00:00", "old_read_h": 120, "new_read_h": 0}]}
    held = judge(tmp_path / "a", "2024-01-15", [OIL], rows, engine=engine, services=[deferred(until_h=150)])
    ended = judge(tmp_path / "b", "2024-01-16", [OIL], rows, engine=engine, services=[deferred(until_h=150)])
    assert finding_for(held).standing == "upcoming"
    assert (finding_for(ended).standing, finding_for(ended).crossed_at) == ("overdue", "2024-01-16T00:00:00+00:00")


def test_until_h_counts_plain_hours(tmp_path: Path) -> None:
    """Every hour weighs twice; the deferral's 150 h are still those of the meter."""
    heavy = {
        "id": "heavy",
        "tasks": "all",
        "when": {"load_pct": {"above": 90}},
        "counts_as": 2,
        "because": "a test asks for it",
        "source": "none",
    }
    rows = [{**row, "load_pct": 95} for row in ROWS]
    findings = judge(tmp_path, "2024-01-15", [OIL], rows, engine=ENGINE, services=[deferred(until_h=150)], rules={"adjustments": [heavy]})
    assert finding_for(findings).standing == "upcoming"
    assert leg_of(finding_for(findings)).used == 300.0


def test_a_deferral_after_the_moment_does_not_count_yet(tmp_path: Path) -> None:
    """Deferred on the 20th: on the 15th the task is overdue."""
    assert at(tmp_path, "2024-01-15", deferred("2024-01-20T00:00", until_h=300)).standing == "overdue"


def test_a_deferral_may_be_voided(tmp_path: Path) -> None:
    """The void takes the deferral away."""
    services = (deferred(until_h=300, ref="D1"), done("oil", "2024-01-11T00:00", outcome="void", ref="D1"))
    assert at(tmp_path, "2024-01-15", *services).standing == "overdue"


def test_a_deferral_is_no_completion(tmp_path: Path) -> None:
    """The window goes on from where it began."""
    finding = at(tmp_path, "2024-01-15", deferred(until_h=300))
    assert finding.last_done is None
    assert leg_of(finding).used == 150.0
    # the reason of the deferral stands first, and the reason of the line after it
    assert [reason.rule for reason in finding.reasons] == ["deferral-holds", "past-interval"]


def test_past_by_is_the_governing_legs(tmp_path: Path) -> None:
    """A deferral that ran out at 150 h: at 160 h of 100 the task is past by 60 h."""
    finding = at(tmp_path, "2024-01-16", deferred(until_h=150))
    assert finding.past_by is not None
    assert (finding.past_by.value, finding.past_by.unit) == (60.0, "h")


# 20 h a day from 1 July 2026 to the end of 30 September: 92 d, 1,840 h; 1,800 h are used up at the end of 28 September
QUARTER = steady("2026-07-01", "2026-10-01", 20)
LATE_OIL = task(every={"running_hours": 1800})


def stopped(folder: Path, as_of: str, gap_h: float = 36, *more: dict[str, object], **until: Any) -> Finding:  # noqa: ANN401 - passed on
    """Judge an oil change that was deferred on 29 September, of a log that ended a day later."""
    engine = {"in_service": "2026-07-01", "meter_at_start_h": 0}
    services = [deferred("2026-09-29T12:00", **until), *more]
    tasks = [LATE_OIL, task("plugs", every={"calendar": "P1Y"})]
    return finding_for(judge(folder / as_of.replace(":", ""), as_of, tasks, QUARTER, engine=engine, services=services, gap_h=gap_h))


@pytest.mark.parametrize(
    ("until", "day"),
    [
        # 2,140 h are 300 h or 15 d after the log's end: the end of 15 October
        ({"until_h": 2140}, "2026-10-15"),
        ({"until_h": 2140, "until_date": "2026-10-31"}, "2026-10-15"),
        ({"until_h": 2140, "until_date": "2026-10-10"}, "2026-10-10"),
        ({"until_date": "2026-10-31"}, "2026-10-31"),
    ],
)
def test_its_day_is_the_earlier_of_its_date_and_its_reading(tmp_path: Path, until: dict[str, Any], day: str) -> None:
    """Whatever day one asks on, due date and forecast are that day."""
    for as_of in ("2026-09-30", "2026-10-05", "2026-10-09"):
        finding = stopped(tmp_path, as_of, **until)
        assert (finding.standing, finding.due_on) == ("upcoming", day)
        assert finding.forecast is not None
        assert finding.forecast.on == day


def test_when_the_log_ended_and_the_reading_may_be_passed_it_is_unknown(tmp_path: Path) -> None:
    """300 h at full time are 12 d 12 h: from noon of 13 October on nobody can tell; a date that ends is told all the same."""
    held = stopped(tmp_path, "2026-10-13T11:59", until_h=2140, until_date="2026-10-31")
    untold = stopped(tmp_path, "2026-10-13T12:00", until_h=2140, until_date="2026-10-31")
    assert (held.standing, untold.standing) == ("upcoming", "unknown")
    assert rules_fired(untold)[:2] == ["deferral-not-known", "past-interval"]
    assert untold.due_on == "2026-10-15"
    assert untold.reasons[0].text == (
        "unknown: deferred until the meter passes 2,140 h or 2026-10-31 ends; the meter may have passed 2,140 h since: "
        "expected on 2026-10-15, the log ended on 2026-09-30; approved by chief (services.csv:2)"
    )
    ended = stopped(tmp_path, "2026-11-01", until_h=2140, until_date="2026-10-31")
    assert (ended.standing, ended.due_on) == ("overdue", "2026-10-31")


def test_a_meter_typed_after_the_end_of_the_log_tells_how_it_stands(tmp_path: Path) -> None:
    """Plugs changed on 16 October at 2,000 h: 140 h left to 2,140 h; at 2,150 h the deferral has run out."""
    held = stopped(tmp_path / "a", "2026-10-16", 36, done("plugs", "2026-10-16T12:00", 2000), until_h=2140)
    assert held.standing == "upcoming"
    over = stopped(tmp_path / "b", "2026-10-16", 36, done("plugs", "2026-10-16T12:00", 2150), until_h=2140)
    assert over.standing == "overdue"


CARD = "7K3M-9QXT-02HD-15WV"


@pytest.mark.parametrize(
    ("ref", "is_turned_round", "standing"), [(CARD, False, "in_interval"), ("JC-041", False, "upcoming"), (CARD, True, "upcoming")]
)
def test_work_before_it_that_is_recorded_after_it_ends_it(tmp_path: Path, ref: str, is_turned_round: bool, standing: str) -> None:
    """Done on the 14th, deferred on the 15th, and the card comes in after that: by the 16th 20 of 100 h are used, and nothing is put off.

    Of a row without a card, and of a file with its latest rows first, nothing tells which was recorded first.
    """
    rows = [done("oil", "2024-01-05T00:00", 40), deferred("2024-01-15T00:00", until_h=190), done("oil", "2024-01-14T00:00", 130, ref=ref)]
    if is_turned_round:
        rows = [rows[1], rows[2], rows[0]]
    finding = at(tmp_path, "2024-01-16T00:00", *rows)
    assert (finding.standing, finding.deferred_until is None) == (standing, standing == "in_interval")
