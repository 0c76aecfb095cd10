"""The least that may be allowed of a task, whichever of its window rules fire: what stays below it needs no look at the rules.

In: an engine and a task whose windows all have the same terms. Out: an amount for each leg. Nothing is decided here.
"""

from __future__ import annotations

from itertools import combinations

from intervals.history.engine_case import EngineCase
from intervals.language.durations import CalendarStep
from intervals.rules.tasks import Task
from intervals.windows.leg_states import FiredRule, numeric_terms

_MOST_RULES = 5
"""Of so many rules all that may fire together are tried: 32 ways at most."""


def lowest_allowed(case: EngineCase, task: Task) -> dict[str, float] | None:
    """Return the least that any of its window rules, together or apart, can leave of each leg; None where there are too many rules.

    Args:
        case: the engine.
        task: a plain task without first intervals: its window rules change legs of use alone.
    """
    rules = case.book.windowed_for(task)
    if len(rules) > _MOST_RULES:
        return None
    fired = [FiredRule(rule, {}) for rule in rules]
    together = [some for count in range(len(fired) + 1) for some in combinations(fired, count)]
    every = task.every[0]
    return {
        name: float(base.fewest_days)
        if isinstance(base, CalendarStep)
        else min(numeric_terms(task, every, name, None, some, case.limits).allowed for some in together)
        for name, base in every.legs.items()
    }
