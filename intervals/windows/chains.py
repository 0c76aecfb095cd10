"""The windows of the tasks of one engine, of whatever kind each is.

In: an `EngineCase` and its tasks. Out: a chain for each, the closed windows of all plain ones measured together.
"""

from __future__ import annotations

from collections.abc import Iterable

from intervals.history.engine_case import EngineCase
from intervals.rules.tasks import Task
from intervals.windows.chain import TaskChain
from intervals.windows.closed_windows import ClosedWindows
from intervals.windows.event_chain import EventChain


def chain_of(case: EngineCase, task: Task) -> TaskChain:
    """Return the windows of a task: from event to completion of one that is done once, else from completion to completion."""
    return EventChain(case, task) if task.is_once else TaskChain(case, task)


def chains_of(case: EngineCase, tasks: Iterable[Task]) -> dict[str, TaskChain]:
    """Return the windows of several tasks of one engine by task id, the closed ones measured together."""
    chains = {task.id: chain_of(case, task) for task in tasks}
    closed = [(chain.task, bounds) for chain in chains.values() if len(bounds := chain.closed_bounds_us) > 1]
    # what goes wrong with the rules on windows is the fault of the tasks that have some
    for is_ruled in (False, True):
        own = [(task, bounds) for task, bounds in closed if bool(case.book.windowed_for(task)) == is_ruled]
        opened = {task.id: start for task, _ in own if (start := chains[task.id].last_start) is not None} if is_ruled else {}
        together = ClosedWindows(case, own, opened)
        for task, _ in own:
            chains[task.id].together = together
    return chains


__all__ = ["chain_of", "chains_of"]
