"""Reading the log ahead: a helper process reads it while this one still loads the judge.

In: a site. Out: a function that waits for the readings. Of a small log nothing is read ahead: a process of its own would take longer;
nor of a very large one, which is not to lie in the memory of two processes.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

from intervals.processes import Helper, processors

if TYPE_CHECKING:
    from collections.abc import Callable

    from intervals.readings.rows import Readings
    from intervals.site.model import Site

FEWEST_BYTES = 4_000_000
MOST_BYTES = 64_000_000


@contextmanager
def reading_ahead(site: Site, now_us: int | None, jobs: int | None) -> Iterator[Callable[[], Readings] | None]:
    """Yield a function that waits for the readings, or None where they are better read by whoever wants them.

    Args:
        site: the site.
        now_us: the clock, as for `read_readings`.
        jobs: how many processes were asked for; with one nothing is read ahead.
    """
    if jobs == 1 or processors() == 1 or not FEWEST_BYTES <= _log_bytes(site) <= MOST_BYTES:
        yield None
        return
    # loaded before there are two processes that would each load it
    from intervals.readings.read import read_readings  # noqa: PLC0415 - of a small log whoever wants it loads it

    helper = Helper(lambda: _without_sources(read_readings(site, now_us=now_us)))

    def wait() -> Readings:
        readings = helper.result()
        blocks = zip(readings.blocks, site.readings, strict=True)
        return replace(readings, blocks=tuple(replace(block, source=source) for block, source in blocks))

    try:
        yield wait
    finally:
        helper.end()


def _without_sources(readings: Readings) -> Readings:
    """Return the readings without the blocks of the site file, which whoever waits has."""
    return replace(readings, blocks=tuple(replace(block, source=None) for block in readings.blocks))  # type: ignore[arg-type]  # put back


def _log_bytes(site: Site) -> int:
    """Return how large the files of the log are together."""
    paths = {path for source in site.readings for pattern in source.files for path in site.folder.glob(pattern)}
    return sum(path.stat().st_size for path in paths)
