"""Runs in the log that fell short of their task, where its table counts failures."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from intervals import assess, read_site
from tests.site_maker import finding_for, moment, reason_for, task, write_site
from tests.unit.history.test_task_runs import Spell, minutes_log

ENGINE = {"in_service": "2024-01-10", "meter_at_start_h": 0, "rated_kw": 400}
TABLE = [{"when": {"failures_in_last_4": {"at_least": 2}}, "every": {"calendar": "P7D"}}]
GOOD: Spell = (60, 380)
STANDS: Spell = (30, 0)


def failures(folder: Path, spells: Sequence[Spell], *others: dict[str, object]) -> tuple[float | str | bool | None, float | None]:
    """Return the failures counted at the start of the open window, and the days allowed."""
    test = task(
        "test",
        every={"calendar": "P31D"},
        done_when={"running_min": 60, "load_pct": {"at_least": 90}},
        interval_from="results",
        table=TABLE,
        outside="every",
    )
    write_site(folder, [test, *others], minutes_log("2024-01-10T00:00", spells), engine=ENGINE)
    finding = finding_for(assess(read_site(folder), moment("2024-01-12")), "test")
    return reason_for(finding, "interval-from-results").facts["failures_in_last_4"], finding.legs[0].allowed


@pytest.mark.parametrize("minutes", [5, 10, 15, 55])
def test_a_run_that_trips_is_a_failure_however_soon_it_ends(tmp_path: Path, minutes: int) -> None:
    """Two runs at 95 % load that end early, of the 60 minutes asked for, are two failures: seven days."""
    assert failures(tmp_path, [(minutes, 380), STANDS, (minutes, 380), STANDS, GOOD]) == (2.0, 7.0)


def test_a_run_without_the_load_that_is_asked_for_is_no_attempt(tmp_path: Path) -> None:
    """Two long runs at a fifth of the load were not begun for the test: none failed."""
    assert failures(tmp_path, [(90, 80), STANDS, (90, 80), STANDS, GOOD]) == (0.0, 31.0)


def test_a_run_that_completed_another_task_is_no_failure_of_this_one(tmp_path: Path) -> None:
    """Runs of ten minutes complete the weekly start; one of 35 met more than half of the test as well, and failed it."""
    weekly = task("weekly", every={"calendar": "P7D"}, done_when={"running_min": 10})
    assert failures(tmp_path / "a", [(10, 380), STANDS, (10, 380), STANDS, GOOD], weekly) == (0.0, 31.0)
    assert failures(tmp_path / "b", [(10, 380), STANDS, (35, 380), STANDS, GOOD], weekly) == (1.0, 31.0)
