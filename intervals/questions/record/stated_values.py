"""Figures and times as they are stated: which can be, and what instant a time is.

In: text and figures of what was handed in, or typed. Out: the same, or instants in UTC. Refuses (ValueError) what cannot be.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

MOST_H = 1_000_000.0
"""No hour meter shows more: it is a hundred years without a stop."""
MOST_VALUE = 1e9
"""Nothing is measured that is more, in whatever unit."""
_YEARS = range(1971, 2200)
"""What the log's own times are bounded by."""


def checked_figure(value: object) -> object:
    """Return a figure as it was written; a ValueError of a truth value, which would be read as 0 or 1."""
    if isinstance(value, bool):
        message = "true or false is no figure"
        raise ValueError(message)  # noqa: TRY004 - the model turns a ValueError into a refusal
    return value


def checked_time(value: str | None) -> str | None:
    """Return a time as it was written; a ValueError of what is none; nothing is None."""
    if not value:
        return None
    try:
        at = datetime.fromisoformat(value)
    except ValueError:
        message = f'not a time such as 2026-11-02T07:14; got "{value[:40]}"'
        raise ValueError(message) from None
    if not is_year(at):
        message = f"the year {at.year} cannot be"
        raise ValueError(message)
    return value


def is_year(at: date) -> bool:
    """Tell whether work can have been done, or put off, in the year of a time or a day."""
    return at.year in _YEARS


def is_meter_reading(hours: float) -> bool:
    """Tell whether an hour meter can show a figure, h; what is no number it cannot."""
    return 0 <= hours <= MOST_H


def is_measured_value(value: float) -> bool:
    """Tell whether a figure can have been measured, in whatever unit; what is no number cannot."""
    return abs(value) <= MOST_VALUE


def instant_of(text: str, zone: ZoneInfo) -> datetime:
    """Return a time as an instant, in UTC: two times of one zone are compared by its clock, which is set forward and back."""
    at = datetime.fromisoformat(text)
    return (at.replace(tzinfo=zone) if at.tzinfo is None else at).astimezone(UTC)


def is_on_clock(text: str, zone: ZoneInfo) -> bool | None:
    """Tell whether a time is one of the site's clock; None where it comes twice. One with its offset always is.

    Example:
        >>> [is_on_clock(f"2026-03-29T{hour}:30", ZoneInfo("Europe/Amsterdam")) for hour in ("01", "02")]
        [True, False]
    """
    at = datetime.fromisoformat(text)
    if at.tzinfo is not None:
        return True
    first, second = (at.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return True
    is_real = first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == at
    return None if is_real else False


def offsets_of(local: datetime, zone: ZoneInfo) -> tuple[str, ...]:
    """Return the offsets that a local time can have, the earlier instant first.

    Example:
        >>> offsets_of(datetime(2026, 10, 25, 2, 30), ZoneInfo("Europe/Amsterdam"))
        ('+02:00', '+01:00')
    """
    both = (local.replace(tzinfo=zone, fold=fold).isoformat()[-len("+01:00") :] for fold in (0, 1))
    return tuple(dict.fromkeys(both))
