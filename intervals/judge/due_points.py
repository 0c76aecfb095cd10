"""The due points of a window: when each one was reached, crossed its line, ended its tolerance.

In: a task's chain and one of its windows. Out: `DuePoint` values in order. Every instant is found from what was known at that instant:
rules that are judged on a window as a whole, and dated intervals, count as they stood on that day. So what is said of a day stays the
same whenever it is asked. Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from itertools import count, islice, zip_longest
from math import floor
from typing import NamedTuple

import numpy as np

from intervals.arrays import Floats, Instants
from intervals.history.window_measures import NOTHING_H, Spans
from intervals.language.legs import CALENDAR, RUNNING_HOURS, rounded
from intervals.windows.chain import TaskChain, WindowEnd
from intervals.windows.due_dates import calendar_crossing_us, calendar_due, falls_into_lay_up, line_of, opening_of
from intervals.windows.further_points import allowed_up_to, interval_up_to
from intervals.windows.leg_states import LegState, Until, WindowRules, WindowStart, consumed_of, instant_of_line
from intervals.windows.legs_at_end import legs_of
from intervals.windows.tolerances import grace_of
from intervals.windows.window_rules import rules_of_windows

NEAR = 1e-5
"""Wider than what rounding moves a figure: what is nearer to its line is looked at."""


class DuePoint(NamedTuple):
    """One due point of a window, or of one of its legs; an instant that is not known, or not in sight, is None.

    Attributes:
        reached_us: from when on it is the one to be done; the first one from the window's start.
        line_us: when its line was crossed.
        tolerance_us: when its tolerance ended: the first moment at which it could no longer be done on time.
        legs: its legs, each with what is allowed up to this point.
    """

    reached_us: int | None
    line_us: int | None
    tolerance_us: int | None
    legs: tuple[LegState, ...]


_NOT_REACHED = DuePoint(None, None, None, ())
"""A due point that no leg has come to."""


class _Reach(NamedTuple):
    """A window up to some edge of the ledger: its start, that edge, its instant, and the instant of the window's end."""

    start: WindowStart
    edge: int
    end_us: int
    last_us: int


def due_points(chain: TaskChain, window: WindowEnd) -> list[DuePoint]:
    """Return the due points of a window that were reached by its end, the first one always, if any interval is in force.

    Of a task with several legs whichever comes first, a point is reached, crossed and past its tolerance as soon as one of its legs is;
    whichever comes last, once all are.

    Args:
        chain: the task's windows.
        window: one of them.

    Returns:
        In order of time; instants in UTC microseconds, None for what was not reached by the window's end.
    """
    if is_steady(chain):
        if _is_below_lines(chain, window):
            # a further point would lie an interval beyond a line that was not reached
            return [DuePoint(int(window.start.at_us), None, None, window.legs)]
        return _points_of(chain, window.legs, _Reach(window.start, window.end_edge, window.end_us, window.end_us)) if window.legs else []
    return _day_by_day(chain, window)


def _is_below_lines(chain: TaskChain, window: WindowEnd) -> bool:
    """Tell whether a window that a completion ended is known to have ended well before each of its lines."""
    if window.completion is None or chain.task.window is not None or not window.legs:
        return False
    return all(leg.is_known and leg.used is not None and leg.used < leg.allowed - NEAR for leg in window.legs)


def is_steady(chain: TaskChain) -> bool:
    """Return whether what is allowed is the same all through a window: neither dated nor judged on the window as a whole."""
    every = chain.task.every
    return len(every) <= 1 and all(each.in_force_from is None for each in every) and not chain.case.book.windowed_for(chain.task)


def _points_of(chain: TaskChain, legs: Sequence[LegState], reach: _Reach, first: int = 0) -> list[DuePoint]:
    """Return the due points that these legs make together, from the one of a number on."""
    streams = [
        islice(_calendar_points(chain, leg, reach), first, None) if leg.leg == CALENDAR else _use_points(chain, leg, reach, first)
        for leg in legs
    ]
    if chain.task.is_once:
        # what is done once falls due once
        streams = [islice(stream, max(0, 1 - first)) for stream in streams]
    join = _earliest if chain.task.whichever == "first" else _latest
    together = []
    # a leg that has not come so far yet is a leg of the point all the same: what one was allowed does not depend on when one looks
    for points in zip_longest(*streams, fillvalue=_NOT_REACHED):
        reached_us, line_us, tolerance_us = (join(column) for column in zip(*(point[:3] for point in points), strict=True))
        if reached_us is None:
            break
        together.append(DuePoint(reached_us, line_us, tolerance_us, tuple(leg for point in points for leg in point.legs)))
    return together


def _earliest(instants: Sequence[int | None]) -> int | None:
    """Return the earliest of some instants that is known."""
    return min((at for at in instants if at is not None), default=None)


def _latest(instants: Sequence[int | None]) -> int | None:
    """Return the latest of some instants, or None where one of them is not known."""
    known = [at for at in instants if at is not None]
    return max(known) if len(known) == len(instants) else None


def _use_points(chain: TaskChain, leg: LegState, reach: _Reach, first: int) -> Iterator[DuePoint]:
    """Yield the due points of a leg of use from the one of a number on, without end: the first at allowed, the others an interval later."""
    edges, used = _course_of(chain, leg.leg, reach)
    reached_us: int | None = int(reach.start.at_us)
    for number in count(first):
        point = leg._replace(allowed=allowed_up_to(leg, number))
        if number > 0 and reached_us is not None:
            reached_us = instant_of_line(edges, used, point.allowed, reached=True)
        if reached_us is None:
            yield _NOT_REACHED._replace(legs=(point,))
            continue
        grace = float(grace_of(chain.task, leg._replace(allowed=interval_up_to(leg, number))).after)
        line_us, tolerance_us = (instant_of_line(edges, used, line) for line in (point.allowed, rounded(point.allowed + grace)))
        yield DuePoint(reached_us, line_us, tolerance_us, (point,))


def _course_of(chain: TaskChain, leg: str, reach: _Reach) -> tuple[Instants, Floats]:
    """Return the instants of a window and what was used of a leg up to each, as far as it is known."""
    case, start = chain.case, reach.start
    totals, low, high = case.leg_totals(chain.task, leg), start.edge, reach.edge + 1
    if totals is None:
        return case.ledger.edges_us[:0], np.zeros(0)
    if leg == RUNNING_HOURS:
        unknown = case.unknown_up_to_h(chain.task)[low:high]
        high = low + int(np.searchsorted(unknown, float(unknown[0]) + NOTHING_H, side="right"))
    return case.ledger.edges_us[low:high], totals[low:high] - totals[low] + start.carried.get(leg, 0.0)


def _calendar_points(chain: TaskChain, leg: LegState, reach: _Reach) -> Iterator[DuePoint]:
    """Yield the due points of a calendar leg up to the window's end; one after the first that falls into a lay-up is none."""
    if leg.due is None or leg.line is None:
        return
    days, task = chain.case.days, chain.task
    number, reached_us, due, before = 0, int(reach.start.at_us), leg.due, reach.start.day
    while reached_us <= reach.last_us:
        line = line_of(task, due)
        if number == 0 or not falls_into_lay_up(chain.case, task, line):
            point = leg._replace(allowed=float((line - reach.start.day).days), due=due, line=line, opens=None)
            if reached_us <= reach.end_us:
                line_us, tolerance_us = _calendar_ends(chain, point._replace(allowed=float((line - before).days)), line)
                yield DuePoint(reached_us, line_us, tolerance_us, (point,))
            else:
                yield _NOT_REACHED._replace(legs=(point,))
        number, before, due = number + 1, due, calendar_due(leg, number + 1)
        reached_us = days.midnight_us(opening_of(task, due))


def _calendar_ends(chain: TaskChain, own: LegState, line: date) -> tuple[int | None, int | None]:
    """Return when a due date's line was crossed, and the midnight after the last day of its tolerance; None while it waits in a lay-up."""
    line_us = calendar_crossing_us(chain.case, chain.task, own)
    last_day = line.toordinal() + floor(grace_of(chain.task, own).after)
    ended_us = chain.case.days.midnight_us(date.fromordinal(last_day + 1))
    return line_us, None if line_us is None else max(line_us, ended_us)


def _day_by_day(chain: TaskChain, window: WindowEnd) -> list[DuePoint]:
    """Return the due points of a window whose terms may change: each instant by the terms of the first day that shows it."""
    found: list[DuePoint] = []
    edges_us = chain.case.ledger.edges_us
    settled = 0
    for edge, end_us, legs in _states(chain, window):
        floor_us = int(edges_us[edge - 1])
        # a later day changes nothing of a point of which all is known
        while settled < len(found) and None not in found[settled][:3]:
            settled += 1
        reach = _Reach(window.start, edge, end_us, window.end_us)
        for number, point in enumerate(_points_of(chain, legs, reach, settled), start=settled):
            reached_us, line_us, tolerance_us = (_shown(at_us, floor_us, end_us) for at_us in point[:3])
            shown = DuePoint(reached_us, line_us, tolerance_us, point.legs)
            if number == len(found):
                found.append(shown)
            else:
                found[number] = _joined(found[number], shown)
    if found or not window.legs:
        return found
    return [DuePoint(int(window.start.at_us), None, None, window.legs)]


def _joined(was: DuePoint, now: DuePoint) -> DuePoint:
    """Return a due point with what a later day shows of it besides; once its line is crossed, its terms are those of that day."""
    reached_us, line_us, tolerance_us = (later if known is None else known for known, later in zip(was[:3], now[:3], strict=True))
    return DuePoint(reached_us, line_us, tolerance_us, now.legs if was.line_us is None else was.legs)


def _shown(at_us: int | None, floor_us: int, end_us: int) -> int | None:
    """Return an instant as a piece of the ledger shows it: in it, or at its start where the terms alone changed; None after it."""
    return None if at_us is None or at_us > end_us else max(at_us, floor_us)


def _states(chain: TaskChain, window: WindowEnd) -> Iterator[tuple[int, int, tuple[LegState, ...]]]:
    """Yield edge, instant and legs of a window, by the terms of that day, at every edge at which some leg may be at its line."""
    case, task, start = chain.case, chain.task, window.start
    edges = np.arange(start.edge + 1, window.end_edge + 1)
    if not len(edges):
        return
    instants = case.ledger.edges_us[edges]
    days = [*case.days.dates_of(instants[:-1] - 1), window.end_day]
    ones = np.ones(len(edges), dtype=np.int64)
    numbers = np.array([day.toordinal() for day in days], dtype=np.int64)
    used = _used_at(chain, window, edges, numbers)
    first = _first_near(chain, used, len(edges))
    ones, edges, instants, days, numbers = ones[first:], edges[first:], instants[first:], days[first:], numbers[first:]
    used = {name: amounts[first:] for name, amounts in used.items()}
    if not days:
        return
    spans = Spans(ones * start.edge, edges, ones * start.at_us, instants, ones * start.day.toordinal(), numbers)
    rules = rules_of_windows(case, task, spans) if case.book.windowed_for(task) else [WindowRules()] * len(edges)
    allowed: dict[tuple[object, ...], dict[str, float]] = {}
    for place, (edge, end_us, day) in enumerate(zip(edges.tolist(), instants.tolist(), days, strict=True)):
        fired_rules = rules[place].fired_rules
        if any(fired.rule.effect.leaves_unknown for fired in fired_rules):
            continue
        # what is allowed depends on the terms alone: equal terms are worked out once
        every = task.every_in_force(day)
        terms = (every and every.in_force_from, *(fired.rule.id for fired in fired_rules))
        if terms not in allowed:
            allowed[terms] = {leg.leg: leg.allowed for leg in legs_of(case, task, start, Until(end_us, edge, day), fired_rules) or ()}
        if any(used[name][place] > line - NEAR for name, line in allowed[terms].items() if name in used):
            legs = legs_of(case, task, start, Until(end_us, edge, day), fired_rules)
            if legs is not None:
                yield edge, end_us, legs


def _first_near(chain: TaskChain, used: Mapping[str, Floats], count: int) -> int:
    """Return the first of so many edges at which some leg may be near its line, whichever window rules fire; `count` where none is."""
    lowest = chain.lowest_allowed
    if lowest is None:
        return 0
    near = np.zeros(count, dtype=bool)
    for name, amounts in used.items():
        near |= amounts > lowest[name] - NEAR
    return int(near.argmax()) if near.any() else count


def _used_at(chain: TaskChain, window: WindowEnd, edges: Instants, days: Instants) -> dict[str, Floats]:
    """Return what was used of each leg of a task at some edges of a window; a leg that is unknown is left out."""
    start, found = window.start, {}
    for name in set(chain.task.legs):
        totals = None if name == CALENDAR else chain.case.leg_totals(chain.task, name)
        if totals is not None:
            found[name] = totals[edges] - totals[start.edge] + start.carried.get(name, 0.0)
        elif name == CALENDAR:
            found[name] = (days - start.day.toordinal()).astype(np.float64)
    return found


def consumed_at(chain: TaskChain, window: WindowEnd, point: DuePoint, at_us: int, edge: int) -> float | None:
    """Return what the deciding leg of a due point had used of what is allowed up to it, at an edge of the ledger.

    Args:
        chain: the task's windows.
        window: the window.
        point: one of its due points.
        at_us: the instant.
        edge: its edge.
    """
    shares = []
    for leg in point.legs:
        if chain.task.is_once and leg.allowed <= 0:
            # what is due at once has no share of an interval
            continue
        if leg.leg == CALENDAR:
            last = window.end_day if at_us == window.end_us else chain.case.days.last_day_before(at_us)
            shares.append(consumed_of(float((last - window.start.day).days), leg.allowed))
            continue
        edges, used = _course_of(chain, leg.leg, _Reach(window.start, edge, at_us, at_us))
        if len(edges) and int(edges[-1]) == at_us:
            shares.append(consumed_of(rounded(float(used[-1])), leg.allowed))
    if not shares:
        return None
    return rounded(max(shares) if chain.task.whichever == "first" else min(shares))
