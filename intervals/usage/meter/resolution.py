"""How finely a meter shows, and how often rows come: both are seen from the rows themselves.

In: readings of one place, instants of rows. Out: the resolution of a meter in hours, the rhythm of rows. Refuses nothing.
"""

from __future__ import annotations

import numpy as np

from intervals.arrays import Floats, Instants

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


def resolution_of(reading_h: Floats) -> float:
    """Return the coarsest resolution that all readings are multiples of, in hours; 0.0 where they show more, or are too few to tell.

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
    return int(np.median(spacings[sizes == smallest]))
