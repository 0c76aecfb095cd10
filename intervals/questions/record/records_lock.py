"""One person at a time writes records of a site: a lock that the system takes back from a process that died.

In: the folder of the site. Out: a context in which nobody else of this program writes records. Refuses (CLI165) where somebody else holds
it for longer than anyone waits.
"""

from __future__ import annotations

import os
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from intervals.problems import Problem, RequestProblemError
from intervals.writing import open_regular

RECORDS = "records"
"""The folder of what was handed in, below the site's."""
LOCK = ".lock"
BUSY = "CLI165"
WAITS_S = 20.0
_LOOKS_EVERY_S = 0.02
_LEFT_OVER = re.compile(r"\.trial\.csv|\..+\.[0-9a-f]{16}\.part")
"""The trial of rows that are to be appended, and files that are written whole, before they have their names."""


@contextmanager
def records_lock(folder: Path, *, waits_s: float = WAITS_S) -> Iterator[None]:
    """Hold the lock of a site's records.

    The lock is one on an open file, which ends with the process that holds it, however it ends; the file itself stays and means nothing.

    Args:
        folder: the site's folder.
        waits_s: how long to wait for somebody else, s.

    Raises:
        RequestProblemError: somebody else holds it all the while (CLI165), or the folder cannot be written to (CLI110).
    """
    place = folder / RECORDS
    path = place / LOCK
    try:
        place.mkdir(exist_ok=True)
        descriptor = open_regular(path, os.O_RDWR | os.O_CREAT)
    except OSError as error:
        text = f"cannot be written: {error.strerror or error}"
        raise RequestProblemError([Problem("CLI110", str(path), None, None, text, "make the folder writable")]) from error
    try:
        _take(descriptor, path, time.monotonic() + waits_s)
        _sweep(place)
        yield
    finally:
        # closing gives the lock back
        os.close(descriptor)


def _sweep(place: Path) -> None:
    """Remove what a writer that died left half done; whoever writes such files holds the lock."""
    for left in place.iterdir():
        if _LEFT_OVER.fullmatch(left.name):
            with suppress(OSError):
                left.unlink()


def _take(descriptor: int, path: Path, until: float) -> None:
    """Take the lock, or wait for it."""
    while not _is_taken(descriptor):
        if time.monotonic() > until:
            text = "somebody else is writing records of this site"
            raise RequestProblemError([Problem(BUSY, str(path), None, None, text, "wait until they are done, and say the same again")])
        time.sleep(_LOOKS_EVERY_S)


def _is_taken(descriptor: int) -> bool:
    """Try to take the lock once."""
    try:
        import fcntl  # noqa: PLC0415 - not there on every system
    except ImportError:
        return _is_taken_elsewhere(descriptor)
    with suppress(BlockingIOError):
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return True
    return False


def _is_taken_elsewhere(descriptor: int) -> bool:
    """Try to take the lock once, on a system without flock; its own is one on the first byte, and ends with the process too."""
    import msvcrt  # noqa: PLC0415 - there only on that system

    with suppress(OSError):
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        return True
    return False
