"""Where the ledger of an engine is cut: at local midnights, at every completion, at the first moment and the last.

In: an engine's log and its settled records. Out: rising instants.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from intervals.history.engine_records import EngineRecords
from intervals.local_days import LocalDays
from intervals.usage.engine_log import EngineLog
from intervals.usage.meter.meter_course import Instants
from intervals.usage.step_nodes import each_once


def edges_of(log: EngineLog, records: Iterable[EngineRecords], days: LocalDays, end_us: int) -> Instants:
    """Return the cuts of the ledger: local midnights, every completion, the log's end, the first moment and the last.

    Args:
        log: the engine's log.
        records: its settled records, of each rule set that judges it.
        days: the site's local days.
        end_us: the moment of judging.
    """
    instants = [at for at in set[int]().union(*(each.instants_us() for each in records)) if at < end_us]
    known = [min(instants, default=end_us - 1), end_us - 1]
    if log.in_service_us is not None:
        instants.append(log.in_service_us)
        known.append(log.in_service_us)
    if len(log.rows):
        known.append(int(log.rows[0]))
    if log.course.is_known:
        known.append(log.course.known_from_us)
    if log.told_to_us is not None:
        # nothing runs after the last reading: what was reached before it was not reached at midnight
        instants.append(log.told_to_us)
    first = days.midnight_us(days.last_day_before(min(known)))
    return each_once([days.between(first, end_us), np.array([first, *instants, end_us], dtype=np.int64)], first, end_us)
