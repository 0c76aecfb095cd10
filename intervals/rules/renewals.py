"""Which tasks the completion of a task completes too.

In: the tasks of a rule set. Out: for each task, all that completing it completes.
"""

from __future__ import annotations

from collections.abc import Sequence

from intervals.rules.tasks import Task


def renewed_by(tasks: Sequence[Task]) -> dict[str, dict[str, bool]]:
    """Return for each task all that completing it completes: task id -> whether that one starts again with `first`.

    `renews` is transitive; `makes_new` of anything completed on the way counts too.
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
            new = [other for other in by_id if other != current.id] if current.makes_new == "all" else current.makes_new
            renewed.update(dict.fromkeys((name for name in new if name in by_id), True))
        closure[task.id] = renewed
    return closure
