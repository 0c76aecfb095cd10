"""Processes that draw the pages of months, one at a time, so that the server's own process is free for everybody else.

In: a month. Out: its page. Refuses what `intervals report` refuses; a process that ends without a page is a `LostProcessError`.
"""

from __future__ import annotations

import pickle
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from threading import Lock

from intervals.problems import RequestProblemError
from intervals.processes import LostProcessError
from intervals.serve.judge_thread import BusyError
from intervals.serve.month_drawing import Drawn

_PROGRAM = "intervals.serve.month_drawing"


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
            LostProcessError: the process ended without a page.
        """
        command = [sys.executable, "-P", "-m", _PROGRAM, str(self._folder), month, self._clock().isoformat()]
        with self._lock:
            if self._is_closed:
                raise BusyError
            # in a session of its own: Ctrl-C in the terminal of the server is for the server
            running = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, start_new_session=True)
            self._running = running
        pickled, _ = running.communicate()
        with self._lock:
            self._running = None
            if self._is_closed:
                raise BusyError
        if running.returncode != 0:
            message = f"the process that draws the page of {month} ended with {running.returncode}"
            raise LostProcessError(message)
        found: Drawn = pickle.loads(pickled)
        page, problems = found
        if problems:
            raise RequestProblemError(list(problems))
        return page

    def close(self) -> None:
        """End the process that draws, if there is one, and draw no more."""
        with self._lock:
            self._is_closed = True
            if self._running is not None:
                self._running.kill()
