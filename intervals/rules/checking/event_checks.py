"""What can be wrong with a task done once after an event: keys that do not go together, jobs and questions that it cannot wait for.

In: a task's plain data. Out: flaws with places below the task. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from intervals.language.conditions import Condition, comparisons_of
from intervals.language.flaws import Flaw, FlawsError
from intervals.language.measures import is_window_measure
from intervals.language.written_conditions import parse_condition
from intervals.problems import nearest_of
from intervals.rules.checking.asked_names import check_asked
from intervals.rules.events import event_conditions_in

_OF_EVENTS = ("after", "within", "at_once")
_OF_INTERVALS = {
    "every": "write within: how long after the event its line is",
    "first": "an event is always the first; leave it out",
    "window": "its line is what within says; leave it out",
    "in_place_of_time": "leave it out",
    "interval_from": "write two tasks, each after its own event",
    "early_restarts_after": "leave it out",
}
"""Keys that a task has no use for that is done once, with what to do."""


def check_events(task: Mapping[str, Any], named: Mapping[str, Condition], task_ids: Sequence[str]) -> Iterator[Flaw]:
    """Yield what makes it impossible to say when a task done once is due.

    Args:
        task: the task's plain data; what is not what it should be is passed over.
        named: the rule set's conditions by name.
        task_ids: ids of the rule set's tasks.
    """
    if not task.get("once") and task.get("due_when") is None:
        fix = "add once: true, and write within instead of every"
        for key in _OF_EVENTS:
            if task.get(key) not in (None, False):
                yield Flaw((key,), f'"{key}" is for a task that is done once after an event', fix, "event")
        return
    yield from _check_keys(task)
    yield from _check_jobs(task, task_ids)
    for place, raw, kind in event_conditions_in(task):
        if kind == "when":
            yield from (flaw.below(*place) for flaw in _check_condition(raw, named))


def _check_keys(task: Mapping[str, Any]) -> Iterator[Flaw]:
    """Yield flaws of keys that a task done once lacks, or has no use for."""
    if task.get("after") in (None, [], ()) and task.get("due_when") is None:
        yield Flaw((), 'the key "after" is missing: once is after an event', "write for example after: {done: overhaul}", "missing_key")
    for key, fix in _OF_INTERVALS.items():
        if task.get(key) is not None:
            yield Flaw((key,), f'"{key}" is for a task with an interval; this one is done once after an event', fix, "event")
    if task.get("restarts_from") not in (None, "done"):
        yield Flaw(("restarts_from",), "a task done once has no next window", "leave it out", "event")
    if task.get("at_once") and task.get("within"):
        yield Flaw(("at_once",), "due at once, and within some time of its event", "leave one of them out", "event")


def _check_jobs(task: Mapping[str, Any], task_ids: Sequence[str]) -> Iterator[Flaw]:
    """Yield a flaw for each event that is a job of no task, or of the task itself."""
    listed = task.get("after")
    for index, entry in enumerate(listed if isinstance(listed, (list, tuple)) else [listed]):
        place: tuple[str | int, ...] = ("after", index) if isinstance(listed, (list, tuple)) else ("after",)
        for key in ("done", "found") if isinstance(entry, Mapping) else ():
            named = entry.get(key)
            word = str(getattr(named, "text", named))
            if named is not None and word not in task_ids:
                fix = f"tasks: {', '.join(task_ids)}"
                yield Flaw((*place, key), f'no task has the id "{word}"{nearest_of(word, task_ids)}', fix, "unknown_task")
            elif key == "done" and word == str(getattr(task.get("id"), "text", task.get("id"))):
                yield Flaw((*place, key), "a task cannot wait for itself to be done", "write every: how often it is done", "event")


def _check_condition(raw: object, named: Mapping[str, Condition]) -> Iterator[Flaw]:
    """Yield flaws of what a task is due on: levels on each step of the log, or measures since it was last done."""
    try:
        condition = raw if isinstance(raw, Condition) else parse_condition(raw, named)
    except FlawsError:
        return
    is_measured = any(is_window_measure(part.name) for part in comparisons_of(condition))
    yield from check_asked(raw, named, "window" if is_measured else "run")


__all__ = ["check_events"]
