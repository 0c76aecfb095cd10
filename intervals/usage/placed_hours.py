"""Where the hours of a meter's step lie: first in the rows that show the engine running, and only the rest spread over the step.

In: the course of a meter, and when rows of load show the engine running. Out: the course with its hours placed, and where meter and load
contradict each other. The hours between two readings stay what the meter says. Refuses nothing.

Rows can hold no more than their own time. What they cannot hold lies where no row covers the time, and only then in rows at standstill.
Rows without load, of a logger that is silent at standstill, are of running too where the meter has hours left for them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.local_days import HOUR_US
from intervals.usage.load_rows import RUNS, STANDS, UNKNOWN, WITHOUT_LOAD, Shown
from intervals.usage.meter.coarse_meter import Anchors, anchors_by_load, is_coarse, spread_before_turns
from intervals.usage.meter.meter_course import FASTER_SHARE, ROUNDING_H, Course, Placed
from intervals.usage.step_nodes import each_once

# the first and the last row of a run may have been run in part
PARTLY_RUN_ROWS = 2
# rows further apart than that show that an engine ran, not how long
LONGEST_TELLING_ROW_H = 1.0
# a stamp is no closer than a minute
STAMP_H = 1 / 60


class BeyondMeter(NamedTuple):
    """A span in which rows of load show more running than the meter.

    Attributes:
        start_us: the reading before it.
        end_us: the reading after it.
        shown_h: hours of the rows that show load.
        meter_h: hours of the meter.
    """

    start_us: int
    end_us: int
    shown_h: float
    meter_h: float


class _Spans(NamedTuple):
    """Spans in which rows say one thing, none across an instant at which the hours are known.

    Attributes:
        at_us: the n + 1 borders.
        state: of each span what its rows say.
        step: of each span the step between two such instants that it lies in.
        long_h: how long each is, lay-ups left out.
        steps: how many steps there are.
    """

    at_us: Instants
    state: NDArray[np.int8]
    step: NDArray[np.int64]
    long_h: Floats
    steps: int

    @classmethod
    def of(cls, course: Course, anchors_us: Instants, shown: Shown) -> _Spans:
        """Cut the time of a meter's readings where rows begin to say another thing."""
        at_us = each_once([anchors_us, shown.at_us], course.known_from_us, course.known_to_us)
        step = anchors_us.searchsorted(at_us[:-1], side="right") - 1
        time = course.active.at(at_us) if course.active.spans_us else at_us.astype(np.float64)
        return cls(at_us, shown.states_at(at_us[:-1]), step, np.diff(time) / HOUR_US, len(anchors_us) - 1)

    def with_starts_without_load(self, hours_h: Floats, doubt_h: Floats, rhythm_us: int) -> _Spans:
        """Return the spans with each one without load as running or at standstill: running where the meter has hours left for all of them.

        Args:
            hours_h: hours of each step.
            doubt_h: by how much they may be off.
            rhythm_us: the rhythm of the rows.
        """
        without_load = self.state == WITHOUT_LOAD
        if not without_load.any():
            return self
        left_h = hours_h - self.held_h(RUNS)
        partly_h = PARTLY_RUN_ROWS * rhythm_us / HOUR_US
        surely_h = np.bincount(self.step, weights=without_load * np.maximum(self.long_h - partly_h, 0.0), minlength=self.steps)
        ran = (left_h > ROUNDING_H) & (left_h + doubt_h + ROUNDING_H >= surely_h)
        return self._replace(state=np.where(without_load, np.where(ran[self.step], RUNS, STANDS), self.state).astype(np.int8))

    def held_h(self, state: int) -> Floats:
        """Return how many hours the spans of a state can hold, of each step."""
        return np.bincount(self.step, weights=self.long_h * (self.state == state), minlength=self.steps).astype(np.float64, copy=False)


def place_hours(course: Course, shown: Shown | None) -> tuple[Course, list[BeyondMeter]]:
    """Return a course with its hours placed, and where meter and load contradict each other.

    Args:
        course: a meter's course.
        shown: when rows of load show the engine running, or None where none do that the meter does not show as well.
    """
    if len(course.at_us) <= 1:
        return course, []
    if shown is None:
        line = spread_before_turns(course) if is_coarse(course) else None
        return (course if line is None else course._replace(placed=Placed(*line, np.full(len(line[0]) - 1, np.nan)))), []
    anchors = Anchors.of(course)
    spans = _Spans.of(course, anchors.at_us, shown)
    if is_coarse(course, shown.rhythm_us):
        anchors = anchors_by_load(course, np.concatenate(([0.0], np.cumsum(spans.held_h(RUNS)))))
        spans = _Spans.of(course, anchors.at_us, shown)
    hours_h = np.diff(anchors.hours_h)
    spans = spans.with_starts_without_load(hours_h, anchors.doubt_h, shown.rhythm_us)
    held = {state: spans.held_h(state) for state in (RUNS, UNKNOWN, STANDS)}
    line_h = _line(anchors, spans, _shares(hours_h, held))
    placed = Placed(spans.at_us, line_h, _shows(spans, hours_h, held, anchors.doubt_h, shown.rhythm_us))
    return course._replace(placed=placed), list(_beyond_meter(course, shown, anchors, spans))


def _line(anchors: Anchors, spans: _Spans, shares: Mapping[int, Floats]) -> Floats:
    """Return the running hours at each border of the spans."""
    ran_h = spans.long_h * np.select([spans.state == state for state in shares], [share[spans.step] for share in shares.values()])
    into_h = np.concatenate(([0.0], np.cumsum(ran_h)))
    firsts = spans.at_us.searchsorted(anchors.at_us)
    step = np.append(spans.step, spans.steps)
    line_h: Floats = anchors.hours_h[step] + into_h - into_h[firsts][step]
    line_h[:-1] = np.minimum(line_h[:-1], anchors.hours_h[spans.step + 1])
    # where the hours are known they are so to the last digit
    line_h[firsts] = anchors.hours_h
    return line_h


def _shares(hours_h: Floats, held: Mapping[int, Floats]) -> dict[int, Floats]:
    """Return which share of their time the spans of each state ran, of each step."""
    left_h = hours_h
    shares: dict[int, Floats] = {}
    for state, room_h in held.items():
        shares[state] = np.divide(np.minimum(left_h, room_h), room_h, out=np.zeros(len(hours_h)), where=room_h > 0)
        left_h = np.maximum(left_h - room_h, 0.0)
    total_h = np.sum(list(held.values()), axis=0)
    # a step a little faster than time is so everywhere
    is_faster = hours_h >= total_h
    even = np.divide(hours_h, total_h, out=np.zeros(len(hours_h)), where=total_h > 0)
    return {state: np.where(is_faster, even, share) for state, share in shares.items()}


def _shows(spans: _Spans, hours_h: Floats, held: Mapping[int, Floats], doubt_h: Floats, rhythm_us: int) -> Floats:
    """Return 1 for spans that rows show running, 0 for those in which a meter has no more than it may be off; NaN where only it shows them.

    A step of the meter as short as the rows shows itself how long each of them was run.
    """
    is_rounding = (hours_h - held[RUNS] <= np.maximum(doubt_h, STAMP_H) + ROUNDING_H) & (held[RUNS] > 0)
    is_long = np.sum(list(held.values()), axis=0) * HOUR_US > PARTLY_RUN_ROWS * rhythm_us
    runs = np.where(is_long & (hours_h + doubt_h > 0), 1.0, np.nan)
    elsewhere = np.where(is_rounding, 0.0, np.nan)
    shows: Floats = np.where(spans.state == RUNS, runs[spans.step], elsewhere[spans.step])
    return shows


def _beyond_meter(course: Course, shown: Shown, anchors: Anchors, spans: _Spans) -> Iterator[BeyondMeter]:
    """Yield each step of the meter, and each run over several of them, in which rows show more running than the meter can have."""
    if shown.rhythm_us > LONGEST_TELLING_ROW_H * HOUR_US:
        return
    runs = np.flatnonzero(spans.state == RUNS)
    partly_h = PARTLY_RUN_ROWS * shown.rhythm_us / HOUR_US
    surely_h = np.bincount(spans.step[runs], weights=np.maximum(spans.long_h[runs] - partly_h, 0.0), minlength=spans.steps)
    found = surely_h > np.diff(anchors.hours_h) * FASTER_SHARE + anchors.shown_doubt_h + ROUNDING_H
    held_h = spans.held_h(RUNS)
    for step in np.flatnonzero(found).tolist():
        yield from _found(course, anchors, step, step, float(held_h[step]))
    for first, last in _stretches(spans, runs):
        begun, ended = int(spans.step[first]), int(spans.step[last])
        if found[begun : ended + 1].any():
            continue
        shown_h, ran_h = float(spans.long_h[first : last + 1].sum()), float(anchors.hours_h[ended + 1] - anchors.hours_h[begun])
        doubt_h = max(float(anchors.shown_doubt_h[begun]), float(anchors.shown_doubt_h[ended]))
        if shown_h - partly_h > ran_h * FASTER_SHARE + doubt_h + ROUNDING_H:
            yield from _found(course, anchors, begun, ended, shown_h)


def _found(course: Course, anchors: Anchors, begun: int, ended: int, shown_h: float) -> Iterator[BeyondMeter]:
    """Yield what is beyond the meter from one of its steps to another, where the meter is not itself in doubt."""
    start_us, end_us = int(anchors.at_us[begun]), int(anchors.at_us[ended + 1])
    first, last = course.at_us.searchsorted([start_us, end_us]).tolist()
    if not course.doubtful[first + 1 : last + 1].any():
        yield BeyondMeter(start_us, end_us, shown_h, float(course.hours_h[last] - course.hours_h[first]))


def _stretches(spans: _Spans, runs: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Return the first and the last span of each run that rows show, however many steps of the meter it lasts."""
    if not len(runs):
        return []
    breaks = np.flatnonzero(np.diff(runs) > 1)
    firsts = runs[np.concatenate(([0], breaks + 1))]
    lasts = runs[np.append(breaks, len(runs) - 1)]
    several = spans.step[firsts] != spans.step[lasts]
    return list(zip(firsts[several].tolist(), lasts[several].tolist(), strict=True))
