"""Instants and local days, by the standard library alone.

An instant is a whole number of microseconds since 1970 in UTC, a fraction where it was interpolated. A day is a `date` of the site's clock.
"""

import calendar
import math
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
SECOND = 1_000_000
HOUR = 3600 * SECOND
Instant = int | Fraction


@dataclass(frozen=True)
class Duration:
    """An ISO 8601 duration of whole days or longer, or of hours."""

    years: int = 0
    months: int = 0
    days: int = 0
    hours: int = 0


def read_duration(text: str) -> Duration:
    """Return the duration that the text writes."""
    found = re.fullmatch(r"P(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)W)?(?:(\d+)D)?(?:T(\d+)H)?", text)
    if not found:
        raise ValueError(text)
    years, months, weeks, days, hours = (int(part or 0) for part in found.groups())
    return Duration(years, months, 7 * weeks + days, hours)


def add(day: date, span: Duration, times: int = 1) -> date:
    """Return the day so long after: years and months first, clipped at the month's end, then days."""
    months = day.year * 12 + day.month - 1 + times * (12 * span.years + span.months)
    year, month = divmod(months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day.day, last)) + timedelta(days=times * span.days)


class Clock:
    """The site's clock."""

    def __init__(self, zone: str) -> None:
        self.zone = ZoneInfo(zone)
        self._midnights: dict[date, int] = {}

    def instant(self, local: datetime) -> int:
        """Return the instant of a time, local to the site where it has no offset."""
        aware = local if local.tzinfo else local.replace(tzinfo=self.zone)
        return round((aware.astimezone(UTC) - EPOCH) / timedelta(microseconds=1))

    def midnight(self, day: date) -> int:
        """Return the first moment of a day."""
        if day not in self._midnights:
            self._midnights[day] = self.instant(datetime.combine(day, time()))
        return self._midnights[day]

    def local(self, at: Instant) -> datetime:
        """Return the local time of an instant, down to the microsecond before it."""
        return (EPOCH + timedelta(microseconds=math.floor(at))).astimezone(self.zone)

    def day(self, at: Instant) -> date:
        """Return the local day that holds an instant."""
        return self.local(at).date()

    def last_day(self, at: Instant) -> date:
        """Return the last day that is covered up to an instant: a midnight ends the day before it."""
        return self.local(math.ceil(at) - 1).date()

    def read(self, text: str) -> int:
        """Return the instant that a text writes: a day is its first moment."""
        if len(text) == 10:
            return self.midnight(date.fromisoformat(text))
        return self.instant(datetime.fromisoformat(text.replace(" ", "T")))
