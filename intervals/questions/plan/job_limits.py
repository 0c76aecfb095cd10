"""The last day on which a task is not late, for the plan and for whoever holds a plan against it: one line for both.

In: a finding and its task. Out: the day with what it rests on. It judges nothing: early date, due date and deferral are those of the
finding.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import NamedTuple

from intervals.findings import Finding, Findings
from intervals.questions.plan.job_intervals import tolerance_days
from intervals.rules.tasks import Task

_LOG_ENDED = "log_ended"


class Limit(NamedTuple):
    """The last day on which a task is not late.

    Attributes:
        day: the day; of a task that is past its line already the day of judging.
        early: the early date of its forecast, where that is what it rests on.
        grace_d: days of tolerance that are in it, d.
        is_deferred: whether it is the end of a deferral.
    """

    day: date
    early: date | None = None
    grace_d: int = 0
    is_deferred: bool = False


def last_days_of_logs(findings: Findings) -> dict[str, date]:
    """Return the last day of each log that ended before the day of judging; a midnight is the day that ends."""
    ended = {fault.engine: fault.at for fault in findings.faults if fault.kind == _LOG_ENDED}
    grain = timedelta(microseconds=1)
    return {engine: (datetime.fromisoformat(at) - grain).date() for engine, at in ended.items() if engine is not None and at is not None}


def limit_of(finding: Finding, task: Task, today: date, known_to: date) -> Limit | None:
    """Return the last day on which a task is not late, or None where no day can be foreseen.

    It is the early date of its forecast, else its due date, and its tolerance after that; the end of an approved deferral has none.

    Args:
        finding: the finding.
        task: its task.
        today: the day of judging.
        known_to: the last day that the engine's log tells of, from `last_days_of_logs`.
    """
    if finding.standing == "overdue":
        return Limit(today)
    ahead = finding.forecast
    early = None if ahead is None else ahead.early
    day = early or (None if ahead is None else ahead.on) or finding.due_on
    if day is None:
        return None
    is_deferred = finding.deferred_until is not None
    grace_d = 0 if is_deferred else tolerance_days(finding, task, today, known_to)
    last = max(date.fromisoformat(day) + timedelta(days=grace_d), today)
    return Limit(last, None if early is None or early == finding.due_on else date.fromisoformat(early), grace_d, is_deferred)


def opens_on(finding: Finding, task: Task) -> date | None:
    """Return the first day on which a task counts as done, or None where any day does.

    Args:
        finding: the finding.
        task: its task.
    """
    return None if task.window is None or finding.due_on is None else task.window.first_day(date.fromisoformat(finding.due_on))
