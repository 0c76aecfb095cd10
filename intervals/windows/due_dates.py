"""The calendar leg of a window: local dates from the last completion to the due date, and the window around that date.

In: a task, the interval in force, the state in which the window began. Out: a `LegState` in days. Where a task has a `window`, its
line is the window's end; due dates and grids count from the due date itself all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from intervals.history.engine_case import EngineCase
from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR, LEGS, rounded
from intervals.rules.effects.effects_together import WindowChange
from intervals.rules.tasks import Every, Task
from intervals.windows.leg_states import DEFAULT_LEAD_SHARE, LONGEST_LEAD_SHARE, FiredRule, LegState, WindowStart, leg_state, window_change


def line_of(task: Task, due: date) -> date:
    """Return the last day on which a due date may be met: itself, or the end of the task's window."""
    return due if task.window is None else task.window.last_day(due)


def opening_of(task: Task, due: date) -> date:
    """Return the first day on which a due date may be met: itself, or the beginning of the task's window."""
    return due if task.window is None else task.window.first_day(due)


def calendar_leg(task: Task, every: Every, start: WindowStart, fired_rules: Sequence[FiredRule], end_day: date) -> LegState:
    """Return the calendar leg: local dates from the last completion to its line.

    The due date is the first step of the grid after the completion (plainly: one step after it), or that of `first` or of a rule that
    replaces the leg, the earliest of them. What is allowed reaches to the end of the task's window, if it has one.
    """
    base = every.legs[CALENDAR]
    if not isinstance(base, CalendarStep):
        message = f"{task.id}: the calendar leg is no calendar step"
        raise TypeError(message)
    change = window_change(fired_rules, {})
    becomes, steps = change.replacing(CALENDAR), change.steps(CALENDAR, base)
    anchor = start.anchor or start.day
    candidates = [(*_next_on_grid(task, step, anchor, start), step) for step in steps]
    due, number, step = min(candidates, key=lambda entry: entry[0])
    following = step.after(anchor, number + 1)
    firsts = _first_steps(task, change, start, base)
    further: tuple[CalendarStep, ...] = ()
    origin = start.served or start.day
    if firsts and not (becomes and due <= firsts[0].after(origin)):
        # the grid goes on from the first due point
        due = anchor = firsts[0].after(origin)
        further = firsts[1:]
        number, following = 0, (*further, step)[0].after(due)
    line = line_of(task, due)
    allowed = float((line - start.day).days)
    return leg_state(
        CALENDAR,
        LEGS[CALENDAR].unit,
        base,
        float((end_day - start.day).days),
        allowed,
        float(max(1, (following - due).days)),
        _calendar_lead(task, start.day, due),
        is_known=True,
        due=due,
        line=line,
        opens=None if task.window is None else opening_of(task, due),
        step=step,
        step_number=number,
        anchor=anchor,
        further_steps=further,
    )


def _first_steps(task: Task, change: WindowChange, start: WindowStart, base: CalendarStep) -> tuple[CalendarStep, ...]:
    """Return the steps of a new engine's first occurrences from this one on; none where this one is no such occurrence."""
    firsts = task.first_legs_from(start.since_new)
    if not firsts or CALENDAR not in firsts[0]:
        return ()
    steps = (change.changed(CALENDAR, legs.get(CALENDAR, base)) for legs in firsts)
    return tuple(step for step in steps if isinstance(step, CalendarStep))


def calendar_due(leg: LegState, number: int) -> date:
    """Return the number-th due date after the first one of a calendar leg."""
    if leg.due is None or leg.step is None or leg.anchor is None:
        message = "not a calendar leg"
        raise ValueError(message)
    if leg.further_steps:
        day = leg.due
        for step in leg.further_steps[:number]:
            day = step.after(day)
        return leg.step.after(day, max(0, number - len(leg.further_steps)))
    on_grid = leg.step.after(leg.anchor, leg.step_number)
    if on_grid == leg.due:
        return leg.step.after(leg.anchor, leg.step_number + number)
    return leg.step.after(leg.due, number)


def falls_into_lay_up(case: EngineCase, task: Task, line: date) -> bool:
    """Return whether the last day on which a due date could be met lies in a lay-up, where it waits."""
    return lay_up_of(case, task, line) is not None


def lay_up_of(case: EngineCase, task: Task, line: date) -> tuple[int, int] | None:
    """Return the lay-up that holds the last day on which a due date could be met; None where it lies in none, or counts in it."""
    if task.in_lay_up == "counts" or not case.log.active.spans_us:
        return None
    line_us = case.days.midnight_us(line)
    return next((span for span in case.log.active.spans_us if span[0] <= line_us < span[1]), None)


def calendar_crossing_us(case: EngineCase, task: Task, leg: LegState) -> int | None:
    """Return when a calendar leg is crossed: the midnight after its line, or the first running after a lay-up it fell into.

    Returns:
        UTC microseconds; None for a leg of use, and while the engine has not run since the lay-up.
    """
    if leg.line is None:
        return None
    crossing = case.days.midnight_us(date.fromordinal(leg.line.toordinal() + 1))
    return crossing if lay_up_of(case, task, leg.line) is None else case.first_running_us(crossing)


def _next_on_grid(task: Task, step: CalendarStep, anchor: date, start: WindowStart) -> tuple[date, int]:
    """Return the first due date of a grid that is neither served nor was in time at the start, and its step's number."""
    day, number = start.day, 1
    due = step.after(anchor, number)
    while due <= day or opening_of(task, due) <= day or (start.served is not None and due <= start.served):
        number += 1
        due = step.after(anchor, number)
    return due, number


def _calendar_lead(task: Task, day: date, due: date) -> float:
    """Return how many days before its line the leg is upcoming: from the task's lead before the due date on, else from its window's.

    Without either it is 10 % of the interval; a lead is never more than half of it.
    """
    span = float((due - day).days)
    after = float((line_of(task, due) - due).days)
    lead = task.lead.get(CALENDAR) if task.lead else None
    if isinstance(lead, CalendarStep):
        return rounded(after + min(float((due - lead.before(due)).days), span * LONGEST_LEAD_SHARE))
    if task.window is not None:
        return after + float((due - opening_of(task, due)).days)
    return rounded(span * DEFAULT_LEAD_SHARE)
