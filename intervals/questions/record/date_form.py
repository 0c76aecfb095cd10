"""How a file writes its times, found out from those that stand in it.

In: the cells of its column of times, and the format that site.yaml states. Out: a `DateForm`, which writes a time or a day as they do.
Refuses nothing: where nothing is found, times are written as ISO 8601.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from itertools import product
from zoneinfo import ZoneInfo

_DAYS = ("%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%Y/%m/%d", "%Y.%m.%d", "%d.%m.%y", "%d/%m/%y", "%m/%d/%y", "%d %b %Y")
_CLOCKS = ("%H:%M", "%H:%M:%S", "%H.%M", "%H:%M:%S.%f", "%I:%M %p")
_GAPS = (" ", "T", ", ")
_CLOCK_WORDS = ("%H", "%I", "%M", "%p")
_LAST_LOOKED_AT = 50
_DOTS_OF_A_DAY = 2
_NOON = time(12)
ISO = "%Y-%m-%d %H:%M"
ISO_DAY = "%Y-%m-%d"


@dataclass(frozen=True)
class DateForm:
    """How times and days are written.

    Attributes:
        moment: format of a time, as `strftime` takes it; one of the day alone where the file has no times of day.
        day: format of a day.
        offset: how an offset follows a time: nothing, `+01:00`, `+0100` or `Z`.
    """

    moment: str = ISO
    day: str = ISO_DAY
    offset: str = ""

    @property
    def has_clock(self) -> bool:
        """Whether times of day are written."""
        return any(word in self.moment for word in _CLOCK_WORDS)

    def gives_clock(self, at: datetime, zone: ZoneInfo, now: datetime) -> bool:
        """Tell whether a time is written with its time of day.

        In a file of days alone only where its day would count too late: a record of a day counts from noon.

        Args:
            at: an instant.
            zone: the site's zone.
            now: this moment.
        """
        return self.has_clock or now < datetime.combine(at.astimezone(zone).date(), _NOON, tzinfo=zone)

    def write_time(self, at: datetime, zone: ZoneInfo, now: datetime) -> str:
        """Return a time by the site's clock; its day alone where the file has days alone and that will do.

        A time that comes twice when the clock is set back gets its offset, also in a file that writes none: without it neither is meant.

        Args:
            at: an instant.
            zone: the site's zone.
            now: this moment.
        """
        local = at.astimezone(zone)
        if not self.has_clock:
            return local.strftime(f"{self.day} %H:%M" if self.gives_clock(at, zone, now) else self.day)
        if self.offset == "Z":
            return at.astimezone(UTC).strftime(self.moment) + "Z"
        if not self.offset and not _comes_twice(local):
            return local.strftime(self.moment)
        shown = local.strftime("%z")
        return local.strftime(self.moment) + (shown if self.offset == "+0100" else f"{shown[:3]}:{shown[3:]}")

    def write_day(self, day: date) -> str:
        """Return a day."""
        return day.strftime(self.day)


def _comes_twice(local: datetime) -> bool:
    """Tell whether a local time comes twice, as the clock is set back."""
    return local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()


def date_form_of(cells: Sequence[str], stated: str | None) -> DateForm:
    """Return how times are written.

    Args:
        cells: the cells of the column, blank ones too, in order.
        stated: the format that site.yaml states, or None.
    """
    if stated is not None:
        return _stated_form(cells, stated)
    last = _last_cells(cells)
    # people add a time of day where it matters: the last cell with one shows how; a file of days alone stays one
    shown = next((cell for cell in reversed(last) if ":" in cell or cell.count(".") > _DOTS_OF_A_DAY), last[-1] if last else "")
    fitting = [form for form in _forms() if _writes_so(form, shown)]
    return max(fitting, key=lambda form: sum(_writes_so(form, cell) for cell in last), default=DateForm())


def _last_cells(cells: Sequence[str]) -> list[str]:
    """Return the last cells that are not blank."""
    return [cell.strip() for cell in cells[-2 * _LAST_LOOKED_AT :] if cell.strip()][-_LAST_LOOKED_AT:]


def _stated_form(cells: Sequence[str], stated: str) -> DateForm:
    """Return the form of a stated format; days alone where every cell of the file is one."""
    day = _day_part(stated)
    last = _last_cells(cells)
    dated = DateForm(day, day)
    if last and all(_writes_so(dated, cell) for cell in last):
        return dated
    return DateForm(stated, day)


def _day_part(stated: str) -> str:
    """Return the part of a format that is its date."""
    found = re.search(r"%[dmbBYy](?:[^%]*%[dmbBYy])*", stated)
    return found[0] if found else ISO_DAY


def _forms() -> Iterator[DateForm]:
    """Yield every form that is looked for, the likeliest first."""
    for day in _DAYS:
        for gap, clock in product(_GAPS, _CLOCKS):
            yield from (DateForm(f"{day}{gap}{clock}", day, offset) for offset in ("", "+01:00", "+0100", "Z"))
        yield DateForm(day, day)


def _writes_so(form: DateForm, cell: str) -> bool:
    """Tell whether a form would have written a cell."""
    text, bare = cell, form.moment
    if form.offset == "Z":
        if not text.endswith("Z"):
            return False
        text = text[:-1]
    elif form.offset:
        width = len(form.offset)
        if len(text) <= width or text[-width] not in "+-" or (":" in text[-width:]) != (":" in form.offset):
            return False
        text = text[:-width]
    try:
        return datetime.strptime(text, bare).strftime(bare) == text  # noqa: DTZ007 - it is only written again
    except ValueError:
        return False


__all__ = ["ISO", "DateForm", "date_form_of"]
