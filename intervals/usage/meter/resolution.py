"""How finely a meter shows and how often rows come, and what follows: by how much readings may differ, and where the log is silent.

In: readings of one place, instants of rows. Out: the resolution of a meter in hours, the rhythm of rows; which readings of one instant
contradict each other, which spans without a row are silences. Refuses nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants, median_of
from intervals.usage.meter.meter_course import FASTER_H, ActiveTime, Changes

RESOLUTIONS_H = (1.0, 0.1, 0.01, 1 / 60)
"""Whole hours, tenths, hundredths, minutes."""
_GRAIN = 1e-6
# minutes are written with three or four decimals of an hour, mostly
_MINUTE_GRAIN = 0.03
LEAST_READINGS = 2
_SAMPLE = 500
# a spacing that one row in so many has is a rhythm
_COMMON_SHARE = 0.1
MINUTES_H = 1 / 60
# who reads whole hours off a meter leaves out less than this
WHOLE_HOUR_H = 1.0
DECIMALS = 6


def resolution_of(reading_h: Floats) -> float:
    """Return the coarsest resolution that all readings are multiples of, in hours; 0.0 where they show more, or are too few to say.

    Args:
        reading_h: what a meter showed, NaN where a row has none.

    Example:
        >>> resolution_of(np.array([100.0, 101.5, 101.6]))
        0.1
    """
    if np.isnan(reading_h).any():
        reading_h = reading_h[~np.isnan(reading_h)]
    if len(reading_h) < LEAST_READINGS:
        return 0.0
    for part in (reading_h[:_SAMPLE], reading_h):
        found = next((each for each in RESOLUTIONS_H if _are_multiples(part, each)), 0.0)
        if not found:
            return 0.0
    return found


def _are_multiples(reading_h: Floats, resolution_h: float) -> bool:
    """Tell whether all readings are whole numbers of a resolution."""
    counts = reading_h / resolution_h
    grain = _MINUTE_GRAIN if resolution_h == MINUTES_H else _GRAIN * max(1.0, float(np.abs(counts).max()) * _GRAIN)
    return bool((np.abs(counts - np.round(counts)) < grain).all())


def rhythm_us(at_us: Instants) -> int | None:
    """Return the smallest common spacing of rows, or None where there is but one row.

    Rows that are written only while an engine runs come in their rhythm and then, after a silence, again: the silences are no rhythm.

    Args:
        at_us: instants of the rows, rising.

    Example:
        >>> rhythm_us(np.array([0, 10, 20, 30, 1000, 1010]))
        10
    """
    spacings = np.diff(at_us)
    if not len(spacings):
        return None
    # spacings of a like size go together
    sizes = np.floor(np.log2(spacings.astype(np.float64))).astype(np.int64)
    counts = np.bincount(sizes)
    smallest = int(np.flatnonzero(counts >= _COMMON_SHARE * len(spacings))[0])
    return int(median_of(spacings[sizes == smallest]))


def contradict(  # noqa: PLR0913 - two readings, and all that may lie between them
    at_us: Instants,
    first_h: Floats,
    second_h: Floats,
    changes: Changes,
    rolls_over_at_h: float | None,
    resolution_h: Floats | float = 0.0,
) -> NDArray[np.bool_]:
    """Tell which pairs of readings of one instant differ by more than rounding.

    Beside whole hours that is less than an hour, else what a fitting step may differ by. Where a place is known to show no more finely,
    one that rounds and one that leaves decimals out may differ by all that it shows.
    At a registered change one may be of the old meter and the other of the new; just before and after a roll-over they are next to each
    other too.

    Args:
        at_us: the instants.
        first_h: a reading of each.
        second_h: another reading of each.
        changes: registered changes of the meter.
        rolls_over_at_h: reading at which the meter starts again at zero, or None.
        resolution_h: how finely the coarser one of each is known to show.
    """
    apart_h = second_h - first_h
    apart = [apart_h]
    if len(changes.at_us):
        changed_h = changes.bridged_before(at_us + 1) - changes.bridged_before(at_us)
        apart += [apart_h + changed_h, apart_h - changed_h]
    if rolls_over_at_h is not None:
        apart += [apart_h + rolls_over_at_h, apart_h - rolls_over_at_h]
    least_h = np.round(np.min(np.abs(apart), axis=0), DECIMALS)
    is_whole = (first_h == np.floor(first_h)) | (second_h == np.floor(second_h))
    is_more: NDArray[np.bool_] = np.where(is_whole, least_h >= WHOLE_HOUR_H, least_h > FASTER_H)
    is_more &= least_h > np.round(resolution_h, DECIMALS)
    return is_more


class Gap(NamedTuple):
    """A silence longer than the log's rhythm."""

    start_us: int
    end_us: int


def find_silences(rows: Instants, gap_us: int, active: ActiveTime) -> list[Gap]:
    """Return the silences between rows that are longer than the log's rhythm, lay-ups left out of their length.

    Args:
        rows: instants of the rows, rising.
        gap_us: the longest time between two rows that is no silence.
        active: time outside lay-ups.
    """
    found = []
    for index in np.flatnonzero(rows[1:] - rows[:-1] > gap_us).tolist():
        start, end = int(rows[index]), int(rows[index + 1])
        if active.between_us(start, end) > gap_us:
            found.append(Gap(start, end))
    return found
