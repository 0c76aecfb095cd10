"""The columns of a block in the parts that they came in: put together for who asks for a whole one, taken out for one engine.

In: batches, each sorted by engine. Out: `PartedColumns`. Refuses nothing.

A log of ten million rows is judged engine by engine. Were its columns put together first, all its memory would be touched twice, which
takes longer than to judge it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Column = NDArray[Any]
Counts = NDArray[np.int64]
Moves = NDArray[np.int64] | tuple[list[int], list[int], list[int]]
"""Where the rows of a part go in the whole: each of them, or, stretch by stretch, to where, from where, and how many."""
FEWEST_ROWS_A_COPY = 32


class Part(NamedTuple):
    """One batch, sorted by engine.

    Attributes:
        columns: its columns.
        start: the first row of each engine.
        counts: how many rows of each engine it has.
    """

    columns: dict[str, Column]
    start: Counts
    counts: Counts

    @classmethod
    def of(cls, columns: dict[str, Column], engine: NDArray[np.int32]) -> Part:
        """Return the part of these columns.

        Args:
            columns: columns, sorted by engine.
            engine: the engine of each row, in any order.
        """
        counts = np.bincount(engine)
        return cls(columns, np.cumsum(counts) - counts, counts)


class PartedColumns(Mapping[str, NDArray[np.float64]]):
    """Figures by quantity, over all parts.

    Args:
        names: the quantities.
        parts: each of them has them all.
        moves: where the rows of each part go in the whole.
    """

    def __init__(self, names: Sequence[str], parts: Sequence[Part], moves: Sequence[Moves]) -> None:
        self._names = tuple(names)
        self._parts = parts
        self._moves = moves
        self._whole: dict[str, NDArray[np.float64]] = {}

    def __getitem__(self, name: str) -> NDArray[np.float64]:
        """Return a whole column, sorted by engine; from then on it is kept like that."""
        if name not in self._names:
            raise KeyError(name)
        if name not in self._whole:
            self._whole[name] = put_together(name, self._parts, self._moves, np.float64)
        return self._whole[name]

    def __iter__(self) -> Iterator[str]:
        """Yield the quantities."""
        return iter(self._names)

    def __len__(self) -> int:
        """Return the number of quantities."""
        return len(self._names)

    def of_engine(self, engine: int, rows: slice) -> dict[str, NDArray[np.float64]]:
        """Return the figures of one engine.

        Args:
            engine: index of the engine.
            rows: which rows of the whole are the engine's.
        """
        stretches = [
            (part.columns, int(part.start[engine]), int(part.start[engine] + part.counts[engine]))
            for part in self._parts
            if engine < len(part.counts) and part.counts[engine]
        ]
        return {
            name: self._whole[name][rows]
            if name in self._whole
            else np.concatenate([columns[name][start:end] for columns, start, end in stretches])
            for name in self._names
        }


def totals_of(parts: Sequence[Part]) -> Counts:
    """Return how many rows of each engine there are in all."""
    totals = np.zeros(max((len(part.counts) for part in parts), default=0), dtype=np.int64)
    for part in parts:
        totals[: len(part.counts)] += part.counts
    return totals


def moves_of(parts: Sequence[Part], totals: Counts) -> list[Moves]:
    """Return, for each part, which of its rows go where in the whole."""
    free = np.cumsum(totals) - totals
    stretches = sum(np.count_nonzero(part.counts) for part in parts)
    are_long = stretches * FEWEST_ROWS_A_COPY <= totals.sum()
    moves: list[Moves] = []
    for part in parts:
        first = free[: len(part.counts)]
        if are_long:
            present = np.flatnonzero(part.counts)
            moves.append((first[present].tolist(), part.start[present].tolist(), part.counts[present].tolist()))
        else:
            moves.append(np.arange(part.counts.sum()) + np.repeat(first - part.start, part.counts))
        first += part.counts
    return moves


def put_together(name: str, parts: Sequence[Part], moves: Sequence[Moves], kind: type[np.generic]) -> Column:
    """Return a whole column; the parts lose it on the way, so that its memory is given back.

    Args:
        name: the column.
        parts: the parts.
        moves: where the rows of each go.
        kind: type of the column.
    """
    column: Column = np.empty(sum(int(part.counts.sum()) for part in parts), dtype=kind)
    for part, of_part in zip(parts, moves, strict=True):
        own_column = part.columns.pop(name)
        if not isinstance(of_part, tuple):
            column[of_part] = own_column
            continue
        for place, own, count in zip(*of_part, strict=True):
            column[place : place + count] = own_column[own : own + count]
    return column
