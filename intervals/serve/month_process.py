"""Processes that draw the pages of months, one at a time, so that the server's own process is free for everybody else.

In: a month. Out: its page. Refuses what `intervals report` refuses; a process that ends without a page is a `LostProcessError`,
one that is stopped from outside, or draws for too long, twice in a row, a `StoppedProcessError`.
"""

from __future__ import annotations

import os
import pickle
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from tempfile import mkdtemp
from threading import Lock
from weakref import finalize

from intervals.problems import RequestProblemError
from intervals.processes import LostProcessError
from intervals.serve.judge_thread import BusyError
from intervals.serve.month_drawing import Drawn

TAKES_AT_MOST_S = 120.0
"""A page takes seconds: whatever draws for longer has been stopped, or will not end."""
_ENGINE_TAKES_S = 0.25
"""A fleet is given so much longer for each of its engines."""
_TRIES = 2
_PROGRAM = "intervals.serve.month_drawing"
_PAGE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,80}\.html")


class StoppedProcessError(LostProcessError):
    """A process that draws was stopped from outside, or drew for too long, and so was the one that took its place."""


class MonthProcess:
    """Draws pages of one site; asked by one thread at a time.

    Args:
        folder: the site's folder.
        clock: yields this moment, with its offset.
        engines: how many engines and components the site has.
    """

    def __init__(self, folder: Path, clock: Callable[[], datetime], engines: int = 0) -> None:
        self._folder, self._clock, self._engines = folder, clock, engines
        self._pages = Path(mkdtemp(prefix="intervals-"))
        self._remove_pages = finalize(self, shutil.rmtree, self._pages, ignore_errors=True)
        self._lock = Lock()
        self._running: subprocess.Popen[bytes] | None = None
        self._is_closed = False

    def draw(self, month: str) -> str:
        """Return the page of a month.

        Args:
            month: `YYYY-MM`.

        Raises:
            RequestProblemError: the site or the month cannot be judged.
            BusyError: no page is drawn any more.
            StoppedProcessError: two processes, one after the other, were stopped from outside or drew for too long.
            LostProcessError: the process ended without a page.
        """
        for _ in range(_TRIES):
            running, pickled, engines = self._drawn(month)
            if running.returncode >= 0:
                break
        if running.returncode < 0:
            longest = f"{self._takes_at_most_s:g} s"
            message = f"the process that draws the page of {month} was stopped, or took more than {longest}, {_TRIES} times"
            raise StoppedProcessError(message)
        if running.returncode != 0:
            message = f"the process that draws the page of {month} ended with {running.returncode}"
            raise LostProcessError(message)
        found: Drawn = pickle.loads(pickled)
        page, problems = found
        if problems:
            raise RequestProblemError(list(problems))
        self._show(month, engines)
        return page

    def engine_page(self, month: str, name: str) -> str | None:
        """Return the page of one engine of a fleet as it was drawn last with its month; None where there is none.

        Args:
            month: `YYYY-MM`.
            name: the name of the page.
        """
        if _PAGE_NAME.fullmatch(name) is None:
            return None
        try:
            return (self._pages / month / name).read_text(encoding="utf-8")
        except FileNotFoundError:
            return None

    @property
    def _takes_at_most_s(self) -> float:
        """How long a process may draw."""
        return TAKES_AT_MOST_S + _ENGINE_TAKES_S * self._engines

    def _show(self, month: str, engines: Path) -> None:
        """Put the pages of engines that were drawn in the place of those before them."""
        shown = self._pages / month
        if shown.exists():
            shown.rename(engines.with_suffix(".old"))
        engines.rename(shown)
        for left in self._pages.glob(f"{month}.*"):
            shutil.rmtree(left, ignore_errors=True)

    def _drawn(self, month: str) -> tuple[subprocess.Popen[bytes], bytes, Path]:
        """Return a process that has drawn, what it wrote, and where its pages of engines are; one that takes too long is ended."""
        with self._lock:
            if self._is_closed:
                raise BusyError
            engines = Path(mkdtemp(prefix=f"{month}.", dir=self._pages))
        command = [sys.executable, "-P", "-m", _PROGRAM, str(self._folder), month, self._clock().isoformat(), str(engines)]
        with self._lock:
            if self._is_closed:
                raise BusyError
            # in a session of its own: Ctrl-C in the terminal of the server is for the server
            running = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, start_new_session=True)
            self._running = running
        try:
            pickled, _ = running.communicate(timeout=self._takes_at_most_s)
        except subprocess.TimeoutExpired:
            _end(running)
            pickled, _ = running.communicate()
        with self._lock:
            self._running = None
            if self._is_closed:
                raise BusyError
        return running, pickled, engines

    def close(self) -> None:
        """End the process that draws, if there is one, and draw no more."""
        with self._lock:
            self._is_closed = True
            if self._running is not None:
                _end(self._running)
        self._remove_pages()


def _end(running: subprocess.Popen[bytes]) -> None:
    """End a process with those that it shares its work with: each of them holds the pipe open."""
    if hasattr(os, "killpg"):
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(running.pid, signal.SIGKILL)
    running.kill()
