"""The hour that comes twice when the clock is set back in autumn: which of its rows are of the first time, and which of the second.

In: the rows that the local clock showed twice, in the order of their file, with their engine and what its counters show. Out: their
instants. Refuses nothing: where file and meter do not make it clear, a row is left as it is.

A file in order of time shows it by its stamps: 02:00, 02:30, 02:00, 02:30, 03:00 is one hour and then the other. Two rows of one stamp,
as an hourly log has them, are two hours if the meter, or another counter, rose from one to the other; else they may be one row sent twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Flags, Floats, Instants
from intervals.quantities import QUANTITIES
from intervals.readings.column_values import ColumnTypeError, figures_of, names_of
from intervals.readings.files.log_file import Chunk
from intervals.readings.found_columns import Layout
from intervals.readings.parse_numbers import Marks
from intervals.readings.rows import Indexes
from intervals.readings.times.wall_clock import set_back_us

COUNTERS = tuple(name for name, quantity in QUANTITIES.items() if quantity.kind == "counter")
"""What only rises: the hour meter, starts, energy."""
Places = NDArray[np.int_]


class FileRows(NamedTuple):
    """Rows in the order of their file.

    Attributes:
        local_us: microseconds since 1970 by the local clock.
        is_read: which of them have a time.
        engine: of which engine each row is; all alike where a row stands for several.
        counters: what hour meters and other counters show, a column each.
    """

    local_us: Instants
    is_read: Flags
    engine: Indexes
    counters: Sequence[Floats]

    @classmethod
    def of(cls, chunk: Chunk, layout: Layout, marks: Marks, local_us: Instants, is_read: Flags) -> FileRows:
        """Return the rows of a chunk of a file; a column of a type that holds no names or figures is refused where it is read."""
        engine = np.zeros(len(chunk), dtype=np.int32)
        places = [group.figures[name] for group in layout.groups for name in COUNTERS if name in group.figures]
        try:
            engine = engine if layout.engine is None else names_of(chunk.cells[layout.engine])[1]
            counters = [figures_of(chunk.cells[place], marks).values for place in places]
        except ColumnTypeError:
            counters = []
        return cls(local_us, is_read, engine, counters)


def settle_repeated(rows: FileRows, twice: Flags, at_us: Instants, zone: ZoneInfo) -> tuple[Instants, Flags]:
    """Return the instants of rows, and which of those that the clock showed twice have one.

    Args:
        rows: the rows.
        twice: which of them the clock showed twice.
        at_us: the instant of each, that of the first time where there are two.
        zone: the time zone of the clock.
    """
    at_us, settled = at_us.copy(), np.zeros(len(twice), dtype=np.bool_)
    for engine in np.unique(rows.engine[twice]).tolist():
        own = np.flatnonzero(rows.is_read & (rows.engine == engine))
        odd = np.flatnonzero(twice[own])
        for run in np.split(odd, np.flatnonzero(np.diff(odd) > 1) + 1):
            second = _second_begins(rows, own, run)
            if second is not None:
                places = own[run]
                settled[places] = True
                at_us[places[second:]] += set_back_us(rows.local_us[places[second:]], zone)
    return at_us, settled


def _second_begins(rows: FileRows, own: Places, run: Places) -> int | None:
    """Return which row of a run of repeated stamps is the first of the second time, or None where that is not clear."""
    places = own[run]
    local_us = rows.local_us[places]
    back = np.flatnonzero(np.diff(local_us) <= 0) + 1
    if len(back) != 1 or not _is_in_order(rows.local_us[own], int(run[0]), int(run[-1])):
        return None
    second = int(back[0])
    steps = [float(counter[places[second]] - counter[places[second - 1]]) for counter in rows.counters]
    if any(step < 0 for step in steps):
        return None
    has_risen = any(step > 0 for step in steps)
    is_same_stamp = bool(local_us[second] == local_us[second - 1])
    # a run of stamps that comes again, as a whole or in part
    comes_again = not is_same_stamp and bool(np.isin(local_us[second:], local_us[:second]).any())
    return second if has_risen or comes_again else None


def _is_in_order(local_us: Instants, first: int, last: int) -> bool:
    """Tell whether the rows on either side of a run of repeated stamps are earlier and later, as in a file in order of time."""
    is_after = first == 0 or bool(local_us[first - 1] < local_us[first])
    return is_after and (last + 1 == len(local_us) or bool(local_us[last + 1] > local_us[last]))
