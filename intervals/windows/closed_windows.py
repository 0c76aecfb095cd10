"""Closed windows of the plain tasks of an engine, in columns: which of them are near one of their lines.

In: an engine made ready, tasks whose every window starts at zero and is allowed the same, where their windows begin and end. Out: the
windows of each task on which some rule about skipped work may fire. Most windows lie well below every line: those of all tasks are passed
over at once, and the few others looked at one by one (`near_lines.py`).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from functools import cached_property
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from intervals.arrays import Flags, Floats, Instants
from intervals.history.engine_case import EngineCase
from intervals.history.window_measures import NOTHING_H, Indexes, Spans
from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR, RUNNING_HOURS
from intervals.rules.tasks import Task
from intervals.windows.leg_states import FiredRule, Until, UseTerms, WindowRules, WindowStart, numeric_terms
from intervals.windows.window_rules import JudgedWindows, span_of

# wider than what rounding to a millionth moves a figure: whatever is nearer to its line is looked at exactly
GRAIN = 1e-5


class ClosedRow(NamedTuple):
    """The closed windows of one task.

    Attributes:
        task: the task.
        place: where they stand among those of all tasks.
        situations: the different sets of window rules that fired on them.
        which: which of these did on each; None: the first on all of them.
    """

    task: Task
    place: slice
    situations: Sequence[tuple[FiredRule, ...]] = ((),)
    which: Sequence[int] | None = None


class ClosedWindows:
    """The closed windows of an engine's plain tasks, those of one task after those of another.

    Args:
        case: the engine.
        bounds: each task with the instants at which its windows begin and end, rising, two at least.
        opened: of tasks that have window rules, in their order, the states in which their open windows began.
    """

    def __init__(
        self, case: EngineCase, bounds: Sequence[tuple[Task, Instants]], opened: Mapping[str, WindowStart] = MappingProxyType({})
    ) -> None:
        self.case, self._opened = case, opened
        self.at_us: Instants = np.concatenate([np.zeros(0, dtype=np.int64), *(at_us for _, at_us in bounds)])
        self.edges: Indexes = case.ledger.edges_us.searchsorted(self.at_us)
        self._places: dict[str, tuple[Task, slice]] = {}
        begin = 0
        for task, at_us in bounds:
            # between the windows of two tasks lies one that is nobody's
            self._places[task.id] = task, slice(begin, begin + len(at_us) - 1)
            begin += len(at_us)
        self._columns: dict[tuple[str, ...], Floats] = {}
        self._terms: dict[tuple[str, str], list[UseTerms]] = {}

    @cached_property
    def days(self) -> Indexes:
        """The local day of each bound, as an ordinal number."""
        return self.case.days.day_numbers_of(self.at_us)

    @cached_property
    def rows(self) -> dict[str, ClosedRow]:
        """The windows of each task, with the window rules that fired on them; those of all tasks are measured together."""
        case = self.case
        rows, begin = {}, 0
        for name, (task, place) in self._places.items():
            row = ClosedRow(task, place)
            if case.book.windowed_for(task):
                end = begin + place.stop - place.start
                row = ClosedRow(task, place, *self._judged.situations_of(task, slice(begin, end)))
                begin = end
            rows[name] = row
        return rows

    def rules_of_open(self, task: Task) -> WindowRules | None:
        """Return what the window rules of a task say of its open window; None where it was not measured with the closed ones."""
        if task.id not in self._opened:
            return None
        place = [*self._opened].index(task.id) - len(self._opened)
        return self._judged.rules_for(task, slice(self._judged.count + place, self._judged.count + place + 1))[0]

    @cached_property
    def _judged(self) -> JudgedWindows:
        """The windows of the tasks that have window rules, the open ones last, measured and judged together."""
        case = self.case
        spans = self._spans_of([task for task, _ in self._places.values() if case.book.windowed_for(task)])
        now = Until(case.end_us, case.end_edge, case.last_day)
        every = [spans, *(span_of(start, now) for start in self._opened.values())]
        return JudgedWindows(case, Spans(*(np.concatenate(columns) for columns in zip(*every, strict=True))))

    def _spans_of(self, tasks: Sequence[Task]) -> Spans:
        """Return the windows of some tasks, one task after another."""
        places = [self._places[task.id][1] for task in tasks]
        begins = np.concatenate([np.arange(place.start, place.stop) for place in places])
        columns = (self.edges, self.at_us, self.days)
        return Spans(*(column[which] for column in columns for which in (begins, begins + 1)))

    def used(self, task: Task, leg: str) -> Floats | None:
        """Return what was used of a leg in every window, as a task's hours weigh; None where that is unknown."""
        if leg == CALENDAR:
            return self._between((CALENDAR,), self.days.astype(np.float64))
        totals = self.case.leg_totals(task, leg)
        key = (leg, *(self.case.weight_key(task) if leg == RUNNING_HOURS else ()))
        return None if totals is None else self._between(key, totals[self.edges])

    def _between(self, key: tuple[str, ...], totals: Floats) -> Floats:
        """Return by how much a total grew from each bound to the next; tasks that use a leg up alike share one sum."""
        if key not in self._columns:
            self._columns[key] = totals[1:] - totals[:-1]
        return self._columns[key]

    def use_terms(self, row: ClosedRow, leg: str, window: int) -> UseTerms:
        """Return the terms of a leg of use in one window of a task."""
        return self._terms_of(row, leg)[0 if row.which is None else row.which[window]]

    def _terms_of(self, row: ClosedRow, leg: str) -> list[UseTerms]:
        """Return the terms of a leg of use in each of the situations of a task."""
        key = row.task.id, leg
        if key not in self._terms:
            every, limits = row.task.every[0], self.case.limits
            self._terms[key] = [numeric_terms(row.task, every, leg, None, fired_rules, limits) for fired_rules in row.situations]
        return self._terms[key]

    def is_known(self, task: Task) -> bool:
        """Tell whether all figures of a task are known: no window has hours of which nothing is known, and none ends after the log."""
        return task.id in self._known

    @cached_property
    def _known(self) -> frozenset[str]:
        """The tasks of which all figures are known."""
        return frozenset(name for name, (task, place) in self._places.items() if self._is_known(task, place))

    def _is_known(self, task: Task, place: slice) -> bool:
        """Tell whether all figures of a task are known in its windows."""
        log_end_us, legs = self.case.log.log_end_us, [leg for leg in task.every[0].legs if leg != CALENDAR]
        if not legs:
            return True
        if log_end_us is None or int(self.at_us[place.stop]) > log_end_us or any(self.used(task, leg) is None for leg in legs):
            return False
        return RUNNING_HOURS not in legs or not self._unknown_in(task)[place].any()

    def _unknown_in(self, task: Task) -> Flags:
        """Return in which windows there are hours of which it is not known what they count for a task."""
        is_outside = self.case.weights(task).outside_h is not None
        key = ("unknown", *(self.case.weight_key(task) if is_outside else ()))
        if key not in self._columns:
            self._between(key, self.case.unknown_up_to_h(task)[self.edges])
        unknown: Flags = self._columns[key] > NOTHING_H
        return unknown

    @cached_property
    def near(self) -> dict[str, list[int]]:
        """The windows of each task that are near one of its lines or past it, of the tasks of which all figures are known."""
        rows = [row for name, row in self.rows.items() if name in self._known]
        near = np.zeros(len(self.at_us), dtype=np.bool_)
        for leg in dict.fromkeys(leg for row in rows for leg in row.task.every[0].legs):
            used, least = np.full(len(near) - 1, -np.inf), np.full(len(near) - 1, np.inf)
            for row in rows:
                column = self.used(row.task, leg) if leg in row.task.every[0].legs else None
                if column is not None:
                    used[row.place], least[row.place] = column[row.place], self._allowed_at_least(row, leg)
            near[:-1] |= used > least - GRAIN
        places, found = near.nonzero()[0].tolist(), {}
        for row in rows:
            low, high = bisect_left(places, row.place.start), bisect_left(places, row.place.stop)
            found[row.task.id] = [place - row.place.start for place in places[low:high]]
        return found

    def _allowed_at_least(self, row: ClosedRow, leg: str) -> float | Floats:
        """Return what is allowed of a leg at least: in every window of a task, or in each of them."""
        base = row.task.every[0].legs[leg]
        if isinstance(base, CalendarStep):
            return float(base.fewest_days)
        allowed = np.array([terms.allowed for terms in self._terms_of(row, leg)])
        return float(allowed[0]) if row.which is None else allowed[np.array(row.which)]
