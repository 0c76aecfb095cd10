"""The stops of a plan: which tasks are done on which day at which engine.

In: `plan.yaml` in the site's folder, with `stops`, each an engine, a day and its tasks; other keys are the planner's and are left alone.
Out: `Stop` values. Refuses (CLI152) a plan that is not there or cannot be read, all of it at once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

from intervals.language.scalars import shown_value
from intervals.language.yamlmarks import Marked, load_yaml
from intervals.problems import Problem, ProblemsError, RequestProblemError

PLAN_FILE = "plan.yaml"
CODE = "CLI152"
_FIX = "write stops: [{engine: G1, day: 2026-11-03, tasks: [oil-change]}], or name the tasks with --tasks"


class Stop(NamedTuple):
    """One stop of one engine.

    Attributes:
        plan: the name of the plan, or of its file.
        engine: the engine's id.
        day: the day.
        tasks: ids of the tasks, as the plan has them.
    """

    plan: str
    engine: str
    day: date
    tasks: tuple[str, ...]


def read_stops(place: Path) -> tuple[Stop, ...]:
    """Return the stops of a site's plan, in the order of the file.

    Args:
        place: the site's folder, or the file itself.

    Raises:
        RequestProblemError: there is no plan, or it cannot be read (code CLI152).
    """
    file = place / PLAN_FILE if place.is_dir() else place
    if not file.is_file():
        raise RequestProblemError([Problem(CODE, str(file), None, None, "there is no plan, so there is no stop to make a card for", _FIX)])
    try:
        marked = load_yaml(file, code_prefix="CLI")
    except ProblemsError as error:
        raise RequestProblemError([replace(each, code=CODE) for each in error.problems]) from None
    entries = marked.data.get("stops")
    if not isinstance(entries, list):
        raise RequestProblemError([Problem(CODE, str(file), None, "$.stops", "a list of stops is needed", _FIX)])
    problems = [problem for place, entry in enumerate(entries) for problem in _problems_of(entry, place, marked)]
    if problems:
        raise RequestProblemError(problems)
    name = marked.data.get("plan") if isinstance(marked.data.get("plan"), str) else PLAN_FILE
    return tuple(Stop(str(name), str(entry["engine"]), _day_of(entry["day"]), tuple(map(str, entry["tasks"]))) for entry in entries)


def _problems_of(entry: object, place: int, marked: Marked) -> Iterator[Problem]:
    """Yield what is wrong with one stop."""
    data: Mapping[str, Any] = entry if isinstance(entry, Mapping) else {}
    tasks = data.get("tasks")
    wrong = {
        "engine": not isinstance(data.get("engine"), str | int),
        "day": not _is_day(data.get("day")),
        "tasks": not isinstance(tasks, list) or not tasks or not all(isinstance(task, str) for task in tasks),
    }
    needed = {"engine": "the engine's id is needed", "day": "a day is needed, such as 2026-11-03", "tasks": "a list of tasks is needed"}
    for key in (key for key, is_wrong in wrong.items() if is_wrong):
        line = marked.line_of(("stops", place, key) if key in data else ("stops", place))
        text = f"{needed[key]}; got {shown_value(data[key]) if key in data else 'nothing'}"
        yield Problem(CODE, marked.file, line, f"$.stops[{place}].{key}", text, _FIX)


def _is_day(raw: object) -> bool:
    """Return whether a value is a day."""
    try:
        _day_of(raw)
    except ValueError:
        return False
    return True


def _day_of(raw: object) -> date:
    """Return a day from what YAML made of it."""
    return raw if type(raw) is date else date.fromisoformat(str(raw))
