"""The course of one engine's meter through its log and through the service records where the log is silent.

In: the readings of the log, those of records. Out: the course, and the faults of both. The log's course is built first. Between rows that
fit each other a record counts as far as it fits them; after the last row, and between rows that do not fit, it is a reading among others.
Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from intervals.faults import Fault
from intervals.usage.log_faults import LogFaults
from intervals.usage.meter.meter_course import ActiveTime, Changes, Course
from intervals.usage.meter.meter_steps import OddStep, follow_meter
from intervals.usage.meter_readings import MeterReadings, Part, gather_meter_readings
from intervals.usage.rounded_apart import agree_on_rounding, level_rounding, level_whole_hours
from intervals.usage.typed_readings import LeftOut, Typed, TypedReadings


def build_course(
    parts: Sequence[Part], typed: Sequence[Typed], changes: Changes, active: ActiveTime, log_faults: LogFaults
) -> tuple[Course, list[Fault]]:
    """Return the course of a meter, and what is wrong with its readings.

    Args:
        parts: the readings of the log.
        typed: the readings of records where it is silent, in order of time, of reading and of line.
        changes: registered changes of the meter.
        active: time outside lay-ups.
        log_faults: names what is wrong.
    """
    turn_h = log_faults.engine.meter_rolls_over_at_h
    agreed = agree_on_rounding(parts, changes) if len(parts) > 1 else parts

    def follow(beside: Sequence[Typed]) -> tuple[MeterReadings, Course, list[OddStep]]:
        meter = level_rounding(gather_meter_readings(agreed, beside, changes, turn_h), changes)
        meter = level_whole_hours(meter, changes, turn_h)
        return meter, *follow_meter(meter.at_us, meter.reading_h, changes, turn_h, active, meter.resolution_h)

    last_us = max((int(part.at_us[-1]) for part in parts), default=None)

    def is_after(one: Typed) -> bool:
        return last_us is None or one.at_us > last_us or (turn_h is not None and one.reading_h >= turn_h)

    beside = [one for one in typed if is_after(one)]
    meter, course, odd = follow(beside)
    left_out: list[LeftOut] = []
    if len(beside) < len(typed):
        log = TypedReadings(course, turn_h, log_faults.days)
        is_beside = [is_after(one) or log.stands_apart(one) for one in typed]
        if sum(is_beside) > len(beside):
            meter, course, odd = follow([one for one, is_one in zip(typed, is_beside, strict=True) if is_one])
            log = log._replace(course=course)
        course, left_out = log.placed([one for one, is_one in zip(typed, is_beside, strict=True) if not is_one])
    faults = [log_faults.contradiction(meter, found) for found in meter.contradictions]
    faults += [log_faults.beyond_meter(meter, found) for found in meter.beyond]
    faults += [log_faults.odd_step(meter, step) for step in odd]
    faults += [log_faults.left_out(found) for found in left_out]
    return course, faults
