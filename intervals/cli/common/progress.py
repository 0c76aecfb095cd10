"""How far a long command has come: a bar on standard error, and only for a person at a terminal.

In: the name of a stage and the share of it that is done. Out: a bar, from the third second on. It is gone at the end.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from time import monotonic
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.progress import Progress, TaskID

_QUIET_S = 2.0


@contextmanager
def progress_bar() -> Iterator[Callable[[str, float], None] | None]:
    """Yield what a stage calls with its name and the share done, or None where nobody watches."""
    if sys.stderr is None or not sys.stderr.isatty():
        yield None
        return
    bar = _Bar()
    try:
        yield bar.show
    finally:
        bar.close()


class _Bar:
    """A bar that appears once there was something to wait for."""

    def __init__(self) -> None:
        self._started_at_s = monotonic()
        self._progress: Progress | None = None
        self._stages: dict[str, TaskID] = {}

    def show(self, stage: str, share: float) -> None:
        """Show that so much of a stage is done.

        Args:
            stage: what is being done.
            share: from 0 to 1.
        """
        if self._progress is None:
            if monotonic() - self._started_at_s < _QUIET_S:
                return
            self._progress = _open_bar()
        if stage not in self._stages:
            self._stages[stage] = self._progress.add_task(stage, total=1.0)
        self._progress.update(self._stages[stage], completed=min(max(share, 0.0), 1.0))

    def close(self) -> None:
        """Take the bar away."""
        if self._progress is not None:
            self._progress.stop()


def _open_bar() -> Progress:
    """Return a bar that shows itself on standard error."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    progress = Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:.0f} %"),
        console=Console(stderr=True),
        transient=True,
    )
    progress.start()
    return progress
