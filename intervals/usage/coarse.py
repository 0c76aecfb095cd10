"""The course of a meter that shows less finely than its rows come: a meter of whole hours under rows of ten minutes.

In: the course of a meter, and how long rows of load show the engine running. Out: the instants and hours between which the course runs.
Refuses nothing.

Such a meter turns by an hour in one row, and in the others by nothing. Between its turns the rows of load tell when the engine ran: the
hours follow them, and never leave the meter by more than its resolution. Where no row tells, the hour lies before the turn. In all, the
hours are the meter's.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from intervals.localdays import HOUR_US
from intervals.usage.course import FASTER_H, FASTER_SHARE, ROUNDING_H, Course, Floats, Instants
from intervals.usage.resolution import rhythm_us


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


def is_coarse(course: Course) -> bool:
    """Tell whether a meter mostly shows less finely than its readings come."""
    if course.resolution_h is None or not float(course.resolution_h.max()) * HOUR_US > int(np.diff(course.at_us).min()):
        return False
    return float(np.median(course.resolution_h)) * HOUR_US > (rhythm_us(course.at_us) or 0)


def anchors_by_load(course: Course, shown_h: Floats) -> Anchors:
    """Return the turns of a coarse meter, with the hours that the rows of load show there as far as it allows.

    Args:
        course: the course of its readings.
        shown_h: hours that rows of load can hold from its first reading up to each.
    """
    shows_h = float(np.max(course.resolution_h)) if course.resolution_h is not None else 0.0
    turns = np.flatnonzero(np.diff(course.hours_h) > ROUNDING_H) + 1
    last = len(course.at_us) - 1
    kept = np.unique(np.concatenate(([0], turns, [last])))
    meter_h, held_h = course.hours_h[kept].tolist(), np.diff(shown_h[kept], prepend=0.0).tolist()
    all_h = meter_h[-1]
    hours_h = [0.0]
    for read_h, more_h in zip(meter_h[1:-1], held_h[1:-1], strict=True):
        followed_h = min(max(hours_h[-1] + more_h, read_h - shows_h), read_h + shows_h)
        hours_h.append(min(max(followed_h, hours_h[-1]), all_h))
    hours_h.append(all_h)
    ended = np.array(hours_h)
    count = len(kept) - 1
    # the hour under way at the end has not turned the meter yet
    open_end = np.where(ended[1:] >= all_h - ROUNDING_H, shows_h, 0.0)
    return Anchors(course.at_us[kept], ended, np.full(count, shows_h), open_end)


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
