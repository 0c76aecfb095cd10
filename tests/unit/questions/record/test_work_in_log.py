"""What an hour meter's course tells of the time of a job: worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from intervals.local_days import HOUR_US
from intervals.questions.record.work_in_log import meter_off_h, surely_ran_min
from intervals.usage.meter.meter_course import Changes, Course, Placed

ROWS_H = (0.0, 1.0, 2.0, 3.0, 4.0)
SHOWN_H = (100.0, 101.0, 101.5, 101.5, 102.5)


def course(resolution_h: float = 0.0, placed: Placed | None = None) -> Course:
    """Return a course of five hourly readings: an hour, half an hour, nothing, an hour."""
    shown = np.array(SHOWN_H)
    nothing = Changes.of([])
    return Course(
        us(*ROWS_H), shown - shown[0], shown, np.zeros(5, dtype=bool), nothing, resolution_h=np.full(5, resolution_h), placed=placed
    )


def us(*hours: float) -> np.ndarray:
    """Return instants so many hours from the first reading, in microseconds."""
    return np.array([round(each * HOUR_US) for each in hours], dtype=np.int64)


@pytest.mark.parametrize(
    ("from_h", "to_h", "ran_min"),
    [
        (0.0, 1.0, 60.0),
        (0.25, 0.75, 30.0),
        # half an hour of the second row may lie in the half that is outside
        (1.0, 1.5, 0.0),
        (1.0, 1.75, 15.0),
        (0.5, 1.75, 45.0),
        (2.0, 3.0, 0.0),
        # after the last reading nothing is known to have run
        (3.5, 9.0, 30.0),
    ],
)
def test_what_does_not_fit_outside_ran_inside(from_h: float, to_h: float, ran_min: float) -> None:
    """Of each row so much as can be lies outside of the span."""
    first, last = us(from_h, to_h).tolist()
    assert surely_ran_min(course(), first, last) == pytest.approx(ran_min)


def test_the_meter_s_resolution_is_taken_off_once() -> None:
    """A meter in whole hours may be an hour off over any span."""
    first, last = us(0.0, 4.0).tolist()
    assert surely_ran_min(course(resolution_h=1.0), first, last) == pytest.approx(90.0)


def test_rows_of_load_leave_no_doubt() -> None:
    """They show it running from the first reading to half past: 30 min, whatever the meter's resolution."""
    placed = Placed(us(0.0, 0.5, 1.0, 4.0), np.array([0.0, 0.5, 1.0, 2.5]), np.array([1.0, np.nan, np.nan]))
    first, last = us(0.0, 0.5).tolist()
    assert surely_ran_min(course(resolution_h=1.0, placed=placed), first, last) == pytest.approx(30.0)


@pytest.mark.parametrize(("from_h", "to_h"), [(-1.0, 0.5), (4.0, 5.0), (2.0, 2.0), (3.0, 2.0)])
def test_what_the_log_does_not_cover_is_unknown(from_h: float, to_h: float) -> None:
    """Before its first reading, after its last, and of no time at all."""
    first, last = us(from_h, to_h).tolist()
    assert surely_ran_min(course(), first, last) is None


@pytest.mark.parametrize(
    ("at_h", "typed_h", "off_h"),
    [
        (0.5, 100.5, 0.0),
        (0.5, 90.0, 10.5),
        (0.5, 111.0, 10.5),
        # six hours after the last reading of 102.5 h: from that to 102.5 + 6 x 1.01 + 0.1 h
        (10.0, 102.5, 0.0),
        (10.0, 108.66, 0.0),
        (10.0, 109.66, 1.0),
        (10.0, 102.0, 0.5),
        (-1.0, 99.0, None),
        (0.5, None, None),
    ],
)
def test_a_reading_is_off_by_what_the_meter_cannot_have_shown(at_h: float, typed_h: float | None, off_h: float | None) -> None:
    """Within the log to the figure that it showed; after its end to all that it can have run since."""
    found = meter_off_h(course(), us(at_h).tolist()[0], typed_h)
    assert found == (None if off_h is None else pytest.approx(off_h))


def test_without_a_meter_nothing_is_known() -> None:
    """No reading stands."""
    empty = np.zeros(0)
    nothing = Course(empty.astype(np.int64), empty, empty, empty.astype(bool), Changes.of([]))
    assert surely_ran_min(nothing, 0, HOUR_US) is None
    assert meter_off_h(nothing, 0, 5.0) is None
