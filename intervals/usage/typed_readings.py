"""Meter readings that service records give where the log is silent, placed between those of the log.

In: service records, the silences of the log, the course of its meter. Out: the course with these readings in it, and those that are left
out. Rows go before records: what is placed here never changes the hours from one row to another. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

import numpy as np

from intervals.arrays import Instants
from intervals.local_days import LocalDays
from intervals.readings import ServiceRecord
from intervals.usage.meter.meter_course import ROUNDING_H, Course
from intervals.usage.meter.meter_steps import fastest_h
from intervals.usage.meter.resolution import DECIMALS, WHOLE_HOUR_H, Gap, contradict


class Typed(NamedTuple):
    """A meter reading of a service record; its instant is noon where the record gives a date alone."""

    at_us: int
    reading_h: float
    record: ServiceRecord


class LeftOut(NamedTuple):
    """A reading of a record that does not count.

    Attributes:
        typed: the reading.
        before_h: the log's reading before it, or None where it stands before the first.
        after_h: the log's reading after it, or the one of the same instant.
        is_at_once: whether that is of the same instant.
    """

    typed: Typed
    before_h: float | None
    after_h: float
    is_at_once: bool = False


class _Point(NamedTuple):
    """Running hours of a course at an instant."""

    at_us: int
    hours_h: float


class _Span(NamedTuple):
    """The time between two readings of a log that fit each other; without a start it is all time before the first."""

    start: _Point | None
    end: _Point

    def place(self, hours_h: Sequence[float], at_us: int, *, is_whole: bool, after: _Point | None = None) -> float | None:
        """Return the hours of a reading as they fit both ends and an earlier reading, levelled within rounding; None where they do not.

        People leave the decimals of a meter out, or round them up: 1,000 h between 1,000.6 h and 1,004 h is no step back.

        Args:
            hours_h: what they may be: a meter may have started again at zero.
            at_us: the instant of the reading.
            is_whole: whether it was typed in whole hours.
            after: a reading to follow, by default the start.
        """
        start = after or self.start
        low, high = self.end.hours_h - fastest_h(at_us, self.end.at_us), self.end.hours_h
        if start is not None:
            low, high = max(low, start.hours_h), min(high, start.hours_h + fastest_h(start.at_us, at_us))
        levelled = [(abs(min(max(hours, low), high) - hours), min(max(hours, low), high)) for hours in hours_h]
        apart_h, placed_h = min(levelled)
        fits = apart_h <= ROUNDING_H or (is_whole and round(apart_h, DECIMALS) < WHOLE_HOUR_H)
        return placed_h if fits else None


def typed_in_silence(records: Sequence[ServiceRecord], rows: Instants, silences: Sequence[Gap], days: LocalDays) -> list[Typed]:
    """Return the readings of records that count as readings, in order of time, of reading and of line.

    Args:
        records: the engine's service records.
        rows: instants of its rows with a meter reading, rising.
        silences: the silences between rows.
        days: the site's local days.
    """
    return sorted(_in_silence(records, rows, silences, days), key=lambda one: (*one[:2], one.record.file, one.record.line))


def _in_silence(records: Sequence[ServiceRecord], rows: Instants, silences: Sequence[Gap], days: LocalDays) -> Iterator[Typed]:
    """Yield the records that stand before the first row, in a silence or after the last row."""
    first_us, last_us = (int(rows[0]), int(rows[-1])) if len(rows) else (0, -1)
    for record in records:
        stated_us = record.at_us
        if stated_us is not None and not silences and first_us <= stated_us <= last_us:
            continue
        if record.hour_meter_h is None or record.outcome == "void":
            continue
        at_us = stated_us if stated_us is not None else days.noon_us(record.on) if record.on else None
        if at_us is None:
            continue
        if not first_us <= at_us <= last_us or any(gap.start_us < at_us < gap.end_us for gap in silences):
            yield Typed(at_us, record.hour_meter_h, record)


class TypedReadings(NamedTuple):
    """Places the readings of records in the course of a log.

    Attributes:
        course: the course of the log.
        rolls_over_at_h: reading at which the meter starts again at zero, or None.
        days: the site's local days.
    """

    course: Course
    rolls_over_at_h: float | None
    days: LocalDays

    def stands_apart(self, typed: Typed) -> bool:
        """Tell whether the log's readings on either side of a record do not fit each other, so that it is one more reading among them."""
        after = int(self.course.at_us.searchsorted(typed.at_us))
        if after < len(self.course.at_us) and int(self.course.at_us[after]) == typed.at_us:
            return False
        after = max(1, after)
        return after >= len(self.course.at_us) or bool(self.course.doubtful[after])

    def placed(self, typed: Sequence[Typed]) -> tuple[Course, list[LeftOut]]:
        """Return the course with the readings that fit, and those that do not.

        Args:
            typed: readings in order of time, none after the course's last.
        """
        places = self.course.at_us.searchsorted(np.array([one.at_us for one in typed], dtype=np.int64))
        points: list[tuple[int, Typed, float]] = []
        left_out: list[LeftOut] = []
        for place, of_place in groupby(zip(places.tolist(), typed, strict=True), key=itemgetter(0)):
            here = [one for _, one in of_place]
            between = [one for one in here if one.at_us != int(self.course.at_us[place])]
            chain = self._chain(between, self._span(place), place)
            points += [(place, between[index], hours_h) for index, hours_h in chain]
            counted_h = {between[index].at_us: between[index].reading_h for index, _ in chain}
            counted_h[int(self.course.at_us[place])] = float(self.course.reading_h[place])
            left_out += [
                self._left_out(one, place)
                for one in here
                if not self._agrees(one, counted_h.get(one.at_us)) and not self._is_of_another_hour(one, place)
            ]
        return self._with(points), left_out

    def _span(self, place: int) -> _Span:
        """Return the time between a reading of the course and the one before it."""
        start = self._point(place - 1) if place else None
        return _Span(start, self._point(place))

    def _point(self, index: int) -> _Point:
        """Return a reading of the course."""
        return _Point(int(self.course.at_us[index]), float(self.course.hours_h[index]))

    def _hours(self, one: Typed, place: int) -> tuple[float, ...]:
        """Return the hours of the course at which its meter showed a reading, across changes and where it started again at zero."""
        anchor = max(0, place - 1)
        before_h, after_h = self.course.changes.bridged_before(np.array([self.course.at_us[anchor], one.at_us], dtype=np.int64)).tolist()
        hours_h = float(self.course.hours_h[anchor]) + one.reading_h + after_h - float(self.course.reading_h[anchor]) - before_h
        turn_h = self.rolls_over_at_h
        return (hours_h,) if turn_h is None else (hours_h, hours_h + turn_h, hours_h - turn_h)

    def _chain(self, typed: Sequence[Typed], span: _Span, place: int) -> list[tuple[int, float]]:
        """Return which readings of a span stand, as many as follow from one another, and their hours.

        Noon of a day is a guess and weighs less than any reading with its time.
        """
        best: list[tuple[int, float, int] | None] = []
        most: list[int] = [0]
        for index, one in enumerate(typed):
            hours_h, is_whole = self._hours(one, place), one.reading_h.is_integer()
            weight = 1 if one.record.at_us is None else len(typed) + 1
            placed_h = span.place(hours_h, one.at_us, is_whole=is_whole)
            found = None if placed_h is None else (weight, placed_h, -1)
            for earlier in range(index - 1, -1, -1):
                if found is None or most[earlier + 1] + weight <= found[0]:
                    break
                before = best[earlier]
                if before is None or before[0] + weight <= found[0] or typed[earlier].at_us == one.at_us:
                    continue
                placed_h = span.place(hours_h, one.at_us, is_whole=is_whole, after=_Point(typed[earlier].at_us, before[1]))
                if placed_h is not None:
                    found = (before[0] + weight, placed_h, earlier)
            best.append(found)
            most.append(max(most[-1], found[0] if found else 0))
        chain: list[tuple[int, float]] = []
        last = next((index for index, found in enumerate(best) if found and found[0] == most[-1]), -1)
        while last >= 0 and (link := best[last]) is not None:
            chain.append((last, link[1]))
            last = link[2]
        return chain[::-1]

    def _with(self, points: Sequence[tuple[int, Typed, float]]) -> Course:
        """Return the course with readings in it."""
        if not points:
            return self.course
        shown = []
        for place, one, hours_h in points:
            shown_h = one.reading_h + min((hours_h - maybe_h for maybe_h in self._hours(one, place)), key=abs)
            shown.append(shown_h if self.rolls_over_at_h is None else shown_h % self.rolls_over_at_h)
        at_us = np.array([one.at_us for _, one, _ in points], dtype=np.int64)
        resolutions = [WHOLE_HOUR_H if one.reading_h.is_integer() else 0.0 for _, one, _ in points]
        return self.course.with_readings(
            [place for place, _, _ in points], at_us, [placed_h for _, _, placed_h in points], shown, resolutions
        )

    def _agrees(self, one: Typed, counted_h: float | None) -> bool:
        """Tell whether a record shows the reading that counts at its instant, or does not contradict it."""
        if counted_h is None:
            return False
        at_us, shown, counted = np.array([one.at_us], dtype=np.int64), np.array([one.reading_h]), np.array([counted_h])
        return not contradict(at_us, counted, shown, self.course.changes, self.rolls_over_at_h)[0]

    def _is_of_another_hour(self, one: Typed, place: int) -> bool:
        """Tell whether a record gives a date alone and the meter may have shown its reading at some other time of that day."""
        if one.record.on is None or one.record.at_us is not None:
            return False
        first_us, last_us = (self.days.midnight_us(one.record.on + timedelta(days=day)) for day in (0, 1))
        slack_h = WHOLE_HOUR_H if one.reading_h.is_integer() else ROUNDING_H
        low_h, high_h = self._least_h(first_us) - slack_h, self._most_h(last_us) + slack_h
        return any(low_h < hours_h < high_h for hours_h in self._hours(one, place))

    def _least_h(self, at_us: int) -> float:
        """Return the least hours that the log's readings allow at an instant."""
        after = int(self.course.at_us.searchsorted(at_us))
        reached_h = float(self.course.hours_h[after - 1]) if after else -np.inf
        if after == len(self.course.at_us):
            return reached_h
        return max(reached_h, float(self.course.hours_h[after]) - fastest_h(at_us, int(self.course.at_us[after])))

    def _most_h(self, at_us: int) -> float:
        """Return the most hours that the log's readings allow at an instant."""
        after = int(self.course.at_us.searchsorted(at_us))
        reached_h = float(self.course.hours_h[after]) if after < len(self.course.at_us) else np.inf
        if not after:
            return reached_h
        return min(reached_h, float(self.course.hours_h[after - 1]) + fastest_h(int(self.course.at_us[after - 1]), at_us))

    def _left_out(self, one: Typed, place: int) -> LeftOut:
        """Return a reading as one that does not count."""
        before_h = float(self.course.reading_h[place - 1]) if place else None
        return LeftOut(one, before_h, float(self.course.reading_h[place]), one.at_us == int(self.course.at_us[place]))
