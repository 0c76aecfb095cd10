"""Records a card and dies at the n-th call that changes a file, before it or half way through it; a test runs it as a process of its own.

Arguments: the site's folder, the card, n, and `before` or `half`.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from intervals.questions.record.handed_in import read_handed_in
from intervals.questions.record.record_site import Given, Recording
from intervals.site.model import load_site
from tests.recorded_sites import NOW

_CALLS = ("write", "fsync", "replace", "rename", "unlink", "ftruncate")


def main(folder: str, card: str, number: int, how: str) -> None:
    """Judge, then write with calls that count."""
    recording = Recording(load_site(Path(folder)), [Given(read_handed_in(Path(card)))], NOW)
    recording.judge()
    count = 0

    def dying(call: Callable[..., Any], name: str) -> Callable[..., Any]:
        def counted(*args: Any, **options: Any) -> Any:  # noqa: ANN401 - stands for any call
            nonlocal count
            count += 1
            if count == number:
                if how == "half" and name == "write":
                    call(args[0], args[1][: len(args[1]) // 2])
                os.kill(os.getpid(), signal.SIGKILL)
            return call(*args, **options)

        return counted

    for name in _CALLS:
        setattr(os, name, dying(getattr(os, name), name))
    recording.write()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4])
