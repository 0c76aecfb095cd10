"""Reading the log in the background, while the program still loads the judge.

In: a site. Out: a function that waits for the readings. A copy of this process reads, so that the two do not wait for one another; where
that cannot be, a thread does. Of a small log a copy would take longer to make; a very large one is not to lie in the memory of two.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import copy_context
from functools import partial
from typing import TYPE_CHECKING

from intervals.processes import Helper, processors

if TYPE_CHECKING:
    from collections.abc import Callable

    from intervals.cluster import Workers
    from intervals.readings.rows import Readings
    from intervals.site.model import Site

FEWEST_BYTES = 4_000_000
MOST_BYTES = 64_000_000
SHORT_TURN_S = 0.001


@contextmanager
def background_read(site: Site, now_us: int | None, jobs: int | None, workers: Workers | None = None) -> Iterator[Callable[[], Readings]]:
    """Yield a function that waits for the readings, or raises what reading them raised.

    Args:
        site: the site.
        now_us: the clock, as for `read_readings`.
        jobs: how many processes were asked for; with one, no other is made.
        workers: of a cluster, who read where they see the files as this machine does.
    """
    # loaded before there are two that would each load it
    from intervals.readings.log_size import log_bytes
    from intervals.readings.read import read_readings

    if workers is not None:
        # a process that talks to a cluster has threads that a copy of it would lack
        with _in_a_thread(partial(_read_by_workers, site, now_us, workers)) as wait:
            yield wait
        return
    size = log_bytes(site)
    # what an address is read with has threads of its own, which a copy would lack
    may_copy = jobs != 1 and processors() > 1 and not site.names_addresses
    has_copy = may_copy and size.of_files >= FEWEST_BYTES and size.of_rows <= MOST_BYTES

    def read() -> Readings:
        # what a copy of this process sends is looked at there
        return read_readings(site, now_us=now_us, may_look_later=not has_copy)

    with _in_a_copy(site, read) if has_copy else _in_a_thread(read) as wait:
        yield wait


def _read_by_workers(site: Site, now_us: int | None, workers: Workers) -> Readings:
    """Return the readings, which the workers read where they can."""
    from intervals.readings.read import read_readings
    from intervals.readings.read_on_workers import read_on_workers

    return read_on_workers(site, workers, now_us=now_us) or read_readings(site, now_us=now_us)


@contextmanager
def _in_a_copy(site: Site, read: Callable[[], Readings]) -> Iterator[Callable[[], Readings]]:
    """Let a copy of this process read; the blocks of the site file do not travel, this process has them."""
    helper = Helper(lambda: read().without_sources())
    try:
        yield lambda: helper.result().with_sources(site.readings)
    finally:
        helper.end()


@contextmanager
def _in_a_thread(read: Callable[[], Readings]) -> Iterator[Callable[[], Readings]]:
    """Let a thread read; most of reading is done outside Python's own lock."""
    # the reader waits for its turn as often as Arrow hands back a piece: shorter turns let it go on sooner
    turn_s = sys.getswitchinterval()
    sys.setswitchinterval(SHORT_TURN_S)
    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="reading") as pool:
        try:
            yield pool.submit(copy_context().run, read).result
        finally:
            sys.setswitchinterval(turn_s)
