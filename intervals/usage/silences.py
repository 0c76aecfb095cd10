"""The silences of an engine's log: spans without a row that are longer than the log's rhythm.

In: the instants of the rows, what counts as a silence, the lay-ups. Out: `Gap` values. Refuses nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from intervals.arrays import Instants
from intervals.usage.meter.meter_course import ActiveTime


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
