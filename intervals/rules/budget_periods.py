"""The stretches of time that a budget may count over: whole calendar months and years, and any stretch of a length.

In: what stands behind `per` of a budget. Out: a `CalendarPeriod`, or a `CalendarStep` for stretches that end on every day anew. Refuses
what is no period. Days come in and go out; instants are for whoever counts.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import PlainSerializer, PlainValidator, WithJsonSchema

from intervals.language.durations import CalendarStep, parse_step
from intervals.language.flaws import flaw_error
from intervals.language.plain_values import whole_of
from intervals.language.scalars import shown_value
from intervals.language.value_schemas import STEP_SCHEMA

CALENDAR_YEAR, CALENDAR_MONTH = "calendar_year", "calendar_month"
CALENDAR_MONTHS, MEAN_OF_YEARS = "calendar_months", "mean_of_calendar_years"
_FEWEST, _MOST = 2, {CALENDAR_MONTHS: 120, MEAN_OF_YEARS: 20}
_FIX = (
    f"write {CALENDAR_YEAR}, {CALENDAR_MONTH}, {{{CALENDAR_MONTHS}: 12}} for a month and the eleven before, {{{MEAN_OF_YEARS}: 5}} for "
    "the mean of a year and the four before, or P12M for any 12 months"
)
_MONTHS = 12


@dataclass(frozen=True, slots=True)
class CalendarPeriod:
    """So many whole calendar months or years, one after the other; the last of them is the running one.

    Attributes:
        unit: months or years.
        count: how many.
        is_mean: whether the amount is the mean of one of them, not the sum of all.
    """

    unit: Literal["month", "year"]
    count: int = 1
    is_mean: bool = False

    def __str__(self) -> str:
        """Return the period as it is written."""
        return self.key if self.count == 1 and not self.is_mean else f"{{{self.key}: {self.count}}}"

    @property
    def key(self) -> str:
        """The word by which it is written."""
        if self.is_mean:
            return MEAN_OF_YEARS
        if self.unit == "year":
            return CALENDAR_YEAR
        return CALENDAR_MONTH if self.count == 1 else CALENDAR_MONTHS

    @property
    def divisor(self) -> int:
        """By what a sum is divided: by how many years a mean is of, else by one."""
        return self.count if self.is_mean else 1

    @property
    def adjective(self) -> str:
        """What stands behind the unit of an amount: `a year` of a mean, else nothing."""
        return " a year" if self.is_mean else ""

    def number_of(self, day: date) -> int:
        """Return which month or year a day lies in, counted from year 0.

        Example:
            >>> CalendarPeriod("month").number_of(date(2024, 2, 29)) - CalendarPeriod("month").number_of(date(2023, 12, 1))
            2
        """
        return day.year if self.unit == "year" else day.year * _MONTHS + day.month - 1

    def first_of(self, number: int) -> date:
        """Return the first day of a month or year; the first day there is where the calendar begins after it."""
        year, month = (number, 1) if self.unit == "year" else (number // _MONTHS, number % _MONTHS + 1)
        return date(year, month, 1) if year >= date.min.year else date.min

    def last_of(self, number: int) -> date:
        """Return the last day of a month or year.

        Example:
            >>> CalendarPeriod("month").last_of(2024 * 12 + 1)
            datetime.date(2024, 2, 29)
        """
        first = self.first_of(number)
        return date(first.year, 12, 31) if self.unit == "year" else first.replace(day=monthrange(first.year, first.month)[1])

    def span_of(self, number: int) -> tuple[date, date]:
        """Return first and last day of the period that ends with a month or year."""
        return self.first_of(number - self.count + 1), self.last_of(number)

    def words_of(self, day: date) -> str:
        """Return the period that a day is of the last part of, in words.

        Example:
            >>> CalendarPeriod("month", 12).words_of(date(2024, 2, 29))
            'in the 12 months from 2023-03 to 2024-02'
            >>> CalendarPeriod("year", 5, is_mean=True).words_of(date(2025, 6, 1))
            'as the mean of 2021 to 2025'
        """
        first = self.first_of(self.number_of(day) - self.count + 1)
        if self.is_mean:
            return f"as the mean of {first.year} to {day.year}"
        if self.unit == "year":
            return f"in {day.year}"
        last = day.isoformat()[:7]
        return f"in {last}" if self.count == 1 else f"in the {self.count} months from {first.isoformat()[:7]} to {last}"

    @property
    def in_words(self) -> str:
        """The period in words, of no day, for rule pages; one month or year as it is written."""
        if self.is_mean:
            return f"calendar year, as the mean of it and the {self.count - 1} before"
        if self.count == 1:
            return str(self)
        return f"{self.count} calendar months, the running one and the {self.count - 1} before"


def parse_period(raw: object) -> CalendarStep | CalendarPeriod:
    """Return the stretch of time of a budget.

    Args:
        raw: `calendar_year`, `calendar_month`, `{calendar_months: 12}`, `{mean_of_calendar_years: 5}`, or a calendar step, of which a
            stretch ends on every day anew.

    Raises:
        FlawsError: it is none of these.

    Example:
        >>> str(parse_period({"mean_of_calendar_years": 5}))
        '{mean_of_calendar_years: 5}'
    """
    if isinstance(raw, (CalendarPeriod, CalendarStep)):
        return raw
    if raw in (CALENDAR_YEAR, CALENDAR_MONTH):
        return CalendarPeriod("year" if raw == CALENDAR_YEAR else "month")
    if isinstance(raw, Mapping) and len(raw) == 1 and next(iter(raw)) in _MOST:
        return _several(*next(iter(raw.items())))
    if isinstance(raw, str) and raw.startswith("P"):
        step = parse_step(raw)
        if step.is_zero:
            raise flaw_error(text=f'out of range; got "{raw}", expected at least P1D', kind="range")
        return step
    raise flaw_error(text=f"not a period; got {shown_value(raw)}", fix=_FIX, kind="duration")


def _several(key: str, value: object) -> CalendarPeriod:
    """Return a period of several months, or a mean of several years."""
    count, most = whole_of(value), _MOST[key]
    if not _FEWEST <= count <= most:
        raise flaw_error(text=f"out of range; got {shown_value(value)}, expected a whole number from {_FEWEST} to {most}", kind="range")
    return CalendarPeriod("month", count) if key == CALENDAR_MONTHS else CalendarPeriod("year", count, is_mean=True)


def period_data(period: CalendarStep | CalendarPeriod) -> str | dict[str, int]:
    """Return a period as plain data."""
    if isinstance(period, CalendarStep) or (period.count == 1 and not period.is_mean):
        return str(period)
    return {period.key: period.count}


def _several_schema(key: str) -> dict[str, Any]:
    """Return the JSON Schema of a period of several months or years."""
    count = {"type": "integer", "minimum": _FEWEST, "maximum": _MOST[key]}
    return {"type": "object", "properties": {key: count}, "required": [key], "additionalProperties": False}


PeriodField = Annotated[
    CalendarStep | CalendarPeriod,
    PlainValidator(parse_period),
    PlainSerializer(period_data, return_type=str | dict[str, int]),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": [CALENDAR_YEAR, CALENDAR_MONTH]},
                STEP_SCHEMA,
                _several_schema(CALENDAR_MONTHS),
                _several_schema(MEAN_OF_YEARS),
            ]
        }
    ),
]
"""The stretch of time of a budget."""


__all__ = ["CALENDAR_MONTH", "CALENDAR_YEAR", "CalendarPeriod", "PeriodField", "parse_period", "period_data"]
