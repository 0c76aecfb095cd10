"""Effective intervals over time: each month's duty against the rule set's line, in plain running hours."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from intervals.questions.month.month_models import EngineMonth, TaskInterval
from intervals.questions.month.monthly import report_month
from tests.site_maker import rule, steady, task, write_site

ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000}
OIL = task("oil", every={"running_hours": 1000})
HEAVY = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2, tasks=["oil"])


def loads(*kw_by_month: float | None) -> list[dict[str, object]]:
    """Return rows of 10 h a day in 2024, at one load a month; a row tells of the day before it."""
    rows = steady("2024-01-01", "2025-01-01", 10)
    days = [date.fromisoformat(str(row["at"])[:10]).toordinal() - 1 for row in rows]
    return [
        {**row, "load_kw": "" if (load := kw_by_month[max(0, date.fromordinal(day).month - 1) % 12]) is None else load}
        for row, day in zip(rows, days, strict=True)
    ]


def engine_of(folder: Path, *kw_by_month: float | None, **written: object) -> EngineMonth:
    """Return the engine in December of a year with so much load in each month."""
    keys = {"rules": {"adjustments": [HEAVY]}, "tasks": [OIL], **written}
    tasks = keys.pop("tasks")
    site = write_site(folder, tasks, loads(*kw_by_month), engine=ENGINE, **keys)  # type: ignore[arg-type]  # keys of `write_site`
    (engine,) = report_month(site, date(2024, 12, 31), "2024-12").engines
    return engine


def lasting(interval: TaskInterval) -> list[float | None]:
    """Return how long it lasts, month by month."""
    return [point.effective_h for point in interval.months]


def test_each_month_has_the_interval_of_its_own_duty(tmp_path: Path) -> None:
    """Light in the first half: 1,000 h. Above 90 % in the second: an hour counts two, so 1,000 / 2 = 500 h."""
    (oil,) = engine_of(tmp_path, *[500] * 6, *[950] * 6).intervals
    assert [point.month for point in oil.months] == [f"2024-{month:02d}" for month in range(1, 13)]
    assert lasting(oil) == pytest.approx([1000] * 6 + [500] * 6)
    assert {point.base_h for point in oil.months} == {1000}
    assert (oil.months[0].rules, oil.months[11].rules) == ((), ("heavy",))


def test_a_window_rule_is_asked_of_each_month(tmp_path: Path) -> None:
    """A factor of 0.8 where the mean load is above 70 %: with 95 % in December 1,000 x 0.8 / 2 = 400 h, else 1,000 h."""
    worn = rule("worn", {"mean_load_pct": {"above": 70}}, interval_times=0.8, tasks=["oil"])
    (oil,) = engine_of(tmp_path, *[500] * 11, 950, rules={"adjustments": [HEAVY, worn]}).intervals
    assert lasting(oil) == pytest.approx([1000] * 11 + [400])


def test_the_two_heaviest_are_told_the_heaviest_first(tmp_path: Path) -> None:
    """One counts three an hour, one two, one 1.5; one that only the calendar drives has no running hours to weigh."""
    names = {"a": 1.5, "b": 3, "c": 2}
    tasks = [*(task(name, every={"running_hours": 600}) for name in names), task("d", every={"calendar": "P1Y"})]
    heavy = [rule(f"of-{name}", {"load_pct": {"above": 90}}, counts_as=weight, tasks=[name]) for name, weight in names.items()]
    engine = engine_of(tmp_path, *[950] * 12, tasks=tasks, rules={"adjustments": heavy})
    assert [each.task for each in engine.intervals] == ["b", "c"]
    assert [lasting(each)[-1] for each in engine.intervals] == pytest.approx([200, 300])


def test_what_nothing_changes_is_not_told(tmp_path: Path) -> None:
    """A year below 90 % load: every interval lasts what the rule set says."""
    assert engine_of(tmp_path, *[500] * 12).intervals == ()


def test_a_month_without_a_load_says_so(tmp_path: Path) -> None:
    """In March no load is logged: its hours count one each, and the rule that could not be judged is named."""
    (oil,) = engine_of(tmp_path, 950, 950, None, *[950] * 9).intervals
    assert [point.not_judged for point in oil.months] == [("heavy",) if number == 2 else () for number in range(12)]


def test_a_month_before_the_engine_has_nothing_to_tell(tmp_path: Path) -> None:
    """In service on 1 January 2024: of the months of 2023 nothing is known."""
    site = write_site(tmp_path, [OIL], loads(*[950] * 12), engine=ENGINE, rules={"adjustments": [HEAVY]})
    (engine,) = report_month(site, date(2024, 2, 29), "2024-02").engines
    (oil,) = engine.intervals
    assert lasting(oil) == pytest.approx([None] * 10 + [500] * 2)
