"""How far a leg may be from its line and still be on time, in exact decimals: 90 d and 10 % are 99 d.

In: a task's `tolerance_pct`, `tolerance` and `window`, and a leg at the end of a window. Out: differences for the rules to judge.
Nothing is decided here.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from typing import NamedTuple

from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR
from intervals.rules.tasks import Task
from intervals.shown_numbers import amount
from intervals.windows.leg_states import LegState, exact

_WAYS = {"inward": ROUND_FLOOR, "nearest": ROUND_HALF_UP, "outward": ROUND_CEILING}


class Grace(NamedTuple):
    """A leg's tolerance on either side of its due point, in its unit; months before and after a date differ."""

    before: Decimal
    after: Decimal


def grace_of(task: Task, leg: LegState) -> Grace:
    """Return a leg's tolerance: of several that concern it the least; none where none does.

    A share is of what is allowed up to the due date. Whole days are rounded as the task says.
    """
    bounds = [*_bounds(task, leg)]
    if not bounds:
        return Grace(Decimal(0), Decimal(0))
    before, after = (min(bound.before for bound in bounds), min(bound.after for bound in bounds))
    rounding = task.tolerance.rounding if task.tolerance is not None and leg.leg == CALENDAR else None
    if rounding is None:
        return Grace(before, after)
    way = _WAYS[rounding]
    return Grace(before.to_integral_value(way), after.to_integral_value(way))


def _bounds(task: Task, leg: LegState) -> list[Grace]:
    """Return every tolerance that concerns a leg."""
    shares = [task.tolerance_pct] if task.tolerance_pct or task.tolerance is None else []
    found = []
    if task.tolerance is not None:
        shares += [task.tolerance.pct] if task.tolerance.pct is not None else []
        own = task.tolerance.legs.get(leg.leg)
        if isinstance(own, CalendarStep) and leg.due is not None and leg.line is not None:
            found.append(Grace(Decimal((leg.due - own.before(leg.due)).days), Decimal((own.after(leg.line) - leg.line).days)))
        elif isinstance(own, int | float):
            found.append(Grace(exact(float(own)), exact(float(own))))
    return found + [Grace(part, part) for part in (_due_point(leg) * share / 100 for share in shares)]


def _due_point(leg: LegState) -> Decimal:
    """Return what is allowed up to the due point itself: without the part of a window that lies after it."""
    after = (leg.line - leg.due).days if leg.line is not None and leg.due is not None else 0
    return exact(leg.allowed) - after


def beyond_tolerance(task: Task, leg: LegState) -> float | None:
    """Return used minus what is allowed with its tolerance; None where it is unknown.

    Returns:
        In the leg's unit (days for a calendar leg); zero or less inside the tolerance.
    """
    return None if leg.used is None else float(exact(leg.used) - exact(leg.allowed) - grace_of(task, leg).after)


def past_due_point(leg: LegState) -> float | None:
    """Return used minus the due point: of a task with a window its due date, not the window's end; None where it is unknown."""
    return None if leg.used is None else float(exact(leg.used) - _due_point(leg))


def share_of_interval(leg: LegState) -> float | None:
    """Return what was used as a share of what is allowed up to the due point itself; None where it is unknown."""
    point = _due_point(leg)
    return None if leg.used is None or point <= 0 else float(exact(leg.used) / point)


def off_point_beyond(task: Task, leg: LegState) -> float | None:
    """Return how far a leg was from its due point, beyond window and tolerance on that side; None where it is unknown.

    Returns:
        In the leg's unit; zero or less where it was done inside them.
    """
    if leg.used is None:
        return None
    return max(value for value in (early_beyond(task, leg), beyond_tolerance(task, leg)) if value is not None)


def early_beyond(task: Task, leg: LegState) -> float | None:
    """Return by how much a leg was done before its window and tolerance began; zero or less where it was not, None where unknown."""
    if leg.used is None:
        return None
    before = (leg.due - leg.opens).days if leg.due is not None and leg.opens is not None else 0
    return float(_due_point(leg) - exact(leg.used) - before - grace_of(task, leg).before)


def tolerance_text(task: Task, leg: LegState) -> str:
    """Return a leg's tolerance in words: `10 %`, or an amount where the task says more than a share."""
    if task.tolerance is None:
        return f"{float(task.tolerance_pct):g} %"
    return amount(float(grace_of(task, leg).after), leg.unit)
