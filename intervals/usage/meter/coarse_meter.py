"""The course of a meter that shows less finely than its rows come: a meter of whole hours under rows of ten minutes.

In: the course of a meter, and how long rows of load show the engine running. Out: the instants and hours between which the course runs.
Refuses nothing.

Such a meter turns by an hour in one row, and in the others by nothing. Between its turns the rows of load show when the engine ran: the
hours follow them, and never leave the meter by more than its resolution. Where no row shows it, the hour lies before the turn. In all, the
hours are the meter's.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from intervals.arrays import Floats, Instants, median_of
from intervals.local_days import HOUR_US
from intervals.usage.meter.meter_course import FASTER_H, FASTER_SHARE, ROUNDING_H, Course
from intervals.usage.meter.resolution import WHOLE_HOUR_H, rhythm_us

# so many times its resolution apart, two readings of a meter show what it ran
FAR_TURNS = 2.0


class Anchors(NamedTuple):
    """Instants at which the hours of a course are known, and by how much those between two of them may be off.

    Attributes:
        at_us: instants, rising.
        hours_h: running hours since the first of them.
        doubt_h: by how much the hours from one to the next may be off.
        shown_doubt_h: by how much rows of load may show more without a contradiction.
    """

    at_us: Instants
    hours_h: Floats
    doubt_h: Floats
    shown_doubt_h: Floats

    @classmethod
    def of(cls, course: Course) -> Anchors:
        """Return every reading of a course."""
        shows_h = course.resolution_h
        doubt_h = np.zeros(len(course.at_us) - 1) if shows_h is None else np.maximum(shows_h[1:], shows_h[:-1])
        return cls(course.at_us, course.hours_h, doubt_h, doubt_h)


def is_coarse(course: Course, rows_us: int | None = None) -> bool:
    """Tell whether a meter mostly shows less finely than its readings come, or shows whole hours beside rows that come more often.

    Args:
        course: the course of its readings.
        rows_us: how often rows of load come, or None where there are none.
    """
    if course.resolution_h is None:
        return False
    shows_h = median_of(course.resolution_h)
    if rows_us is not None and shows_h * HOUR_US > rows_us and shows_h >= WHOLE_HOUR_H:
        return True
    return shows_h * HOUR_US > int(np.diff(course.at_us).min()) and shows_h * HOUR_US > (rhythm_us(course.at_us) or 0)


def anchors_by_load(course: Course, shown_h: Floats) -> Anchors:
    """Return the turns of a coarse meter, with the hours that the rows of load show there as far as it allows.

    Args:
        course: the course of its readings.
        shown_h: hours that rows of load can hold from its first reading up to each.
    """
    shows_h = median_of(course.resolution_h) if course.resolution_h is not None else 0.0
    turns = np.flatnonzero(np.diff(course.hours_h) > ROUNDING_H) + 1
    is_far = np.diff(course.at_us) > FAR_TURNS * shows_h * HOUR_US
    # readings that are far apart are each held against the rows
    kept = np.unique(np.concatenate(([0], turns, np.flatnonzero(is_far), np.flatnonzero(is_far) + 1, [len(course.at_us) - 1])))
    at_us, meter_h, held_h = course.at_us[kept], course.hours_h[kept], np.diff(shown_h[kept])
    hours_h, is_cut = [0.0], []
    for index, more_h in enumerate(held_h.tolist(), start=1):
        elapsed_h = float(at_us[index] - at_us[index - 1]) / HOUR_US
        follows_h = _followed(hours_h[-1] + more_h, float(meter_h[index]), shows_h, elapsed_h)
        hours_h.append(min(max(follows_h, hours_h[-1]), hours_h[-1] + max(elapsed_h, more_h), float(meter_h[-1])))
        is_cut.append(follows_h < hours_h[-2] + more_h - ROUNDING_H and elapsed_h <= FAR_TURNS * shows_h)
    hours_h[-1] = float(meter_h[-1])
    ended_h = _no_faster(np.array(hours_h), np.maximum(np.diff(at_us) / HOUR_US, np.diff(meter_h)))
    # the hour under way at the end has not turned the meter yet
    is_open = ended_h[1:] >= ended_h[-1] - ROUNDING_H
    return Anchors(at_us, ended_h, np.full(len(held_h), shows_h), np.where(np.array(is_cut) & ~is_open, 0.0, shows_h))


def _no_faster(hours_h: Floats, most_h: Floats) -> Floats:
    """Return hours of which none are put off so long that what is left runs faster than time, or than the meter itself.

    Args:
        hours_h: hours at each reading, of which the last are the meter's.
        most_h: the most hours from each reading to the next.
    """
    least_h = hours_h[-1] - np.append(np.cumsum(most_h[::-1])[::-1], 0.0)
    held: Floats = np.maximum(hours_h, least_h)
    held[0] = hours_h[0]
    return held


def _followed(shown_h: float, read_h: float, shows_h: float, elapsed_h: float) -> float:
    """Return the hours at a reading: those of the rows where the meter's rounding explains what they differ by, else the meter's.

    Where its readings come thick, what is beyond rounding is cut and not made up for at once.
    """
    if abs(shown_h - read_h) < shows_h - ROUNDING_H:
        return shown_h
    if elapsed_h > FAR_TURNS * shows_h:
        return read_h
    return min(max(shown_h, read_h - shows_h), read_h + shows_h)


def spread_before_turns(course: Course) -> tuple[Instants, Floats] | None:
    """Return a course in which an hour that a coarse meter shows in one short row lies in the hour before, or None where none does."""
    elapsed_h = np.diff(course.at_us) / HOUR_US
    fast = np.flatnonzero(np.diff(course.hours_h) > elapsed_h * FASTER_SHARE + FASTER_H + ROUNDING_H) + 1
    if not len(fast):
        return None
    kept = np.ones(len(course.at_us), dtype=np.bool_)
    begins: list[tuple[int, float]] = []
    for index in fast.tolist():
        before_h, end_us = float(course.hours_h[index - 1]), int(course.at_us[index])
        # not into the hours of the turn before
        turned = int(course.hours_h.searchsorted(before_h - ROUNDING_H))
        start_us = max(int(course.at_us[turned]), end_us - round((float(course.hours_h[index]) - before_h) * HOUR_US))
        kept[int(course.at_us.searchsorted(start_us, side="right")) : index] = False
        begins.append((start_us, before_h))
    started_us = np.array([start_us for start_us, _ in begins], dtype=np.int64)
    at_us = np.concatenate((course.at_us[kept], started_us))
    hours_h = np.concatenate((course.hours_h[kept], [before_h for _, before_h in begins]))
    at_us, place = np.unique(at_us, return_index=True)
    return at_us, hours_h[place]
