"""The one place where the clock is read.

Out: the moment at which a command runs. Everything below takes it as an argument, so that a judgement can be repeated.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def read_clock() -> datetime:
    """Return this moment, to the second, in UTC."""
    now = datetime.now(UTC)  # noqa: TID251 - this is the one place
    return now.replace(microsecond=0)


def microseconds_of(moment: datetime) -> int:
    """Return a moment as microseconds since 1970 in UTC.

    Args:
        moment: a datetime with its offset.
    """
    return (moment - _EPOCH) // timedelta(microseconds=1)
