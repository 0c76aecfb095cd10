"""Whether a file has times at all where the site says that they are.

In: what became of the times of its rows, chunk by chunk. Out: problem REA015 of a file in which nothing looks like a time, or nothing
for far too long. What is said depends on the file alone and not on where its chunks end.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from intervals.problems import Problem
from intervals.readings.times.stamps import ORDER_UNKNOWN, OUTSIDE_TEXT, OUTSIDE_YEARS, READ

# so few rows without a time may be all that is wrong with a file, each a fault of its own; more of them are another column or format
_FEW_ROWS = 10
# a file may begin with rows that the plant wrote before its clock was set, but not with so many: the rest need not be read to say so
_MANY_ROWS = 100_000


class TimesSeen:
    """The rows of one file before the first that has a time.

    Args:
        file: path of the file below the site folder.
        names: the columns of its times.
        key: where the site file states the format of times.
    """

    def __init__(self, file: str, names: Sequence[str], key: str) -> None:
        self._file = file
        self._names = names
        self._key = key
        self._has_times = False
        self._rows_without = 0
        self._first = ""

    def add(self, state: NDArray[np.int8], written: Callable[[int], str]) -> Problem | None:
        """Add the next rows; return the problem of a file that goes on without times for far too long.

        Args:
            state: what became of the time of each row, as in `Stamps`.
            written: returns the time of a row as it is written.
        """
        if self._has_times:
            return None
        is_time = (state == READ) | (state == ORDER_UNKNOWN)
        if self._rows_without == 0 and len(state) and not is_time[0]:
            self._first = f'"{written(0)}"' + (f", which {OUTSIDE_TEXT}" if state[0] == OUTSIDE_YEARS else "")
        self._has_times = bool(is_time.any())
        self._rows_without += int(np.argmax(is_time)) if self._has_times else len(state)
        return self._problem(f"the first {_MANY_ROWS:,} times") if self._rows_without >= _MANY_ROWS else None

    @property
    def has_times(self) -> bool:
        """Whether some row has a time."""
        return self._has_times

    def at_end(self) -> list[Problem]:
        """Return the problem of a whole file of more than a few rows, of which none has a time."""
        return [] if self._has_times or self._rows_without <= _FEW_ROWS else [self._problem("the times")]

    def _problem(self, times: str) -> Problem:
        """Return the problem of times that cannot be read."""
        names = " and ".join(f'"{name.strip()}"' for name in self._names)
        text = f"none of {times} in {names} can be read; the first is {self._first}"
        return Problem("REA015", self._file, None, None, text, f'state {self._key}, for example "%d.%m.%Y %H:%M", or another column')
