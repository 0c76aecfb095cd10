"""The pages of months that were drawn: each is made once for all who ask, and the last one is shown while a new one is made.

In: a month and what draws its page. Out: the page, and whether a newer one is being made: after a while, and as soon as a file that it is
made from is another one. Pages are drawn by one thread, one after the
other, apart from the judge's: nobody who asks for something else waits for them.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from threading import BoundedSemaphore, Lock
from time import monotonic
from typing import NamedTuple

from intervals.serve.judge_thread import BusyError
from intervals.serve.site_files import FilesState

LOG_LASTS_S = 60.0
"""A log that is written all the time does not have a page made anew more often than this, s."""
MOST_WAITING = 4
"""So many requests may wait for a first page; with those that wait for the judge the server has threads left for others."""


class MonthPage(NamedTuple):
    """A page, and whether a newer one is being made."""

    page: str
    is_old: bool


class _Kept(NamedTuple):
    """A page that was made: when (s of a clock), how often all were forgotten before its making began, and how the files were then."""

    made_at_s: float
    forgotten: int
    files: FilesState
    page: str


class MonthPages:
    """Pages by month; whoever asks takes care that there are few months.

    Args:
        draw: draws the page of a month, `YYYY-MM`.
        lasts_s: for how long a page is shown without a new one being made, s.
        clock_s: a clock that only goes forward, s.
        files: tells how the files are that pages are made from.
    """

    def __init__(
        self,
        draw: Callable[[str], str],
        lasts_s: float,
        clock_s: Callable[[], float] = monotonic,
        files: Callable[[], FilesState] = FilesState,
    ) -> None:
        self._draw, self._lasts_s, self._clock_s, self._files = draw, lasts_s, clock_s, files
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="month")
        self._places = BoundedSemaphore(MOST_WAITING)
        self._lock = Lock()
        self._kept: dict[str, _Kept] = {}
        self._making: dict[str, Future[str]] = {}
        self._forgotten = 0

    def page(self, month: str) -> MonthPage:
        """Return the page of a month: at once where there is one, be it old; else as soon as it is made.

        Args:
            month: `YYYY-MM`.

        Raises:
            BusyError: too many wait already, or no page is made any more.
            Exception: what the drawing raises.
        """
        files = self._files()
        with self._lock:
            kept = self._kept.get(month)
            if kept is not None and self._is_new(kept, files):
                return MonthPage(kept.page, is_old=False)
            making = self._making.get(month) or self._begun(month)
        return MonthPage(self._waited_for(making), is_old=False) if kept is None else MonthPage(kept.page, is_old=True)

    def _is_new(self, kept: _Kept, files: FilesState) -> bool:
        """Tell whether a page is still what would be made now; the lock is held."""
        age_s = self._clock_s() - kept.made_at_s
        is_log_new = age_s < LOG_LASTS_S or kept.files.log == files.log
        return kept.forgotten == self._forgotten and age_s < self._lasts_s and kept.files.written == files.written and is_log_new

    def forget(self) -> None:
        """Make every page anew when it is asked for next; the one of now is shown until then."""
        with self._lock:
            self._forgotten += 1

    def close(self) -> None:
        """Make no more pages; wait for the one that is being made."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _begun(self, month: str) -> Future[str]:
        """Return the page of a month in the making; the lock is held."""
        try:
            making = self._pool.submit(self._made, month)
        except RuntimeError:
            raise BusyError from None
        self._making[month] = making
        return making

    def _waited_for(self, making: Future[str]) -> str:
        """Return a page when it is made."""
        if not self._places.acquire(blocking=False):
            raise BusyError
        try:
            return making.result()
        except CancelledError:
            raise BusyError from None
        finally:
            self._places.release()

    def _made(self, month: str) -> str:
        """Draw a page and keep it; one that cannot be drawn any more is not shown any more, so that whoever asks next sees why."""
        with self._lock:
            forgotten = self._forgotten
        kept: _Kept | None = None
        try:
            # what is changed while it is drawn is another page
            files = self._files()
            page = self._draw(month)
            kept = _Kept(self._clock_s(), forgotten, files, page)
            return page
        finally:
            with self._lock:
                del self._making[month]
                if kept is None:
                    self._kept.pop(month, None)
                else:
                    self._kept[month] = kept
