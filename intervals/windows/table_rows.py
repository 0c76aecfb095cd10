"""The interval of a window that results choose: the first row of a task's table that held when the window began.

In: an engine made ready, a task, the state in which a window began. Out: a `Choice`. Each row is put to the rule book, once for every
different situation that results leave possible: a row is chosen where all of these agree, else the interval is unknown.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from itertools import product
from typing import Literal, NamedTuple

from intervals.history.engine_case import EngineCase
from intervals.history.results import Values
from intervals.language.conditions import comparisons_of
from intervals.language.result_measures import ResultMeasure
from intervals.rulebook.inference import FactValue
from intervals.rulebook.rulebook import table_rule
from intervals.rules.result_tables import TableRow
from intervals.rules.tasks import Every, Task
from intervals.windows.leg_states import WindowStart

OUTSIDE, UNKNOWN = -1, -2
"""Instead of the number of a row: none holds; it cannot be judged."""


class Choice(NamedTuple):
    """What results choose for one window.

    Attributes:
        number: of the row that holds, from 0; `OUTSIDE` where none does, `UNKNOWN` where that cannot be judged.
        row: that row, or None.
        results: by each measure that the table asks for the values that it can have, in the order of the file.
    """

    number: int
    row: TableRow | None
    results: Mapping[str, Values]

    @property
    def facts(self) -> dict[str, FactValue]:
        """What was found, None where it is not known."""
        return {name: values[0] if len(values) == 1 else None for name, values in self.results.items()}


def choice_of(case: EngineCase, task: Task, start: WindowStart) -> Choice | None:
    """Return what results choose for a window; None for a task whose interval they do not choose. Each window is judged once.

    Args:
        case: the engine.
        task: the task.
        start: the state in which the window began: results that were known then count.
    """
    if not task.table:
        return None
    key = (task.id, start.at_us)
    if key not in case.choices:
        case.choices[key] = _choose(case, task, start)
    known: Choice = case.choices[key]
    return known


def every_of(task: Task, choice: Choice, day: date) -> Every | None:
    """Return the interval of a window by its table, on its last day; None where it has none that is known.

    Args:
        task: the task.
        choice: what results choose.
        day: the last local day that the window covers: outside of its table a task may go by a dated `every`.
    """
    if choice.number >= 0:
        return task.interval_of_row(choice.number)
    return task.every_in_force(day) if choice.number == OUTSIDE and task.outside == "every" else None


def table_state(task: Task, choice: Choice | None) -> Literal["none", "outside", "unknown"]:
    """Return what the rules about standings ask of a table: why it gives no interval, or `none`."""
    if choice is None or choice.number >= 0:
        return "none"
    if choice.number == UNKNOWN:
        return "unknown"
    return "none" if task.outside == "every" else "outside"


def _choose(case: EngineCase, task: Task, start: WindowStart) -> Choice:
    """Put the rows of a table to the rules in every situation that is possible."""
    asked: dict[str, ResultMeasure] = {}
    for row in task.table:
        asked |= row.measures
    found = case.results_of(task)
    results = {name: found.values(name, measure, start.at_us) for name, measure in asked.items()}
    numbers = {_row_in(case, task, facts) for facts in _situations(task, results)}
    number = numbers.pop() if len(numbers) == 1 else UNKNOWN
    return Choice(number, task.table[number] if number >= 0 else None, results)


def _row_in(case: EngineCase, task: Task, facts: Mapping[str, FactValue]) -> int:
    """Return the first row that holds in one situation; a row before it that cannot be judged leaves all unknown."""
    verdict = case.book.tables.fire({**case.facts, **facts})
    for number in range(len(task.table)):
        name = table_rule(task, number)
        if name in verdict.holds:
            return number
        if name in verdict.unknown:
            return UNKNOWN
    return OUTSIDE


def _situations(task: Task, results: Mapping[str, Values]) -> Iterator[dict[str, FactValue]]:
    """Yield the situations that results leave possible, of values between which no row distinguishes one."""
    columns: list[Sequence[FactValue]] = [_representatives(task, name, values) if values else (None,) for name, values in results.items()]
    for row in product(*columns):
        yield dict(zip(results, row, strict=True))


def _representatives(task: Task, name: str, values: Values) -> Values:
    """Return the first and the last of several values, and those at and beside each threshold of the table."""
    near: set[FactValue] = {values[0], values[-1]}
    for row in task.table:
        for part in comparisons_of(row.when):
            bounds = part.value if isinstance(part.value, tuple) else (part.value,)
            near |= {bound + beside for bound in bounds if isinstance(bound, float) for beside in (-1.0, 0.0, 1.0) if part.name == name}
    return tuple(value for value in values if value in near)
