"""The workers of a cluster that a command was asked to use.

In: the address of a scheduler, and a site. Out: the workers, connected, and what waits for the log that they read. Refuses what
`intervals.cluster` refuses.
"""

from __future__ import annotations

from contextlib import AbstractContextManager, contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from intervals.cluster import Workers
    from intervals.problems import Problem
    from intervals.readings.rows import Readings
    from intervals.site.model import Site


def connected_workers(address: str) -> AbstractContextManager[Workers]:
    """Return what connects to the workers of a cluster.

    Args:
        address: of its scheduler.
    """
    from intervals.cluster import connected
    from intervals.questions.check.engine_groups import program

    return connected(address, program)


def beside_cluster(option: str, fix: str) -> Problem:
    """Return the problem of an option that cannot be used with --cluster (CLI141)."""
    from intervals.problems import Problem

    return Problem("CLI141", option, None, None, f"{option} cannot be used with --cluster", fix)


@contextmanager
def log_of_workers(site: Site, now_us: int | None, address: str | None) -> Iterator[Callable[[], Readings] | None]:
    """Yield what waits for the log, which the workers of a cluster read; None where no cluster was asked for.

    Args:
        site: the site.
        now_us: the clock, as for `read_readings`.
        address: of the cluster's scheduler, or None.
    """
    if address is None:
        yield None
        return
    from intervals.cli.common.background_read import background_read

    with connected_workers(address) as workers, background_read(site, now_us, 1, workers) as ahead:
        yield ahead
