"""One seam to several processors: work done by copies of this process, its results brought back here.

In: a function, and items or nothing. Out: its results, as if it had been called here. The copies are forked, so that they have what
was read before without its being sent; only results travel. Where forking is not safe there is one process.
"""

from __future__ import annotations

import mmap
import os
import pickle
import signal
import sys
import warnings
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import partial
from itertools import pairwise
from typing import Any, Generic, NoReturn, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

ITEMS_A_PROCESS = 16
"""Fewer items than this are done sooner than a process of their own is made."""
_ALIGNED_BYTES = 64


class LostProcessError(RuntimeError):
    """A process ended before it had told its results."""


def processors() -> int:
    """Return how many processes may work at once: 1 where processes cannot be forked safely."""
    return len(os.sched_getaffinity(0)) if sys.platform.startswith("linux") else 1


def processes_for(count: int, jobs: int | None = None) -> int:
    """Return how many processes a number of items is shared among.

    Args:
        count: how many items.
        jobs: how many processes were asked for; None: as many as processors, as far as each gets items enough.

    Returns:
        At least one, and never more than there are items.
    """
    if not sys.platform.startswith("linux"):
        return 1
    if jobs is None:
        jobs = min(processors(), count // ITEMS_A_PROCESS)
    return max(1, min(jobs, count))


def map_in_processes(function: Callable[[Item], Result], items: Sequence[Item], jobs: int) -> list[Result]:
    """Return the function's result for every item, in the items' order.

    The items are cut into contiguous parts of nearly equal length: this process does the first, a forked one each other.
    Results must pickle; what the function changes elsewhere than in its result is lost with its process.

    Args:
        function: what to do with an item.
        items: the items.
        jobs: how many processes share them, from `processes_for`.

    Raises:
        LostProcessError: a process was ended from outside, for want of memory for example.
        Exception: what the function raised, at the first item at which it did.

    Example:
        >>> map_in_processes(str.upper, ["a", "b", "c"], jobs=2)
        ['A', 'B', 'C']
    """
    cuts = [len(items) * part // jobs for part in range(jobs + 1)]
    helpers: list[Helper[list[Result]]] = []
    try:
        helpers.extend(Helper(partial(_all_of, function, items[low:high])) for low, high in pairwise(cuts[1:]))
        results = _all_of(function, items[: cuts[1]])
        for helper in helpers:
            results += helper.result()
    finally:
        for helper in helpers:
            helper.end()
    return results


def _all_of(function: Callable[[Item], Result], items: Sequence[Item]) -> list[Result]:
    """Return the function's results."""
    return [function(item) for item in items]


class Helper(Generic[Result]):
    """A copy of this process that does one piece of work while this one goes on, tells the result, and ends.

    The result travels pickled through a pipe; arrays in it lie in memory that both processes see.

    Args:
        work: what to do.
    """

    def __init__(self, work: Callable[[], Result]) -> None:
        self._read_end, write_end = os.pipe()
        self._arrays = os.memfd_create("arrays")
        with warnings.catch_warnings():
            # newer Pythons warn of threads that would be missing in the copy; those of the readers are not used in it
            warnings.simplefilter("ignore", DeprecationWarning)
            self._pid = os.fork()
        if self._pid == 0:
            _tell(work, write_end, self._arrays)
        os.close(write_end)
        self._is_ended = False

    def result(self) -> Result:
        """Wait for the result, and return it.

        Raises:
            LostProcessError: the process ended without any.
            Exception: what the work raised.
        """
        with os.fdopen(os.dup(self._read_end), "rb") as pipe:
            told = pipe.read()
        if not told:
            message = "a process that shared the work was ended from outside; --jobs 1 uses one process only"
            raise LostProcessError(message)
        is_right, pickled, sizes = pickle.loads(told)
        result: Any = pickle.loads(pickled, buffers=_buffers(self._arrays, sizes))
        self.end()
        if not is_right:
            raise result
        return result  # type: ignore[no-any-return]  # what the work returned

    def end(self) -> None:
        """End the process if it still runs, and let go of what was shared with it."""
        if self._is_ended:
            return
        self._is_ended = True
        with suppress(ProcessLookupError):
            os.kill(self._pid, signal.SIGKILL)
        os.waitpid(self._pid, 0)
        os.close(self._read_end)
        os.close(self._arrays)


def _buffers(shared: int, sizes: Sequence[int]) -> list[memoryview]:
    """Return the arrays' memory, each from the first aligned place after the one before."""
    if not sum(sizes):
        return [memoryview(b"")] * len(sizes)
    memory = memoryview(mmap.mmap(shared, 0, access=mmap.ACCESS_COPY))
    buffers, place = [], 0
    for size in sizes:
        buffers.append(memory[place : place + size])
        place += size + -size % _ALIGNED_BYTES
    return buffers


def _tell(work: Callable[[], Any], write_end: int, shared: int) -> NoReturn:
    """Do the work, write its result or error, and end at once: nothing of the parent's is flushed or closed twice."""
    try:
        arrays: list[pickle.PickleBuffer] = []
        is_right, result = _result_or_error(work)
        pickled = pickle.dumps(result, pickle.HIGHEST_PROTOCOL, buffer_callback=arrays.append)
        sizes = []
        with os.fdopen(shared, "wb") as memory:
            for array in arrays:
                raw = array.raw()
                sizes.append(raw.nbytes)
                memory.write(raw)
                memory.write(bytes(-raw.nbytes % _ALIGNED_BYTES))
        told = pickle.dumps((is_right, pickled, sizes))
        with os.fdopen(write_end, "wb") as pipe:
            pipe.write(told)
    finally:
        os._exit(0)


def _result_or_error(work: Callable[[], Any]) -> tuple[bool, Any]:
    """Return whether the work was done, and its result or what it raised in a form that travels."""
    try:
        return True, work()
    except Exception as error:  # noqa: BLE001 - whatever it is, it is raised again where the result is asked for
        try:
            pickle.loads(pickle.dumps(error))
        except Exception:  # noqa: BLE001 - an error that cannot travel is told in words
            return False, LostProcessError(f"{type(error).__name__}: {error}")
        return False, error
