"""A stream of which the next things are made while the current one is worked on.

In: an iterator. Out: what it yields, in its order. Refuses nothing; what the iterator raises is raised where its turn comes.

Arrow parses a file without holding the interpreter, so that chunks are parsed while the rows of the one before them are looked at.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Generator, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")

_MADE_AHEAD = 3
"""So many things are made or in the making: with fewer, who makes them and who works on them wait for each other in turn."""


def prefetch(items: Iterator[Item]) -> Iterator[Item]:
    """Yield the items of an iterator, made by a thread ahead of who asks for them.

    Args:
        items: what is made; no more than a few items of it wait at any time.

    Yields:
        The items, in their order.

    Example:
        >>> list(prefetch(iter("abc")))
        ['a', 'b', 'c']
    """
    end = object()
    pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="prefetch")
    try:
        made = deque(pool.submit(next, items, end) for _ in range(_MADE_AHEAD))
        while (item := made.popleft().result()) is not end:
            made.append(pool.submit(next, items, end))
            yield item  # type: ignore[misc]  # all but the end are items
    finally:
        # who stops half-way waits for the item in the making, and leaves no thread behind
        pool.shutdown(cancel_futures=True)
        # what the items are made of may itself be fetched ahead
        if isinstance(items, Generator):
            items.close()
