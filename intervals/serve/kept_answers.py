"""Answers of the judge that are kept for a moment, so that several who ask the same are answered by one judgement.

In: a name and what makes the answer. Out: the answer. What makes it runs in the judge's thread.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock
from time import monotonic
from typing import Generic, TypeVar

from intervals.serve.judge_thread import JudgeThread
from intervals.serve.site_files import FilesState, Stamp

Answer = TypeVar("Answer")


class KeptAnswers(Generic[Answer]):
    """Answers of one kind by their names; whoever asks takes care that there are few names.

    Args:
        thread: the thread that judges.
        lasts_s: for how long an answer is given again, s.
        clock_s: a clock that only goes forward, s.
        files: tells how the files are that answers are made from; one of other files than the log's as they were is not given again.
    """

    def __init__(
        self,
        thread: JudgeThread,
        lasts_s: float,
        clock_s: Callable[[], float] = monotonic,
        files: Callable[[], FilesState] = FilesState,
    ) -> None:
        self._thread, self._lasts_s, self._clock_s, self._files = thread, lasts_s, clock_s, files
        self._lock = Lock()
        self._kept: dict[str, tuple[float, tuple[Stamp, ...], Answer]] = {}

    def answer(self, name: str, make: Callable[[], Answer]) -> Answer:
        """Return the answer of a name, made if there is none or only an old one.

        Raises:
            BusyError: too many wait for the judge.
            Exception: what the making raises.
        """
        found = self._find(name)
        return found[0] if found else self._thread.do(lambda: self._made(name, make))

    def forget(self) -> None:
        """Make every answer anew when it is asked for next."""
        with self._lock:
            self._kept.clear()

    def _made(self, name: str, make: Callable[[], Answer]) -> Answer:
        """Make an answer, unless somebody before in the queue has just had it made."""
        found = self._find(name)
        if found:
            return found[0]
        # what is changed while it is made is another answer
        written = self._files().written
        made = make()
        with self._lock:
            self._kept[name] = (self._clock_s(), written, made)
        return made

    def _find(self, name: str) -> tuple[Answer] | None:
        """Return the answer that is kept under a name and not too old, on its own in a tuple."""
        written = self._files().written
        with self._lock:
            kept = self._kept.get(name)
        if kept is None or kept[1] != written or self._clock_s() - kept[0] >= self._lasts_s:
            return None
        return (kept[2],)
