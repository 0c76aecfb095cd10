"""ISO 8601 durations: calendar steps that count from an anchor, and spans that are plain hours.

In: text such as `P1Y30D` or `PT36H`. Out: `CalendarStep` values that step local dates, and hours. Refuses anything else,
and says what to write. Months count from the anchor, never from the last result, and are clipped at the month's end.
"""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta

from intervals.language.scalars import shown_value

_STEP = re.compile(r"P(?:(\d{1,6})Y)?(?:(\d{1,6})M)?(?:(\d{1,6})W)?(?:(\d{1,6})D)?", re.ASCII)
_HOURS = re.compile(
    r"P(?:(\d{1,6}(?:\.\d+)?)W)?(?:(\d{1,6}(?:\.\d+)?)D)?(?:T(?:(\d{1,9}(?:\.\d+)?)H)?(?:(\d{1,9}(?:\.\d+)?)M)?(?:(\d{1,9}(?:\.\d+)?)S)?)?",
    re.ASCII,
)
_SPOKEN = re.compile(r"\s*(\d+)?\s*([A-Za-z]+)\s*")
_LETTERS = {
    "Y": ("y", "yr", "yrs", "year", "years", "annual", "annually", "yearly"),
    "M": ("m", "mo", "mos", "mth", "mths", "month", "months", "monthly"),
    "W": ("w", "wk", "wks", "week", "weeks", "weekly"),
    "D": ("d", "day", "days", "daily"),
}
_LETTER_OF = {word: letter for letter, words in _LETTERS.items() for word in words}
_LONGEST_YEARS = 200
_EVERY_MONTH_HAS = 28
_HOURS_PER_DAY = 24.0


class DurationProblemError(ValueError):
    """A text that is no duration of the kind that is wanted.

    Attributes:
        fix: one line that says what to write instead, or None.
    """

    kind = "duration"

    def __init__(self, text: str, fix: str | None = None) -> None:
        super().__init__(text)
        self.fix = fix


@dataclass(frozen=True, slots=True)
class CalendarStep:
    """A step of whole days or longer, as it is written and in its parts.

    Attributes:
        text: the ISO 8601 text, for showing.
        years: whole years.
        months: whole months.
        weeks: whole weeks.
        days: whole days.
    """

    text: str
    years: int = 0
    months: int = 0
    weeks: int = 0
    days: int = 0

    def __str__(self) -> str:
        """Return the ISO 8601 text."""
        return self.text

    @property
    def is_zero(self) -> bool:
        """Whether the step leads nowhere, such as `P0D`."""
        return not (self.years or self.months or self.weeks or self.days)

    @property
    def fewest_days(self) -> int:
        """How many days the step is long at least, wherever it starts."""
        return self.years * 365 + self.months * 28 + self.weeks * 7 + self.days

    def after(self, day: date, times: int = 1) -> date:
        """Return the date so many steps after an anchor.

        Years and months of all the steps are added to the anchor first and clipped at the month's end, then weeks and days.

        Args:
            day: the anchor, a local date.
            times: how many steps, from 0.

        Returns:
            The date; the last date there is where the calendar ends before it.

        Example:
            >>> parse_step("P1M").after(date(2023, 1, 31), 2)
            datetime.date(2023, 3, 31)
            >>> parse_step("P1Y30D").after(date(2024, 2, 29))
            datetime.date(2025, 3, 30)
        """
        return self._shifted(day, times)

    def before(self, day: date, times: int = 1) -> date:
        """Return the date so many steps before an anchor, in the same order: years and months first, then weeks and days.

        Args:
            day: the anchor, a local date.
            times: how many steps, from 0.

        Returns:
            The date; the first date there is where the calendar begins after it.
        """
        return self._shifted(day, -times)

    def _shifted(self, day: date, times: int) -> date:
        """Shift by a signed number of steps; the calendar's two ends stand in for what lies outside it."""
        outside = date.max if times > 0 else date.min
        clipped = day
        if self.years or self.months:
            month_index = day.year * 12 + day.month - 1 + times * (self.years * 12 + self.months)
            year, month = month_index // 12, month_index % 12 + 1
            if not date.min.year <= year <= date.max.year:
                return outside
            clipped = date(year, month, day.day if day.day <= _EVERY_MONTH_HAS else min(day.day, monthrange(year, month)[1]))
        try:
            return clipped + timedelta(days=times * (self.weeks * 7 + self.days))
        except OverflowError:
            return outside


def parse_step(text: object) -> CalendarStep:
    """Return the calendar step that an ISO 8601 text stands for.

    Args:
        text: years, months, weeks and days in this order, whole numbers: `P1Y`, `P6M`, `P2W`, `P1Y30D`.

    Returns:
        The step; `P0D` is a step too, and leads nowhere.

    Raises:
        DurationProblemError: not such a text, shorter than a day, or longer than 200 years.
    """
    matched = _STEP.fullmatch(text) if isinstance(text, str) else None
    if matched is None or not any(matched.groups()):
        raise _step_refusal(text)
    years, months, weeks, days = (int(part or 0) for part in matched.groups())
    if years + months / 12 + (weeks * 7 + days) / 365 > _LONGEST_YEARS:
        message = f'longer than {_LONGEST_YEARS} years; got "{text}"'
        raise DurationProblemError(message)
    return CalendarStep(str(text), years, months, weeks, days)


def _step_refusal(text: object) -> DurationProblemError:
    """Say what is wrong with a calendar step, and guess what was meant."""
    shown = shown_value(text)
    if isinstance(text, str) and _HOURS.fullmatch(text) and "T" in text:
        return DurationProblemError(
            f"shorter than a day; got {shown}, expected whole days or longer, for example P1D",
            "hours are a leg of their own: running_hours",
        )
    guess = _guessed(text)
    fix = f"write {guess}" if guess else None
    return DurationProblemError(f"not an ISO 8601 duration; got {shown}, expected for example P1Y or P6M", fix)


def _guessed(text: object) -> str | None:
    """Return the duration that a person most likely meant: `1 yr` is P1Y, `365` is P365D."""
    if isinstance(text, int) and not isinstance(text, bool) and text > 0:
        return f"P{int(text)}D for days"
    if not isinstance(text, str):
        return None
    if _STEP.fullmatch(text.upper()) and len(text) > 1:
        return text.upper()
    spoken = _SPOKEN.fullmatch(text)
    letter = _LETTER_OF.get(spoken[2].lower()) if spoken else None
    return f"P{spoken[1] or 1}{letter}" if spoken and letter else None


def parse_hours(text: object) -> float:
    """Return the hours that an ISO 8601 text of fixed length stands for.

    Args:
        text: weeks, days, hours, minutes and seconds: `PT36H`, `P90D`, `P1DT12H`, `PT15M`. A day is 24 h.

    Returns:
        Hours, above 0.

    Raises:
        DurationProblemError: not such a text, zero, or in years or months, whose length differs.

    Example:
        >>> parse_hours("P1DT12H")
        36.0
    """
    matched = _HOURS.fullmatch(text) if isinstance(text, str) else None
    if matched is None or not any(matched.groups()) or str(text).endswith("T"):
        raise _hours_refusal(text)
    weeks, days, hours, minutes, seconds = (float(part or 0) for part in matched.groups())
    total_h = (weeks * 7 + days) * _HOURS_PER_DAY + hours + minutes / 60 + seconds / 3600
    if total_h <= 0:
        message = f'no time at all; got "{text}", expected for example PT36H or P90D'
        raise DurationProblemError(message)
    return total_h


def _hours_refusal(text: object) -> DurationProblemError:
    """Say what is wrong with a span of hours, and guess what was meant."""
    shown = shown_value(text)
    if isinstance(text, str) and _STEP.fullmatch(text) and any(_STEP.fullmatch(text).groups()):  # type: ignore[union-attr]
        return DurationProblemError(f"years and months have no fixed length; got {shown}, expected for example P90D", "write it in days")
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        return DurationProblemError(
            f"not an ISO 8601 duration; got {shown}, expected for example PT36H or P90D", f"write PT{text:g}H for hours"
        )
    return DurationProblemError(f"not an ISO 8601 duration; got {shown}, expected for example PT36H or P90D")
