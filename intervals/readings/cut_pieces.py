"""A log cut into pieces that can be read at once: files, or row groups of large Parquet files.

In: the files of each block with their sizes. Out: `Piece` values in the order of the files. Refuses nothing; where a file cannot be
looked into there are none.

A text file is one piece: where its rows begin depends on all that stands before them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from pathlib import Path

import pyarrow as pa

from intervals.addresses import FileState, place_of
from intervals.readings.files.open_log import PARQUET_SUFFIXES
from intervals.readings.log_size import PACKED_TIMES
from intervals.readings.read_pieces import Piece

BYTES_A_PIECE = 16_000_000
MOST_PIECES = 256


def cut_pieces(folder: Path, by_block: Sequence[Sequence[str]], states: Mapping[str, FileState]) -> list[Piece] | None:
    """Return the pieces of a log, or None where a file cannot be looked into.

    Args:
        folder: the site's folder.
        by_block: names of each block's files, in order.
        states: what each looks like.
    """
    weights = {name: state.bytes * (PACKED_TIMES if _is_parquet(name) else 1) for name, state in states.items()}
    most = max(BYTES_A_PIECE, sum(weights[name] for names in by_block for name in names) // MOST_PIECES)
    try:
        return [piece for block, names in enumerate(by_block) for piece in _of_block(folder, block, names, states, weights, most)]
    except (OSError, pa.ArrowException):
        return None


def _is_parquet(name: str) -> bool:
    """Say whether a file is of the Parquet kind, by its name."""
    return name.lower().endswith(PARQUET_SUFFIXES)


def _of_block(  # noqa: PLR0913 - what is cut, and how large the pieces may be
    folder: Path, block: int, names: Sequence[str], states: Mapping[str, FileState], weights: Mapping[str, int], most: int
) -> Iterator[Piece]:
    """Yield the pieces of one block: small files together, a large Parquet file in parts."""
    some: list[str] = []
    for name in names:
        if some and (sum(weights[each] for each in some) + weights[name] > most):
            yield _whole(block, some, states)
            some = []
        if _is_parquet(name) and weights[name] > most:
            yield from _in_parts(folder, block, name, states, most)
        else:
            some.append(name)
    if some:
        yield _whole(block, some, states)


def _whole(block: int, names: Sequence[str], states: Mapping[str, FileState]) -> Piece:
    """Return the piece of some whole files."""
    return Piece(block, tuple(names), tuple(states[name] for name in names))


def _in_parts(folder: Path, block: int, name: str, states: Mapping[str, FileState], most: int) -> Iterator[Piece]:
    """Yield the pieces of one Parquet file: row groups that follow one another."""
    from intervals.readings.files.parquet_file import row_group_bytes  # noqa: PLC0415 - loaded only where there is such a file

    sizes = [size * PACKED_TIMES for size in row_group_bytes(place_of(folder, name))]
    first = size = 0
    cuts = [0]
    for group, own in enumerate(sizes):
        if group > first and size + own > most:
            cuts.append(group)
            first, size = group, 0
        size += own
    cuts.append(len(sizes))
    whole = _whole(block, [name], states)
    parts = list(pairwise(cuts))
    yield from [whole] if len(parts) == 1 else (whole._replace(row_groups=part) for part in parts)
