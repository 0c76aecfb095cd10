"""One seam to several processors: work done by copies of this process, its results brought back here.

In: a function, and items or nothing. Out: its results, as if it had been called here. The copies are forked, so that they have what
was read before without its being sent; only results travel. Where forking is not safe there is one process.
"""

from __future__ import annotations

import mmap
import os
import pickle
import sys
import warnings
from collections import deque
from collections.abc import Callable, Generator, Sequence
from functools import partial
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING, Any, Generic, TypeVar

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

Item = TypeVar("Item")
Result = TypeVar("Result")

ITEMS_A_PROCESS = 16
"""Fewer items than this are done sooner than a process of their own is made."""
_ALIGNED_BYTES = 64


class LostProcessError(RuntimeError):
    """A process ended before it had sent its results."""


def processors() -> int:
    """Return how many processes may work at once: 1 where processes cannot be forked safely."""
    return len(os.sched_getaffinity(0)) if _can_fork() else 1


def processes_for(count: int, jobs: int | None = None) -> int:
    """Return how many processes a number of items is shared among.

    Args:
        count: how many items.
        jobs: how many processes were asked for; None: as many as processors, as far as each gets items enough.

    Returns:
        At least one, and never more than there are items.
    """
    if not _can_fork():
        return 1
    if jobs is None:
        jobs = min(processors(), count // ITEMS_A_PROCESS)
    return max(1, min(jobs, count))


def _can_fork() -> bool:
    """Tell whether copies of this process can be made: on Linux, and where it is not itself one of a pool's workers."""
    if not sys.platform.startswith("linux"):
        return False
    from multiprocessing import current_process  # noqa: PLC0415 - not needed for --help

    return not current_process().daemon


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


def each_in_its_process(function: Callable[[Item], Result], items: Sequence[Item], jobs: int) -> Generator[tuple[int, Result | Exception]]:
    """Yield each item's number and result as it is done, every item in a process of its own.

    What goes wrong with an item, were it the end of its process, stands in place of its result and holds up no other. What an item
    took of memory goes with its process. Where processes cannot be forked, this one does it all.

    Args:
        function: what to do with an item; its result must pickle.
        items: the items.
        jobs: how many are done at once.
    """
    if not _can_fork():
        for number, item in enumerate(items):
            yield number, _result_or_error(partial(function, item))[1]
        return
    from multiprocessing.connection import wait  # noqa: PLC0415 - not needed for --help

    waiting = deque(enumerate(items))
    running: dict[int, tuple[Helper[Result], int]] = {}
    try:
        while waiting or running:
            while waiting and len(running) < jobs:
                number, item = waiting.popleft()
                helper = Helper(partial(function, item))
                running[helper.fileno()] = helper, number
            for ready in wait(running):
                helper, number = running.pop(int(ready))  # type: ignore[arg-type]  # what is waited for are numbers
                yield number, _outcome_of(helper)
    finally:
        for helper, _ in running.values():
            helper.end()


def _outcome_of(helper: Helper[Any]) -> Any:  # noqa: ANN401 - whatever the helper found
    """Return what a helper found, or what it raised."""
    try:
        return helper.result()
    except Exception as error:  # noqa: BLE001 - whatever it is, it is handed on
        return error
    finally:
        helper.end()


class Helper(Generic[Result]):
    """A copy of this process that does one piece of work while this one goes on, sends the result, and ends.

    The result travels pickled through a pipe. Its arrays are written once, into memory that both processes see: through a pipe they would
    be copied twice, a little at a time. That memory has no name and is not counted among `/dev/shm`, which may be small; it goes with the
    last process that has it.

    Args:
        work: what to do.
    """

    def __init__(self, work: Callable[[], Result]) -> None:
        from multiprocessing import get_context  # noqa: PLC0415 - not needed for --help

        context = get_context("fork")
        self._pipe, write_end = context.Pipe(duplex=False)
        self._arrays = os.memfd_create("arrays")
        self._process = context.Process(target=_send_result, args=(work, write_end, self._arrays), daemon=True)
        with warnings.catch_warnings():
            # newer Pythons warn of threads that would be missing in the copy; those of the readers are not used in it
            warnings.simplefilter("ignore", DeprecationWarning)
            self._process.start()
        write_end.close()

    def result(self) -> Result:
        """Wait for the result, and return it.

        Raises:
            LostProcessError: the process ended without any.
            Exception: what the work raised.
        """
        try:
            is_right, pickled, sizes = pickle.loads(self._pipe.recv_bytes())
        except (EOFError, OSError) as error:
            message = "a process that shared the work was ended from outside; --jobs 1 uses one process only"
            raise LostProcessError(message) from error
        result: Any = pickle.loads(pickled, buffers=_buffers_of(self._arrays, sizes))
        self.end()
        if not is_right:
            raise result
        return result  # type: ignore[no-any-return]  # what the work returned

    def fileno(self) -> int:
        """Return what to wait for: it can be read once there is a result, or the process has ended."""
        return self._pipe.fileno()

    def end(self) -> None:
        """End the process if it still runs, and let go of what was shared with it."""
        if not self._pipe.closed:
            self._process.kill()
            self._process.join()
            self._process.close()
            self._pipe.close()
            os.close(self._arrays)


def _buffers_of(shared: int, sizes: Sequence[int]) -> list[memoryview]:
    """Return the memory of each array, from the first aligned place after the one before; what is written to is copied first."""
    if not any(sizes):
        return [memoryview(bytearray()) for _ in sizes]
    memory = memoryview(mmap.mmap(shared, 0, access=mmap.ACCESS_COPY))
    starts = accumulate((size + -size % _ALIGNED_BYTES for size in sizes), initial=0)
    return [memory[start : start + size] for start, size in zip(starts, sizes, strict=False)]


def _send_result(work: Callable[[], Any], pipe: Connection, shared: int) -> None:
    """Do the work, write the arrays of its result or error into shared memory, and send the pickle with their sizes."""
    try:
        is_right, result = _result_or_error(work)
        arrays: list[pickle.PickleBuffer] = []
        pickled = pickle.dumps(result, pickle.HIGHEST_PROTOCOL, buffer_callback=arrays.append)
        parts = [array.raw() for array in arrays]
        with os.fdopen(shared, "wb") as memory:
            for part in parts:
                memory.write(part)
                memory.write(bytes(-part.nbytes % _ALIGNED_BYTES))
        pipe.send_bytes(pickle.dumps((is_right, pickled, [part.nbytes for part in parts])))
    except (KeyboardInterrupt, BrokenPipeError):
        # who interrupts, or no longer waits, hears of it from the process that shared the work
        return


def _result_or_error(work: Callable[[], Any]) -> tuple[bool, Any]:
    """Return whether the work was done, and its result or what it raised in a form that travels."""
    try:
        return True, work()
    except Exception as error:  # noqa: BLE001 - whatever it is, it is raised again where the result is asked for
        try:
            pickle.loads(pickle.dumps(error))
        except Exception:  # noqa: BLE001 - an error that cannot travel is sent as words
            return False, LostProcessError(f"{type(error).__name__}: {error}")
        return False, error
