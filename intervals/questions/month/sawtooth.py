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
from intervals.windows.leg_states import LegState

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
    windows = [window for window in chain.every_window() if window.end_us > span_us[0]]
    name = leg or next((entry.leg for window in windows for entry in window.legs if entry.used is not None), None)
    teeth, allowed, marks, unit = [], [], [], ""
    for window in windows:
        state = next((entry for entry in window.legs if entry.leg == name and entry.used is not None), None)
        points = [] if state is None else _tooth(chain, window, state, span_us)
        if state is None or not points:
            continue
        unit = state.unit
        teeth.append(tuple(points))
        allowed.append((points[0][0], points[-1][0], state.allowed))
        if window.completion is not None and span_us[0] <= window.end_us <= span_us[1]:
            kind: MarkKind = "done_late" if window.end_day.isoformat() in late_on else "done"
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


def _tooth(chain: TaskChain, window: WindowEnd, leg: LegState, span_us: tuple[int, int]) -> list[tuple[datetime, float]]:
    """Return one rising line of a sawtooth, from the window's start (or the span's) to its end."""
    case = chain.case
    low, high = window.start.edge, window.end_edge
    edges = case.ledger.edges_us[low : high + 1]
    if leg.leg == CALENDAR:
        used = (edges - edges[0]) / max(int(edges[-1] - edges[0]), 1) * (leg.used or 0.0)
    else:
        totals = case.leg_totals(chain.task, leg.leg)
        if totals is None:
            return []
        used = totals[low : high + 1] - totals[low] + window.start.carried.get(leg.leg, 0.0)
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
