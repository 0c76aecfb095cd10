"""A stream of things of which the next ones are made while the current one is worked on.

In: an iterator. Out: what it yields, in its order. Refuses nothing; what the iterator raises is raised where its turn comes.

Arrow parses a file without holding the interpreter, so that pieces are parsed while the rows of the one before them are looked at.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from queue import SimpleQueue
from threading import Semaphore, Thread
from typing import Generic, TypeVar

Item = TypeVar("Item")

_MOST_AHEAD = 2
"""So many things wait to be worked on: with one, who makes them and who works on them wait for each other in turn."""


class _Maker(Thread, Generic[Item]):
    """Makes the items of an iterator, and waits where enough of them wait."""

    def __init__(self, items: Iterator[Item]) -> None:
        # it ends with who reads; a process that ends sooner does not wait for it
        super().__init__(name="readahead", daemon=True)
        self._items = items
        self._room = Semaphore(_MOST_AHEAD)
        self._made: SimpleQueue[tuple[Item] | BaseException | None] = SimpleQueue()
        self._is_wanted = True
        self.start()

    def run(self) -> None:
        """Make the items."""
        try:
            for item in self._items:
                self._room.acquire()
                if not self._is_wanted:
                    # what it makes items of may itself be read ahead
                    if isinstance(self._items, Generator):
                        self._items.close()
                    return
                self._made.put((item,))
        except BaseException as error:  # noqa: BLE001 - whatever it is, it is raised again where the item is asked for
            self._made.put(error)
        else:
            self._made.put(None)

    def next(self) -> tuple[Item] | None:
        """Wait for the next item, and return it alone in a tuple, or None at the iterator's end."""
        made = self._made.get()
        self._room.release()
        if isinstance(made, BaseException):
            raise made
        return made

    def end(self) -> None:
        """Make no more, and wait for the item in the making."""
        self._is_wanted = False
        self._room.release()
        self.join()


def read_ahead(items: Iterator[Item]) -> Iterator[Item]:
    """Yield the items of an iterator, made ahead of who asks for them.

    Args:
        items: made by one thread.

    Yields:
        The items, in their order.

    Example:
        >>> list(read_ahead(iter("abc")))
        ['a', 'b', 'c']
    """
    maker = _Maker(items)
    try:
        while made := maker.next():
            yield made[0]
    finally:
        # no thread is left behind by who stops half-way
        maker.end()
