"""Which tasks the completion of a task completes too.

In: the tasks of a rule set. Out: for each task, all that completing it completes.
"""

from __future__ import annotations

from collections.abc import Sequence

from intervals.rules.tasks import Task


def renewed_by(tasks: Sequence[Task]) -> dict[str, dict[str, bool]]:
    """Return for each task all that completing it completes: task id -> whether that one starts again with `first`.

    `renews` is transitive; `makes_new` of anything completed on the way counts too. What neither of them names stays where it was.
    """
    by_id = {task.id: task for task in tasks}
    closure: dict[str, dict[str, bool]] = {}
    for task in tasks:
        renewed: dict[str, bool] = {}
        waiting = [task.id]
        done: set[str] = set()
        while waiting:
            current = by_id[waiting.pop(0)]
            if current.id in done:
                continue
            done.add(current.id)
            renewed.setdefault(current.id, False)
            waiting.extend(name for name in current.renews if name in by_id)
            renewed.update(dict.fromkeys(made_new_by(current, tasks), True))
        closure[task.id] = renewed
    return closure


def made_new_by(task: Task, tasks: Sequence[Task]) -> list[str]:
    """Return the ids of the tasks that one task makes new; `all` is every other task that states a `first`.

    Args:
        task: the task that is done.
        tasks: all tasks of its rule set.
    """
    if task.makes_new == "all":
        # an overhaul with a first interval of its own has had it once it is done
        return [other.id for other in tasks if other.first is not None and other.id != task.id]
    return [other.id for other in tasks if other.id in task.makes_new]
