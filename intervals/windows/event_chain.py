"""The windows of a task that is done once: from each event to the first completion after it; while it is idle there is none.

In: an `EngineCase`, a task that is done once. Out: `WindowEnd` values as of any other task, or what it does while no event is open. Events
come from `history/events.py`; measures of a window, which need the ledger, are looked at here, day by day since the task was last done.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property
from operator import attrgetter

import numpy as np

from intervals.history.engine_case import EngineCase
from intervals.history.engine_records import Completion, Occasion, Occasions, TaskEvent
from intervals.language.measures import measures_in
from intervals.language.phrases import measured_in_words, phrase_of
from intervals.rulebook.rulebook import event_rule
from intervals.rules.tasks import Task
from intervals.windows.chain import Idle, TaskChain, WindowEnd, crossing_us
from intervals.windows.leg_states import Until, WindowStart
from intervals.windows.near_lines import Visits
from intervals.windows.window_rules import measured_spans, spans_from

_KNOWN_SHARE = 0.5
"""A mean or a share is unknown where less than this part of the hours is known, as for adjustments that say nothing else."""
_OF_RECORDS = frozenset({"start_up", "done", "found"})
"""Events of which nothing is known before the records are complete."""


class EventChain(TaskChain):
    """The windows of a task of one engine that is done once after each event.

    Args:
        case: the engine.
        task: the task.
        occasions: its occasions, instead of those that the engine's records and log show.
    """

    def __init__(self, case: EngineCase, task: Task, occasions: Occasions | None = None) -> None:
        super().__init__(case, task)
        self._given = case.records.occasions.get(task.id, Occasions()) if occasions is None else occasions

    @cached_property
    def is_plain(self) -> bool:
        """Windows that begin at events are judged one by one."""
        return False

    @cached_property
    def occasions(self) -> Occasions:
        """Every occasion, those on measures of a window included."""
        if not any(event.when is not None and measures_in(event.when) for event in self.task.events if event.kind == "when"):
            return self._given
        return self._given._replace(opened=tuple(self._with_measured()))

    @cached_property
    def _ended(self) -> tuple[list[WindowEnd], list[WindowEnd]]:
        """Every window that has ended, and every one that is open, in order of their events."""
        following: Occasion | None = None
        windows: list[WindowEnd] = []
        for occasion in reversed(self.occasions.opened):
            windows.append(self._window_of(occasion, following if occasion.event.stands_alone else None))
            following = occasion if occasion.event.stands_alone else following
        windows.reverse()
        return [window for window in windows if not window.is_open], [window for window in windows if window.is_open]

    def _window_of(self, occasion: Occasion, following: Occasion | None) -> WindowEnd:
        """Return the window of an occasion; one that stands alone ends past its line where the next one begins."""
        start, done = self._start_at(occasion.event), occasion.done
        window = self.window_now(start) if done is None else self.window_at(start, self.until_completion(done), done)
        window = replace(window, occasion=occasion)
        crossed_us = None if following is None else crossing_us(self, window)
        if following is None or crossed_us is None:
            return window
        edges = self.case.ledger.edges_us
        edge = max(int(edges.searchsorted(crossed_us, side="right")), int(edges.searchsorted(following.event.at_us)))
        if edge >= len(edges) or int(edges[edge]) >= window.end_us:
            return window
        at_us = int(edges[edge])
        passed = self.window_at(start, Until(at_us, edge, self.case.days.last_day_before(at_us)), None)
        return replace(passed, is_passed_over=True, occasion=occasion)

    def _start_at(self, event: TaskEvent) -> WindowStart:
        """Return the state in which the window of an event begins."""
        before = bisect_right(self.completions, event.at_us, key=attrgetter("at_us"))
        last = self.completions[before - 1] if before else None
        edge, day = self.case.ledger.edge(event.at_us), self.case.days.date_of(event.at_us)
        return WindowStart(event.at_us, edge, day, last, None, event=event)

    @cached_property
    def open_window(self) -> WindowEnd | None:
        """The window that is open at the moment of judging, of several the one that is furthest used up; None while it is idle."""
        still = self._ended[1]
        return max(still, key=_consumed, default=None)

    def every_window(self) -> Iterator[WindowEnd]:
        """Yield every window in order of time, the open one that the finding is of last."""
        closed, still = self._ended
        yield from closed
        yield from (window for window in still if window is not self.open_window)
        if self.open_window is not None:
            yield self.open_window

    def windows(self, visits: Visits, span_us: tuple[int, int] | None = None, *, apart_until_us: int = 0) -> Iterator[WindowEnd]:
        """Yield every window; they are few."""
        yield from self.every_window()

    @cached_property
    def idle(self) -> Idle:
        """What the task does while no event is open, and why that is not known where it is not."""
        last = self.completions[-1] if self.completions else None
        after = [each for each in (*self.occasions.undecided, *self.occasions.early) if last is None or each.at_us >= last.at_us]
        if after:
            why = "what was done after it is not known, since the records begin later" if after[-1] in self.occasions.early else ""
            return Idle("none", f"{self.said_of(after[-1])}{f': {why}' if why else ': whether it is due is not known'}", last)
        reaches_back = self.first_start is not None
        if last is not None and (self.occasions.opened or self.occasions.early or not reaches_back):
            return Idle("done", "", last)
        if not reaches_back and any(event.kind in _OF_RECORDS for event in self.task.events):
            return Idle("none", "no event is known, and the records do not reach back to the engine's first day", last)
        return Idle("waits", "", last)

    def said_of(self, event: TaskEvent) -> str:
        """Return an event with its day and its place: `overhaul done on 2026-03-02 (services.csv:41)`."""
        if not event.place:
            return event.text
        place = f" ({event.place})"
        return f"{event.text} on {self.case.days.date_of(event.at_us).isoformat()}{place}"

    def _with_measured(self) -> Iterator[Occasion]:
        """Yield the occasions with those on measures, the first day on which one holds since the task was last done."""
        opened = [*self._given.opened]
        first = self.first_start
        bounds = ([] if first is None else [first]) + [self._start_of(each) for each in self.completions]
        for start in bounds:
            done = self._done_after(start)
            event = self._measured_event(start, self.case.end_us if done is None else done.at_us)
            if event is None:
                continue
            others = [each for each in opened if not each.event.stands_alone and each.event.at_us >= start.at_us and each.done is done]
            if any(each.event.at_us <= event.at_us for each in others):
                continue
            opened = [each for each in opened if each not in others]
            again = sum(each.again + 1 for each in others)
            opened.append(Occasion(event, done, again, others[-1].last_again or others[-1].event if others else None))
        yield from sorted(opened, key=lambda each: each.event.at_us)

    def _done_after(self, start: WindowStart) -> Completion | None:
        """Return the first completion after a start."""
        return next((entry for entry in self.completions if entry.at_us > start.at_us), None)

    def _measured_event(self, start: WindowStart, until_us: int) -> TaskEvent | None:
        """Return the first local midnight (or the end) by which a measure held since a start; None where none did before an instant."""
        case, edges = self.case, self.case.ledger.edges_us
        # what holds only at the completion itself is answered by it
        numbers = np.arange(start.edge + 1, int(edges.searchsorted(until_us)) + (until_us >= case.end_us))
        if not len(numbers):
            return None
        instants = edges[numbers]
        days = np.array([case.days.last_day_before(int(at_us)).toordinal() for at_us in instants], dtype=np.int64)
        spans = spans_from(start, numbers, instants, days)
        columns = measured_spans(case, spans, _KNOWN_SHARE)
        verdicts = case.book.window.fire_each(case.facts, columns, len(numbers))
        for place, verdict in enumerate(verdicts):
            for number, event in enumerate(self.task.events):
                if event.when is not None and event_rule(self.task, number) in verdict.holds:
                    shown = ", ".join(measured_in_words(each.name, columns[each.name][place]) for each in measures_in(event.when))
                    return TaskEvent(int(instants[place]), f"{shown} ({phrase_of(event.when)})", "", "when")
        return None


def _consumed(window: WindowEnd) -> tuple[bool, float]:
    """Return how far a window is used up, for choosing among several that are open."""
    governing = window.governing
    return (window.ran_past, 0.0 if governing is None or governing.consumed is None else governing.consumed)


__all__ = ["EventChain"]
