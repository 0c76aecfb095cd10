"""The sawtooth of a task: what it used of its interval, rising with use and falling with each service, against what was allowed.

In: the windows of a task. Out: a `Saw`. Windows, totals and allowed are those that the task was judged by.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from typing import NamedTuple

import numpy as np

from intervals.findings import Finding, Skipped
from intervals.judge.engine_answers import JudgedEngine
from intervals.language.legs import CALENDAR
from intervals.questions.month.month_models import Mark, MarkKind, Saw
from intervals.windows.chain import TaskChain, WindowEnd

SAWS_UP_TO = ((6, 6), (8, 4))
"""Up to so many engines, so many sawteeth each: the page has to stay small."""
FEWEST_SAWS = 3
_MOST_POINTS, _POINTS_OF_ALL = 40, 200
"""A line has so many points at most, and no more than its part of those that can be told apart over the whole span."""
_MARK_OF: Mapping[str, MarkKind] = {"missed": "missed", "left_out": "left_out", "not_credited": "not_credited"}


class Interest(NamedTuple):
    """What makes a task of an engine worth drawing, beside how it stands.

    Attributes:
        from_us: from when on it is drawn.
        skipped: rule set and task of what was skipped since, or is still open.
        late: rule set and task of what was done late.
    """

    from_us: int
    skipped: Collection[tuple[str, str]]
    late: Collection[tuple[str, str]]


def saws_for(engines: int) -> int:
    """Return how many sawteeth are drawn of an engine, on a page of so many."""
    return next((count for most, count in SAWS_UP_TO if engines <= most), FEWEST_SAWS)


def tasks_to_draw(
    judged: Sequence[JudgedEngine], findings: Sequence[Finding], interest: Interest, most: int
) -> tuple[list[TaskChain], list[str]]:
    """Return the tasks of an engine with most to see (overdue, skipped, late, upcoming, often done) first, and the titles of the others.

    Args:
        judged: the engine, by each of its rule sets.
        findings: its findings.
        interest: what makes a task worth drawing.
        most: so many are drawn.
    """
    standing = {(entry.ruleset, entry.task): entry.standing for entry in findings}
    chains = {(each.case.ruleset, task): chain for each in judged for task, chain in each.chains.items()}

    def interest_of(key: tuple[str, str]) -> tuple[bool, bool, bool, bool, int]:
        done = sum(interest.from_us <= completion.at_us for completion in chains[key].completions)
        word = standing.get(key)
        return word == "overdue", key in interest.skipped, key in interest.late, word == "upcoming", done

    ordered = sorted((key for key in chains if key in standing), key=interest_of, reverse=True)
    drawn = set(ordered[:most])
    left = [chain.case.title_of(chain.task) for key, chain in chains.items() if key in standing and key not in drawn]
    return [chains[key] for key in ordered[:most]], left


def saw_of(chain: TaskChain, leg: str | None, skipped: Sequence[Skipped], late_on: Collection[str], span_us: tuple[int, int]) -> Saw | None:
    """Return the sawtooth of one task, or None where it is unknown.

    Args:
        chain: the task's windows.
        leg: the leg that governs now.
        skipped: what was skipped of the task.
        late_on: the local days on which it was done late.
        span_us: first and last instant to draw.
    """
    name, rises = _rises_of(chain, leg, span_us[0])
    teeth, allowed, marks, unit = [], [], [], ""
    for rise in rises:
        points = _tooth(chain, name or "", rise, span_us)
        if not points:
            continue
        unit = rise.unit
        teeth.append(tuple(points))
        allowed.append((points[0][0], points[-1][0], rise.allowed))
        if rise.is_done and span_us[0] <= rise.end_us <= span_us[1]:
            kind: MarkKind = "done_late" if rise.end_day.isoformat() in late_on else "done"
            marks.append(Mark(at=points[-1][0], used=points[-1][1], kind=kind))
        marks += _skipped_marks(skipped, points)
    if name is None or not teeth:
        return None
    return Saw(
        engine=chain.case.engine.id,
        task=chain.task.id,
        title=chain.case.title_of(chain.task),
        leg=name,
        unit=unit,
        teeth=tuple(teeth),
        allowed=tuple(allowed),
        marks=tuple(marks),
    )


class _Rise(NamedTuple):
    """One leg in one window: where it begins and ends, what it used and was allowed.

    Attributes:
        start_edge: the ledger's edge at which the window began.
        end_edge: the one at which it ended.
        end_us: its end.
        end_day: the last day it covers.
        is_done: whether a completion ended it.
        unit: of the leg.
        carried: what it began with.
        used: what it used by its end; None of a leg of use, whose totals say it.
        allowed: what was allowed.
    """

    start_edge: int
    end_edge: int
    end_us: int
    end_day: date
    is_done: bool
    unit: str
    carried: float
    used: float | None
    allowed: float


def _rises_of(chain: TaskChain, leg: str | None, from_us: int) -> tuple[str | None, list[_Rise]]:
    """Return which leg is drawn, and what it did in each window that ended after an instant; windows without it are left out."""
    now = chain.open_window
    closed = None if leg is None or now is None else chain.closed_uses(leg, from_us)
    if closed is None or now is None:
        windows = [window for window in chain.every_window() if window.end_us > from_us]
        name = leg or next((entry.leg for window in windows for entry in window.legs if entry.used is not None), None)
        return name, [rise for window in windows if (rise := _rise_of(window, name)) is not None]
    last = _rise_of(now, leg)
    unit = next((entry.unit for entry in now.legs if entry.leg == leg), "")
    rises = [
        _Rise(each.start_edge, each.until.edge, each.until.at_us, each.until.day, True, unit, 0.0, None, each.allowed) for each in closed
    ]
    return leg, [*rises, *([] if last is None else [last])]


def _rise_of(window: WindowEnd, leg: str | None) -> _Rise | None:
    """Return what a leg did in a window; None where that is not known."""
    state = next((entry for entry in window.legs if entry.leg == leg and entry.used is not None), None)
    if state is None:
        return None
    is_done, carried = window.completion is not None, window.start.carried.get(state.leg, 0.0)
    return _Rise(window.start.edge, window.end_edge, window.end_us, window.end_day, is_done, state.unit, carried, state.used, state.allowed)


def _tooth(chain: TaskChain, leg: str, rise: _Rise, span_us: tuple[int, int]) -> list[tuple[datetime, float]]:
    """Return one rising line of a sawtooth, from the window's start (or the span's) to its end."""
    case = chain.case
    low, high = rise.start_edge, rise.end_edge
    edges = case.ledger.edges_us[low : high + 1]
    if leg == CALENDAR:
        used = (edges - edges[0]) / max(int(edges[-1] - edges[0]), 1) * (rise.used or 0.0)
    else:
        totals = case.leg_totals(chain.task, leg)
        if totals is None:
            return []
        used = totals[low : high + 1] - totals[low] + rise.carried
    first = int(np.searchsorted(edges, span_us[0], side="left"))
    if first >= len(edges):
        return []
    share = float(edges[-1] - edges[first]) / max(span_us[1] - span_us[0], 1)
    count = min(_MOST_POINTS, len(edges) - first, 2 + int(_POINTS_OF_ALL * share))
    shown = np.linspace(first, len(edges) - 1, count).round().astype(np.int64)
    return [(_wall_clock(chain, at_us), round(value, 3)) for at_us, value in zip(edges[shown].tolist(), used[shown].tolist(), strict=True)]


def _skipped_marks(skipped: Sequence[Skipped], points: Sequence[tuple[datetime, float]]) -> list[Mark]:
    """Return the marks of skipped occurrences that lie on one tooth."""
    marks = []
    times = [at for at, _ in points]
    for entry in skipped:
        at = datetime.combine(date.fromisoformat(entry.at), datetime.min.time().replace(hour=12))
        if entry.kind in _MARK_OF and times[0] <= at <= times[-1]:
            seconds = [(each - times[0]).total_seconds() for each in times]
            used = float(np.interp((at - times[0]).total_seconds(), seconds, [value for _, value in points]))
            marks.append(Mark(at=at, used=round(used, 3), kind=_MARK_OF[entry.kind]))
    return marks


def _wall_clock(chain: TaskChain, at_us: int) -> datetime:
    """Return an instant as the site's clock shows it."""
    return chain.case.days.moment(at_us).replace(tzinfo=None, microsecond=0)
