"""The course of an hour meter: readings that step back, race or were typed wrong become running hours that can be trusted.

In: the readings that stand, the hours between them, registered changes and lay-ups. Out: a `Course`, bridged running hours and what the
meter showed at any instant. Refuses nothing: what no meter shows stays unknown.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants

FASTER_SHARE = 1.01
FASTER_H = 0.1
ROUNDING_H = 1e-6
# What a laid-up span weighs against running time when hours are shared out: nothing, unless the whole step is laid up.
LAID_UP_WEIGHT = 1e-9


class Changes(NamedTuple):
    """Registered meter changes of one engine in order of time (UTC microseconds, hours)."""

    at_us: Instants
    old_read_h: Floats
    new_read_h: Floats

    @classmethod
    def of(cls, changes: Sequence[tuple[int, float, float]]) -> Changes:
        """Build from (at_us, old_read_h, new_read_h) in any order."""
        rows = sorted(changes)
        return cls(
            np.array([row[0] for row in rows], dtype=np.int64),
            np.array([row[1] for row in rows], dtype=np.float64),
            np.array([row[2] for row in rows], dtype=np.float64),
        )

    def bridged_before(self, at_us: Instants) -> Floats:
        """Return the hours that changes before each instant took off the meter: the sum of old minus new reading.

        A change at c belongs to the step with previous <= c < reading: a row stamped at c is still the old meter's.
        """
        if not len(self.at_us):
            return np.zeros(len(at_us))
        total = np.concatenate(([0.0], np.cumsum(self.old_read_h - self.new_read_h)))
        return total[np.searchsorted(self.at_us, at_us, side="left")]


class ActiveTime(NamedTuple):
    """Time that an engine can run in: everything outside its lay-ups."""

    spans_us: tuple[tuple[int, int], ...] = ()

    def at(self, at_us: Instants) -> Floats:
        """Return active time at each instant, in microseconds from an arbitrary zero; grows with time everywhere."""
        active = at_us.astype(np.float64)
        for start, end in self.spans_us:
            active -= (np.clip(at_us, start, end) - start) * (1.0 - LAID_UP_WEIGHT)
        return active

    def between_us(self, start_us: int, end_us: int) -> int:
        """Return the time of a span outside all lay-ups."""
        laid_up = sum(max(0, min(end_us, end) - max(start_us, start)) for start, end in self.spans_us)
        return end_us - start_us - laid_up


class Placed(NamedTuple):
    """Where the hours of a course lie, known more closely than between two readings: rows of load show when the engine ran.

    Attributes:
        at_us: the readings' instants, and between them the borders of the spans in which it ran.
        hours_h: running hours since the first reading at each of them.
        shows: of each span between two of them 1 where rows show it running, 0 where the meter has no more than it may be off, else NaN.
    """

    at_us: Instants
    hours_h: Floats
    shows: Floats

    def shows_at(self, at_us: Instants) -> Floats:
        """Return what is shown from each instant on; NaN outside of all spans."""
        place = self.at_us.searchsorted(at_us, side="right") - 1
        inside = (place >= 0) & (place < len(self.shows))
        shows: Floats = np.where(inside, self.shows.take(place, mode="clip"), np.nan)
        return shows


class Course(NamedTuple):
    """Bridged running hours of one engine along its readings.

    Attributes:
        at_us: instants of the readings that stand, UTC microseconds; empty where no meter shows it.
        hours_h: running hours since the first of them.
        reading_h: what the meter showed there.
        doubtful: whether the step that ends at the reading was bridged against the meter.
        changes: registered meter changes.
        active: time outside lay-ups, by which a step's hours are shared out.
        resolution_h: how finely each reading shows; none where that is not asked.
        placed: where a step's hours lie, if they are not spread over all of it.
    """

    at_us: Instants
    hours_h: Floats
    reading_h: Floats
    doubtful: NDArray[np.bool_]
    changes: Changes
    active: ActiveTime = ActiveTime()
    resolution_h: Floats | None = None
    placed: Placed | None = None

    @property
    def line(self) -> tuple[Instants, Floats]:
        """Instants between which the hours run evenly, and the hours at each."""
        return (self.at_us, self.hours_h) if self.placed is None else (self.placed.at_us, self.placed.hours_h)

    def resolutions_at(self, at_us: Instants) -> Floats:
        """Return how finely the meter shows around each instant: the coarser of the readings before and after it; infinity after all."""
        if not self.is_known:
            return np.zeros(len(at_us))
        resolution_h: Floats = np.zeros(len(at_us))
        if self.resolution_h is not None:
            after = self.at_us.searchsorted(at_us, side="right")
            resolution_h = np.maximum(self.resolution_h.take(after - 1, mode="clip"), self.resolution_h.take(after, mode="clip"))
        return np.where(at_us >= self.at_us[-1], np.inf, resolution_h)

    @property
    def is_known(self) -> bool:
        """Whether any reading stands."""
        return len(self.at_us) > 0

    @property
    def known_from_us(self) -> int:
        """The first reading's instant."""
        return int(self.at_us[0])

    @property
    def known_to_us(self) -> int:
        """The last reading's instant."""
        return int(self.at_us[-1])

    def hours_at(self, at_us: Instants) -> Floats:
        """Return bridged hours at each instant; NaN before the first reading, constant after the last."""
        if not self.is_known:
            return np.full(len(at_us), np.nan)
        line_us, line_h = self.line
        if self.active.spans_us:
            hours = np.interp(self.active.at(at_us), self.active.at(line_us), line_h)
        else:
            hours = np.interp(at_us, line_us, line_h)
        hours[at_us < self.at_us[0]] = np.nan
        return hours

    def hours_at_one(self, at_us: int) -> float | None:
        """Return bridged hours at one instant, or None before the first reading."""
        value = float(self.hours_at(np.array([at_us], dtype=np.int64))[0])
        return None if np.isnan(value) else value

    def meters_at(self, at_us: Instants) -> Floats:
        """Return what the meter showed at each instant; NaN before the first reading."""
        hours = self.hours_at(at_us)
        if not self.is_known:
            return hours
        index = np.maximum(np.searchsorted(self.at_us, at_us, side="right") - 1, 0)
        anchor_h, anchored_h = self.reading_h[index], self.hours_h[index]
        if len(self.changes.at_us):
            # a row stamped at a change is still the old meter's
            changed = np.searchsorted(self.changes.at_us, at_us, side="left") - 1
            counts = (changed >= 0) & (self.changes.at_us[changed] >= self.at_us[index])
            anchor_h = np.where(counts, self.changes.new_read_h[changed], anchor_h)
            anchored_h = np.where(counts, self.hours_at(self.changes.at_us)[changed], anchored_h)
        return anchor_h + hours - anchored_h

    def meter_at(self, at_us: int) -> float | None:
        """Return what the meter showed at one instant, or None before the first reading."""
        value = float(self.meters_at(np.array([at_us], dtype=np.int64))[0])
        return None if np.isnan(value) else value

    def with_readings(
        self,
        places: Sequence[int],
        at_us: Instants,
        hours_h: Sequence[float],
        reading_h: Sequence[float],
        resolution_h: Sequence[float],
    ) -> Course:
        """Return the course with more readings in it, which leave the hours between those that it has as they are.

        Args:
            places: index of the reading that each of them stands before, rising.
            at_us: their instants, rising.
            hours_h: running hours of the course at each, below zero before its first reading.
            reading_h: what the meter showed at each.
            resolution_h: how finely each shows.
        """
        hours = np.insert(self.hours_h, places, hours_h)
        return self._replace(
            resolution_h=None if self.resolution_h is None else np.insert(self.resolution_h, places, resolution_h),
            at_us=np.insert(self.at_us, places, at_us),
            hours_h=hours - hours[0] if hours[0] else hours,
            reading_h=np.insert(self.reading_h, places, reading_h),
            doubtful=np.insert(self.doubtful, places, self.doubtful[list(places)]),
        )

    def instant_past(self, hours_h: float) -> int | None:
        """Return when the bridged hours went past a figure, lay-ups left out of a step's even run; None where they did not."""
        line_us, line_h = self.line
        index = int(np.searchsorted(line_h, hours_h + ROUNDING_H / 2, side="right"))
        if index >= len(line_h):
            return None
        if index == 0:
            return int(line_us[0])
        start_us, end_us = int(line_us[index - 1]), int(line_us[index])
        bounds = [at for span in self.active.spans_us for at in span if start_us < at < end_us]
        nodes = np.array(sorted({start_us, *bounds, end_us}), dtype=np.int64)
        # what a lay-up weighs in sharing out is no running
        return round(float(np.interp(hours_h, np.round(self.hours_at(nodes), 6), nodes)))

    def first_reaching_us(self, start_us: int, end_us: int, reading_h: float) -> int | None:
        """Return the first instant of a span at which the meter showed a reading, or None where it did not."""
        if not self.is_known or end_us <= self.known_from_us or start_us > self.known_to_us:
            return None
        line_us, _ = self.line
        inner = line_us[(line_us > start_us) & (line_us < end_us)].tolist()
        changed = self.changes.at_us[(self.changes.at_us >= start_us) & (self.changes.at_us < end_us)].tolist()
        points = sorted({max(start_us, self.known_from_us), *inner, *changed, *(at + 1 for at in changed), min(end_us, self.known_to_us)})
        before_us, before_h = int(points[0]), self.meter_at(points[0])
        if before_h is not None and abs(before_h - reading_h) <= ROUNDING_H:
            return before_us
        for point in points[1:]:
            after_h = self.meter_at(point)
            if before_h is not None and after_h is not None and before_h < reading_h <= after_h + ROUNDING_H:
                share = min(1.0, (reading_h - before_h) / (after_h - before_h)) if after_h > before_h else 1.0
                at_us = int(before_us + round((point - before_us) * share))
                return at_us if at_us < end_us else None
            before_us, before_h = point, after_h
        return None
