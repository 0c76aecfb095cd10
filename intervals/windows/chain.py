"""The chain of windows of one task of one engine: from its first day or first completion to the moment of judging.

In: an `EngineCase` and a task. Out: `WindowEnd` values, each with its legs and the standing at its end, and among them the one
that is open now. Windows that ended well inside their interval are judged by their cells together, not one by one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import NamedTuple

import numpy as np

from intervals.arrays import Instants
from intervals.history.completion_row import instants_of
from intervals.history.engine_case import EngineCase
from intervals.history.engine_records import Completion, Occasion
from intervals.language.legs import CALENDAR
from intervals.local_days import LocalDays
from intervals.rulebook.standing_rules import TaskRule
from intervals.rules.tasks import Adjustment, Task
from intervals.windows.closed_windows import ClosedWindows
from intervals.windows.due_dates import calendar_crossing_us
from intervals.windows.expected_days import with_expected_days
from intervals.windows.leg_states import FiredRule, LegState, Until, WindowRules, WindowStart, governing_of, instant_of_line
from intervals.windows.legs_at_end import legs_of
from intervals.windows.lowest_allowed import lowest_allowed
from intervals.windows.near_lines import NearLines, Visits, worth_a_look
from intervals.windows.next_start import done_since_new, judged_grid, next_start
from intervals.windows.table_rows import choice_of, table_state
from intervals.windows.window_rules import rules_of_window


@dataclass(frozen=True)
class WindowEnd:
    """A window at its end: a completion, or the moment of judging.

    Attributes:
        start: the state in which it began.
        end_us: its end.
        end_edge: the ledger's edge there.
        end_day: the last day it covers.
        completion: what ended it; None for the window that is open.
        legs: its legs.
        fired_rules: the window rules that fired.
        unknown_rules: the window rules that could not be judged.
        governing: the leg that decides.
        rule: the standing rule that fired.
        is_passed_over: whether it ended without a completion, since a later event took its place.
        occasion: of a task done once, what opened it.
    """

    start: WindowStart
    end_us: int
    end_edge: int
    end_day: date
    completion: Completion | None
    legs: tuple[LegState, ...]
    fired_rules: tuple[FiredRule, ...]
    unknown_rules: tuple[Adjustment, ...]
    governing: LegState | None
    rule: str
    is_passed_over: bool = False
    occasion: Occasion | None = None

    @property
    def is_open(self) -> bool:
        """Whether nothing has ended it."""
        return self.completion is None and not self.is_passed_over

    @property
    def until(self) -> Until:
        """Its end."""
        return Until(self.end_us, self.end_edge, self.end_day)

    def last_day_before(self, at_us: int, days: LocalDays) -> date:
        """Return the last day that has begun before its line was crossed; what is due at once after an event, no day before that of it.

        Args:
            at_us: when its line was crossed.
            days: the site's local days.
        """
        day = days.last_day_before(at_us)
        return day if self.start.event is None else max(day, self.start.day)

    @property
    def ran_past(self) -> bool:
        """Whether the standing at its end was past the line."""
        return self.rule == TaskRule.PAST_INTERVAL


class Idle(NamedTuple):
    """A task done once, while no event is open.

    Attributes:
        word: `done` since the last event, `waits` for the first one, `none` where that is not known.
        why: why it is not known, in words.
        last: its last completion.
    """

    word: str
    why: str
    last: Completion | None


class DoneBefore(NamedTuple):
    """A closed window that ended well before every line.

    Attributes:
        completion: what ended it.
        share: what was used by then as a share of what is allowed, of the leg that decides.
    """

    completion: Completion
    share: float


class ClosedUse(NamedTuple):
    """A closed window of a plain task, and one leg of use in it.

    Attributes:
        start_edge: the ledger's edge at which it began.
        until: its end.
        allowed: what was allowed of the leg.
    """

    start_edge: int
    until: Until
    allowed: float


class TaskChain:
    """The windows of one task of one engine."""

    def __init__(self, case: EngineCase, task: Task) -> None:
        self.case = case
        self.task = task
        self.completions = case.records.completions.get(task.id, ())
        self.together: ClosedWindows | None = None
        self._looked_at: dict[int, WindowEnd] = {}

    @property
    def idle(self) -> Idle | None:
        """What a task that is done once does while no event is open; None of any other task."""
        return None

    @property
    def records_from_us(self) -> int | None:
        """From when on the records are complete: the engine's, the site's, else its first day."""
        return self.case.records_from_us

    @cached_property
    def first_start(self) -> WindowStart | None:
        """The engine's first day as a start, where the records reach back to it."""
        in_service, records_from = self.case.log.in_service_us, self.records_from_us
        if in_service is None:
            return None
        start = self._not_before(WindowStart(in_service, self.case.ledger.edge(in_service), self.case.days.date_of(in_service), None, 0))
        return None if records_from is not None and records_from > start.at_us else start

    @cached_property
    def _asks_from_us(self) -> int | None:
        """The midnight before which the task asks for nothing, where it lies in what is judged."""
        day = self.task.not_before
        at_us = None if day is None else self.case.days.midnight_us(day)
        return None if at_us is None or not int(self.case.ledger.edges_us[0]) < at_us <= self.case.end_us else at_us

    def _not_before(self, start: WindowStart) -> WindowStart:
        """Return a start, or the day from which the task asks for anything where it comes sooner."""
        from_us = self._asks_from_us
        if from_us is None or start.at_us >= from_us:
            return start
        day = self.case.days.date_of(from_us)
        return replace(start, at_us=from_us, edge=self.case.ledger.edge(from_us), day=day, is_first_asked=True)

    @cached_property
    def is_plain(self) -> bool:
        """Whether every window starts at zero and is allowed the same, so that windows can be judged together."""
        task, case = self.task, self.case
        return (
            self._asks_from_us is None
            and task.restarts_from == "done"
            and task.restarts_from_part == "last"
            and task.window is None
            and not task.table
            and len(task.every) == 1
            and task.every[0].in_force_from is None
            and not any(rule.window_effect.touches(CALENDAR) for rule in case.book.windowed_for(task))
            and not case.log.active.spans_us
        )

    @cached_property
    def open_window(self) -> WindowEnd | None:
        """The window that is open at the moment of judging, or None where nothing says when it began."""
        start = self.last_start
        return None if start is None else self.window_now(start, None if self.together is None else self.together.rules_of_open(self.task))

    def window_now(self, start: WindowStart, rules: WindowRules | None = None) -> WindowEnd:
        """Return a window at the moment of judging, with the days that were expected of it where the log has ended.

        Args:
            start: the state in which it began.
            rules: what the window rules say of it, where that is known.
        """
        case = self.case
        window = self.window_at(start, Until(case.end_us, case.end_edge, case.last_day), None, rules)
        legs = with_expected_days(case, self.task, window.legs, start)
        if all(leg.expected is None for leg in legs):
            return window
        return replace(window, legs=legs, governing=governing_of(legs, self.task.whichever), rule=self.standing_rule(legs))

    def every_window(self) -> Iterator[WindowEnd]:
        """Yield every window in order of time, the open one last."""
        yield from self._walked[0]
        if self.open_window is not None:
            yield self.open_window

    def closed_uses(self, leg: str, from_us: int) -> list[ClosedUse] | None:
        """Return the closed windows that ended after an instant, each with what was allowed of a leg of use.

        Args:
            leg: the leg.
            from_us: the instant.

        Returns:
            In order of time; None where they are not known of all windows together, so that each has to be looked at.
        """
        closed = self._closed if self.task.first is None else None
        if closed is None or not closed.is_of_use(leg):
            return None
        before = len(self.completions) - closed.count
        return [
            ClosedUse(self._closed_start(index + before).edge, self.until_completion(completion), closed.allowed(leg, index))
            for index, completion in enumerate(self.completions[before:])
            if completion.at_us > from_us
        ]

    @cached_property
    def last_start(self) -> WindowStart | None:
        """Return the state in which the open window began."""
        if self.is_plain:
            return self._start_of(self.completions[-1]) if self.completions else self.first_start
        return self._walked[1]

    def _start_of(self, completion: Completion) -> WindowStart:
        """Return the plain state after a completion: at it, or at its first part where the task says so."""
        began_us = completion.at_us if completion.began_us is None else completion.began_us
        day = completion.began_day or completion.day
        return self._not_before(WindowStart(began_us, self.case.ledger.edge(began_us), day, completion, self._since_new(completion)))

    def _since_new(self, completion: Completion) -> int | None:
        """Return how many times the task was done since it was new, at a completion; None where nothing says so, or no `first` asks."""
        if self.task.first is None or len(self.task.first) == 1:
            return 0 if completion.makes_new else None
        return self._done_since_new[completion.at_us]

    @cached_property
    def _done_since_new(self) -> dict[int, int | None]:
        """How many times the task was done since it was new, by the instant of each completion."""
        return done_since_new(self.completions, from_new=self.first_start is not None)

    @cached_property
    def _walked(self) -> tuple[list[WindowEnd], WindowStart | None]:
        """Every closed window in order, and the start of the open one."""
        closed: list[WindowEnd] = []
        start = self.first_start
        for completion in self.completions:
            if start is None or completion.at_us <= start.at_us:
                start = self._start_of(completion)
                continue
            window = self.window_at(start, self.until_completion(completion), completion)
            closed.append(window)
            if completion.began_us is not None:
                start = self._start_of(completion)
                continue
            grid = judged_grid(self.case.standings, self.task, window.governing)
            start = next_start(self.task, start, window.governing, grid, completion=completion, edge=window.end_edge)
        return closed, start

    def until_completion(self, completion: Completion) -> Until:
        """Return where a completion ends a window."""
        return Until(completion.at_us, self.case.ledger.edge(completion.at_us), completion.day)

    def window_at(self, start: WindowStart, until: Until, completion: Completion | None, rules: WindowRules | None = None) -> WindowEnd:
        """Return a window judged at one of the ledger's edges.

        Args:
            start: the state in which it began.
            until: the edge at which it is looked at.
            completion: what ends it there; None while it is open.
            rules: what the window rules say of it, where that is known.

        Returns:
            Its legs, the window rules that fired, the governing leg and the standing rule; no legs where no interval is in force.
        """
        known = None if completion is None else self._looked_at.get(until.at_us)
        if known is None or known.start != start or known.completion is not completion:
            known = self._window_at(start, until, completion, rules)
            if completion is not None:
                self._looked_at[until.at_us] = known
        return known

    def _window_at(self, start: WindowStart, until: Until, completion: Completion | None, rules: WindowRules | None) -> WindowEnd:
        """Return a window judged at one of the ledger's edges, for the first time."""
        if rules is None:
            rules = rules_of_window(self.case, self.task, start, until)
        found = legs_of(self.case, self.task, start, until, rules.fired_rules)
        fired_rules = () if found is None else rules.fired_rules
        legs = found or ()
        governing = governing_of(legs, self.task.whichever)
        rule = self.standing_rule(
            legs, has_interval=found is not None, table=table_state(self.task, choice_of(self.case, self.task, start))
        )
        return WindowEnd(start, until.at_us, until.edge, until.day, completion, legs, fired_rules, rules.unknown_rules, governing, rule)

    def standing_rule(self, legs: Sequence[LegState], *, has_interval: bool = True, deferral: str = "none", table: str = "none") -> str:
        """Put the legs to the rules and return the standing rule that fires.

        Args:
            legs: the legs of a window, as they are now.
            has_interval: whether an interval is in force.
            deferral: `none`, `holds`, `ended` or `unknown`.
            table: why the task's table gives no interval: `outside`, `unknown`, or `none`.

        Returns:
            A name of `TaskRule`; a leg whose figures are unknown has part in it as unknown, never as zero.
        """
        case = self.case
        fired = frozenset(
            case.standings.legs.fire_one(
                {
                    "is_known": leg.is_known,
                    "past_by": leg.past_by,
                    "to_lead": leg.to_lead,
                    "waits_for_start": leg.waits_for_start,
                    "since_expected_d": leg.since_expected_d,
                },
            )
            for leg in legs
        )
        return case.standings.task_rule(self.task.whichever, fired, has_interval=has_interval, deferral=deferral, table=table)

    def windows(self, visits: Visits, span_us: tuple[int, int] | None = None, *, apart_until_us: int = 0) -> Iterator[WindowEnd]:
        """Yield the windows on which a rule about skipped work may fire, and those that ended in a span; the open one last.

        Args:
            visits: the engine's visits.
            span_us: a span of which every window that ended in it is wanted, or None.
            apart_until_us: of those that ended in the span before this instant, the ones that `done_before_lines` gives are left out.
        """
        if self.is_plain:
            yield from self._looked_up(visits, span_us, apart_until_us)
        else:
            yield from self._walked[0]
        if self.open_window is not None:
            yield self.open_window

    def done_before_lines(self, span_us: tuple[int, int]) -> Iterator[DoneBefore]:
        """Yield the closed windows that ended in a span well before every line, where that is known of all of them together.

        Args:
            span_us: from when on, and up to when.
        """
        apart = self._measured_apart
        if apart is None:
            return
        before = len(self.completions) - apart.count
        for index, completion in enumerate(self.completions[before:]):
            if span_us[0] <= completion.at_us < span_us[1] and index not in apart.near:
                shares = apart.shares(index)
                yield DoneBefore(completion, max(shares) if self.task.whichever == "first" else min(shares))

    def _looked_up(self, visits: Visits, span_us: tuple[int, int] | None, apart_until_us: int) -> Iterator[WindowEnd]:
        """Yield the closed windows worth a look, found by their cells: plain windows only."""
        count = len(self.closed_bounds_us) - 1
        if count < 1:
            return
        wanted = worth_a_look(self._together, self.task, visits)
        # the first window begins on the engine's first day, or with the first completion
        before = len(self.completions) - count
        if span_us is not None:
            # a window that crossed its line in the span may have ended after it
            apart = None if self._measured_apart is None else self._measured_apart.near
            ended_us = self.closed_bounds_us[1:].tolist()
            wanted |= {
                index
                for index, at_us in enumerate(ended_us)
                if at_us >= span_us[0] and (apart is None or at_us >= apart_until_us or index in apart)
            }
        if self.task.first is not None:
            # windows of first intervals are allowed something else
            wanted |= {index for index in range(count) if self.task.first_legs_from(self._closed_start(index + before).since_new)}
        for index in sorted(wanted):
            completion = self.completions[index + before]
            yield self.window_at(self._closed_start(index + before), self.until_completion(completion), completion)

    @cached_property
    def _together(self) -> ClosedWindows:
        """The closed windows in columns, with those of the engine's other tasks where these are looked at too."""
        return self.together or ClosedWindows(self.case, [(self.task, self.closed_bounds_us)])

    @cached_property
    def _closed(self) -> NearLines | None:
        """The closed windows of a plain task, one by one; None where there are none, or not all their figures are known."""
        if len(self.closed_bounds_us) <= 1 or not self._together.is_known(self.task):
            return None
        return NearLines(self._together, self._together.rows[self.task.id])

    @cached_property
    def _measured_apart(self) -> NearLines | None:
        """The same, where nothing but a window's length says whether it ended well before its lines: steady terms, no record besides."""
        task, records = self.task, self.case.records
        is_simple = self.is_plain and not task.is_once and task.first is None and not self.case.book.windowed_for(task)
        has_more = bool(records.deferrals.get(task.id) or records.analyses.get(task.id)) or task.in_place_of_time is not None
        return self._closed if is_simple and not has_more else None

    @cached_property
    def lowest_allowed(self) -> dict[str, float] | None:
        """The least that may be allowed of each leg in any window; None where that is not known."""
        return lowest_allowed(self.case, self.task) if self.is_plain and self.task.first is None else None

    def _closed_start(self, place: int) -> WindowStart:
        """Return the state in which the window begins that a completion ends."""
        if place > 0:
            return self._start_of(self.completions[place - 1])
        if self.first_start is None:
            message = f"{self.task.id}: the first completion ends no window"
            raise ValueError(message)
        return self.first_start

    @cached_property
    def closed_bounds_us(self) -> Instants:
        """When the closed windows of a plain task begin and end: the engine's first day, where it counts, and every completion."""
        if not self.is_plain or self.task.is_once:
            return np.zeros(0, dtype=np.int64)
        first, done_us = self.first_start, instants_of(self.completions)
        if first is None or not len(done_us) or first.at_us >= int(done_us[0]):
            return done_us
        return np.concatenate((np.array([first.at_us], dtype=np.int64), done_us))


def crossing_us(chain: TaskChain, window: WindowEnd) -> int | None:
    """Return when a window's line was crossed: the earliest crossing of any leg, for `last` the latest; None if it was not.

    Returns:
        UTC microseconds, at most the window's end.
    """
    crossings = [leg_crossing_us(chain, window, leg) for leg in window.legs]
    known = [at for at in crossings if at is not None]
    if not known or (chain.task.whichever == "last" and len(known) < len(crossings)):
        return None
    return min(known) if chain.task.whichever == "first" else max(known)


def leg_crossing_us(chain: TaskChain, window: WindowEnd, leg: LegState) -> int | None:
    """Return when one leg of a window was crossed, the window's factors held fixed; None if it was not by its end.

    Between two edges of the ledger the crossing is interpolated; a calendar leg is crossed at a local midnight.

    Returns:
        UTC microseconds, at most the window's end.
    """
    if leg.past_by is None or leg.past_by <= 0:
        return None
    if leg.leg == CALENDAR:
        at_us = calendar_crossing_us(chain.case, chain.task, leg)
        return at_us if at_us is not None and at_us <= window.end_us else None
    totals = chain.case.leg_totals(chain.task, leg.leg)
    if totals is None:
        return None
    low, high = window.start.edge, window.end_edge + 1
    used = totals[low:high] - totals[low] + window.start.carried.get(leg.leg, 0.0)
    return instant_of_line(chain.case.ledger.edges_us[low:high], used, leg.allowed)
