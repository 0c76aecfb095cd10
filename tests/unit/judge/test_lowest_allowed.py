"""What no window rule can undercut, and that leaving out the days below it changes no due point."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from intervals.history.inputs import read_inputs
from intervals.judge.due_points import due_points
from intervals.judge.engine_answers import JudgedEngine
from intervals.questions.check.assess import judge_inputs
from intervals.windows.chain import TaskChain
from tests.site_maker import done, rule, steady, task, write_site


def judged(folder: Path) -> list[JudgedEngine]:
    """Return an engine of which two rules may shorten the oil's 500 h, to 0.8 and 0.5 of it; it starts more often from May on."""
    rows = [
        {**row, "starts": number if number < 120 else 120 + 5 * (number - 120)}
        for number, row in enumerate(steady("2024-01-01", "2024-12-31", 10))
    ]
    rules = [
        rule("often", {"starts_per_100h": {"above": 12}}, interval_times=0.8, tasks=["oil"]),
        rule("very-often", {"starts_per_100h": {"above": 30}}, interval_times=0.5, tasks=["oil"]),
    ]
    services = [done("oil", day) for day in ("2024-02-10", "2024-04-20", "2024-05-20", "2024-07-30", "2024-08-20", "2024-11-01")]
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 0, "at_start": {"starts": 0}}
    site = write_site(folder, [task(every={"running_hours": 500})], rows, engine=engine, services=services, rules={"adjustments": rules})
    found: list[JudgedEngine] = []
    judge_inputs(read_inputs(site, date(2024, 12, 30)), watch=found.append)
    return found


def test_the_least_is_what_all_rules_leave_together(tmp_path: Path) -> None:
    """500 h x 0.8 x 0.5 = 200 h."""
    (engine,) = judged(tmp_path)
    assert engine.chains["oil"].lowest_allowed == pytest.approx({"running_hours": 200.0})


def test_days_below_it_change_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The due points of every window are those found when every day is looked at; some window has more than one."""
    (engine,) = judged(tmp_path)
    chain = engine.chains["oil"]
    quick = [due_points(chain, window) for window in chain.every_window()]
    monkeypatch.setattr(TaskChain, "lowest_allowed", None)
    assert [due_points(chain, window) for window in chain.every_window()] == quick
    assert max(map(len, quick)) > 1
