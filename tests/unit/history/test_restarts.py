"""Where the next window starts: at the completion, or on the grid that the governing leg keeps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from intervals.findings import Finding
from tests.site_maker import done, finding_for, judge, leg_of, steady, task

# 10 h a day from 0 h on 1 January 2024: 1,000 h on 10 April
ROWS = steady("2024-01-01", "2024-08-31", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
HUNDRED_H = {"running_hours": 100}


def after(
    folder: Path,
    completions: Sequence[str],
    restarts_from: str,
    *,
    every: Mapping[str, object] = HUNDRED_H,
    as_of: str = "2024-05-31",
    **keys: Any,  # noqa: ANN401 - keys of a task
) -> Finding:
    """Return the finding after completions on the given days."""
    oil = task(every=every, restarts_from=restarts_from, **keys)
    services = [done("oil", at) for at in completions]
    return finding_for(judge(folder, as_of, [oil], ROWS, engine=ENGINE, services=services))


def next_line_h(finding: Finding) -> float:
    """Return the meter reading at which the running-hours leg is used up: 1,520 h at the end of 31 May, plus what is left."""
    remaining = leg_of(finding).remaining
    assert remaining is not None
    return 1520.0 + remaining


@pytest.mark.parametrize(
    ("restarts_from", "done_at", "next_h"),
    [
        # first due at 100 h (11 January 00:00); done at 106 h (11 January 14:24) or at 90 h (10 January 00:00)
        ("done", "2024-01-11T14:24", 206),
        ("done", "2024-01-10T00:00", 190),
        ("due", "2024-01-11T14:24", 200),
        ("due", "2024-01-10T00:00", 200),
        ("due_if_late", "2024-01-11T14:24", 200),
        ("due_if_late", "2024-01-10T00:00", 190),
        # within 10 %: 110 h (12 January) and 90 h keep the grid; 110.1 h (00:14:24 later) and 89.9 h do not
        ("due_if_on_time", "2024-01-12T00:00", 200),
        ("due_if_on_time", "2024-01-10T00:00", 200),
        ("due_if_on_time", "2024-01-12T00:14:24", 210.1),
        ("due_if_on_time", "2024-01-09T23:45:36", 189.9),
    ],
)
def test_a_leg_of_use_starts_at_the_completion_or_keeps_its_grid(tmp_path: Path, restarts_from: str, done_at: str, next_h: float) -> None:
    """Late counts into the next window, early gives it more, where the grid is kept."""
    assert next_line_h(after(tmp_path, [done_at], restarts_from, tolerance_pct=10)) == pytest.approx(next_h, abs=1e-6)


def test_done_on_the_line_keeps_and_restarts_alike(tmp_path: Path) -> None:
    """Done at exactly 100 h: next at 200 h whatever it restarts from."""
    for mode in ("done", "due", "due_if_on_time", "due_if_late"):
        assert next_line_h(after(tmp_path / mode, ["2024-01-11T00:00"], mode)) == 200.0


def test_whole_intervals_missed_are_dropped(tmp_path: Path) -> None:
    """Due at 100, 200 and 300 h, done at 350 h (5 February): 250 h past the line are two whole intervals and 50 h; next at 400 h."""
    assert next_line_h(after(tmp_path, ["2024-02-05T00:00"], "due")) == 400.0


def test_a_grid_is_kept_over_several_completions(tmp_path: Path) -> None:
    """Done at 106, 195 and 310 h: due at 100, 200, 300, so next at 400 h."""
    days = ["2024-01-11T14:24", "2024-01-20T12:00", "2024-02-01T00:00"]
    assert next_line_h(after(tmp_path, days, "due")) == 400.0


def test_a_completion_off_the_grid_begins_a_new_one(tmp_path: Path) -> None:
    """Within 10 %: due at 100, done at 150 h (off): from there; done at 255 h, 5 h past 250: next at 350 h."""
    assert next_line_h(after(tmp_path, ["2024-01-16T00:00", "2024-01-26T12:00"], "due_if_on_time", tolerance_pct=10)) == 350.0


def due_date(finding: Finding) -> str:
    """Return the due date of a task that has only a calendar leg."""
    assert finding.due_on is not None
    return finding.due_on


MONTHLY = {"calendar": "P1M"}


@pytest.mark.parametrize(
    ("restarts_from", "done_on", "next_on"),
    [
        # in service on 1 January: due 1 February; done on the 3rd, or on 30 January
        ("done", "2024-02-03", "2024-03-03"),
        ("done", "2024-01-30", "2024-02-29"),
        ("due", "2024-02-03", "2024-03-01"),
        ("due", "2024-01-30", "2024-03-01"),
        ("due_if_late", "2024-02-03", "2024-03-01"),
        ("due_if_late", "2024-01-30", "2024-02-29"),
        # 10 % of the 31 d are 3.1: three days past it keep the grid, four do not; the same before it
        ("due_if_on_time", "2024-02-04", "2024-03-01"),
        ("due_if_on_time", "2024-02-05", "2024-03-05"),
        ("due_if_on_time", "2024-01-29", "2024-03-01"),
        ("due_if_on_time", "2024-01-28", "2024-02-28"),
    ],
)
def test_a_calendar_leg_starts_at_the_completion_or_keeps_its_grid(tmp_path: Path, restarts_from: str, done_on: str, next_on: str) -> None:
    """The grid counts whole months from its anchor."""
    finding = after(tmp_path, [done_on], restarts_from, every=MONTHLY, as_of="2024-02-10", tolerance_pct=10)
    assert due_date(finding) == next_on


def test_a_calendar_grid_counts_from_its_anchor_and_not_from_the_last_date(tmp_path: Path) -> None:
    """Monthly from 31 January: 29 February, 31 March, 30 April, 31 May (each done a day past it)."""
    engine = {"in_service": "2024-01-31"}
    monthly = task(every=MONTHLY, restarts_from="due")
    services = [done("oil", "2024-03-01"), done("oil", "2024-04-01"), done("oil", "2024-05-01")]
    finding = finding_for(judge(tmp_path, "2024-05-02", [monthly], ROWS, engine=engine, services=services))
    assert due_date(finding) == "2024-05-31"


def test_calendar_points_missed_are_dropped(tmp_path: Path) -> None:
    """Due on the first of February, March and April, done on 10 April: next on 1 May."""
    assert due_date(after(tmp_path, ["2024-04-10"], "due", every=MONTHLY, as_of="2024-04-15")) == "2024-05-01"


def test_only_the_governing_leg_keeps_its_grid(tmp_path: Path) -> None:
    """Done at 106 of 100 h on 11 January: the hours keep their grid (next at 200), the month starts at the completion."""
    every = {"running_hours": 100, "calendar": "P3M"}
    finding = after(tmp_path, ["2024-01-11T14:24"], "due", every=every, as_of="2024-01-12")
    assert leg_of(finding).used == pytest.approx(6.0 + 14.0, abs=1e-6)
    # three months from 11 January are 11 April, 91 d
    assert leg_of(finding, "calendar").allowed == 91.0


def test_where_the_calendar_governs_the_hours_start_at_the_completion(tmp_path: Path) -> None:
    """Done on 3 February of due 1 February, at 330 of 5,000 h: the hours start at zero, the date keeps its grid."""
    every = {"running_hours": 5000, "calendar": "P1M"}
    finding = after(tmp_path, ["2024-02-03T00:00"], "due", every=every, as_of="2024-02-10")
    assert leg_of(finding).used == 80.0
    # from 3 February to 1 March
    assert leg_of(finding, "calendar").allowed == 27.0


def test_an_early_completion_on_the_grid_gives_the_next_window_more(tmp_path: Path) -> None:
    """Done at 90 h: the next window starts with -10 h, printed as such."""
    finding = after(tmp_path, ["2024-01-10T00:00"], "due", as_of="2024-01-10")
    assert (leg_of(finding).used, leg_of(finding).allowed) == (0.0, 100.0)
    (reason,) = (reason for reason in finding.reasons if reason.rule == "keeps-grid")
    assert reason.facts == {"leg": "running_hours", "starts_with": -10.0}
    assert reason.text == "the interval is counted from the due point, not from the completion before it: starts with -10"


def test_a_completion_past_the_line_and_in_the_tolerance_is_not_called_late(tmp_path: Path) -> None:
    """Done at 106 h of 100, 10 % tolerated: the 6 h count into the next window, and the reason says after, not late."""
    finding = after(tmp_path, ["2024-01-11T14:24"], "due", as_of="2024-01-12", tolerance_pct=10)
    (reason,) = (reason for reason in finding.reasons if reason.rule == "keeps-grid")
    assert reason.text == "the interval is counted from the due point, not from the completion after it: starts with 6"


def test_an_overhaul_leaves_the_grid(tmp_path: Path) -> None:
    """Made new at 106 h: the next window starts there, at zero."""
    tasks = [task(every=HUNDRED_H, restarts_from="due"), task("overhaul", every={"running_hours": 9000}, makes_new=["oil"])]
    findings = judge(tmp_path, "2024-01-12", tasks, ROWS, engine=ENGINE, services=[done("overhaul", "2024-01-11T14:24")])
    assert leg_of(finding_for(findings)).used == 14.0


@pytest.mark.parametrize(("first", "done_on"), [("P30D", "2024-01-31"), ("P30D", "2024-02-02")])
def test_a_grid_after_a_first_interval_goes_on_from_the_first_due_point(tmp_path: Path, first: str, done_on: str) -> None:
    """First due 30 days after 1 January, on the 31st, then yearly: next within a year of that, by 31 January 2025."""
    finding = after(tmp_path, [done_on], "due", every={"calendar": "P1Y"}, first={"calendar": first}, as_of="2024-02-10")
    assert due_date(finding) <= "2025-01-31"


def test_a_grid_goes_on_with_the_interval_now_in_force(tmp_path: Path) -> None:
    """Monthly from 1 January, done 1 February and 1 March; two-monthly from 15 March on: next due on that grid on 1 May, not 1 July."""
    every = [{"in_force_from": "2020-01-01", "calendar": "P1M"}, {"in_force_from": "2024-03-15", "calendar": "P2M"}]
    services = [done("oil", "2024-02-01"), done("oil", "2024-03-01")]
    findings = judge(tmp_path, "2024-03-20", [task(every=every, restarts_from="due")], ROWS, engine=ENGINE, services=services)
    assert due_date(finding_for(findings)) == "2024-05-01"


def test_a_grid_of_hours_after_a_first_interval_goes_on_from_the_first_due_point(tmp_path: Path) -> None:
    """First due at 50 h, done at 56 h (6 January 14:24), then every 100 h: next at 150 h."""
    assert next_line_h(after(tmp_path, ["2024-01-06T14:24"], "due", first={"running_hours": 50})) == pytest.approx(150.0, abs=1e-6)
