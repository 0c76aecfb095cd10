"""Columns that are more than memory should hold, put down in a temporary file and looked at there.

In: columns. Out: the same columns, in memory or in the file. Refuses nothing: where no file can be written, they stay in memory.

So memory does not grow with the rows of a log beyond what is held at first: what lies in the file is read from it when an engine's
rows are asked for, and the system may drop it again whenever it needs the room.
"""

from __future__ import annotations

import mmap
import weakref
from collections.abc import Mapping
from contextlib import suppress
from typing import IO, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

Name = TypeVar("Name")
Column = NDArray[Any]
MOST_BYTES_HELD = 512 * 1024 * 1024
"""As much as the rows of some twelve million are held in memory."""
STRETCH_BYTES = 256 * 1024 * 1024
"""The file is looked at in stretches of so many bytes: each takes a place among the files that a process may have open."""
_ALIGNED_BYTES = 64


class SpillFile:
    """Keeps the columns of a log: at first in memory, then in a temporary file.

    Args:
        most_bytes: how much stays in memory; None: as much as usual.
    """

    def __init__(self, most_bytes: int | None = None) -> None:
        self._most_bytes = MOST_BYTES_HELD if most_bytes is None else most_bytes
        self._held_bytes = 0
        self._file: IO[bytes] | None = None
        self._is_full = False
        self._stretches: list[mmap.mmap] = []
        self._start = self._end = self._next = 0

    def keep(self, columns: Mapping[Name, Column]) -> Mapping[Name, Column]:
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

    def _put_down(self, columns: Mapping[Name, Column]) -> Mapping[Name, Column]:
        """Return columns that lie in the file."""
        if self._file is None:
            import tempfile  # noqa: PLC0415 - few logs are so large

            self._file = tempfile.TemporaryFile(prefix="intervals-", buffering=0)  # noqa: SIM115 - open as long as more may be put down
            # what was put down outlives the file's being closed
            weakref.finalize(self, self._file.close)
        size = sum(column.nbytes + -column.nbytes % _ALIGNED_BYTES for column in columns.values())
        if self._next + size > self._end:
            self._add_stretch(self._file, size)
        places: dict[Name, int] = {}
        for name, column in columns.items():
            places[name] = self._next - self._start
            self._write(memoryview(column.tobytes()), self._next)
            self._next += column.nbytes + -column.nbytes % _ALIGNED_BYTES
        stretch = self._stretches[-1]
        return {name: np.frombuffer(stretch, column.dtype, len(column), places[name]) for name, column in columns.items()}

    def _add_stretch(self, file: IO[bytes], size: int) -> None:
        """Make the file longer, by a stretch that at least so much goes into; it takes room on the disk as it is written."""
        start = self._end
        length = max(STRETCH_BYTES, size)
        length += -length % mmap.ALLOCATIONGRANULARITY
        file.truncate(start + length)
        self._stretches.append(mmap.mmap(file.fileno(), length, access=mmap.ACCESS_READ, offset=start))
        self._start = self._next = start
        self._end = start + length

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
            for stretch in self._stretches:
                with suppress(OSError):
                    stretch.madvise(advice)
