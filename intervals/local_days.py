"""Local calendar days of a site as instants: where each day begins, and which day an instant belongs to.

In: a time zone and instants in UTC microseconds. Out: local midnights, dates, printed times. Days that daylight saving makes
23 or 25 hours long are as long as they are; a midnight that the clock skips is the first moment of its day.
"""

from __future__ import annotations

from bisect import bisect_right
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US


def to_us(moment: datetime) -> int:
    """Return an aware datetime as UTC microseconds since 1970."""
    return (moment - EPOCH) // MICROSECOND


class LocalDays:
    """The local midnights of a span of days.

    Args:
        zone: the site's time zone.
        first_us: an instant of the first day, UTC microseconds.
        last_us: an instant of the last day, UTC microseconds.
    """

    def __init__(self, zone: ZoneInfo, first_us: int, last_us: int) -> None:
        self.zone = zone
        self._first = self.moment(first_us).date().toordinal() - 1
        last = self.moment(last_us).date().toordinal() + 2
        self.midnights_us: NDArray[np.int64] = np.array(
            [self.midnight_us(date.fromordinal(day)) for day in range(self._first, last + 1)], dtype=np.int64
        )
        # one instant is found sooner in a list than in an array
        self._midnights: list[int] = self.midnights_us.tolist()

    def moment(self, at_us: int) -> datetime:
        """Return the instant as an aware datetime of the zone."""
        return (EPOCH + timedelta(microseconds=int(at_us))).astimezone(self.zone)

    def midnight_us(self, day: date) -> int:
        """Return the first moment of a local day."""
        return to_us(datetime(day.year, day.month, day.day, tzinfo=self.zone))

    def noon_us(self, day: date) -> int:
        """Return twelve o'clock of a local day."""
        return to_us(datetime(day.year, day.month, day.day, 12, tzinfo=self.zone))

    def date_of(self, at_us: int) -> date:
        """Return the local day that the instant belongs to."""
        index = bisect_right(self._midnights, at_us) - 1
        if 0 <= index < len(self._midnights) - 1:
            return date.fromordinal(self._first + index)
        return self.moment(at_us).date()

    def dates_of(self, at_us: NDArray[np.int64]) -> list[date]:
        """Return the local day of each instant."""
        index = np.searchsorted(self.midnights_us, at_us, side="right") - 1
        inside = (index >= 0) & (index < len(self.midnights_us) - 1)
        if inside.all():
            return list(map(date.fromordinal, (self._first + index).tolist()))
        return [
            date.fromordinal(self._first + day) if is_inside else self.moment(at).date()
            for day, is_inside, at in zip(index.tolist(), inside.tolist(), at_us.tolist(), strict=True)
        ]

    def day_numbers_of(self, at_us: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the ordinal number of the local day of each instant."""
        index = np.searchsorted(self.midnights_us, at_us, side="right") - 1
        numbers: NDArray[np.int64] = index + self._first
        for place in np.flatnonzero((index < 0) | (index >= len(self.midnights_us) - 1)).tolist():
            numbers[place] = self.moment(int(at_us[place])).date().toordinal()
        return numbers

    def months_of(self, at_us: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return the month of the local day that each instant belongs to, 1 to 12."""
        index = np.searchsorted(self.midnights_us, at_us, side="right") - 1
        months = np.array([date.fromordinal(self._first + day).month for day in range(len(self.midnights_us))], dtype=np.float64)
        found: NDArray[np.float64] = months.take(index, mode="clip")
        for place in np.flatnonzero((index < 0) | (index >= len(self.midnights_us) - 1)).tolist():
            found[place] = self.moment(int(at_us[place])).month
        return found

    def last_day_before(self, at_us: int) -> date:
        """Return the last local day that has begun before the instant (a midnight closes the day before it)."""
        return self.date_of(at_us - 1)

    def between(self, first_us: int, last_us: int) -> NDArray[np.int64]:
        """Return the midnights strictly inside the span."""
        low = np.searchsorted(self.midnights_us, first_us, side="right")
        high = np.searchsorted(self.midnights_us, last_us, side="left")
        return self.midnights_us[low:high]

    def iso(self, at_us: int) -> str:
        """Return the instant as ISO 8601 with the zone's offset, whole seconds."""
        return self.moment(at_us).replace(microsecond=0).isoformat()
