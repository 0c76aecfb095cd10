"""The state in which the window after a completion begins: at zero, on the grid of the window before, or on a moved one.

In: a window at the completion that ends it, what the rules say of its grid. Out: a `WindowStart`; and of every completion how many times
the task was done since the engine was new, by which the first intervals of a new engine follow one another. What becomes of a grid is
decided by `standing_rules.GRID_RULES`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from intervals.history.engine_records import Completion
from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR, rounded
from intervals.rulebook.inference import FactValue
from intervals.rulebook.standings import Standings
from intervals.rules.tasks import Task
from intervals.windows.due_dates import calendar_due, opening_of
from intervals.windows.further_points import further_passed
from intervals.windows.leg_states import LegState, WindowStart
from intervals.windows.tolerances import early_beyond, off_point_beyond, past_due_point


class Grid(NamedTuple):
    """What the rules say of a grid at a completion.

    Attributes:
        is_kept: whether the governing leg keeps its grid.
        moves_after: where the completion came too early and moves it: how long after that completion it counts from.
    """

    is_kept: bool = False
    moves_after: CalendarStep | None = None


def judged_grid(standings: Standings, task: Task, leg: LegState | None) -> Grid:
    """Put it to the rules whether the governing leg keeps its grid, and whether a completion that came too early moves it.

    Args:
        standings: the shared rules.
        task: the task.
        leg: the leg that decides, at a completion.
    """
    if task.restarts_from == "done" or leg is None:
        return Grid()
    facts: dict[str, FactValue] = {
        "restarts_from": task.restarts_from,
        "past_by": past_due_point(leg),
        "beyond_grace": off_point_beyond(task, leg),
        "beyond_early": early_beyond(task, leg),
        "moves_early": task.early_restarts_after is not None,
    }
    holds = standings.grid.fire(facts).holds
    return Grid("keeps-grid" in holds, task.early_restarts_after if "moves-grid" in holds else None)


def done_since_new(completions: Sequence[Completion], *, from_new: bool) -> dict[int, int | None]:
    """Return how many times a task was done since its engine was new or overhauled, by the instant of each completion.

    Args:
        completions: in order of time.
        from_new: whether they are all since the engine's first day.

    Returns:
        A completion counts itself; one that makes the task new is 0 again; None where nothing says when it was new.
    """
    numbers: dict[int, int | None] = {}
    number: int | None = 0 if from_new else None
    for completion in completions:
        number = 0 if completion.makes_new else None if number is None else number + 1
        numbers[completion.at_us] = number
    return numbers


def next_start(  # noqa: PLR0913 - the state of a window and what ends it
    task: Task, start: WindowStart, governing: LegState | None, grid: Grid, *, completion: Completion, edge: int
) -> WindowStart:
    """Return the state in which the window after a completion begins.

    Where the grid is kept only the governing leg keeps it, the others start at the completion. A leg of use then starts with
    what it was past (or short of) its line; whole intervals missed are dropped. A calendar leg's grid counts from its anchor; where a
    completion that came too early moves it, from so long after that completion, at the latest from the due date that it met.
    """
    if completion.makes_new:
        return WindowStart(completion.at_us, edge, completion.day, completion, 0)
    number = None if start.since_new is None else start.since_new + 1
    fresh = WindowStart(completion.at_us, edge, completion.day, completion, number)
    if governing is None:
        return fresh
    if grid.moves_after is not None and governing.leg == CALENDAR and governing.due is not None:
        return replace(fresh, anchor=min(grid.moves_after.after(completion.day), governing.due))
    if not grid.is_kept:
        return fresh
    if governing.leg == CALENDAR:
        return _on_calendar_grid(task, fresh, governing)
    over, passed = governing.past_by or 0.0, 0
    if over > 0 and governing.recurring > 0:
        passed, over = further_passed(governing, over)
    return replace(fresh, carried={governing.leg: rounded(over)}, since_new=None if number is None else number + passed)


def _on_calendar_grid(task: Task, fresh: WindowStart, leg: LegState) -> WindowStart:
    """Return a start on the grid of the calendar leg before it; of a series of first intervals from the last due date that it met."""
    if not leg.further_steps or leg.due is None or fresh.since_new is None:
        return replace(fresh, anchor=leg.anchor, served=leg.due)
    passed = 0
    while opening_of(task, calendar_due(leg, passed + 1)) <= fresh.day:
        passed += 1
    served, anchor = calendar_due(leg, passed), calendar_due(leg, min(passed, len(leg.further_steps)))
    return replace(fresh, anchor=anchor, served=served, since_new=fresh.since_new + passed)
