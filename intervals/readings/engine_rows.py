"""Rows of a chunk of a file with the engine that each is of; a row that is of several engines stands there once for each.

In: the rows, and the engines that each name stands for. Out: `EngineRows`. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from intervals.arrays import Flags, Instants
from intervals.readings.plan import UNKNOWN, Engines
from intervals.readings.rows import Indexes


class EngineRows(NamedTuple):
    """Rows of a chunk with their engine, and which of them are kept.

    Attributes:
        line: line of each row.
        engine: its engine.
        at_us: its instant.
        is_kept: whether it is kept.
        of: which row of the chunk it is, where a row of the chunk counts for several engines; None: each is its own.
    """

    line: Indexes
    engine: Indexes
    at_us: Instants
    is_kept: Flags
    of: Indexes | None = None

    def places_of(self, odd: Sequence[tuple[int, str]]) -> Iterator[tuple[int, str]]:
        """Yield cells of the chunk by the rows that they stand in, once for each engine."""
        for place, text in odd:
            for row in (place,) if self.of is None else np.flatnonzero(self.of == place).tolist():
                yield row, text


class RowsOfSeveral(NamedTuple):
    """Rows of which some are of several engines.

    Attributes:
        meant: engines of each name.
        row_names: name of each row.
    """

    meant: Sequence[Engines]
    row_names: Indexes

    def spread(self, line: Indexes, at_us: Instants, is_kept: Flags) -> EngineRows:
        """Return the rows, each once for each of its engines, in the order of the file."""
        counts = np.array([max(1, len(engines)) for engines in self.meant])[self.row_names]
        of = np.repeat(np.arange(len(line), dtype=np.int32), counts)
        first = np.cumsum(counts) - counts
        widest = max(len(engines) for engines in self.meant)
        table = np.array([[*engines, *[UNKNOWN] * (widest - len(engines))] for engines in self.meant], dtype=np.int32)
        engine = table[self.row_names[of], np.arange(len(of)) - first[of]]
        return EngineRows(line[of], engine, at_us[of], is_kept[of], of)
