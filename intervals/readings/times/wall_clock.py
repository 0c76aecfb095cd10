"""Local clock readings to instants: daylight saving is looked up, never guessed.

In: microseconds by the local clock, and a time zone. Out: UTC microseconds, and for each reading whether the clock showed it
once, never (the hour skipped in spring) or twice (the hour repeated in autumn). Refuses nothing.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from intervals.arrays import Flags, Instants

SECOND_US = 1_000_000
DAY_US = 86_400 * SECOND_US
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_DAY_S = 86_400
_STRETCH = 512

ODD_CLOCK = (
    ("time_does_not_exist", "was skipped when the clock was set forward"),
    ("time_comes_twice", "came twice when the clock was set back, and the file does not say which it was"),
)
"""Kind and words of the faults for the two odd results of `instants_of`, in their order."""


def instants_of(local_us: Instants, zone: ZoneInfo) -> tuple[Instants, Flags | None, Flags | None]:
    """Return the instants at which a zone's clock showed these readings.

    Args:
        local_us: microseconds since 1970 by the local clock.
        zone: the time zone of that clock.

    Returns:
        UTC microseconds; which readings the clock never showed; which it showed twice. None stands for no such reading.
        The instant of a reading that was shown never means nothing; of one that was shown twice it is the first.
    """
    if len(local_us) == 0:
        return local_us, None, None
    low, high = int(local_us.min()), int(local_us.max())
    # Whole stretches of days, so that the chunks of one log share what was looked up.
    at_s, offset_s = changes_of(zone, (low // DAY_US - 2) // _STRETCH * _STRETCH, ((high // DAY_US + 2) // _STRETCH + 1) * _STRETCH)
    offset_us = offset_s * SECOND_US
    if len(at_s) == 0:
        return (local_us - offset_us[0] if offset_us[0] else local_us), None, None
    # Around each change lies a stretch of the local clock that was skipped or repeated; between them the offset is plain.
    edges = np.empty(2 * len(at_s), dtype=np.int64)
    edges[0::2] = at_s * SECOND_US + np.minimum(offset_us[:-1], offset_us[1:])
    edges[1::2] = at_s * SECOND_US + np.maximum(offset_us[:-1], offset_us[1:])
    place = np.searchsorted(edges, local_us, side="right")
    odd = (place & 1).astype(np.bool_)
    period = place >> 1
    at_us = local_us - offset_us[period]
    if not odd.any():
        return at_us, None, None
    skipped = offset_us[1:] > offset_us[:-1]
    never = odd & skipped[np.minimum(period, len(skipped) - 1)]
    return at_us, never, odd & ~never


def set_back_us(local_us: Instants, zone: ZoneInfo) -> Instants:
    """Return by how much the clock was set back, for readings that it showed twice: so much later is the second time.

    Args:
        local_us: microseconds since 1970 by the local clock, at least one.
        zone: the time zone of that clock.
    """
    low, high = int(local_us.min()) // DAY_US - 2, int(local_us.max()) // DAY_US + 3
    at_s, offset_s = changes_of(zone, low, high)
    back_s = np.maximum(offset_s[:-1] - offset_s[1:], 0)
    # the clock showed a reading twice from the second at which it was set back to the one at which it was set back from
    begun = np.searchsorted((at_s + offset_s[1:]) * SECOND_US, local_us, side="right") - 1
    later_us: Instants = back_s[begun] * SECOND_US
    return later_us


@lru_cache(maxsize=64)
def changes_of(zone: ZoneInfo, first_day: int, last_day: int) -> tuple[Instants, Instants]:
    """Return when a zone's offset changes within a span of days.

    Args:
        zone: the time zone.
        first_day: first day of the span, days since 1970 in UTC.
        last_day: last day of the span.

    Returns:
        The changes, UTC seconds since 1970 in order; and the offsets in seconds, one before each change and one after the last.
    """
    changes: list[int] = []
    offsets = [_offset_s(zone, first_day * _DAY_S)]
    for day in range(first_day, last_day):
        after = _offset_s(zone, (day + 1) * _DAY_S)
        if after != offsets[-1]:
            changes.append(_first_second(zone, day * _DAY_S, (day + 1) * _DAY_S))
            offsets.append(after)
    return np.array(changes, dtype=np.int64), np.array(offsets, dtype=np.int64)


def _offset_s(zone: ZoneInfo, at_s: int) -> int:
    """Return the zone's offset from UTC at an instant."""
    offset = (_EPOCH + timedelta(seconds=at_s)).astimezone(zone).utcoffset()
    return 0 if offset is None else int(offset.total_seconds())


def _first_second(zone: ZoneInfo, low_s: int, high_s: int) -> int:
    """Return the first second at which the offset is that of `high_s` and no longer that of `low_s`."""
    before = _offset_s(zone, low_s)
    while high_s - low_s > 1:
        middle = (low_s + high_s) // 2
        if _offset_s(zone, middle) == before:
            low_s = middle
        else:
            high_s = middle
    return high_s
