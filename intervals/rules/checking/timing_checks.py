"""What can be wrong with a task's tolerance, window and run: windows that overlap, legs that it has not, questions no step can answer.

In: a task's plain data, or the task. Out: flaws with places below the task. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from intervals.language.conditions import Condition
from intervals.language.done_when import conditions_in
from intervals.language.durations import CalendarStep, DurationProblemError, parse_step
from intervals.language.flaws import Flaw
from intervals.language.legs import CALENDAR
from intervals.rules.checking.asked_names import check_asked
from intervals.rules.checking.table_checks import intervals_in
from intervals.rules.tasks import Task

_DAYS_A_YEAR = 365
_DAYS_A_MONTH = 30
_LONGEST_MONTH = 31


def check_timing(task: Mapping[str, Any], named: Mapping[str, Condition]) -> Iterator[Flaw]:
    """Yield what makes a task's window or run impossible.

    Args:
        task: the task's plain data; what is not what it should be is passed over.
        named: the rule set's conditions by name.
    """
    for place, condition in conditions_in(task.get("done_when")):
        yield from (flaw.below("done_when", *place) for flaw in check_asked(condition, named, "run"))
    in_place = task.get("in_place_of_time")
    if isinstance(in_place, Mapping):
        yield from (flaw.below("in_place_of_time", "within") for flaw in check_asked(in_place.get("within"), named, "analysis"))
    window = task.get("window")
    if isinstance(window, Mapping):
        yield from (flaw.below("window") for flaw in _check_window(window, intervals_in(task)))
    if task.get("early_restarts_after") is not None:
        yield from (flaw.below("early_restarts_after") for flaw in _check_early_restart(task))


def _check_window(window: Mapping[str, Any], entries: Sequence[Mapping[str, Any]]) -> Iterator[Flaw]:
    """Yield flaws of a window that has no due date, or that reaches into the next one."""
    if any(CALENDAR not in entry for entry in entries):
        text = "a window needs a due date, and the interval has no calendar leg"
        yield Flaw((), text, "add calendar to every, or write tolerance", "leg")
        return
    if window.get("calendar_month") is True:
        yield from _check_calendar_month(entries)
        return
    before, after = (_days(window.get(key)) or 0 for key in ("before", "after"))
    intervals = [days for entry in entries if (days := _days(entry[CALENDAR]))]
    if intervals and before + after > min(intervals):
        text = f"the window of some {before + after} d is longer than the interval of {min(intervals)} d: it would reach into the next one"
        yield Flaw((), text, "shorten before or after", "range")
    elif intervals and before >= min(intervals):
        yield Flaw(("before",), "the window opens as soon as the task is done", "shorten it", "range")


def _check_early_restart(task: Mapping[str, Any]) -> Iterator[Flaw]:
    """Yield what of a task lets nothing be too early, or leaves no due date to be moved."""
    every = task.get("every")
    entries = every if isinstance(every, (list, tuple)) else [every]
    if not any(isinstance(entry, Mapping) and CALENDAR in entry for entry in entries):
        yield Flaw((), "it moves due dates, and the interval has no calendar leg", "add calendar to every, or leave it out", "leg")
    if task.get("restarts_from") != "due_unless_early":
        text = "it says where the grid goes on after a completion that came too early"
        yield Flaw((), text, "write restarts_from: due_unless_early beside it, or leave it out", "range")
    elif not any(task.get(key) for key in ("window", "tolerance", "tolerance_pct")):
        yield Flaw((), "nothing says from when on a completion is not too early", "write a window or a tolerance", "range")


def _check_calendar_month(entries: Sequence[Mapping[str, Any]]) -> Iterator[Flaw]:
    """Yield a flaw where two due dates could fall into one calendar month: an interval of days, not longer than a month."""
    for entry in entries:
        step = _step(entry[CALENDAR])
        if step is not None and not (step.years or step.months) and step.weeks * 7 + step.days <= _LONGEST_MONTH:
            text = f"two due dates {step} apart can lie in one calendar month, and one completion would meet both"
            yield Flaw(("calendar_month",), text, "write every: {calendar: P1M}, or a longer interval", "range")
            return


def _step(value: object) -> CalendarStep | None:
    """Return a calendar step, or None for what is none."""
    if isinstance(value, CalendarStep):
        return value
    try:
        return parse_step(value)
    except DurationProblemError:
        return None


def _days(value: object) -> int | None:
    """Return the days of a calendar step, months and years counted as 30 and 365; None for what is none."""
    step = _step(value)
    return None if step is None else step.years * _DAYS_A_YEAR + step.months * _DAYS_A_MONTH + step.weeks * 7 + step.days


def timing_warnings(task: Task) -> Iterator[Flaw]:
    """Yield what of a task's tolerance can have no effect."""
    if task.tolerance is None:
        return
    legs = set(task.legs)
    for leg in task.tolerance.legs:
        if leg not in legs:
            text = f'tolerance names the leg "{leg}", which every does not have'
            yield Flaw(("tolerance", leg), text, f"remove it, or add {leg} to every", "idle_leg")
    if task.tolerance.rounding is not None and CALENDAR not in legs:
        text = "rounding is of whole days, and every has no calendar leg"
        yield Flaw(("tolerance", "rounding"), text, "remove it, or add calendar to every", "idle_leg")


__all__ = ["check_timing", "timing_warnings"]
