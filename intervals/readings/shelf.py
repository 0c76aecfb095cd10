"""Columns that are more than memory should hold, put down in a temporary file and looked at there.

In: columns. Out: the same columns, in memory or in the file. Refuses nothing: where no file can be written, they stay in memory.

So memory does not grow with the rows of a log beyond what is held at first: what lies in the file is read from it when an engine's
rows are asked for, and the system may drop it again whenever it needs the room.
"""

from __future__ import annotations

import mmap
import tempfile
import weakref
from collections.abc import Mapping
from contextlib import suppress
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

Column = NDArray[Any]
MOST_BYTES_HELD = 512 * 1024 * 1024
"""As much as the rows of some twelve million are held in memory."""
_ALIGNED_BYTES = 64


class Shelf:
    """Keeps the columns of a log.

    Args:
        most_bytes: how much stays in memory; None: as much as usual.
    """

    def __init__(self, most_bytes: int | None = None) -> None:
        self._most_bytes = MOST_BYTES_HELD if most_bytes is None else most_bytes
        self._held_bytes = 0
        self._file: IO[bytes] | None = None
        self._end = 0
        self._is_full = False
        self._views: list[mmap.mmap] = []

    def keep(self, columns: Mapping[str, Column]) -> Mapping[str, Column]:
        """Return columns to be kept; those of the file are not to be written to."""
        size = sum(column.nbytes for column in columns.values())
        if self._is_full or self._held_bytes + size <= self._most_bytes:
            self._held_bytes += size
            return columns
        try:
            return self._put_down(columns)
        except OSError:
            # no room, or no place where a file may be made: what cannot be put down stays in hand
            self._is_full = True
            return columns

    def _put_down(self, columns: Mapping[str, Column]) -> Mapping[str, Column]:
        """Return columns that lie in the file."""
        if self._file is None:
            self._file = tempfile.TemporaryFile(prefix="intervals-", buffering=0)  # noqa: SIM115 - open as long as more may be put down
            # what was put down outlives the file's being closed
            weakref.finalize(self, self._file.close)
        places: dict[str, int] = {}
        start = at = self._end + -self._end % mmap.ALLOCATIONGRANULARITY
        for name, column in columns.items():
            places[name] = at - start
            self._write(memoryview(column.tobytes()), at)
            at += column.nbytes + -column.nbytes % _ALIGNED_BYTES
        self._file.truncate(at)
        view = mmap.mmap(self._file.fileno(), at - start, access=mmap.ACCESS_READ, offset=start)
        self._end = at
        self._views.append(view)
        return {name: np.frombuffer(view, column.dtype, len(column), places[name]) for name, column in columns.items()}

    def _write(self, data: memoryview, at: int) -> None:
        """Write all of some bytes at a place of the file."""
        if self._file is None:
            return
        self._file.seek(at)
        while data:
            data = data[self._file.write(data) :]

    def let_go(self) -> None:
        """Tell the system that what was looked at in the file may be dropped from memory; it is read again when it is asked for."""
        advice = getattr(mmap, "MADV_DONTNEED", None)
        if advice is not None:
            for view in self._views:
                with suppress(OSError):
                    view.madvise(advice)
