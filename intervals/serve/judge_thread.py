"""The one thread that judges: durable-rules works in one thread of a process, and a site is judged for one request at a time.

In: what to do. Out: what it returns. Where too many wait already, the next one is sent away (`BusyError`) instead of waiting with them.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from threading import BoundedSemaphore
from typing import TypeVar

Result = TypeVar("Result")
MOST_WAITING = 6
"""So many requests may wait for the judge; the server has more threads than that, so that other pages are still answered."""


class BusyError(RuntimeError):
    """Too many wait for the judge already, or it judges no more."""


class JudgeThread:
    """The thread, and the queue before it."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="judge")
        self._places = BoundedSemaphore(MOST_WAITING)

    def do(self, step: Callable[[], Result]) -> Result:
        """Return what a step returns, done by the thread after all that came before.

        Raises:
            BusyError: too many wait already, or the thread is ending.
            Exception: what the step raises.
        """
        if not self._places.acquire(blocking=False):
            raise BusyError
        try:
            waiting = self._submitted(step)
            return waiting.result()
        except CancelledError:
            raise BusyError from None
        finally:
            self._places.release()

    def _submitted(self, step: Callable[[], Result]) -> Future[Result]:
        """Return a step in the queue; where the thread has ended there is no place in it."""
        try:
            return self._pool.submit(step)
        except RuntimeError:
            raise BusyError from None

    def close(self) -> None:
        """End the thread after the step that it is at; what has begun is finished, what waits is not begun."""
        self._pool.shutdown(wait=True, cancel_futures=True)
