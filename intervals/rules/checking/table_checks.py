"""What can be wrong with a task's interval by results: a table without the key that asks for it, rows that ask for what no result says.

In: a task's plain data. Out: flaws with places below the task. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from intervals.language.conditions import Comparison, Condition, comparisons_of
from intervals.language.flaws import Flaw, FlawsError
from intervals.language.measures import is_window_measure
from intervals.language.result_measures import MOST_ATTEMPTS, RESULT_MEASURES, is_meant_as_result, result_measure_of
from intervals.language.scalars import shown_value
from intervals.language.written_conditions import parse_condition
from intervals.problems import nearest_of
from intervals.quantities import QUANTITIES
from intervals.rules.checking.asked_names import number_flaw, type_flaw

_EXAMPLE = "write table: [{when: {failures_in_last_20: {at_least: 2}}, every: {calendar: P7D}}]"


def check_table(task: Mapping[str, Any], named: Mapping[str, Condition]) -> Iterator[Flaw]:
    """Yield what is wrong with a task's interval by results, or that it has no interval at all.

    Args:
        task: the task's plain data; what is not what it should be is passed over.
        named: the rule set's conditions by name.
    """
    has_table, is_by_results = bool(task.get("table")), task.get("interval_from") is not None
    has_every = bool(task.get("every"))
    is_once = bool(task.get("once")) or task.get("due_when") is not None
    if not (has_every or is_once) and not (has_table and is_by_results):
        is_there = task.get("every") is not None
        text = "out of range; got an empty list, expected 1 or more entries" if is_there else 'the key "every" is missing'
        fix = "add every: the interval, or several with in_force_from"
        yield Flaw(("every",), text, fix, "range" if is_there else "missing_key")
    if is_by_results and not has_table:
        yield Flaw(("interval_from",), "no table that results could choose from", _EXAMPLE, "missing_key")
    if has_table and not is_by_results:
        yield Flaw(("table",), "nothing chooses from this table", "write interval_from: results", "missing_key")
    if task.get("outside") is not None and not has_table:
        yield Flaw(("outside",), "nothing lies outside of a table where there is none", "leave outside out", "missing_key")
    elif task.get("outside") == "every" and not has_every:
        yield Flaw(("outside",), "outside of its table the interval is that of every, which is missing", "add every", "missing_key")
    for index, row in enumerate(task["table"] if isinstance(task.get("table"), (list, tuple)) else ()):
        if isinstance(row, Mapping):
            yield from (flaw.below("table", index, "when") for flaw in _check_row(row.get("when"), named))


def intervals_in(task: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the plain data of every interval that a task can have: those of `every` or `within`, then those of its table."""
    every, table = task.get("every") or task.get("within"), task.get("table")
    rows = table if isinstance(table, (list, tuple)) else ()
    entries = [*(every if isinstance(every, (list, tuple)) else [every]), *(row.get("every") for row in rows if isinstance(row, Mapping))]
    return [entry for entry in entries if isinstance(entry, Mapping)]


def _check_row(raw: object, named: Mapping[str, Condition]) -> Iterator[Flaw]:
    """Yield what a row's condition asks for that nobody knows when a window begins; one that cannot be understood is refused elsewhere."""
    try:
        condition = raw if isinstance(raw, Condition) else parse_condition(raw, named)
    except FlawsError:
        return
    for comparison in dict.fromkeys(comparisons_of(condition)):
        found = _name_flaw(comparison.name) or _value_flaw(comparison)
        if found is not None:
            text, fix = found
            place = (comparison.name,) if isinstance(raw, Mapping) and comparison.name in raw else ()
            yield Flaw(place, text, fix, "asks_wrongly")


def _name_flaw(name: str) -> tuple[str, str] | None:
    """Return text and fix of a name that is no result and nothing that an engine states."""
    if is_meant_as_result(name) and result_measure_of(name) is None:
        return f'"{name}" is no number of attempts', f"write failures_in_last_N, N from 1 to {MOST_ATTEMPTS}"
    if name in QUANTITIES or is_window_measure(name):
        known = ", ".join(row.sample for row in RESULT_MEASURES)
        return f'"{name}" is not known when a window begins', f"a table asks for {known}, and for what an engine states"
    return None


def _value_flaw(comparison: Comparison) -> tuple[str, str | None] | None:
    """Return text and fix where a result is compared with what it cannot be."""
    name, measure = comparison.name, result_measure_of(comparison.name)
    if measure is None:
        return type_flaw(comparison)
    if not measure.grades:
        return number_flaw(name, comparison, "{at_least: 2}")
    if not isinstance(comparison.value, tuple):
        return f'"{name}" is a word and has no bounds', f"write for example {{{name}: [{', '.join(measure.grades[-2:])}]}}"
    odd = next((value for value in comparison.value if value not in measure.grades), None)
    if odd is None:
        return None
    return f'"{name}" is one of {", ".join(measure.grades)}; got {shown_value(odd)}{nearest_of(str(odd), measure.grades)}', None
