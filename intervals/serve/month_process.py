"""Processes that draw the pages of months, one at a time, so that the server's own process is free for everybody else.

In: a month. Out: its page. Refuses what `intervals report` refuses; a process that ends without a page is a `LostProcessError`,
one that is stopped from outside, or draws for too long, twice in a row, a `StoppedProcessError`.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from threading import Lock

from intervals.problems import RequestProblemError
from intervals.processes import LostProcessError
from intervals.serve.judge_thread import BusyError
from intervals.serve.month_drawing import Drawn

TAKES_AT_MOST_S = 120.0
"""A page takes seconds, of the largest sites a minute: whatever draws for longer has been stopped, or will not end."""
_TRIES = 2
_PROGRAM = "intervals.serve.month_drawing"


class StoppedProcessError(LostProcessError):
    """A process that draws was stopped from outside, or drew for too long, and so was the one that took its place."""


class MonthProcess:
    """Draws pages of one site; asked by one thread at a time.

    Args:
        folder: the site's folder.
        clock: yields this moment, with its offset.
    """

    def __init__(self, folder: Path, clock: Callable[[], datetime]) -> None:
        self._folder, self._clock = folder, clock
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
            running, pickled = self._drawn(month)
            if running.returncode >= 0:
                break
        if running.returncode < 0:
            message = f"the process that draws the page of {month} was stopped, or took more than {TAKES_AT_MOST_S:g} s, {_TRIES} times"
            raise StoppedProcessError(message)
        if running.returncode != 0:
            message = f"the process that draws the page of {month} ended with {running.returncode}"
            raise LostProcessError(message)
        found: Drawn = pickle.loads(pickled)
        page, problems = found
        if problems:
            raise RequestProblemError(list(problems))
        return page

    def _drawn(self, month: str) -> tuple[subprocess.Popen[bytes], bytes]:
        """Return a process that has drawn, with what it wrote; one that draws for too long is ended, and one that was killed is no page."""
        command = [sys.executable, "-P", "-m", _PROGRAM, str(self._folder), month, self._clock().isoformat()]
        with self._lock:
            if self._is_closed:
                raise BusyError
            # in a session of its own: Ctrl-C in the terminal of the server is for the server
            running = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, start_new_session=True)
            self._running = running
        try:
            pickled, _ = running.communicate(timeout=TAKES_AT_MOST_S)
        except subprocess.TimeoutExpired:
            _end(running)
            pickled, _ = running.communicate()
        with self._lock:
            self._running = None
            if self._is_closed:
                raise BusyError
        return running, pickled

    def close(self) -> None:
        """End the process that draws, if there is one, and draw no more."""
        with self._lock:
            self._is_closed = True
            if self._running is not None:
                _end(self._running)


def _end(running: subprocess.Popen[bytes]) -> None:
    """End a process with those that it shares its work with: each of them holds the pipe open."""
    if hasattr(os, "killpg"):
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(running.pid, signal.SIGKILL)
    running.kill()
