"""Local times that name no instant, or two, because the clock is set forward or back there.

In: a time without offset, and a time zone. Out: what is wrong with it and what to write instead. Refuses nothing itself.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo


class ClockDoubt(NamedTuple):
    """Why a local time names no instant of its own.

    Attributes:
        text: what is wrong, in one line.
        fix: what to write, in one line.
    """

    text: str
    fix: str


def doubt_of(at: datetime, zone: ZoneInfo) -> ClockDoubt | None:
    """Return why a local time names no instant, or two; None where it names one.

    Args:
        at: the time; one with an offset always names one instant.
        zone: the zone of the clock that it was read from.

    Example:
        >>> doubt_of(datetime(2026, 3, 29, 2, 30), ZoneInfo("Europe/Amsterdam")).fix
        'give an offset, such as 2026-03-29T02:30+01:00'
    """
    if at.tzinfo is not None:
        return None
    first, second = (at.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return None
    written, *offsets = (each.isoformat(timespec="minutes") for each in (at, first, second))
    # the clock is set back where the second reading's offset is the smaller one
    if (second.utcoffset() or timedelta()) < (first.utcoffset() or timedelta()):
        text = f"{written} comes twice in {zone.key}, where the clock is set back"
        return ClockDoubt(text, f"give an offset: {offsets[0]} is the first of the two, {offsets[1]} the second")
    text = f"{written} is skipped in {zone.key}, where the clock is set forward"
    return ClockDoubt(text, f"give an offset, such as {offsets[0]}")
