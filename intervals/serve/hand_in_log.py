"""The log of who handed in what: `records/serve.log`, one line per card, only ever appended to.

In: who, which card, what became of it. Out: a line of five fields parted by tabs: time, address, name, card, verdict. It holds no secrets.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from threading import Lock

from intervals.problems import on_one_line
from intervals.serve.rates import Rate, RateLimits
from intervals.writing import open_regular

LOG_FILE = "serve.log"
_MOST_OF_A_FIELD = 300
_IDLE_OF_ONE, _IDLE_IN_ALL = Rate(20, 1 / 60), Rate(100, 1 / 12)
"""Lines about what wrote nothing: so many at once, then one per hour of an address, five of all."""


class HandInLog:
    """The log of a site's server.

    Args:
        folder: the folder `records` of the site; made with the first line where it is not there.
        clock: yields this moment, with its offset.
    """

    def __init__(self, folder: Path, clock: Callable[[], datetime]) -> None:
        self._path, self._clock, self._lock = folder / LOG_FILE, clock, Lock()
        self._idle = RateLimits(_IDLE_OF_ONE, _IDLE_IN_ALL)

    def note(self, address: str, name: str, card: str, verdict: str, *, is_idle: bool = False) -> None:
        """Append a line and force it to the disk.

        Args:
            address: where the request came from.
            name: who handed in, as they sign.
            card: the code of the card.
            verdict: what became of it.
            is_idle: whether nothing was written: of such lines there are only so many, so that nobody fills the disk with them.

        Raises:
            OSError: it cannot be written.
        """
        if is_idle and not self._idle.admits(address):
            return
        fields = [self._clock().isoformat(), address, name, card, verdict]
        line = "\t".join(_field(each) for each in fields) + "\n"
        with self._lock:
            self._path.parent.mkdir(exist_ok=True)
            descriptor = open_regular(self._path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o640)
            try:
                # one write: a line of another process never stands inside it
                os.write(descriptor, line.encode("utf-8", "backslashreplace"))
                os.fsync(descriptor)
            finally:
                os.close(descriptor)


def _field(text: str) -> str:
    """Return text as one field: no tab, no line end, not endlessly long."""
    shown = on_one_line(" ".join(text.split()))
    return shown if len(shown) <= _MOST_OF_A_FIELD else f"{shown[:_MOST_OF_A_FIELD]}..."
