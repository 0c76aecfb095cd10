"""A job done in parts: credited by its last part, its next window from the first or the last, as the rule set says."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals.findings import Finding
from tests.site_maker import done, finding_for, judge, leg_of, steady, task

PARTS = [
    done("oil", "2024-01-10T00:00", ref="a"),
    done("oil", "2024-02-10T00:00", outcome="partial", ref="b"),
    done("oil", "2024-02-15T00:00", outcome="partial", ref="c"),
    done("oil", "2024-02-20T00:00", ref="d"),
]


def found(folder: Path, as_of: str, services: list[dict[str, object]] = PARTS, **keys: object) -> Finding:
    """Return the finding of a task every 1,000 h or 100 days, of an engine that runs 10 h a day from 1 January 2024 on."""
    oil = task("oil", every={"running_hours": 1000, "calendar": "P100D"}, **keys)
    rows = steady("2024-01-01", "2024-04-30", 10)
    return finding_for(judge(folder, as_of, [oil], rows, services=services, engine={"in_service": "2024-01-01", "meter_at_start_h": 0}))


@pytest.mark.parametrize(
    ("part", "used_h", "used_d", "due_on"), [("last", 400.0, 39.0, "2024-05-29"), ("first", 500.0, 49.0, "2024-05-19")]
)
def test_the_window_counts_from_the_part_that_the_rule_set_says(
    tmp_path: Path, part: str, used_h: float, used_d: float, due_on: str
) -> None:
    """To the end of 30 March: 40 days from 20 February, 50 from the 10th, ten hours each; 600 or 500 h are left."""
    finding = found(tmp_path, "2024-03-30", restarts_from_part=part)
    assert (leg_of(finding).used, leg_of(finding, "calendar").used, finding.due_on) == (used_h, used_d, due_on)
    assert finding.last_done is not None
    assert finding.last_done.at == "2024-02-20T00:00:00+00:00"


def test_a_part_that_nothing_completes_moves_nothing(tmp_path: Path) -> None:
    """Until the last part is done the window of 10 January stays open."""
    finding = found(tmp_path, "2024-03-30", PARTS[:3], restarts_from_part="first")
    assert leg_of(finding).used == 810.0


def test_parts_of_a_job_before_are_none_of_this_one(tmp_path: Path) -> None:
    """Each completion looks back to the one before it, not further."""
    later = [*PARTS, done("oil", "2024-03-20T00:00", ref="e")]
    assert leg_of(found(tmp_path, "2024-03-30", later, restarts_from_part="first")).used == 110.0


def test_a_job_in_parts_under_a_grid_starts_anew(tmp_path: Path) -> None:
    """Where the next window keeps its grid otherwise, a first part still says where it starts."""
    finding = found(tmp_path, "2024-03-30", restarts_from_part="first", restarts_from="due")
    assert leg_of(finding).used == 500.0


def test_the_record_that_is_taken_back_twice_stands_neither_time(tmp_path: Path) -> None:
    """Done, void, done again, void again, under one reference."""
    voids = [done("oil", f"2024-02-{day}T00:00", outcome=outcome, ref="x") for day, outcome in ((10, "done"), (11, "void"), (12, "done"))]
    assert leg_of(found(tmp_path, "2024-03-30", [PARTS[0], *voids])).used == 480.0
    voids.append(done("oil", "2024-02-13T00:00", outcome="void", ref="x"))
    assert leg_of(found(tmp_path, "2024-03-30", [PARTS[0], *voids])).used == 810.0
