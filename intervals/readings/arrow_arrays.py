"""Arrow columns as numpy arrays and from lists of text, by their buffers.

In: Arrow arrays of fixed width; texts. Out: numpy arrays; Arrow columns and scalars of text. Arrow's own ways between itself and
Python load pandas, which takes longer than a small log.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from intervals.arrays import Flags

_TYPES: dict[pa.DataType, type[np.generic]] = {
    pa.float64(): np.float64,
    pa.float32(): np.float32,
    pa.int64(): np.int64,
    pa.int32(): np.int32,
    pa.int16(): np.int16,
    pa.int8(): np.int8,
}


def text_column(texts: Sequence[str | None]) -> pa.StringArray:
    """Return texts as a column; None is an empty cell."""
    encoded = [b"" if text is None else text.encode() for text in texts]
    ends = np.cumsum([0, *map(len, encoded)], dtype=np.int64).astype(np.int32)
    filled = np.packbits(np.array([text is not None for text in texts], dtype=np.bool_), bitorder="little")
    buffers = (pa.py_buffer(ends.tobytes()), pa.py_buffer(b"".join(encoded)), pa.py_buffer(filled.tobytes()))
    return pa.StringArray.from_buffers(len(texts), *buffers)


def as_strings(texts: pa.Array) -> pa.StringArray:
    """Return a column of text of any kind as one of plain strings; Arrow loads all its functions to convert what need not be."""
    return texts if texts.type == pa.string() else texts.cast(pa.string())


def letters_of(texts: pa.StringArray) -> tuple[NDArray[np.int32], NDArray[np.uint8]]:
    """Return where each text begins, with the end of the last one, and the bytes of all; these are not to be written to."""
    if not len(texts):
        return np.zeros(1, dtype=np.int32), np.zeros(0, dtype=np.uint8)
    start = np.frombuffer(texts.buffers()[1], dtype=np.int32, count=len(texts) + 1 + texts.offset)[texts.offset :]
    raw = texts.buffers()[2]
    return start, np.frombuffer(raw, dtype=np.uint8) if raw is not None else np.zeros(0, dtype=np.uint8)


def row_column(rows: NDArray[np.int64]) -> pa.Int64Array:
    """Return row numbers as a column, to take rows by."""
    return pa.Int64Array.from_buffers(pa.int64(), len(rows), [None, pa.py_buffer(np.ascontiguousarray(rows, dtype=np.int64))])


NO_TEXT = text_column([""])
"""A column of one empty text."""
EMPTY = NO_TEXT[0]
BLANK = text_column([" "])[0]
NOTHING = text_column([None])[0]
"""An empty cell of text."""


def holds_numbers(kind: pa.DataType) -> bool:
    """Say whether columns of this type are numbers here, without being converted by Arrow first."""
    return kind in _TYPES


def numbers_of(cells: pa.Array | pa.ChunkedArray, blank: float, kind: type[np.generic] | None = None) -> NDArray[Any]:
    """Return the numbers of a column, with another one in place of nothing.

    Args:
        cells: a column of floats, of signed integers, or of times, which are integers of their own unit.
        blank: what stands for an empty cell.
        kind: type of the numbers; default the column's.

    Returns:
        An array, which may share the column's memory and is not to be written to.
    """
    own = _type_of(cells)
    chunks = _chunks_of(cells)
    if len(chunks) == 1 and not chunks[0].null_count and kind in (None, own):
        return _held(chunks[0])
    numbers = np.empty(len(cells), dtype=kind or own)
    start = 0
    for chunk in chunks:
        part = numbers[start : start + len(chunk)]
        part[:] = _held(chunk)
        if chunk.null_count:
            part[~_filled(chunk)] = blank
        start += len(chunk)
    return numbers


def flags_of(cells: pa.BooleanArray) -> Flags:
    """Return the truth values of a column, an empty cell as False."""
    if not len(cells):
        return np.zeros(0, dtype=np.bool_)
    unpacked = np.unpackbits(np.frombuffer(cells.buffers()[1], dtype=np.uint8), bitorder="little")
    return unpacked[cells.offset : cells.offset + len(cells)].astype(np.bool_) & _filled(cells)


def blanks_of(cells: pa.Array | pa.ChunkedArray) -> Flags:
    """Return which cells of a column are empty."""
    if not cells.null_count:
        return np.zeros(len(cells), dtype=np.bool_)
    return np.concatenate([~_filled(chunk) for chunk in _chunks_of(cells)])


def _chunks_of(cells: pa.Array | pa.ChunkedArray) -> list[pa.Array]:
    """Return the pieces that a column is kept in."""
    return list(cells.chunks) if isinstance(cells, pa.ChunkedArray) else [cells]


def _type_of(cells: pa.Array | pa.ChunkedArray) -> type[np.generic]:
    """Return numpy's type for the numbers of a column."""
    return np.int64 if pa.types.is_timestamp(cells.type) else _TYPES[cells.type]


def _held(chunk: pa.Array) -> NDArray[Any]:
    """Return what one piece holds, an empty cell as whatever stands there."""
    kind = _type_of(chunk)
    if not len(chunk):
        return np.zeros(0, dtype=kind)
    return np.frombuffer(chunk.buffers()[1], dtype=kind)[chunk.offset : chunk.offset + len(chunk)]


def _filled(chunk: pa.Array) -> Flags:
    """Return which cells of one piece hold something."""
    bits = chunk.buffers()[0]
    if bits is None or not chunk.null_count:
        return np.full(len(chunk), chunk.null_count == 0, dtype=np.bool_)
    unpacked = np.unpackbits(np.frombuffer(bits, dtype=np.uint8), bitorder="little")
    return unpacked[chunk.offset : chunk.offset + len(chunk)].astype(np.bool_)
