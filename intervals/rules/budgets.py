"""Budgets: how much of a kind of running, or of what is logged, a calendar year or any stretch of it may hold.

In: the plain data under `budgets` of a rule set. Out: frozen models. Refuses field by field; what concerns several entries is
refused in `checks`. A new key of a budget is a new field of `Budget` and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler, PlainSerializer, PlainValidator, WithJsonSchema, model_validator
from pydantic_core import CoreSchema, core_schema

from intervals.language.conditions import Condition
from intervals.language.durations import CalendarStep, parse_step
from intervals.language.fields import ConditionField, Day, Id, Name, NumberFromZero, OneOrMany, Percent, Text, WrittenModel
from intervals.language.flaws import Flaw, FlawsError, flaw_error, flaws_of
from intervals.language.legs import RUNNING_HOURS
from intervals.language.plain_values import checked_id, text_of
from intervals.language.scalars import shown_value
from intervals.language.value_schemas import STEP_SCHEMA
from intervals.rules.weights import DEFAULT_WEIGHT

CALENDAR_YEAR = "calendar_year"
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
    if flaws:
        raise FlawsError(flaws)
    return Counted(tuple(quantities), tuple(records))


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
    quantities.append(word)


def _word(value: object) -> str:
    """Return an id."""
    text = text_of(value)
    if not isinstance(text, str):
        raise flaw_error(text=f"not a name; got {shown_value(value)}", fix=_OF_FIX)
    return checked_id(text)


def _counted_data(counted: Counted) -> list[Any]:
    """Return what is counted as plain data."""
    return [*counted.quantities, *([{"records": list(counted.records)}] if counted.records else [])]


def parse_period(raw: object) -> CalendarStep | str:
    """Return the stretch of time of a budget: `calendar_year`, or a calendar step that ends on every day anew."""
    if raw == CALENDAR_YEAR or isinstance(raw, CalendarStep):
        return raw
    if isinstance(raw, str) and raw.startswith("P"):
        step = parse_step(raw)
        if step.is_zero:
            raise flaw_error(text=f'out of range; got "{raw}", expected at least P1D', kind="range")
        return step
    raise flaw_error(text=f"not a period; got {shown_value(raw)}", fix=f"write {CALENDAR_YEAR}, or for any 12 months P12M", kind="duration")


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
PeriodField = Annotated[
    CalendarStep | str,
    PlainValidator(parse_period),
    PlainSerializer(str, return_type=str),
    WithJsonSchema({"anyOf": [{"const": CALENDAR_YEAR}, STEP_SCHEMA]}),
]
"""The stretch of time of a budget."""


class BudgetLimit(WrittenModel):
    """How much is allowed, since when, and by which source; it may say anew what counts."""

    in_force_from: Day | None = Field(None, description="first day on which this limit is in force")
    at_most: NumberFromZero = Field(description="how much is allowed; exactly this much is still allowed")
    when: ConditionField | None = Field(None, description="what counts while this limit is in force; default the budget's when")
    source: Text | None = Field(None, description="where this limit comes from")


def _as_limits(value: object) -> object:
    """Let a bare number stand for one limit that was always in force."""
    return value if isinstance(value, (list, tuple, Mapping, BudgetLimit)) else {"at_most": value}


class _BareNumber:
    """Lets a bare number stand for a limit, in the data and in the JSON Schema."""

    def __get_pydantic_core_schema__(self, source: type[object], handler: GetCoreSchemaHandler) -> CoreSchema:
        """Turn a number into a limit before it is checked."""
        return core_schema.no_info_before_validator_function(_as_limits, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Offer the number beside the limits."""
        listed = handler(schema)
        return {"anyOf": [{"type": "number", "minimum": 0}, *listed.get("anyOf", [listed])]}


class Budget(WrittenModel):
    """So much of a kind of running, or of what is logged, in a calendar year or in any stretch of that length."""

    key_hints: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("every", "limit", "allowed", "hours"), "write at_most: 100"),
        "period": "write per: calendar_year, or per: P12M",
        "count": "write of: running_hours",
    }

    id: Id = Field(description="as it is named in the findings", examples=["test-hours"])
    title: Name = Field(description="what is limited", examples=["Checks and tests, 100 h a calendar year"])
    applies_to: ConditionField | None = Field(None, description="which engines it is for; every engine where it is left out")
    of: CountedField = Field(description="what is added up: running_hours, counters and amounts of the log, hours of service records")
    when: ConditionField | None = Field(None, description="only what ran under this condition counts: levels and what an engine states")
    at_most: Annotated[tuple[BudgetLimit, ...], OneOrMany(), _BareNumber(), Field(min_length=1)] = Field(
        description="how much is allowed, or several limits with in_force_from", examples=[100]
    )
    per: PeriodField = Field(
        description="calendar_year, or an ISO 8601 duration for any stretch of that length", examples=["calendar_year"]
    )
    when_unknown: Literal["holds", "fails"] | None = Field(
        None, description="whether hours count on which the condition is unknown; default: the budget is unknown where they could exceed it"
    )
    weight: Id = Field(DEFAULT_WEIGHT, description="how much depends on it: law, safety, engine, comfort, or one of the rule set's weights")
    lead_pct: Percent = Field(10, validate_default=True, description="upcoming from this many per cent before the limit")
    source: Text | None = Field(None, description="where the budget comes from")
    because: Text | None = Field(None, description="why it is limited")
    notes: Text | None = Field(None, description="anything else worth knowing")

    @model_validator(mode="after")
    def _check_records(self) -> Budget:
        """Refuse a condition on hours of service records, which say nothing of levels."""
        if self.of.records and any(each is not None for each in self.conditions):
            raise flaw_error(
                text="when cannot be asked of service records, which know no levels", fix="leave when out, or count running_hours"
            )
        return self

    @property
    def conditions(self) -> tuple[Condition | None, ...]:
        """What counts under each limit, in the order of the file; None where all counts."""
        return tuple(limit.when if limit.when is not None else self.when for limit in self.at_most)

    def place_in_force(self, day: date) -> int | None:
        """Return the place of the limit in force on a local date, or None where all come into force later."""
        known = [
            (limit.in_force_from or date.min, index)
            for index, limit in enumerate(self.at_most)
            if limit.in_force_from is None or limit.in_force_from <= day
        ]
        return max(known)[1] if known else None


__all__ = ["CALENDAR_YEAR", "RECORDED_HOURS", "Budget", "BudgetLimit", "Counted", "parse_counted", "parse_period"]
