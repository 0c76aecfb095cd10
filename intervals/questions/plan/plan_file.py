"""The plan before, as it stands in `plan.yaml`, and a new one as the text of that file.

In: the file. Out: what was planned when, and which stops a person has fixed; text. Refuses (CLI152) a plan that cannot be read, and
(CLI156) a file that this program has not written, which it will not write over.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import yaml

from intervals.documents import plain_data
from intervals.language.scalars import shown_value
from intervals.language.yamlmarks import Marked, load_yaml
from intervals.problems import Problem, RequestProblemError
from intervals.questions.card.stops import CODE as UNREAD
from intervals.questions.card.stops import PLAN_FILE, Stop, read_stops
from intervals.questions.plan.plan_models import PLAN_SCHEMA, Plan, PlannedStop

CODE = "CLI156"
_FIX = "mend it, or take it away: then the plan is made anew, and stops that were fixed are no longer"
_FIX_FIXED = "write fixed: true, or leave it out"
_HEAD = """\
# Stops of {title}, as of {as_of}, made by intervals plan.
# It tells; people decide. The engine's own documents, the law and the local code come first.
# To move a stop, change its day and write fixed: true; then run intervals plan again: it plans around it.
"""
Days = Mapping[tuple[str, str], tuple[date, ...]]


class PlanBefore(NamedTuple):
    """What was planned before.

    Attributes:
        days: engine and task -> the days on which it was planned.
        fixed: the same of the stops that a person has fixed.
        stops: the stops as they stand there; what a person has left out of one is unknown.
    """

    days: Days
    fixed: Days
    stops: tuple[PlannedStop, ...] = ()


def read_plan_before(file: Path) -> PlanBefore | None:
    """Return what a plan has, or None where there is no such file.

    Raises:
        RequestProblemError: it cannot be read (code CLI152), or was not made by this program (CLI156).
    """
    if not file.is_file():
        return None
    stops = _stops_in(file)
    marked = load_yaml(file, code_prefix="CLI")
    data = marked.data
    if data.get("schema") != PLAN_SCHEMA:
        text = f"is no plan that this program has made; got schema {data.get('schema')}"
        raise RequestProblemError([Problem(CODE, str(file), None, "$.schema", text, f"rename it, or write schema: {PLAN_SCHEMA} into it")])
    problems = [
        _mark_problem(marked, place) for place, entry in enumerate(data["stops"]) if not isinstance(entry.get("fixed", False), bool)
    ]
    if problems:
        raise RequestProblemError(problems)
    days: dict[tuple[str, str], list[date]] = {}
    fixed: dict[tuple[str, str], list[date]] = {}
    for stop, entry in zip(stops, data["stops"], strict=True):
        for task in stop.tasks:
            days.setdefault((stop.engine, task), []).append(stop.day)
            if entry.get("fixed") is True:
                fixed.setdefault((stop.engine, task), []).append(stop.day)
    entries = tuple(_entry(stop, entry) for stop, entry in zip(stops, data["stops"], strict=True))
    return PlanBefore(_in_order(days), _in_order(fixed), entries)


def _in_order(days: Mapping[tuple[str, str], list[date]]) -> Days:
    """Return days in order of time, each once."""
    return {key: tuple(sorted(set(many))) for key, many in days.items()}


def _entry(stop: Stop, entry: Mapping[str, Any]) -> PlannedStop:
    """Return a stop as it stands in the file; where a person has made something else of a key, only what a stop has to have."""
    least: dict[str, Any] = {"engine": stop.engine, "day": stop.day.isoformat(), "tasks": stop.tasks, "fixed": entry.get("fixed", False)}
    empty: dict[str, Any] = {"until": None, "hours": 0.0, "people": 1, "stopped": True}
    empty |= {key: () for key in ("crew", "late", "early", "parts", "oil", "waste")}
    until = entry.get("until")
    written = {key: entry[key] for key in empty if key in entry} | ({"until": str(until)} if until is not None else {})
    try:
        if until is not None:
            date.fromisoformat(str(until))
        return PlannedStop.model_validate({**empty, **written, **least})
    except ValueError:
        return PlannedStop.model_validate({**empty, **least})


def _stops_in(file: Path) -> tuple[Stop, ...]:
    """Return the stops of a plan; what is wrong with it is told with what a planner can do about it.

    Raises:
        RequestProblemError: it cannot be read (code CLI152).
    """
    try:
        return read_stops(file)
    except RequestProblemError as error:
        raise RequestProblemError([replace(each, fix=_FIX) for each in error.problems]) from None


def _mark_problem(marked: Marked, place: int) -> Problem:
    """Return what is wrong with a mark that is neither true nor false: what was meant to stay must not be moved."""
    text = f"true or false is needed; got {shown_value(marked.data['stops'][place]['fixed'])}"
    return Problem(UNREAD, marked.file, marked.line_of(("stops", place, "fixed")), f"$.stops[{place}].fixed", text, _FIX_FIXED)


def plan_text(plan: Plan) -> str:
    """Return the plan as the text of its file: the same bytes for the same plan.

    Args:
        plan: the plan.
    """
    head = _HEAD.format(title=" ".join(plan.site_title.split()), as_of=plan.as_of)
    data = {"schema": PLAN_SCHEMA, **plain_data(plan.model_dump(mode="python"))}
    return head + yaml.safe_dump(data, sort_keys=False, allow_unicode=True, width=140)


__all__ = ["PLAN_FILE", "PlanBefore", "plan_text", "read_plan_before"]
