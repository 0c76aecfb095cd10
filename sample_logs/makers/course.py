"""How an engine ran: a course in steps of a tenth of an hour, as fine as an hour meter shows.

In: spans in which the engine ran or stood. Out: hours run and starts made before any moment. The samples' logs and the
readings on their service records are both taken from one course, so that they agree as they would on a real plant.
"""

from __future__ import annotations

from bisect import bisect_left
from datetime import datetime, timedelta
from itertools import accumulate

TENTH = timedelta(minutes=6)


class Course:
    """When one engine ran between two moments.

    Args:
        start: first moment, with time zone.
        end: last moment, with time zone.
    """

    def __init__(self, start: datetime, end: datetime) -> None:
        self.start = start
        self.end = end
        self._runs = bytearray((end - start) // TENTH)
        self._tenths: list[int] = []
        self._start_places: list[int] = []

    def run(self, since: datetime, until: datetime) -> None:
        """Let the engine run from one moment to another, cut to the course and to whole tenths of an hour."""
        self._fill(since, until, 1)

    def stand(self, since: datetime, until: datetime) -> None:
        """Let the engine stand from one moment to another."""
        self._fill(since, until, 0)

    def settle(self) -> None:
        """Count up the course once all its spans are set."""
        self._tenths = list(accumulate(self._runs, initial=0))
        before = bytes(1) + bytes(self._runs[:-1])
        self._start_places = [place for place, (was, runs) in enumerate(zip(before, self._runs, strict=True)) if runs and not was]

    def hours_at(self, at: datetime) -> float:
        """Return the hours run from the course's start to a moment, in h."""
        return self._tenths[self._place(at)] / 10

    def starts_at(self, at: datetime) -> int:
        """Return the starts made from the course's start to a moment."""
        return bisect_left(self._start_places, self._place(at))

    def _place(self, at: datetime) -> int:
        return min(max((at - self.start) // TENTH, 0), len(self._runs))

    def _fill(self, since: datetime, until: datetime, value: int) -> None:
        first, last = self._place(since), self._place(until)
        self._runs[first:last] = bytes([value]) * max(last - first, 0)
