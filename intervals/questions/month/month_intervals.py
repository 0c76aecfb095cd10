"""Effective intervals over time: how long a task's interval lasts at each month's duty, in plain running hours.

In: an engine as it was judged, and months. Out: `TaskInterval` values. What an interval lasts is reckoned by `duty_tasks`, of a month
as of any other span; here it is only asked month by month.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import islice

from intervals.history.engine_case import EngineCase
from intervals.judge.compliance import Month
from intervals.judge.engine_answers import JudgedEngine
from intervals.questions.duty.duty_span import DutySpan
from intervals.questions.duty.duty_tasks import SAME, task_duty
from intervals.questions.month.month_models import IntervalMonth, TaskInterval
from intervals.rules.tasks import Task
from intervals.windows.chain import TaskChain

MOST_TASKS = 2


def intervals_of(judged: Sequence[JudgedEngine], months: Sequence[Month], tasks: Collection[tuple[str, str]]) -> tuple[TaskInterval, ...]:
    """Return the tasks that the duty shortens most, month by month; only those whose interval it changes in some month.

    Args:
        judged: the engine, by each of its rule sets.
        months: the months, in order.
        tasks: ids of rule set and task of what is to be looked at.
    """
    shares: list[tuple[float, TaskChain]] = []
    for each in judged:
        over_all = DutySpan.of(each.case, months[0].start_us, months[-1].end_us)
        for name, chain in each.chains.items():
            duty = task_duty(over_all, chain.task) if (each.case.ruleset, name) in tasks else None
            if duty is not None and duty.base_h and duty.effective_h is not None:
                shares.append((duty.effective_h / duty.base_h, chain))
    shares.sort(key=lambda entry: entry[0])
    return tuple(islice(_changed(months, [chain for _, chain in shares]), MOST_TASKS))


def _changed(months: Sequence[Month], chains: Sequence[TaskChain]) -> Iterator[TaskInterval]:
    """Yield the tasks whose interval the duty of some month changes."""
    for chain in chains:
        points = tuple(_point(chain.case, month, chain.task) for month in months)
        if any(_is_changed(point) for point in points):
            yield TaskInterval(engine=chain.case.engine.id, task=chain.task.id, title=chain.case.title_of(chain.task), months=points)


def _point(case: EngineCase, month: Month, task: Task) -> IntervalMonth:
    """Return one month of one task."""
    span = DutySpan.of(case, month.start_us, month.end_us)
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
