"""Times in the cells of a sheet, as people and spreadsheets write them.

In: the text of a cell. Out: ISO 8601. Refuses (`CellError`) what is no time of day, and what can be read as two.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime, timedelta

from intervals.questions.record.typed_cells import CellError, StoredFigure

_EXCEL_DAY_0 = datetime(1899, 12, 30)  # noqa: DTZ001 - a spreadsheet counts days of the site's own clock
_SERIALS = (20_000.0, 80_000.0)
"""Days of a spreadsheet that a job can lie on: 1954 to 2119."""
_CLOCK = re.compile(
    r"(?P<hour>\d{1,2})(?:(?:[:.]|\s?[hu]\s?)(?P<minute>\d{2})(?:[:.](?P<second>\d{2})(?:[.,]\d+)?)?)?"
    r"(?:\s?(?P<half>[ap])\.?\s?m\.?|\s?(?P<word>uhr|uur|hrs?|hours|h))?",
    re.ASCII | re.IGNORECASE,
)
_COMPACT = re.compile(r"(?P<hour>\d{1,2})(?P<minute>\d{2})(?:\s?(?:uhr|uur|hrs?|hours|h))?", re.ASCII | re.IGNORECASE)
_ISO_DAY = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[ T,]+|$)", re.ASCII)
_WRITTEN_DAY = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})(?:[ T,]+|$)", re.ASCII)
_NUMBER = re.compile(r"\d+([.,]\d+)?", re.ASCII)
_CLOCK_OR_SHARE = re.compile(r"0[.,](\d{2})", re.ASCII)
_LAST_MONTH, _LAST_HOUR, _LAST_MINUTE, _NOON = 12, 23, 59, 12
_FIX = "write for example 2026-11-02 07:14, or 07:14 for a time on the day of the card"
Clock = tuple[int, int, int | None]


def time_cell(text: str, day: str, is_month_first: Callable[[], bool | None]) -> str:
    """Return a time as ISO 8601.

    Args:
        text: ISO 8601, a day with its time such as `02.11.2026 07:14`, a time of day such as `7:14`, `07.14`, `0714`, `7:14 Uhr` or
            `7:14 AM`, or the number of a spreadsheet.
        day: the ISO day of a time of day alone.
        is_month_first: tells how the site writes days with slashes; None where it writes none. Asked only of a day that could be two.

    Raises:
        CellError: it is no time of day, or could be two.
    """
    plain = " ".join(text.split())
    if _NUMBER.fullmatch(plain) and (of_number := _of_number(plain, day, is_stored=isinstance(text, StoredFigure))):
        return of_number
    on, rest = _day_and_rest(plain, is_month_first)
    if on is not None and not rest:
        message = f'a day without its time; got "{text}"'
        raise CellError(message, _FIX)
    clock = _clock_of(rest)
    if clock is None:
        if on is not None and _is_iso(plain):
            # with seconds or an offset of its own
            return plain
        message = f'not a time; got "{text}"'
        raise CellError(message, _FIX)
    return _iso(day if on is None else on.isoformat(), clock)


def is_time_alone(text: str) -> bool:
    """Tell whether a cell that `time_cell` reads has no day of its own."""
    plain = " ".join(text.split())
    if _NUMBER.fullmatch(plain):
        return float(plain.replace(",", ".")) < _SERIALS[0]
    return _ISO_DAY.match(plain) is None and _WRITTEN_DAY.match(plain) is None


def _iso(day: str, clock: Clock) -> str:
    """Return a day and a time of day as ISO 8601."""
    hour, minute, second = clock
    return f"{day}T{hour:02}:{minute:02}" + ("" if second is None else f":{second:02}")


def _is_iso(text: str) -> bool:
    """Tell whether a text is a time in ISO 8601."""
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def _of_number(plain: str, day: str, *, is_stored: bool) -> str | None:
    """Return the time of a spreadsheet's number; None where it can only be a time of day, refused where it can be both."""
    if plain.startswith("00"):
        return None
    if not is_stored and (found := _CLOCK_OR_SHARE.fullmatch(plain)):
        share = _of_serial(float(plain.replace(",", ".")), day) or ""
        if int(found[1]) <= _LAST_MINUTE:
            message = f'can be read as 00:{found[1]} and, as a spreadsheet counts, as {share[11:16]}; got "{plain}"'
            raise CellError(message, f"write 00:{found[1]} or {share[11:16]}, whichever is meant")
    return _of_serial(float(plain.replace(",", ".")), day)


def _of_serial(serial: float, day: str) -> str | None:
    """Return the time of a spreadsheet's number, to the second: days since its day 0, or a part of a day alone; None of any other."""
    if 0 <= serial < 1:
        at = datetime.fromisoformat(day) + timedelta(days=serial)
    elif _SERIALS[0] <= serial <= _SERIALS[1]:
        at = _EXCEL_DAY_0 + timedelta(days=serial)
    else:
        return None
    return (at + timedelta(milliseconds=500)).replace(microsecond=0).isoformat()


def _day_and_rest(plain: str, is_month_first: Callable[[], bool | None]) -> tuple[date | None, str]:
    """Return the day that a text begins with, None where it begins with none, and what follows it."""
    if found := _ISO_DAY.match(plain):
        year, month, day = map(int, found.groups())
        return _day_of(plain, year, month, day), plain[found.end() :]
    if (found := _WRITTEN_DAY.match(plain)) is None:
        return None, plain
    first, mark, other, written_year = found.groups()
    day, month = int(first), int(other)
    year = int(written_year) if len(written_year) > len("26") else 2000 + int(written_year)
    rest = plain[found.end() :]
    if mark != "." and day <= _LAST_MONTH and day != month:
        is_other_way = True if month > _LAST_MONTH else is_month_first()
        if is_other_way is None:
            one, two = (each.isoformat() for each in (_day_of(plain, year, month, day), _day_of(plain, year, day, month)))
            message = f'its day can be {one} and {two}; got "{plain}"'
            raise CellError(message, f"write {one} or {two}, whichever is meant, and the time behind it")
        day, month = (month, day) if is_other_way else (day, month)
    return _day_of(plain, year, month, day), rest


def _day_of(plain: str, year: int, month: int, day: int) -> date:
    """Return a day; refused where there is none of these numbers."""
    try:
        return date(year, month, day)
    except ValueError:
        message = f'there is no such day; got "{plain}"'
        raise CellError(message, _FIX) from None


def _clock_of(text: str) -> Clock | None:
    """Return the hour, minute and second of a time of day as it is written; None where it is none."""
    plain = text.strip()
    if found := _COMPACT.fullmatch(plain):
        clock: Clock = (int(found["hour"]), int(found["minute"]), None)
    elif (found := _CLOCK.fullmatch(plain)) and (found["minute"] or found["half"] or found["word"]):
        hour = _of_half(int(found["hour"]), (found["half"] or "").lower())
        clock = (hour, int(found["minute"] or 0), None if found["second"] is None else int(found["second"]))
    else:
        return None
    return clock if 0 <= clock[0] <= _LAST_HOUR and max(clock[1], clock[2] or 0) <= _LAST_MINUTE else None


def _of_half(hour: int, half: str) -> int:
    """Return an hour of 24 from one of a half of the day; -1 where there is none."""
    if not half:
        return hour
    return hour % _NOON + (_NOON if half == "p" else 0) if 1 <= hour <= _NOON else -1


__all__ = ["is_time_alone", "time_cell"]
