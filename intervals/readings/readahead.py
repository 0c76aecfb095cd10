"""A stream of things of which the next one is made while the current one is worked on.

In: an iterator. Out: what it yields, in its order. Refuses nothing; what the iterator raises is raised where its turn comes.

Arrow parses a file without holding the interpreter, so that one piece is parsed while the rows of the one before it are looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from threading import Thread
from typing import Generic, TypeVar

Item = TypeVar("Item")


class _Next(Thread, Generic[Item]):
    """The next item of an iterator, in the making."""

    def __init__(self, items: Iterator[Item]) -> None:
        super().__init__(name="readahead")
        self._items = items
        self._made: list[Item] = []
        self._error: BaseException | None = None
        self.start()

    def run(self) -> None:
        """Make the item."""
        try:
            self._made.extend([next(self._items)])
        except StopIteration:
            return
        except BaseException as error:  # noqa: BLE001 - whatever it is, it is raised again where the item is asked for
            self._error = error

    def result(self) -> list[Item]:
        """Wait for the item, and return it in a list, which is empty at the iterator's end."""
        self.join()
        if self._error is not None:
            raise self._error
        return self._made


def read_ahead(items: Iterator[Item]) -> Iterator[Item]:
    """Yield the items of an iterator, always one ahead of who asks for them.

    Args:
        items: made by one thread at a time, never by two at once.

    Yields:
        The items, in their order.

    Example:
        >>> list(read_ahead(iter("abc")))
        ['a', 'b', 'c']
    """
    coming = _Next(items)
    try:
        while made := coming.result():
            coming = _Next(items)
            yield made[0]
    finally:
        # no thread is left behind by who stops half-way
        coming.join()
