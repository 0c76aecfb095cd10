"""The usage of a component that moves between engines: the steps of each engine while it sat there, and still time between.

In: the engines' logs, the spans in which the component sat on them, its own hours at each fitting. Out: `Steps` and the `Course` of its
own hours. On the shelf it does not run. Refuses nothing: what no meter of an engine shows stays unknown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from intervals.arrays import Floats, Instants
from intervals.usage.engine_log import EngineLog
from intervals.usage.meter.meter_course import ActiveTime, Changes, Course
from intervals.usage.steps import Steps, build_steps


class FittedSpan(NamedTuple):
    """A span in which a component sat on an engine.

    Attributes:
        start_us: when it was fitted.
        end_us: when it was removed, or the end of what is known.
        log: the engine's log.
        ran_before_h: hours that it ran on no engine of this site since it was removed from the one before.
    """

    start_us: int
    end_us: int
    log: EngineLog
    ran_before_h: float = 0.0


def still_steps(nodes: Instants, hours_h: Floats | None = None, *, is_known: bool = True) -> Steps:
    """Return steps without levels or counts: of no hours, or of those stated."""
    count = len(nodes) - 1
    hours = np.zeros(count) if hours_h is None else hours_h
    return Steps(nodes, hours, np.full(count, is_known), np.zeros(count, dtype=np.bool_), {}, {}, {})


def spread_steps(cuts_us: Instants, start_us: int, end_us: int, points: Sequence[tuple[int, float]]) -> Steps:
    """Return the steps of a span in which only hours at some instants are known; between these they run evenly."""
    times = np.array([point[0] for point in points], dtype=np.int64)
    hours = np.array([point[1] for point in points], dtype=np.float64)
    nodes = _nodes(np.concatenate((cuts_us, times)), start_us, end_us)
    return still_steps(nodes, np.diff(np.interp(nodes, times, hours)))


def _nodes(cuts_us: Instants, start_us: int, end_us: int) -> Instants:
    """Return the cuts inside a span, with its two ends."""
    inside = cuts_us[(cuts_us > start_us) & (cuts_us < end_us)]
    return np.unique(np.concatenate((inside, np.array([start_us, end_us], dtype=np.int64))))


def span_steps(span: FittedSpan, cuts_us: Instants, levels: frozenset[str]) -> Steps:
    """Return the steps of the engine while the component sat on it."""
    steps, _ = build_steps(span.log, cuts_us, (span.start_us, span.end_us), levels)
    return steps


def fitted_steps(before: Steps, spans: Sequence[FittedSpan], cuts_us: Instants, levels: frozenset[str], end_us: int) -> Steps:
    """Return the steps of a component up to an instant.

    Args:
        before: its steps up to its first fitting.
        spans: where it sat, in order of time, without overlaps.
        cuts_us: instants that no step may span.
        levels: levels that somebody asks for.
        end_us: the last node.
    """
    parts = [before]
    at_us = int(before.at_us[-1])
    for span in spans:
        if span.start_us > at_us:
            parts.append(spread_steps(cuts_us, at_us, span.start_us, [(at_us, 0.0), (span.start_us, span.ran_before_h)]))
        start_us = max(at_us, span.start_us)
        if span.end_us > start_us:
            parts.append(span_steps(FittedSpan(start_us, span.end_us, span.log), cuts_us, levels))
            at_us = span.end_us
    if end_us > at_us:
        parts.append(still_steps(_nodes(cuts_us, at_us, end_us)))
    return join_steps(parts)


def join_steps(parts: Sequence[Steps]) -> Steps:
    """Return steps that follow one another as one; each begins where the one before it ends.

    Raises:
        ValueError: there is a gap or an overlap between two of them.
    """
    for earlier, later in pairwise(parts):
        if earlier.at_us[-1] != later.at_us[0]:
            message = "only steps that follow one another can be joined"
            raise ValueError(message)
    known_from: dict[str, int] = {}
    for part in parts:
        for name, at_us in part.counters_known_from_us.items():
            known_from[name] = min(at_us, known_from.get(name, at_us))
    return Steps(
        np.concatenate([*(part.at_us[:-1] for part in parts), parts[-1].at_us[-1:]]),
        np.concatenate([part.hours_h for part in parts]),
        np.concatenate([part.is_known for part in parts]),
        np.concatenate([part.doubtful for part in parts]),
        _columns([part.levels for part in parts], parts, np.nan),
        _columns([part.increments for part in parts], parts, 0.0),
        known_from,
    )


def _columns(columns: Sequence[Mapping[str, Floats]], parts: Sequence[Steps], blank: float) -> dict[str, Floats]:
    """Return each column over all parts, blank where a part does not have it."""
    names = dict.fromkeys(name for column in columns for name in column)
    return {
        name: np.concatenate([column.get(name, np.full(len(part.hours_h), blank)) for column, part in zip(columns, parts, strict=True)])
        for name in names
    }


def course_of(steps: Steps, log_end_us: int, from_us: int, active: ActiveTime) -> Course:
    """Return the course of a component's own hours: as its meter would show them, had it one.

    Args:
        steps: its steps.
        log_end_us: the end of the log.
        from_us: its first moment.
        active: time outside the lay-ups of the engines that it sat on.
    """
    hours = np.concatenate((np.zeros(1), np.cumsum(steps.hours_h)))
    stands = (steps.at_us >= from_us) & (steps.at_us <= log_end_us)
    times, shown = steps.at_us[stands], hours[stands]
    return Course(times, shown - (shown[0] if len(shown) else 0.0), shown, np.zeros(len(times), dtype=np.bool_), Changes.of([]), active)
