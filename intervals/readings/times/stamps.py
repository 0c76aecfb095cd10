"""Texts of times to microseconds, a whole column at a time.

In: a column of texts, and the patterns that a stamp may follow. Out: `Stamps`. Refuses nothing: a text that is no time, or of
which the order of day and month is not known, is marked and becomes a fault or a problem later.

Texts of one layout (the same length, digits and signs at the same places) are taken apart together: the first of them is
matched by a pattern, and where its parts lie is where they lie in all. So one description of a time serves a million rows.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from intervals.arrays import Flags, Instants
from intervals.readings.arrow_arrays import EMPTY, as_strings, letters_of
from intervals.readings.times.stamp_patterns import MONTHS, Pattern, match_stamp
from intervals.readings.times.wall_clock import DAY_US, SECOND_US

DayOrder = Literal["day_first", "month_first"]
Bytes = NDArray[np.uint8]
Numbers = NDArray[np.int64]

READ, UNREADABLE, ORDER_UNKNOWN, OUTSIDE_YEARS = 0, 1, 2, 3
FIRST_YEAR, LAST_YEAR = 1900, 2200
OUTSIDE_TEXT = f"is outside the years that are accepted, {FIRST_YEAR} to {LAST_YEAR - 1}"
"""What is said of a stamp whose state is OUTSIDE_YEARS, after the stamp."""
_MONTHS_A_YEAR = 12
_MOST_LAYOUTS = 64
_BEYOND_ASCII = 128
_HALF_DAY_H, _DAY_H, _HOUR_MIN = 12, 24, 60
_CENTURY_TURNS = 69  # a short year from here on is of the 1900s, as POSIX has it


@dataclass
class Stamps:
    """A column of times.

    Attributes:
        us: microseconds since 1970, by the local clock or, where `is_utc`, by UTC; means nothing unless `state` is READ.
        is_utc: which stamps carry their offset.
        has_clock: which stamps give a time of day and not a date alone.
        state: READ, UNREADABLE, ORDER_UNKNOWN, or OUTSIDE_YEARS for a date that exists in a year that no log is of.
        day_first_seen: a stamp that can only be read with the day first is among them.
        month_first_seen: a stamp that can only be read with the month first is among them.
    """

    us: Instants
    is_utc: Flags
    has_clock: Flags
    state: NDArray[np.int8]
    day_first_seen: bool = False
    month_first_seen: bool = False

    @classmethod
    def empty(cls, count: int) -> Stamps:
        """Return as many stamps, none of them read yet."""
        return cls(
            us=np.zeros(count, dtype=np.int64),
            is_utc=np.zeros(count, dtype=np.bool_),
            has_clock=np.zeros(count, dtype=np.bool_),
            state=np.full(count, UNREADABLE, dtype=np.int8),
        )


def stamps_of_texts(texts: pa.Array, patterns: tuple[Pattern, ...], order: DayOrder | None) -> Stamps:
    """Return the times that a column of texts gives.

    Args:
        texts: an array of strings; a null is unreadable.
        patterns: what a stamp may look like, tried in order.
        order: which comes first where a pattern does not say, or None: then only a stamp with one possible reading is read.

    Returns:
        The stamps, with the evidence for either order.

    Example:
        >>> from intervals.readings.times.stamp_patterns import UNSTATED
        >>> stamps_of_texts(pa.array(["1.2.1970 00:00"]), UNSTATED, None).us // DAY_US
        array([31])
    """
    texts = _trimmed(texts)
    stamps = Stamps.empty(len(texts))
    start, data = letters_of(texts)
    lengths = np.diff(start)
    for length in np.flatnonzero(np.bincount(lengths)).tolist():
        if length:
            rows = np.flatnonzero(lengths == length)
            _read_length(stamps, rows, _matrix(data, start[rows], length), patterns, order)
    return stamps


def _trimmed(texts: pa.Array) -> pa.StringArray:
    """Return the texts without surrounding blanks, no-break spaces as plain ones, nulls as nothing."""
    texts = as_strings(texts)
    if _are_trim(texts):
        return texts
    import pyarrow.compute as pc  # noqa: PLC0415 - loaded only where there is something to trim: it takes longer than to read a small log

    texts = pc.fill_null(texts, EMPTY) if texts.null_count else texts
    for odd in ("\u00a0", "\u202f", "\u2009"):
        if pc.any(pc.match_substring(texts, odd)).as_py():
            texts = pc.replace_substring(texts, odd, " ")
    return pc.utf8_trim_whitespace(texts)


def _are_trim(texts: pa.StringArray) -> bool:
    """Say whether all texts are plain letters that begin and end with no blank, as they mostly are."""
    start, data = letters_of(texts)
    if texts.null_count or not len(data) or start[0] == start[-1]:
        return not texts.null_count
    filled = np.flatnonzero(np.diff(start))
    ends = np.concatenate((data[start[filled]], data[start[filled + 1] - 1]))
    return bool((ends > ord(" ")).all()) and bool((data[start[0] : start[-1]] < _BEYOND_ASCII).all())


def _matrix(data: Bytes, start: NDArray[np.int32], length: int) -> Bytes:
    """Return the texts of one length as rows of bytes."""
    first, count = int(start[0]), len(start)
    if int(start[-1]) - first == (count - 1) * length:
        return data[first : first + count * length].reshape(count, length)
    letters: Bytes = data[start.astype(np.int64)[:, None] + np.arange(length)]
    return letters


def _read_length(stamps: Stamps, rows: Numbers, letters: Bytes, patterns: tuple[Pattern, ...], order: DayOrder | None) -> None:
    """Read all texts of one length, one layout after the other."""
    for _ in range(_MOST_LAYOUTS):
        if not len(rows):
            return
        first = letters[0]
        digits = (first >= ord("0")) & (first <= ord("9"))
        alike = (letters[:, ~digits] == first[~digits]).all(axis=1)
        figures = letters[:, digits] - ord("0")  # wraps far above 9 for what lies below "0"
        alike &= (figures <= 9).all(axis=1)  # noqa: PLR2004 - the largest digit
        match = match_stamp(_decoded(first), patterns)
        if match is not None:
            chosen = letters if alike.all() else letters[alike]
            _read_layout(stamps, rows[alike], _Parts(chosen, match), order)
        rows, letters = rows[~alike], letters[~alike]
    # So many layouts are hardly times at all: one by one, or the search would go over the column again for each of them.
    for place in range(len(rows)):
        match = match_stamp(_decoded(letters[place]), patterns)
        if match is not None:
            _read_layout(stamps, rows[place : place + 1], _Parts(letters[place : place + 1], match), order)


def _decoded(letters: Bytes) -> str:
    """Return one text."""
    return letters.tobytes().decode("utf-8", errors="replace")


class _Parts:
    """The parts of texts of one layout, taken from where the first text has them."""

    def __init__(self, letters: Bytes, match: re.Match[str]) -> None:
        self._letters = letters
        self._match = match
        self._given = match.groupdict()
        self.count = len(letters)

    def text(self, name: str) -> str:
        """Return a part that no digit is in, the same in all texts; nothing if the stamp has no such part."""
        return self._given.get(name) or ""

    def has(self, name: str) -> bool:
        """Say whether the stamps have this part."""
        return bool(self._given.get(name))

    def number(self, name: str, within: tuple[int, int] | None = None) -> Numbers:
        """Return a part as whole numbers, 0 if the stamps do not have it."""
        if not self.has(name):
            return np.zeros(self.count, dtype=np.int64)
        start, end = self._match.span(name)
        if within is not None:
            start, end = start + within[0], min(end, start + within[1])
        value = np.zeros(self.count, dtype=np.int64)
        for place in range(start, end):
            value = value * 10 + (self._letters[:, place] - ord("0"))
        return value


def _read_layout(stamps: Stamps, rows: Numbers, parts: _Parts, order: DayOrder | None) -> None:
    """Read texts of one layout into their places."""
    clock_us, clock_is_right = _clock_us(parts)
    year, dates = _year(parts), _dates(parts)
    if parts.has("first"):
        (by_day, day_fits), (by_month, month_fits) = (_days(year, month, day) for month, day in dates)
        same = by_day == by_month
        stamps.day_first_seen |= bool((day_fits & ~month_fits).any())
        stamps.month_first_seen |= bool((month_fits & ~day_fits).any())
        if order is None:
            days, fits = np.where(day_fits, by_day, by_month), (day_fits ^ month_fits) | (day_fits & same)
            unknown = day_fits & month_fits & ~same & clock_is_right
        else:
            days, fits = (by_day, day_fits) if order == "day_first" else (by_month, month_fits)
            unknown = np.zeros(parts.count, dtype=np.bool_)
    else:
        days, fits = _days(year, *dates[0])
        unknown = np.zeros(parts.count, dtype=np.bool_)
    stamps.us[rows] = days * DAY_US + clock_us
    stamps.is_utc[rows] = parts.has("z")
    stamps.has_clock[rows] = parts.has("H")
    is_read = fits & clock_is_right
    state = np.where(is_read, READ, UNREADABLE)
    if not is_read.all():
        is_beyond = (year < FIRST_YEAR) | (year >= LAST_YEAR)
        state[is_beyond & clock_is_right & _exists(year, dates)] = OUTSIDE_YEARS
    stamps.state[rows] = np.where(unknown, ORDER_UNKNOWN, state)


def _year(parts: _Parts) -> Numbers:
    """Return the years, in full."""
    if not parts.has("y"):
        return parts.number("Y")
    short = parts.number("y")
    return short + np.where(short < _CENTURY_TURNS, 2000, 1900)


def _dates(parts: _Parts) -> tuple[tuple[Numbers, Numbers], ...]:
    """Return month and day, or both ways of reading them where the stamp does not say: the day first, then the month first."""
    if parts.has("first"):
        first, second = parts.number("first"), parts.number("second")
        return (second, first), (first, second)
    month = np.full(parts.count, MONTHS[parts.text("b").lower()]) if parts.has("b") else parts.number("m")
    return ((month, parts.number("d")),)


def _exists(year: Numbers, dates: tuple[tuple[Numbers, Numbers], ...]) -> Flags:
    """Return which stamps give a date of the calendar in any way of reading them, whatever the year."""
    is_leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    alike = np.where(is_leap, 2000, 2001)
    exists: Flags = np.logical_or.reduce([_days(alike, month, day)[1] for month, day in dates])
    return exists


def _days(year: Numbers, month: Numbers, day: Numbers) -> tuple[Numbers, Flags]:
    """Return days since 1970, and which dates exist."""
    fits = (month >= 1) & (month <= _MONTHS_A_YEAR) & (year >= FIRST_YEAR) & (year < LAST_YEAR)
    months = np.where(fits, (year - 1970) * _MONTHS_A_YEAR + month - 1, 0).astype("datetime64[M]")
    first = months.astype("datetime64[D]").astype(np.int64)
    length = (months + np.timedelta64(1, "M")).astype("datetime64[D]").astype(np.int64) - first
    fits &= (day >= 1) & (day <= length)
    return first + day - 1, fits


def _clock_us(parts: _Parts) -> tuple[Numbers, Flags]:
    """Return the time of day less the offset in microseconds, and which times exist (24:00 is the end of the day)."""
    hour, minute, second = parts.number("H"), parts.number("M"), parts.number("S")
    is_right = (minute < _HOUR_MIN) & (second < _HOUR_MIN)
    if parts.has("p"):
        is_right &= (hour >= 1) & (hour <= _HALF_DAY_H)
        hour = hour % _HALF_DAY_H + (_HALF_DAY_H if parts.text("p").lower() == "p" else 0)
    is_right &= (hour < _DAY_H) | ((hour == _DAY_H) & (minute == 0) & (second == 0))
    clock = ((hour * _HOUR_MIN + minute) * _HOUR_MIN + second) * SECOND_US
    if parts.has("f"):
        digits = min(6, len(parts.text("f")))
        clock = clock + parts.number("f", within=(0, 6)) * 10 ** (6 - digits)
    if not parts.has("z"):
        return clock, is_right
    offset = parts.text("z")
    if offset[0] not in "+-":
        return clock, is_right
    hours = parts.number("z", within=(1, 3))
    rest = 4 if ":" in offset else 3
    minutes = parts.number("z", within=(rest, rest + 2)) if len(offset) > rest else np.zeros(parts.count, dtype=np.int64)
    is_right &= (hours < _DAY_H) & (minutes < _HOUR_MIN)
    away = (hours * _HOUR_MIN + minutes) * _HOUR_MIN * SECOND_US
    return (clock - away if offset[0] == "+" else clock + away), is_right
