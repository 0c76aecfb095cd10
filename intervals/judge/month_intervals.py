"""Effective intervals over time: how long a task's interval lasts at each month's duty, in plain running hours.

In: an engine as it was judged, and months. Out: `TaskInterval` values. What an interval lasts is reckoned by `duty_tasks`, of a month
as of any other span; here it is only asked month by month.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import islice

from intervals.judge.compliance import Month
from intervals.judge.duty_span import DutySpan
from intervals.judge.duty_tasks import SAME, task_duty
from intervals.judge.engine_answers import JudgedEngine
from intervals.judge.month_models import IntervalMonth, TaskInterval
from intervals.rules.tasks import Task

MOST_TASKS = 2


def intervals_of(judged: JudgedEngine, months: Sequence[Month], tasks: Collection[str]) -> tuple[TaskInterval, ...]:
    """Return the tasks on which the duty weighs heaviest, month by month; only those whose interval it changes in some month.

    Args:
        judged: the engine.
        months: the months, in order.
        tasks: ids of the tasks to look at.
    """
    over_all = DutySpan.of(judged.case, months[0].start_us, months[-1].end_us)
    shares: list[tuple[float, Task]] = []
    for name, chain in judged.chains.items():
        duty = task_duty(over_all, chain.task) if name in tasks else None
        if duty is not None and duty.base_h and duty.effective_h is not None:
            shares.append((duty.effective_h / duty.base_h, chain.task))
    shares.sort(key=lambda entry: entry[0])
    return tuple(islice(_changed(judged, months, [task for _, task in shares]), MOST_TASKS))


def _changed(judged: JudgedEngine, months: Sequence[Month], tasks: Sequence[Task]) -> Iterator[TaskInterval]:
    """Yield the tasks whose interval the duty of some month changes."""
    for task in tasks:
        points = tuple(_point(judged, month, task) for month in months)
        if any(_is_changed(point) for point in points):
            yield TaskInterval(engine=judged.case.engine.id, task=task.id, title=task.title, months=points)


def _point(judged: JudgedEngine, month: Month, task: Task) -> IntervalMonth:
    """Return one month of one task."""
    span = DutySpan.of(judged.case, month.start_us, month.end_us)
    duty = task_duty(span, task) if span.end_edge > span.start_edge else None
    return IntervalMonth(
        month=month.text,
        base_h=None if duty is None else duty.base_h,
        effective_h=None if duty is None else duty.effective_h,
        rules=() if duty is None else duty.rules,
        not_judged=() if duty is None else duty.not_judged,
    )


def _is_changed(point: IntervalMonth) -> bool:
    """Tell whether a month's duty made another interval of the rule set's."""
    return point.base_h is not None and point.effective_h is not None and abs(point.effective_h - point.base_h) > SAME
