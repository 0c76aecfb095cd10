"""A month's compliance: what fell due in it, and whether it was done on time, late, not at all, or is still open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from intervals.findings import Compliance
from tests.site_maker import done, judge, steady, task

# 10 h a day from 0 h on 1 January 2024
ROWS = steady("2024-01-01", "2024-08-31", 10)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
OIL = task(every={"running_hours": 100}, tolerance_pct=10)
LAST_DAY = {"2024-01": "2024-01-31", "2024-02": "2024-02-29", "2024-03": "2024-03-31"}


def month_of(
    folder: Path, month: str, services: Sequence[Mapping[str, object]] = (), *, oil: Mapping[str, object] = OIL, as_of: str | None = None
) -> Compliance:
    """Return a month's compliance, judged at its end."""
    findings = judge(folder, as_of or LAST_DAY[month], [oil], ROWS, engine=ENGINE, services=services, month=month)
    assert findings.compliance is not None
    return findings.compliance


def counts(compliance: Compliance) -> tuple[int, int, int, int, int]:
    """Return on time, late, missed, open, pending."""
    return compliance.on_time, compliance.late, compliance.missed, compliance.open, compliance.pending


def test_no_occurrence_gives_no_figure(tmp_path: Path) -> None:
    """Every 10,000 h: nothing fell due in January."""
    compliance = month_of(tmp_path, "2024-01", oil=task(every={"running_hours": 10000}))
    assert (counts(compliance), compliance.figure) == ((0, 0, 0, 0, 0), None)


@pytest.mark.parametrize(
    ("done_at", "expected", "figure"),
    [
        # at 95 h before its line; at 110 h within tolerance; at 110.1 h late
        ("2024-01-10T12:00", (1, 0, 0, 0, 0), 1.0),
        ("2024-01-12T00:00", (1, 0, 0, 0, 0), 1.0),
        ("2024-01-12T00:14:24", (0, 1, 0, 0, 0), 0.0),
    ],
)
def test_on_time_is_within_tolerance_when_done(tmp_path: Path, done_at: str, expected: tuple[int, ...], figure: float) -> None:
    """Consumed up to 1 + tolerance when done is on time, beyond is late."""
    compliance = month_of(tmp_path, "2024-01", [done("oil", done_at)], as_of="2024-01-18", oil=OIL)
    assert (counts(compliance), compliance.figure) == (expected, figure)


def test_an_occurrence_done_before_its_line_belongs_to_the_month_it_was_done_in(tmp_path: Path) -> None:
    """Yearly, done on 20 January of due 1 March: January's, and not March's."""
    monthly = task(every={"calendar": "P2M"})
    services = [done("oil", "2024-01-20"), done("oil", "2024-03-19")]
    assert counts(month_of(tmp_path / "a", "2024-01", services, oil=monthly)) == (1, 0, 0, 0, 0)
    assert counts(month_of(tmp_path / "b", "2024-02", services, oil=monthly)) == (0, 0, 0, 0, 0)
    assert counts(month_of(tmp_path / "c", "2024-03", services, oil=monthly)) == (1, 0, 0, 0, 0)


def test_an_occurrence_done_past_its_line_belongs_to_the_month_it_crossed_it_in(tmp_path: Path) -> None:
    """Due at 300 h, crossed on 31 January, done on 2 February at 320 h (within 10 %): January's."""
    oil = task(every={"running_hours": 300}, tolerance_pct=10)
    services = [done("oil", "2024-02-02T00:00")]
    assert counts(month_of(tmp_path / "a", "2024-01", services, oil=oil, as_of="2024-02-29")) == (1, 0, 0, 0, 0)
    assert counts(month_of(tmp_path / "b", "2024-02", services, oil=oil)) == (0, 0, 0, 0, 0)


def test_what_is_past_its_tolerance_and_not_done_is_open(tmp_path: Path) -> None:
    """280 h allowed, 310 h at the end of January: beyond 308."""
    compliance = month_of(tmp_path, "2024-01", oil=task(every={"running_hours": 280}, tolerance_pct=10))
    assert (counts(compliance), compliance.figure) == ((0, 0, 0, 1, 0), 0.0)


def test_what_is_past_its_line_and_inside_its_tolerance_is_pending_and_not_in_the_figure(tmp_path: Path) -> None:
    """300 h allowed, 310 h at the end of January, 330 tolerated."""
    compliance = month_of(tmp_path, "2024-01", oil=task(every={"running_hours": 300}, tolerance_pct=10))
    assert (counts(compliance), compliance.figure) == ((0, 0, 0, 0, 1), None)
    assert [entry.met for entry in compliance.occurrences] == ["pending"]


def test_an_open_occurrence_stays_in_the_month_it_crossed_its_line_in(tmp_path: Path) -> None:
    """280 h, crossed in January and still open in February: it is January's."""
    oil = task(every={"running_hours": 280}, tolerance_pct=10)
    # 560 h would be reached on 26 February; judged before that nothing is missed
    assert counts(month_of(tmp_path / "a", "2024-02", oil=oil, as_of="2024-02-20")) == (0, 0, 0, 0, 0)
    assert counts(month_of(tmp_path / "b", "2024-01", oil=oil, as_of="2024-02-20")) == (0, 0, 0, 1, 0)


def test_missed_points_count_of_their_own(tmp_path: Path) -> None:
    """100 h, nothing done in January: missed on the 21st and the 31st, and one occurrence open; figure 0 of 3."""
    compliance = month_of(tmp_path, "2024-01")
    assert (counts(compliance), compliance.figure) == ((0, 0, 2, 1, 0), 0.0)


def test_the_figure_is_the_share_done_on_time(tmp_path: Path) -> None:
    """On time at 100 h, late at 220 h, on time at 300 h (31 January): 2 of 3."""
    services = [done("oil", "2024-01-11T00:00"), done("oil", "2024-01-23T00:00"), done("oil", "2024-01-31T00:00")]
    compliance = month_of(tmp_path, "2024-01", services)
    assert counts(compliance) == (2, 1, 0, 0, 0)
    assert compliance.figure == pytest.approx(2 / 3, abs=1e-6)


def test_a_deferred_occurrence_keeps_its_line_and_is_listed(tmp_path: Path) -> None:
    """Deferred until 400 h and done at 150 h: still late, and marked as deferred."""
    deferral = {"at": "2024-01-10T00:00", "engine": "G1", "task": "oil", "outcome": "deferred", "approved_by": "chief", "until_h": 400}
    compliance = month_of(tmp_path, "2024-01", [deferral, done("oil", "2024-01-16T00:00")], as_of="2024-01-20")
    assert counts(compliance) == (0, 1, 0, 0, 0)
    assert [(entry.deferred, entry.line_on) for entry in compliance.occurrences] == [(True, "2024-01-10")]


def test_a_calendar_occurrence_crosses_with_the_midnight_after_its_due_date(tmp_path: Path) -> None:
    """Due 1 February, done on the 3rd with 10 % of 31 d tolerated: on time, in February."""
    services = [done("oil", "2024-02-03")]
    compliance = month_of(tmp_path, "2024-02", services, oil=task(every={"calendar": "P1M"}, tolerance_pct=10))
    assert counts(compliance) == (1, 0, 0, 0, 0)
    assert [(entry.line_on, entry.done_on) for entry in compliance.occurrences] == [("2024-02-01", "2024-02-03")]


def test_every_engine_and_task_counts(tmp_path: Path) -> None:
    """Two tasks of two engines, each done once on time."""
    rows = ROWS + steady("2024-01-01", "2024-08-31", 10, engine="G2")
    tasks = [OIL, task("plugs", every={"running_hours": 400})]
    services = [
        done(task_id, at, engine=engine)
        for engine in ("G1", "G2")
        for task_id, at in (("oil", "2024-01-11T00:00"), ("plugs", "2024-01-20T00:00"))
    ]
    engines = [{"id": "G1", **ENGINE}, {"id": "G2", **ENGINE}]
    findings = judge(tmp_path, "2024-01-20", tasks, rows, engines=engines, services=services, month="2024-01")
    assert findings.compliance is not None
    assert findings.compliance.on_time == 4
