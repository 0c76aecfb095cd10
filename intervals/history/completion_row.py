"""The completions of one task that its own or another task's records stand for, kept in columns until somebody asks for one of them.

In: service records of work done, in order of time, with their instants and meter readings. Out: a `CompletionRow`, a row of `Completion`
values; a fleet has so many that most are never looked at. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import overload

import numpy as np

from intervals.arrays import Instants
from intervals.history.engine_records import Completion
from intervals.history.placed_records import card_named, place_of
from intervals.local_days import LocalDays
from intervals.readings import ServiceRecord


class CompletionRow(Sequence[Completion]):
    """Completions of one task in order of time; each is made when it is asked for.

    Args:
        task: the task that they complete.
        by: the task whose records they are: itself, or the one that renews it.
        makes_new: whether the task starts again with `first`.
        records: the records.
        at_us: when each was done, rising.
        meters_h: what the hour meter showed at each; None where it is not known.
        days: the site's local days.
    """

    __slots__ = ("_by", "_days", "_makes_new", "_meters_h", "_records", "_task", "at_us")

    def __init__(  # noqa: PLR0913 - the columns of a completion
        self,
        task: str,
        by: str,
        records: Sequence[ServiceRecord],
        at_us: Instants,
        meters_h: Sequence[float | None],
        days: LocalDays,
        *,
        makes_new: bool,
    ) -> None:
        self._task, self._by, self._makes_new = task, by, makes_new
        self._records, self._meters_h, self._days = records, meters_h, days
        self.at_us = at_us

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._records)

    @overload
    def __getitem__(self, place: int) -> Completion: ...

    @overload
    def __getitem__(self, place: slice) -> tuple[Completion, ...]: ...

    def __getitem__(self, place: int | slice) -> Completion | tuple[Completion, ...]:
        """Return one of them, or those of a slice."""
        if isinstance(place, slice):
            return tuple(map(self._made, range(len(self))[place]))
        return self._made(place)

    def __iter__(self) -> Iterator[Completion]:
        """Yield all of them."""
        return map(self._made, range(len(self)))

    def __eq__(self, other: object) -> bool:
        """Tell whether another row holds the same completions."""
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    def __hash__(self) -> int:
        """Return what equal rows have in common."""
        return hash(tuple(self))

    def _made(self, place: int) -> Completion:
        """Return one completion."""
        record, at_us = self._records[place], int(self.at_us[place])
        return Completion(
            self._task,
            at_us,
            self._days.date_of(at_us),
            self._meters_h[place],
            place_of(record),
            self._makes_new,
            self._by,
            card=card_named(record.ref),
        )


def instants_of(completions: Sequence[Completion]) -> Instants:
    """Return when each was done, UTC microseconds."""
    if isinstance(completions, CompletionRow):
        return completions.at_us
    return np.array([each.at_us for each in completions], dtype=np.int64)


__all__ = ["CompletionRow", "instants_of"]
