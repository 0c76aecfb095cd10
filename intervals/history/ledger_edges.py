"""Where the ledger of an engine is cut: local midnights, and every instant at which a window begins or ends.

In: an engine's log, its settled records of each rule set. Out: rising instants. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from intervals.arrays import Instants
from intervals.history.completion_row import CompletionRow, instants_of
from intervals.history.engine_records import Completion, EngineRecords
from intervals.local_days import LocalDays
from intervals.usage.engine_log import EngineLog
from intervals.usage.step_nodes import each_once


def edges_of(log: EngineLog, records: Iterable[EngineRecords], days: LocalDays, end_us: int) -> Instants:
    """Return the cuts of the ledger: local midnights, every completion, the log's end, the first moment and the last.

    Args:
        log: the engine's log.
        records: its settled records, of each rule set that judges it.
        days: the site's local days.
        end_us: the moment of judging.
    """
    done = np.concatenate([np.zeros(0, dtype=np.int64), *(row for each in records for row in _instants_of_set(each))])
    done = done[done < end_us]
    more: list[int] = []
    known = [int(done.min()) if len(done) else end_us - 1, end_us - 1]
    if log.in_service_us is not None:
        more.append(log.in_service_us)
        known.append(log.in_service_us)
    if len(log.rows):
        known.append(int(log.rows[0]))
    if log.course.is_known:
        known.append(log.course.known_from_us)
    if log.log_end_us is not None:
        # nothing runs after the last reading: what was reached before it was not reached at midnight
        more.append(log.log_end_us)
    first = days.midnight_us(days.last_day_before(min(known)))
    return each_once([days.between(first, end_us), done, np.array([first, *more, end_us], dtype=np.int64)], first, end_us)


def _instants_of_set(records: EngineRecords) -> Iterator[Instants]:
    """Yield the instants at which tasks were completed, from which their next windows count, and of the events they are due after."""
    for completions in records.completions.values():
        yield instants_of(completions)
        if begun_us := _begun_us(completions):
            yield np.array(begun_us, dtype=np.int64)
    yield np.array([each.event.at_us for row in records.occasions.values() for each in row.opened], dtype=np.int64)


def _begun_us(completions: Sequence[Completion]) -> list[int]:
    """Return when the first parts of jobs in parts were done; records that stand for a whole job have none."""
    if isinstance(completions, CompletionRow):
        return []
    return [each.began_us for each in completions if each.began_us is not None]
