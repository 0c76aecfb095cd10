"""Arrow columns as numpy arrays, by their buffers.

In: Arrow arrays of fixed width. Out: numpy arrays. Arrow's own way to numpy loads pandas, which takes longer than a small log.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

Flags = NDArray[np.bool_]
_TYPES: dict[pa.DataType, type[np.generic]] = {
    pa.float64(): np.float64,
    pa.float32(): np.float32,
    pa.int64(): np.int64,
    pa.int32(): np.int32,
    pa.int16(): np.int16,
    pa.int8(): np.int8,
}

NO_TEXT = pa.StringArray.from_buffers(1, pa.py_buffer(np.zeros(2, dtype=np.int32).tobytes()), pa.py_buffer(b""))
"""A column of one empty text."""


def numbers_of(cells: pa.Array | pa.ChunkedArray, blank: float) -> NDArray[Any]:
    """Return the numbers of a column, with another one in place of nothing.

    Args:
        cells: a column of floats or signed integers.
        blank: what stands for an empty cell.

    Returns:
        An array of the column's type; it may share the column's memory and is not to be written to.
    """
    parts = [_numbers_of_chunk(chunk, blank) for chunk in _chunks_of(cells)]
    if len(parts) == 1:
        return parts[0]
    return np.concatenate(parts) if parts else np.zeros(0, dtype=_TYPES[cells.type])


def blanks_of(cells: pa.Array | pa.ChunkedArray) -> Flags:
    """Return which cells of a column are empty."""
    if not cells.null_count:
        return np.zeros(len(cells), dtype=np.bool_)
    return np.concatenate([~_filled(chunk) for chunk in _chunks_of(cells)])


def _chunks_of(cells: pa.Array | pa.ChunkedArray) -> list[pa.Array]:
    """Return the pieces that a column is kept in."""
    return list(cells.chunks) if isinstance(cells, pa.ChunkedArray) else [cells]


def _numbers_of_chunk(chunk: pa.Array, blank: float) -> NDArray[Any]:
    """Return the numbers of one piece."""
    kind = _TYPES[chunk.type]
    if not len(chunk):
        return np.zeros(0, dtype=kind)
    values = np.frombuffer(chunk.buffers()[1], dtype=kind)[chunk.offset : chunk.offset + len(chunk)]
    return values if not chunk.null_count else np.where(_filled(chunk), values, np.array(blank, dtype=kind))


def _filled(chunk: pa.Array) -> Flags:
    """Return which cells of one piece hold something."""
    bits = chunk.buffers()[0]
    if bits is None or not chunk.null_count:
        return np.full(len(chunk), chunk.null_count == 0, dtype=np.bool_)
    unpacked = np.unpackbits(np.frombuffer(bits, dtype=np.uint8), bitorder="little")
    return unpacked[chunk.offset : chunk.offset + len(chunk)].astype(np.bool_)
