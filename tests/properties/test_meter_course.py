"""The course of a meter against a plain walk through its readings, one after the other, as the rule is written.

The step is reading minus previous reading plus what changes took off; a step back is tried as a roll-over first; a reading fits
another if it is not back and not faster than time (1 % and 0.1 h allowed); one that does not fit, while the next fits the one before,
is left out; else a step back counts nothing and a step too fast the time elapsed. What service records say in the silences of a log
never changes what its rows say.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.faults import Fault
from intervals.local_days import LocalDays
from intervals.readings import ServiceRecord
from intervals.site.model import Engine
from intervals.usage.build_course import build_course
from intervals.usage.engine_blocks import BlockOfEngine, QuantityRows
from intervals.usage.log_faults import LogFaults
from intervals.usage.meter.meter_course import ActiveTime, Changes, Course
from intervals.usage.meter.meter_steps import follow_meter
from intervals.usage.meter.resolution import Gap
from intervals.usage.meter_readings import METER, parts_of_log
from intervals.usage.typed_readings import typed_in_silence
from tests.properties.bounded import bounded

HOUR_US = 3_600_000_000


@dataclass(frozen=True)
class Noted:
    """A meter's book: whole hours of reading, whole readings, changes (hour, old, new), the roll-over."""

    hours: tuple[int, ...]
    readings: tuple[int, ...]
    changes: tuple[tuple[int, int, int], ...]
    rolls_over_at: int | None


@st.composite
def noted(draw: st.DrawFn) -> Noted:
    """Return readings of a meter that runs, is changed, rolls over, and is now and then typed wrong."""
    rolls_over_at = draw(st.none() | st.sampled_from([100, 1000, 9999]))
    gaps = draw(st.lists(st.integers(1, 48), min_size=1, max_size=14))
    hours, readings, changes = [0], [draw(st.integers(0, 99))], []
    shown = readings[0]
    for gap in gaps:
        start = hours[-1]
        if draw(st.integers(0, 9)) == 0:
            new = draw(st.integers(0, 50))
            changes.append((start + draw(st.integers(0, gap - 1)), shown, new))
            shown = new
        shown += draw(st.integers(0, gap))
        if rolls_over_at is not None:
            shown %= rolls_over_at
        slip = draw(st.sampled_from([0, 0, 0, 0, 0, 90, -20, 1000, 3]))
        hours.append(start + gap)
        readings.append(max(0, shown + slip))
        if slip and draw(st.booleans()):
            shown = readings[-1]
    return Noted(tuple(hours), tuple(readings), tuple({at: (at, old, new) for at, old, new in changes}.values()), rolls_over_at)


def walk(book: Noted) -> tuple[list[int], list[Fraction], list[tuple[int, str]]]:
    """Return the readings that stand, the hours of the steps between them, and what did not follow."""

    def step(before: int, after: int) -> Fraction:
        taken_off = sum(old - new for at, old, new in book.changes if book.hours[before] <= at < book.hours[after])
        hours = Fraction(book.readings[after] - book.readings[before] + taken_off)
        return hours + book.rolls_over_at if hours < 0 and book.rolls_over_at is not None else hours

    def went_back(before: int, after: int) -> bool:
        taken_off = sum(old - new for at, old, new in book.changes if book.hours[before] <= at < book.hours[after])
        return book.readings[after] - book.readings[before] + taken_off < 0

    def fits(before: int, after: int) -> bool:
        return 0 <= step(before, after) <= Fraction(book.hours[after] - book.hours[before]) * Fraction(101, 100) + Fraction(1, 10)

    kept, steps, odd = [0], [], []
    index = 1
    while index < len(book.hours):
        before = kept[-1]
        if fits(before, index):
            kept.append(index)
            steps.append(step(before, index))
        elif index + 1 < len(book.hours) and fits(before, index + 1):
            odd.append((index, "meter_reading_odd"))
            kept.append(index + 1)
            steps.append(step(before, index + 1))
            index += 1
        else:
            is_back = went_back(before, index)
            odd.append((index, "meter_went_back" if is_back else "meter_ran_fast"))
            kept.append(index)
            steps.append(Fraction(0) if is_back else Fraction(book.hours[index] - book.hours[before]))
        index += 1
    return kept, steps, odd


@bounded(300)
@given(noted())
def test_a_course_is_that_of_a_plain_walk(book: Noted) -> None:
    """The same readings stand, with the same hours between them and the same faults."""
    at_us = np.array(book.hours, dtype=np.int64) * HOUR_US
    changes = Changes.of([(at * HOUR_US, float(old), float(new)) for at, old, new in book.changes])
    rolls_over_at_h = None if book.rolls_over_at is None else float(book.rolls_over_at)
    course, odd = follow_meter(at_us, np.array(book.readings, dtype=np.float64), changes, rolls_over_at_h, ActiveTime())
    kept, steps, expected_odd = walk(book)
    assert course.at_us.tolist() == [book.hours[index] * HOUR_US for index in kept]
    assert np.diff(course.hours_h).tolist() == pytest.approx([float(step) for step in steps], abs=1e-9)
    assert [(one.index, one.kind) for one in odd] == expected_odd
    doubted = {index for index, kind in expected_odd if kind != "meter_reading_odd"}
    assert [bool(doubt) for doubt in course.doubtful] == [index in doubted for index in kept]


@bounded(200)
@given(noted(), st.integers(0, 400), st.integers(0, 400))
def test_hours_only_rise(book: Noted, early: int, late: int) -> None:
    """Later is never fewer hours, whatever the meter showed."""
    at_us = np.array(book.hours, dtype=np.int64) * HOUR_US
    changes = Changes.of([(at * HOUR_US, float(old), float(new)) for at, old, new in book.changes])
    course, _ = follow_meter(at_us, np.array(book.readings, dtype=np.float64), changes, None, ActiveTime())
    first, second = sorted((early, late))
    hours = course.hours_at(np.array([first, second], dtype=np.int64) * HOUR_US)
    assert hours[0] <= hours[1] + 1e-12


@bounded(200)
@given(noted(), st.data())
def test_the_meter_shows_its_readings(book: Noted, data: st.DataObject) -> None:
    """At the time of a reading that stands the course shows that reading (a row at a change is still the old meter's)."""
    at_us = np.array(book.hours, dtype=np.int64) * HOUR_US
    changes = Changes.of([(at * HOUR_US, float(old), float(new)) for at, old, new in book.changes])
    course, _ = follow_meter(at_us, np.array(book.readings, dtype=np.float64), changes, None, ActiveTime())
    index = data.draw(st.integers(0, len(course.at_us) - 1))
    assert course.meter_at(int(course.at_us[index])) == pytest.approx(float(course.reading_h[index]), abs=1e-9)


def follow_with_records(book: Noted, records: list[ServiceRecord], silences: list[Gap]) -> tuple[Course, list[Fault]]:
    """Return the course of a log with service records in its silences, and the faults of both."""
    at_us = np.array(book.hours, dtype=np.int64) * HOUR_US
    rolls_over_at = None if book.rolls_over_at is None else float(book.rolls_over_at)
    engine = Engine.model_validate({"id": "G1", "meter_rolls_over_at_h": rolls_over_at})
    values = np.array(book.readings, dtype=np.float64)
    meter = {METER: QuantityRows("counter", values, None, False)}
    blocks = [BlockOfEngine(at_us, True, HOUR_US, meter, lambda row: ("log.csv", row + 2))]
    days = LocalDays(ZoneInfo("UTC"), int(at_us[0]), int(at_us[-1]))
    changes = Changes.of([(at * HOUR_US, float(old), float(new)) for at, old, new in book.changes])
    typed = typed_in_silence(records, at_us, silences, days)
    return build_course(parts_of_log(blocks, engine, None), typed, changes, ActiveTime(), LogFaults(engine, blocks, days))


def record(at_us: int, reading_h: float, line: int, *, has_time: bool) -> ServiceRecord:
    """Return a record with a meter reading, at an instant or on its day."""
    on = None if has_time else datetime.fromtimestamp(at_us / 1_000_000, tz=UTC).date()
    return ServiceRecord(
        engine="G1", task="oil", at_us=at_us if has_time else None, on=on, hour_meter_h=reading_h, outcome="done", until_h=None,
        until_date=None, approved_by="", done_by="", note="", ref="", file="services.csv", line=line,
    )  # fmt: skip


@bounded(300)
@given(noted(), st.data())
def test_a_record_never_spoils_rows_that_fit_one_another(book: Noted, data: st.DataObject) -> None:
    """Any records between rows that fit: the rows keep their hours to the bit and their faults, and hours rise from reading to reading."""
    alone, faults_alone = follow_with_records(book, [], [])
    fitting = [index for index in range(1, len(alone.at_us)) if not alone.doubtful[index]]
    silences = [Gap(int(alone.at_us[index - 1]), int(alone.at_us[index])) for index in fitting]
    records = []
    for line in range(2, 2 + data.draw(st.integers(1, 6))) if silences else ():
        silence = data.draw(st.sampled_from(silences))
        at_us = data.draw(st.integers(silence.start_us // HOUR_US * 60 + 1, silence.end_us // HOUR_US * 60 - 1)) * HOUR_US // 60
        near = float(alone.meters_at(np.array([at_us], dtype=np.int64))[0])
        slip = data.draw(st.sampled_from([0.0, 0.0, -0.5, 0.5, 1.0, -7.0, 30.0, 900.0]))
        shown = round(max(0.0, near + slip), data.draw(st.sampled_from([0, 1])))
        noon_us = (at_us // (24 * HOUR_US) * 24 + 12) * HOUR_US
        is_quiet_at_noon = any(gap.start_us < noon_us < gap.end_us for gap in silences)
        records.append(record(at_us, shown, line, has_time=not is_quiet_at_noon or data.draw(st.booleans())))
    course, faults = follow_with_records(book, records, silences)
    assert course.hours_at(alone.at_us).tolist() == alone.hours_h.tolist()
    assert [fault for fault in faults if fault.file == "log.csv"] == faults_alone
    assert (np.diff(course.hours_h) >= 0).all()
    assert (np.diff(course.at_us) > 0).all()


@bounded(200)
@given(noted(), st.data())
def test_records_that_fit_count(book: Noted, data: st.DataObject) -> None:
    """What the meter showed at an instant of a silence, typed to the tenth, is no fault, and is what it shows there now."""
    alone, faults_alone = follow_with_records(book, [], [])
    fitting = [index for index in range(1, len(alone.at_us)) if not alone.doubtful[index]]
    if not fitting or book.changes or book.rolls_over_at is not None:
        return
    index = data.draw(st.sampled_from(fitting))
    silence = Gap(int(alone.at_us[index - 1]), int(alone.at_us[index]))
    at_us = (silence.start_us + silence.end_us) // 2
    shown = (float(alone.reading_h[index - 1]) + float(alone.reading_h[index])) / 2
    course, faults = follow_with_records(book, [record(at_us, shown, 2, has_time=True)], [silence])
    assert faults == faults_alone
    assert course.at_us.tolist() == sorted([*alone.at_us.tolist(), at_us])
    assert course.meter_at(at_us) == shown
