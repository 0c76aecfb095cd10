"""Tolerance: a share of the interval, an amount of a leg, the least of several, whole days rounded inward, outward or to the nearest."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from intervals.findings import Finding
from tests.site_maker import done, finding_for, judge, reason_for, rules_fired, steady, task

# 10 h a day from 0 h on 1 January 2024
ROWS = steady("2024-01-01", "2024-12-31", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}


def judged(
    folder: Path,
    as_of: str,
    every: Mapping[str, object],
    **keys: Any,  # noqa: ANN401 - what a task takes
) -> Finding:
    """Return the finding of a task that was never done since 1 January 2024."""
    return finding_for(judge(folder, as_of, [task(every=dict(every), **keys)], ROWS, engine=ENGINE))


@pytest.mark.parametrize(
    ("every", "tolerance", "last_within"),
    [
        # due 31 January (30 d): 6 d more are 6 February
        ({"calendar": "P30D"}, {"pct": 20}, "2024-02-06"),
        # 2 d are less than a fifth, 9 d are more
        ({"calendar": "P30D"}, {"pct": 20, "calendar": "P2D"}, "2024-02-02"),
        ({"calendar": "P30D"}, {"pct": 20, "calendar": "P9D"}, "2024-02-06"),
        ({"calendar": "P30D"}, {"calendar": "P9D"}, "2024-02-09"),
        # a month after 31 January is 29 February
        ({"calendar": "P30D"}, {"calendar": "P1M"}, "2024-02-29"),
        # 10 % of 45 d are 4.5: four whole days exactly or inward, five outward; due 15 February
        ({"calendar": "P45D"}, {"pct": 10}, "2024-02-19"),
        ({"calendar": "P45D"}, {"pct": 10, "rounding": "inward"}, "2024-02-19"),
        ({"calendar": "P45D"}, {"pct": 10, "rounding": "outward"}, "2024-02-20"),
        # half a day rounds up: 4.5 are 5; 10 % of 44 d are 4.4: 4, of 46 d 4.6: 5; due 14 and 16 February
        ({"calendar": "P45D"}, {"pct": 10, "rounding": "nearest"}, "2024-02-20"),
        ({"calendar": "P44D"}, {"pct": 10, "rounding": "nearest"}, "2024-02-18"),
        ({"calendar": "P46D"}, {"pct": 10, "rounding": "nearest"}, "2024-02-21"),
        # 3.5 % of 100 d are 3.5, which rounds up to 4 (to the even number too); due 10 April
        ({"calendar": "P100D"}, {"pct": 3.5, "rounding": "nearest"}, "2024-04-14"),
    ],
)
def test_the_last_day_within_a_calendar_tolerance(
    tmp_path: Path, every: Mapping[str, object], tolerance: Mapping[str, object], last_within: str
) -> None:
    """Overdue and within tolerance through that day, and overdue without from the next."""
    day_after = f"{last_within[:8]}{int(last_within[8:]) + 1:02d}" if last_within != "2024-02-29" else "2024-03-01"
    within = judged(tmp_path / "a", last_within, every, tolerance=dict(tolerance))
    beyond = judged(tmp_path / "b", day_after, every, tolerance=dict(tolerance))
    assert (within.standing, within.within_tolerance) == ("overdue", True)
    assert (beyond.standing, beyond.within_tolerance) == ("overdue", False)


@pytest.mark.parametrize(
    ("as_of", "tolerance", "is_within"),
    [
        # 400 h allowed, reached on 10 February 00:00; 450 at the end of 14 February, 460 a day later
        ("2024-02-14", {"running_hours": 50}, True),
        ("2024-02-15", {"running_hours": 50}, False),
        # a tenth of 400 h is less than 50
        ("2024-02-13", {"running_hours": 50, "pct": 10}, True),
        ("2024-02-14", {"running_hours": 50, "pct": 10}, False),
        # an amount of days concerns no hours: nothing is tolerated
        ("2024-02-10", {"calendar": "P9D"}, False),
    ],
)
def test_an_amount_of_hours_is_tolerated(tmp_path: Path, as_of: str, tolerance: Mapping[str, object], *, is_within: bool) -> None:
    """Of several that concern the leg the least counts."""
    finding = judged(tmp_path, as_of, {"running_hours": 400}, tolerance=dict(tolerance))
    assert (finding.standing, finding.within_tolerance) == ("overdue", is_within)


def test_the_bare_share_stands_beside_the_others(tmp_path: Path) -> None:
    """tolerance_pct 5 of 400 h are 20 h, less than the 50 beside it: 420 h are within, 430 are not."""
    keys: dict[str, Any] = {"tolerance_pct": 5, "tolerance": {"running_hours": 50}}
    assert judged(tmp_path / "a", "2024-02-11", {"running_hours": 400}, **keys).within_tolerance
    assert not judged(tmp_path / "b", "2024-02-12", {"running_hours": 400}, **keys).within_tolerance


def test_ninety_days_and_ten_per_cent_are_ninety_nine(tmp_path: Path) -> None:
    """In binary 90 x 1.1 is a little more than 99, and 99 d would be no different; here 99 d are within, 100 are not."""
    # 1 January + 99 d = 9 April
    assert judged(tmp_path / "a", "2024-04-09", {"calendar": "P90D"}, tolerance={"pct": 10}).within_tolerance
    assert not judged(tmp_path / "b", "2024-04-10", {"calendar": "P90D"}, tolerance={"pct": 10}).within_tolerance


def test_the_reason_says_how_much_is_tolerated(tmp_path: Path) -> None:
    """28 d at most of half a year; a bare share is told as one."""
    finding = judged(tmp_path / "a", "2024-07-15", {"calendar": "P6M"}, tolerance={"pct": 20, "calendar": "P28D"})
    reason = reason_for(finding, "within-tolerance")
    assert (reason.text, reason.facts) == ("within the tolerance of 28 d", {"tolerance": 28.0, "unit": "d"})
    bare = reason_for(judged(tmp_path / "b", "2024-02-01", {"calendar": "P30D"}, tolerance_pct=10), "within-tolerance")
    assert (bare.text, bare.facts) == ("within the tolerance of 10 %", {"tolerance_pct": 10.0})


def test_without_a_tolerance_nothing_is_within(tmp_path: Path) -> None:
    """Without a tolerance a day past its line is a day late."""
    assert "within-tolerance" not in rules_fired(judged(tmp_path, "2024-02-01", {"calendar": "P30D"}))


@pytest.mark.parametrize(
    ("done_on", "next_on"),
    [
        # due 31 January; two days either side keep the grid (next 1 March), three do not
        ("2024-01-29", "2024-03-01"),
        ("2024-02-02", "2024-03-01"),
        ("2024-01-28", "2024-02-27"),
        ("2024-02-03", "2024-03-04"),
    ],
)
def test_a_grid_is_kept_within_the_tolerance_on_either_side(tmp_path: Path, done_on: str, next_on: str) -> None:
    """Done within two days of the due date: counted from there; else from the day it was done."""
    oil = task(every={"calendar": "P30D"}, restarts_from="due_if_on_time", tolerance={"pct": 20, "calendar": "P2D"})
    findings = judge(tmp_path, "2024-02-10", [oil], ROWS, engine=ENGINE, services=[done("oil", done_on)])
    assert finding_for(findings).due_on == next_on


@pytest.mark.parametrize(("every", "within", "late", "pending"), [("P29D", True, 0, 1), ("P28D", True, 0, 1), ("P27D", False, 1, 0)])
def test_past_the_line_is_overdue_and_late_only_past_the_tolerance(
    tmp_path: Path, every: str, *, within: bool, late: int, pending: int
) -> None:
    """At the end of 31 January: due on the 30th, 29th or 28th, two days tolerated, all overdue; only the last one is late."""
    oil = task(every={"calendar": every}, tolerance={"calendar": "P2D"})
    findings = judge(tmp_path, "2024-01-31", [oil], ROWS, engine=ENGINE, month="2024-01")
    assert (finding_for(findings).standing, finding_for(findings).within_tolerance) == ("overdue", within)
    assert findings.compliance is not None
    assert (findings.compliance.late, findings.compliance.pending) == (late, pending)


@pytest.mark.parametrize(("done_on", "on_time", "late"), [("2024-02-02", 1, 0), ("2024-02-03", 0, 1)])
def test_done_within_tolerance_is_on_time(tmp_path: Path, done_on: str, on_time: int, late: int) -> None:
    """A month's compliance by the same tolerance: due 31 January, two days tolerated."""
    oil = task(every={"calendar": "P30D"}, tolerance={"calendar": "P2D"})
    findings = judge(tmp_path, "2024-02-29", [oil], ROWS, engine=ENGINE, services=[done("oil", done_on)], month="2024-02")
    assert findings.compliance is not None
    assert (findings.compliance.on_time, findings.compliance.late) == (on_time, late)
