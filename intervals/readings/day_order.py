"""Which comes first, the day or the month, in stamps such as 03/04/2026: told by the other stamps, never guessed.

In: the files of one block. Out: the order for each file that needs it. Refuses a file in which most stamps could be read either
way and nothing in the block tells which.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from intervals.readings.cells import Cells, stamps_of
from intervals.readings.refusals import refusal
from intervals.readings.stamp_patterns import Pattern
from intervals.readings.stamps import ORDER_UNKNOWN, READ, DayOrder, Stamps
from intervals.readings.tables import LogFile, Wanted


class DayOrders:
    """The order of day and month in the files of one block; a file is looked through only when a stamp of it asks for it.

    Args:
        logs: the files with the places of their time columns.
        patterns: what a stamp may look like.
        code: code of the problem, REA007 or SVC007.
        key: where the site file states the format.
    """

    def __init__(self, logs: Mapping[str, tuple[LogFile, tuple[int, ...]]], patterns: tuple[Pattern, ...], code: str, key: str) -> None:
        self._logs = logs
        self._patterns = patterns
        self._code = code
        self._key = key
        self._seen: dict[str, frozenset[DayOrder]] = {}

    def read(self, name: str, columns: Sequence[Cells]) -> Stamps:
        """Return the times of some rows of a file.

        Args:
            name: the file.
            columns: the column of times, or those of date and time.

        Returns:
            The stamps; one of which the order is not known counts as unreadable.

        Raises:
            ReadingsProblemError: most of the stamps could be read either way.
        """
        stamps = stamps_of(columns, self._patterns, None)
        unknown = stamps.state == ORDER_UNKNOWN
        if not unknown.any():
            return stamps
        order = self._order_of(name)
        if order is not None:
            return stamps_of(columns, self._patterns, order)
        if len(self._evidence(name)) == 0 and np.count_nonzero(unknown) > np.count_nonzero(stamps.state == READ):
            text = "whether the day or the month comes first cannot be told from any of its times"
            raise refusal(name, self._code, text, fix=f'state {self._key}, for example "%d/%m/%Y %H:%M" or "%m/%d/%Y %H:%M"')
        return stamps

    def _order_of(self, name: str) -> DayOrder | None:
        """Return the order that the file's stamps show, or, where they show none, those of the whole block."""
        seen = self._evidence(name)
        if not seen:
            seen = frozenset[DayOrder]().union(*(self._evidence(other) for other in self._logs))
        return next(iter(seen)) if len(seen) == 1 else None

    def _evidence(self, name: str) -> frozenset[DayOrder]:
        """Return the orders that stamps of a file prove."""
        if name not in self._seen:
            log, places = self._logs[name]
            found: set[DayOrder] = set()
            for piece in log.pieces(Wanted(stamps=places, is_iso=False)):
                stamps = stamps_of([piece.cells[place] for place in places], self._patterns, None)
                found |= {"day_first"} if stamps.day_first_seen else set()
                found |= {"month_first"} if stamps.month_first_seen else set()
            self._seen[name] = frozenset(found)
        return self._seen[name]
