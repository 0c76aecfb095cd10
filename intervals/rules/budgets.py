"""Budgets: how much of a kind of running, or of what is logged, a month, a year or any stretch of time may hold, or must.

In: the plain data under `budgets` of a rule set. Out: frozen models. Refuses field by field; what concerns several entries is
refused in `checks`. A new key of a budget is a new field of `Budget` and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler, PlainSerializer, PlainValidator, WithJsonSchema, model_validator
from pydantic_core import CoreSchema, core_schema

from intervals.language.conditions import Condition
from intervals.language.fields import ConditionField, Day, Id, Name, NumberFromZero, OneOrMany, Percent, PositiveNumber, Text, WrittenModel
from intervals.language.flaws import Flaw, FlawsError, flaw_error, flaws_of
from intervals.language.legs import CALENDAR, ELAPSED_HOURS, LEGS, RUNNING_HOURS
from intervals.language.plain_values import checked_id, text_of
from intervals.language.scalars import shown_value
from intervals.rules.budget_periods import PeriodField
from intervals.rules.weights import DEFAULT_WEIGHT

RECORDED_HOURS = "hours_h"
"""The column of the service records whose hours a budget may add up."""
_OF_FIX = "write running_hours, a counter or an amount of the log, a list of them, or {records: [test-run]}"


@dataclass(frozen=True, slots=True)
class Counted:
    """What a budget adds up: `running_hours`, counters and amounts of the log, and hours of service records by task."""

    quantities: tuple[str, ...] = ()
    records: tuple[str, ...] = ()

    def __str__(self) -> str:
        """Return what is counted in a few words."""
        return self.name

    @property
    def name(self) -> str:
        """What is counted in a few words, such as `test_hours_h + hours_h of test-run`."""
        recorded = [f"{RECORDED_HOURS} of {' and '.join(self.records)}"] if self.records else []
        return " + ".join([*self.quantities, *recorded])


def parse_counted(raw: object) -> Counted:
    """Return what a budget adds up.

    Args:
        raw: a name, `{records: [..]}`, or a list of these.

    Raises:
        FlawsError: all that is wrong, each with its place below `raw`.

    Example:
        >>> parse_counted(["running_hours", {"records": "test-run"}]).name
        'running_hours + hours_h of test-run'
    """
    if isinstance(raw, Counted):
        return raw
    parts = list(raw) if isinstance(raw, (list, tuple)) else [raw]
    if not parts:
        raise flaw_error(text="nothing is counted", fix=_OF_FIX)
    quantities: list[str] = []
    records: list[str] = []
    flaws: list[Flaw] = []
    for index, part in enumerate(parts):
        place = (index,) if isinstance(raw, (list, tuple)) else ()
        try:
            _count_in(part, quantities, records)
        except ValueError as error:
            flaws.extend(flaw.below(*place) for flaw in flaws_of(error))
    counted = Counted(tuple(quantities), tuple(records))
    flaws = flaws or [*_flaws_of_units(counted)]
    if flaws:
        raise FlawsError(flaws)
    return counted


def _count_in(part: object, quantities: list[str], records: list[str]) -> None:
    """Add one part of `of`."""
    if isinstance(part, Mapping):
        if set(part) != {"records"}:
            raise flaw_error(text=f"not what can be counted; got {shown_value(part)}", fix=_OF_FIX)
        named = part["records"]
        records.extend(_word(name) for name in (named if isinstance(named, (list, tuple)) else [named]))
        return
    word = _word(part)
    if word in quantities:
        raise flaw_error(text=f'"{word}" is counted twice', fix="name it once", kind="duplicate")
    if word == "hour_meter_h":
        raise flaw_error(text='"hour_meter_h" is the meter', fix=f"write {RUNNING_HOURS}", kind="leg")
    if word in (CALENDAR, ELAPSED_HOURS):
        raise flaw_error(text=f'"{word}" is time that passes, and nothing that can be added up', fix=_OF_FIX, kind="leg")
    quantities.append(word)


def _flaws_of_units(counted: Counted) -> Iterator[Flaw]:
    """Yield a flaw where hours and amounts of the log that are known by their names are to be added up in one sum."""
    hours = {"h"} if counted.records else set()
    units = hours | {LEGS[name].unit for name in counted.quantities if name in LEGS}
    if len(units) > 1:
        text = f"different units cannot be added up: {' and '.join(sorted(units))}; got {counted.name}"
        yield Flaw((), text, "write one budget for each unit", "unit")


def _word(value: object) -> str:
    """Return an id."""
    text = text_of(value)
    if not isinstance(text, str):
        raise flaw_error(text=f"not a name; got {shown_value(value)}", fix=_OF_FIX)
    return checked_id(text)


def _counted_data(counted: Counted) -> list[Any]:
    """Return what is counted as plain data."""
    return [*counted.quantities, *([{"records": list(counted.records)}] if counted.records else [])]


_OF_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"type": "string"},
        {"type": "object", "properties": {"records": {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]}}},
        {"type": "array", "minItems": 1, "items": {"type": ["string", "object"]}},
    ],
    "examples": ["running_hours", ["test_hours_h", "other_hours_h"], {"records": ["test-run"]}],
}
CountedField = Annotated[
    Counted, PlainValidator(parse_counted), PlainSerializer(_counted_data, return_type=list[Any]), WithJsonSchema(_OF_SCHEMA)
]
"""What a budget adds up."""


class BudgetLimit(WrittenModel):
    """How much is allowed, since when, and by which source; it may say anew what counts."""

    in_force_from: Day | None = Field(None, description="first day on which this limit is in force")
    at_most: NumberFromZero = Field(description="how much is allowed; exactly this much is still allowed")
    when: ConditionField | None = Field(None, description="what counts while this limit is in force; default the budget's when")
    source: Text | None = Field(None, description="where this limit comes from")

    @property
    def amount(self) -> float:
        """How much is allowed, in the budget's unit."""
        return float(self.at_most)


class BudgetMinimum(WrittenModel):
    """How much is asked for, since when, and by which source; it may say anew what counts."""

    in_force_from: Day | None = Field(None, description="first day on which this minimum is in force")
    at_least: PositiveNumber = Field(description="how much is asked for; exactly this much is enough")
    when: ConditionField | None = Field(None, description="what counts while this minimum is in force; default the budget's when")
    source: Text | None = Field(None, description="where this minimum comes from")

    @property
    def amount(self) -> float:
        """How much is asked for, in the budget's unit."""
        return float(self.at_least)


class _BareNumber:
    """Lets a bare number stand for a limit that was always in force, in the data and in the JSON Schema.

    Args:
        key: the key under which a limit has its number.
    """

    def __init__(self, key: str) -> None:
        self._key = key

    def _as_limits(self, value: object) -> object:
        """Return what is written as one limit or several."""
        return value if isinstance(value, (list, tuple, Mapping, BudgetLimit, BudgetMinimum)) else {self._key: value}

    def __get_pydantic_core_schema__(self, source: type[object], handler: GetCoreSchemaHandler) -> CoreSchema:
        """Turn a number into a limit before it is checked."""
        return core_schema.no_info_before_validator_function(self._as_limits, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Offer the number beside the limits."""
        listed = handler(schema)
        return {"anyOf": [{"type": "number", "minimum": 0}, *listed.get("anyOf", [listed])]}


class Budget(WrittenModel):
    """So much of a kind of running, or of what is logged, at most or at least, in a month, a year or any stretch of a length."""

    key_hints: ClassVar[Mapping[str, str]] = {
        "minimum": "write at_least: 12",
        **dict.fromkeys(("every", "limit", "allowed", "hours"), "write at_most: 100"),
        "period": "write per: calendar_year, or per: P12M",
        "count": "write of: running_hours",
    }

    id: Id = Field(description="as it is named in the findings", examples=["test-hours"])
    title: Name = Field(description="what is limited", examples=["Checks and tests, 100 h a calendar year"])
    applies_to: ConditionField | None = Field(None, description="which engines it is for; every engine where it is left out")
    of: CountedField = Field(description="what is added up: running_hours, counters and amounts of the log, hours of service records")
    when: ConditionField | None = Field(None, description="only what ran under this condition counts: levels and what an engine states")
    at_most: Annotated[tuple[BudgetLimit, ...], OneOrMany(), _BareNumber("at_most"), Field(min_length=1)] = Field(
        (), description="how much is allowed, or several limits with in_force_from", examples=[100]
    )
    at_least: Annotated[tuple[BudgetMinimum, ...], OneOrMany(), _BareNumber("at_least"), Field(min_length=1)] = Field(
        (), description="instead of at_most: how much is asked for, or several minima with in_force_from", examples=[12]
    )
    per: PeriodField = Field(
        description="calendar_year, calendar_month, {calendar_months: 12}, {mean_of_calendar_years: 5}, or an ISO 8601 duration for any "
        "stretch of that length",
        examples=["calendar_year"],
    )
    over: Literal["engine", "site"] = Field("engine", description="what adds up: each engine by itself, or all of the site together")
    when_unknown: Literal["holds", "fails"] | None = Field(
        None, description="whether hours count on which the condition is unknown; default: the budget is unknown where they could exceed it"
    )
    weight: Id = Field(DEFAULT_WEIGHT, description="how much depends on it: law, safety, engine, comfort, or one of the rule set's weights")
    lead_pct: Percent = Field(
        10,
        validate_default=True,
        description="upcoming from this many per cent before the limit; of a minimum, of its period before the end",
    )
    source: Text | None = Field(None, description="where the budget comes from")
    because: Text | None = Field(None, description="why it is limited")
    notes: Text | None = Field(None, description="anything else worth knowing")

    @model_validator(mode="after")
    def _check_limits(self) -> Budget:
        """Refuse a budget that says neither how much is allowed nor how much is asked for, or both."""
        fix = "write at_most: 100, or at_least: 12"
        if not self.limits:
            raise flaw_error(text="neither at_most nor at_least: nothing is allowed or asked for", fix=fix, kind="missing_key")
        if self.at_most and self.at_least:
            raise flaw_error(text="both at_most and at_least; a budget is one of the two", fix=fix)
        return self

    @model_validator(mode="after")
    def _check_records(self) -> Budget:
        """Refuse a condition on hours of service records, which say nothing of levels."""
        if self.of.records and any(each is not None for each in self.conditions):
            raise flaw_error(
                text="when cannot be asked of service records, which know no levels", fix="leave when out, or count running_hours"
            )
        return self

    @property
    def is_minimum(self) -> bool:
        """Whether so much must be reached, not kept within."""
        return bool(self.at_least)

    @property
    def limits(self) -> tuple[BudgetLimit | BudgetMinimum, ...]:
        """What is allowed or asked for, in the order of the file."""
        return self.at_least if self.is_minimum else self.at_most

    @property
    def conditions(self) -> tuple[Condition | None, ...]:
        """What counts under each limit, in the order of the file; None where all counts."""
        return tuple(limit.when if limit.when is not None else self.when for limit in self.limits)

    def place_in_force(self, day: date) -> int | None:
        """Return the place of the limit in force on a local date, or None where all come into force later."""
        known = [
            (limit.in_force_from or date.min, index)
            for index, limit in enumerate(self.limits)
            if limit.in_force_from is None or limit.in_force_from <= day
        ]
        return max(known)[1] if known else None


__all__ = ["RECORDED_HOURS", "Budget", "BudgetLimit", "BudgetMinimum", "Counted", "parse_counted"]
