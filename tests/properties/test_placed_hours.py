"""Hours placed in rows of load: whatever the runs and the meter, its hours are kept, and no row holds more than its own time."""

from __future__ import annotations

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from intervals.local_days import HOUR_US
from intervals.usage.engine_blocks import BlockOfEngine, QuantityRows
from intervals.usage.load_rows import join_shown, read_load_rows
from intervals.usage.meter.meter_course import ActiveTime, Changes, Course
from intervals.usage.meter.meter_steps import follow_meter
from intervals.usage.placed_hours import place_hours

MINUTE_US = HOUR_US // 60
WEEK_MIN = 7 * 24 * 60
# start in the week, minutes, minutes a row, whether each row is one of load
RUNS = st.lists(st.tuples(st.integers(0, 4 * WEEK_MIN), st.integers(1, 30), st.booleans()), min_size=1, max_size=12)
READINGS = st.lists(st.tuples(st.integers(60, WEEK_MIN), st.floats(0, 1)), min_size=1, max_size=8)


def load_block(runs: list[tuple[int, int, bool]], every_min: int) -> BlockOfEngine:
    """Return the rows of runs, each once."""
    rows = {start + every_min * (number + 1): loaded for start, count, loaded in runs for number in range(count)}
    at_us = np.array(sorted(rows), dtype=np.int64) * MINUTE_US
    load_kw = np.array([200.0 if rows[at] else 0.0 for at in sorted(rows)])
    return BlockOfEngine(at_us, True, 36 * HOUR_US, {"load_kw": QuantityRows("level", load_kw)}, lambda row: ("load.csv", row + 2))


def course_of(readings: list[tuple[int, float]], resolution_h: float) -> Course:
    """Return the course of a meter that ran a share of the time up to each reading."""
    at_min, hours = [0], [0.0]
    for elapsed_min, share in readings:
        at_min.append(at_min[-1] + elapsed_min)
        hours.append(hours[-1] + elapsed_min / 60 * share)
    shown = np.floor(np.array(hours) / resolution_h) * resolution_h if resolution_h else np.array(hours)
    at_us = np.array(at_min, dtype=np.int64) * MINUTE_US
    return follow_meter(at_us, shown, Changes.of([]), None, ActiveTime(), np.full(len(at_us), resolution_h))[0]


@given(RUNS, READINGS, st.sampled_from([1, 5, 10, 60]), st.sampled_from([0.0, 0.01, 0.1, 1.0]))
@example([(0, 2, False)], [(60, 1.0), (60, 1.0)], 1, 1.0)
def test_the_hours_of_each_step_are_kept_and_lie_in_its_rows_first(
    runs: list[tuple[int, int, bool]], readings: list[tuple[int, float]], every_min: int, resolution_h: float
) -> None:
    """The meter's hours between two readings stay; they never run faster than time, and rows of load are full before others hold any."""
    course = course_of(readings, resolution_h)
    rows = read_load_rows(load_block(runs, every_min), course, 400.0, None)
    assert rows is not None
    placed, _ = place_hours(course, join_shown([rows]))
    at_us, hours_h = placed.line
    ran_h, elapsed_h = np.diff(hours_h), np.diff(at_us) / HOUR_US
    assert (ran_h >= -1e-9).all()
    assert hours_h[-1] == course.hours_h[-1]
    fastest = np.max(np.diff(course.hours_h) / (np.diff(course.at_us) / HOUR_US))
    assert (ran_h <= elapsed_h * max(1.0, fastest) + 1e-6).all()
    # a partition at any instants adds up to the whole
    cuts = np.linspace(course.known_from_us, course.known_to_us, 17).astype(np.int64)
    assert abs(np.diff(placed.hours_at(cuts)).sum() - course.hours_h[-1]) < 1e-6


@given(RUNS, RUNS, READINGS)
def test_the_order_of_blocks_decides_nothing(
    first: list[tuple[int, int, bool]], second: list[tuple[int, int, bool]], readings: list[tuple[int, float]]
) -> None:
    """Two blocks of load, in either order."""
    course = course_of(readings, 0.1)
    rows = [read_load_rows(load_block(runs, every_min), course, 400.0, None) for runs, every_min in ((first, 10), (second, 15))]
    told = [each for each in rows if each is not None]
    one, other = place_hours(course, join_shown(told))[0], place_hours(course, join_shown(told[::-1]))[0]
    assert np.array_equal(one.line[0], other.line[0])
    assert np.array_equal(one.line[1], other.line[1])
