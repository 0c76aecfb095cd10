"""What the log tells of the hours of a job: how far a typed meter reading is off, and for how long the engine surely ran.

In: the course of the hour meter, and instants. Out: hours and minutes; None where the log does not tell. Refuses nothing.
"""

from __future__ import annotations

import numpy as np

from intervals.local_days import HOUR_US
from intervals.usage.meter.meter_course import FASTER_H, FASTER_SHARE, Course

_MINUTES = 60.0


def meter_off_h(course: Course, at_us: int, typed_h: float | None) -> float | None:
    """Return how far a typed reading is from what the meter can have shown, h.

    Within the log that is what it showed; after its end anything from its last reading to that and the time since.

    Args:
        course: the meter's course.
        at_us: when it was read, UTC microseconds.
        typed_h: the reading; None where none was typed.

    Returns:
        0 where it can be; None where there is no reading, or the log does not tell.
    """
    shown_h = course.meter_at(at_us) if typed_h is not None else None
    if shown_h is None or typed_h is None:
        return None
    since_h = max(0, at_us - course.known_to_us) / HOUR_US
    most_h = shown_h + (FASTER_SHARE * since_h + FASTER_H if since_h else 0.0)
    return max(shown_h - typed_h, typed_h - most_h, 0.0)


def surely_ran_min(course: Course, from_us: int, to_us: int) -> float | None:
    """Return for how long the engine ran between two instants at the least, min; None where the log does not cover them.

    Of a step of the log that lies in part outside of them, so much of its running may lie there; what does not fit there ran inside.
    What the meter may be off by its resolution is taken off, but for spans in which rows of load show it running.

    Args:
        course: the meter's course.
        from_us: UTC microseconds.
        to_us: later than that.
    """
    if not course.is_known or to_us <= from_us or from_us < course.known_from_us or from_us >= course.known_to_us:
        return None
    at_us, hours_h = course.line
    first = max(int(np.searchsorted(at_us, from_us, side="right")) - 1, 0)
    last = min(int(np.searchsorted(at_us, to_us, side="left")), len(at_us) - 1)
    edges, hours = at_us[first : last + 1], hours_h[first : last + 1]
    overlap_us = np.clip(np.minimum(edges[1:], to_us) - np.maximum(edges[:-1], from_us), 0, None)
    outside_h = (edges[1:] - edges[:-1] - overlap_us) / HOUR_US
    inside_h = np.clip(np.diff(hours) - outside_h, 0.0, None)
    by_load = np.zeros(len(inside_h), dtype=np.bool_) if course.placed is None else course.placed.shows_at(edges[:-1]) == 1
    middle_us = (from_us + min(to_us, course.known_to_us - 1)) // 2
    resolution_h = float(course.resolutions_at(np.array([middle_us], dtype=np.int64))[0])
    by_meter_h = max(0.0, float(inside_h[~by_load].sum()) - resolution_h)
    return (float(inside_h[by_load].sum()) + by_meter_h) * _MINUTES
