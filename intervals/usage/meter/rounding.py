"""By how much two readings of a meter may differ for rounding alone.

In: readings of the same instant. Out: whether they contradict each other. Refuses nothing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.usage.meter.meter_course import FASTER_H, Changes

# who reads whole hours off a meter leaves out less than this
WHOLE_HOUR_H = 1.0
DECIMALS = 6


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
