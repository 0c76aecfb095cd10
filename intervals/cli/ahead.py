"""Reading the log ahead: a thread reads it while the program still loads the judge.

In: a site. Out: a function that waits for the readings. Most of reading is done outside Python's own lock, so that both go on at once.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from intervals.readings.rows import Readings
    from intervals.site.model import Site

SHORT_TURN_S = 0.001


@contextmanager
def reading_ahead(site: Site, now_us: int | None) -> Iterator[Callable[[], Readings]]:
    """Yield a function that waits for the readings, or raises what reading them raised.

    Args:
        site: the site.
        now_us: the clock, as for `read_readings`.
    """
    from intervals.readings.read import read_readings  # noqa: PLC0415 - loaded here, so that the thread finds it loaded

    # the reader waits for its turn as often as Arrow hands back a piece: shorter turns let it go on sooner
    turn_s = sys.getswitchinterval()
    sys.setswitchinterval(SHORT_TURN_S)
    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="reading") as pool:
        try:
            yield pool.submit(read_readings, site, now_us=now_us).result
        finally:
            sys.setswitchinterval(turn_s)
