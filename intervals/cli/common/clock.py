"""The one place where the clock is read.

Out: the moment at which a command runs. Everything below takes it as an argument, so that a judgement can be repeated.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

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


def shown_moment(moment: datetime, zone: ZoneInfo) -> str:
    """Return a moment as a page shows it, by the site's clock.

    Args:
        moment: a datetime with its offset.
        zone: the site's time zone.
    """
    from intervals.questions.month.month_wording import day_name

    local = moment.astimezone(zone)
    return f"{day_name(local.date())}, {local:%H:%M} ({zone.key})"
