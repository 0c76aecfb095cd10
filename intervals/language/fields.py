"""Field types of what a person writes: text, numbers, days, durations, conditions, legs, each with its JSON Schema.

In: the plain scalars of a YAML file. Out: the values that the models of site and rule set hold. Refuses by `FlawsError`,
which says what was found, what was expected and what to write. A new kind of value is added here, in one place.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Annotated, Any, ClassVar, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    PlainSerializer,
    PlainValidator,
    ValidationInfo,
    WithJsonSchema,
)
from pydantic_core import CoreSchema, core_schema

from intervals.language.conditions import Condition, FactValue, describe_condition
from intervals.language.done_when import DoneWhen, parse_done_when
from intervals.language.durations import CalendarStep, parse_hours, parse_step
from intervals.language.flaws import Flaw, FlawsError
from intervals.language.legs import legs_data, parse_lead_legs, parse_legs
from intervals.language.plain_values import (
    checked_id,
    checked_line,
    checked_text,
    checked_zone,
    day_of,
    moment_of,
    number_of,
    percent_of,
    text_of,
    whole_of,
)
from intervals.language.scalars import shown_value
from intervals.language.stated_values import STATED_SCHEMA, StepValue, checked_value_name, parse_stated, stated_data
from intervals.language.value_schemas import (
    DAY_SCHEMA,
    FACT_TYPES,
    MOMENT_SCHEMA,
    SPAN_SCHEMA,
    STEP_SCHEMA,
    TEXT_SCHEMA,
    condition_schema,
    done_when_schema,
    legs_schema,
)
from intervals.language.words import WORDS_SCHEMA, Words, parse_title, parse_words
from intervals.language.written_conditions import parse_condition, parse_fact


class WrittenModel(BaseModel):
    """Base of what a person writes: frozen, no unknown keys, no infinite numbers."""

    # a model inside another is built with it, and not once more when its module is loaded
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, defer_build=True)
    key_hints: ClassVar[Mapping[str, str]] = {}
    """What to write instead of keys that people try and that are not known here."""
    scalar_hint: ClassVar[str | None] = None
    """What to write instead of a bare word where this mapping is needed."""


def _condition(value: object, info: ValidationInfo) -> Condition:
    """Parse a condition; the rule set's named ones come with the context."""
    if isinstance(value, Condition):
        return value
    return parse_condition(value, (info.context or {}).get("conditions", {}))


def _done_when(value: object, info: ValidationInfo) -> DoneWhen:
    """Parse the run that completes a task; the rule set's named conditions come with the context."""
    if isinstance(value, DoneWhen):
        return value
    return parse_done_when(value, (info.context or {}).get("conditions", {}))


def _ids_or_all(value: object) -> tuple[str, ...] | Literal["all"]:
    """Return ids, or the word `all`; one id may stand without brackets."""
    if value == "all":
        return "all"
    items = value if isinstance(value, (list, tuple)) else [value]
    ids: list[str] = []
    flaws: list[Flaw] = []
    for index, item in enumerate(items):
        text = text_of(item) if not isinstance(item, bool) else item
        if isinstance(text, str) and text:
            ids.append(text)
        else:
            flaws.append(
                Flaw((index,) if items is value else (), f"not the id of a task; got {shown_value(item)}, expected a list of ids, or all")
            )
    if flaws:
        raise FlawsError(flaws)
    return tuple(ids)


class OneOrMany:
    """Lets one value stand for a list of one, in the data and in the JSON Schema."""

    def __get_pydantic_core_schema__(self, source: type[object], handler: GetCoreSchemaHandler) -> CoreSchema:
        """Wrap a single value into a list before the list is checked."""
        return core_schema.no_info_before_validator_function(
            lambda value: value if isinstance(value, (list, tuple)) else [value], handler(source)
        )

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Offer the single value beside the list."""
        listed = handler(schema)
        return {"anyOf": [listed["items"], listed]}


Text = Annotated[str, BeforeValidator(text_of), AfterValidator(checked_text), WithJsonSchema(TEXT_SCHEMA)]
"""Text that a person reads; numbers keep the text they were written as."""
Name = Annotated[str, BeforeValidator(text_of), AfterValidator(checked_line), WithJsonSchema(TEXT_SCHEMA)]
"""One line of text."""
Id = Annotated[str, BeforeValidator(text_of), AfterValidator(checked_id), WithJsonSchema(TEXT_SCHEMA)]
"""A word without spaces, as it is typed into service records."""
Number = Annotated[float, BeforeValidator(number_of)]
"""A finite number."""
PositiveNumber = Annotated[float, BeforeValidator(number_of), Field(gt=0)]
"""A finite number above zero."""
NumberFromZero = Annotated[float, BeforeValidator(number_of), Field(ge=0)]
"""A finite number, zero or above."""
WholeFromZero = Annotated[int, BeforeValidator(whole_of), Field(ge=0)]
"""A whole number, zero or above."""
WholeFromOne = Annotated[int, BeforeValidator(whole_of), Field(ge=1)]
"""A whole number, one or above."""


def _line(value: object) -> str:
    """Return one line of text."""
    text = text_of(value)
    if not isinstance(text, str) or not text:
        raise FlawsError([Flaw((), f"a name is needed; got {shown_value(value)}")])
    return checked_line(text)


def _name_or_names(value: object) -> str | tuple[str, ...]:
    """Return one name, or several as they are listed; a list of one is that one."""
    if not isinstance(value, (list, tuple)):
        return _line(value)
    names: list[str] = []
    flaws: list[Flaw] = []
    for index, item in enumerate(value):
        try:
            name = _line(item)
        except FlawsError as error:
            flaws.extend(flaw.below(index) for flaw in error.flaws)
            continue
        if name in names:
            flaws.append(Flaw((index,), f'"{name}" is listed twice', "leave it out once", "duplicate"))
        names.append(name)
    if not value:
        flaws.append(Flaw((), "an empty list; at least one name is needed", "write a name, or leave the key out", "range"))
    if flaws:
        raise FlawsError(flaws)
    return names[0] if len(names) == 1 else tuple(names)


def _task_of_set(value: str) -> str:
    """Refuse what does not name a rule set and a task of it."""
    if "." not in value.strip("."):
        fix = "write the id of the rule set, a full stop, and the id of the task: us-area-source.oil-change-emergency-ci"
        raise FlawsError([Flaw((), f"a rule set and a task of it are needed; got {shown_value(value)}", fix)])
    return value


Share = Annotated[float, BeforeValidator(number_of), Field(ge=0, le=1)]
"""A share from 0 to 1."""
Percent = Annotated[
    Decimal, BeforeValidator(percent_of), Field(ge=0, le=100), WithJsonSchema({"type": "number", "minimum": 0, "maximum": 100})
]
"""A percentage from 0 to 100, exact."""
Day = Annotated[date, BeforeValidator(day_of), WithJsonSchema(DAY_SCHEMA)]
"""A local date."""
Moment = Annotated[date | datetime, BeforeValidator(moment_of), WithJsonSchema(MOMENT_SCHEMA)]
"""A local date, or a time: local where it has no offset."""
SpanHours = Annotated[
    float,
    PlainValidator(lambda value: value if isinstance(value, float) and not hasattr(value, "text") else parse_hours(value)),
    WithJsonSchema(SPAN_SCHEMA),
]
"""An ISO 8601 duration of fixed length, in hours."""
TimeZone = Annotated[Name, AfterValidator(checked_zone)]
"""An IANA time zone."""
Fact = Annotated[FactValue, PlainValidator(parse_fact), WithJsonSchema({"type": FACT_TYPES})]
"""What an engine states of itself: a word, a number, or true or false."""
ConditionField = Annotated[
    Condition, PlainValidator(_condition), PlainSerializer(describe_condition, return_type=str), WithJsonSchema(condition_schema())
]
"""A condition."""
Legs = Annotated[
    dict[str, float | CalendarStep],
    PlainValidator(parse_legs),
    PlainSerializer(legs_data, return_type=dict[str, float | str]),
    WithJsonSchema(legs_schema()),
]
"""Legs of an interval, each above zero, in the order of the file."""
LeadLegs = Annotated[
    dict[str, float | CalendarStep],
    PlainValidator(parse_lead_legs),
    PlainSerializer(legs_data, return_type=dict[str, float | str]),
    WithJsonSchema(legs_schema(may_be_zero=True)),
]
"""Legs of a lead, which may be zero."""
Step = Annotated[
    CalendarStep,
    PlainValidator(lambda value: value if isinstance(value, CalendarStep) else parse_step(value)),
    PlainSerializer(str, return_type=str),
    WithJsonSchema(STEP_SCHEMA),
]
"""A calendar step of whole days or longer; `P0D` leads nowhere."""
DoneWhenField = Annotated[DoneWhen, PlainValidator(_done_when), PlainSerializer(str, return_type=str), WithJsonSchema(done_when_schema())]
"""The run in the log that completes a task."""
NameOrNames = Annotated[
    str | tuple[str, ...],
    BeforeValidator(_name_or_names),
    WithJsonSchema({"anyOf": [TEXT_SCHEMA, {"type": "array", "items": TEXT_SCHEMA, "minItems": 1, "uniqueItems": True}]}),
]
"""One name, or several; a list of one is that one."""
TaskOfSet = Annotated[Id, AfterValidator(_task_of_set)]
"""A task of a named rule set: `us-area-source.oil-change-emergency-ci`."""
Ids = Annotated[tuple[Id, ...], OneOrMany()]
"""Ids; a single one may stand without brackets."""
IdsOrAll = Annotated[
    tuple[str, ...] | Literal["all"],
    BeforeValidator(_ids_or_all),
    WithJsonSchema({"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}], "examples": ["all", ["oil-change"]]}),
]
"""Ids of tasks, or the word `all`."""
ValueName = Annotated[str, BeforeValidator(text_of), AfterValidator(checked_value_name), WithJsonSchema(TEXT_SCHEMA)]
"""A name that a step can ask for as `card.NAME`."""
WordsField = Annotated[
    Words, PlainValidator(parse_words), PlainSerializer(Words.data, return_type=str | dict[str, str]), WithJsonSchema(WORDS_SCHEMA)
]
"""Words that people read, in one language or several."""
TitleField = Annotated[
    Words, PlainValidator(parse_title), PlainSerializer(Words.data, return_type=str | dict[str, str]), WithJsonSchema(WORDS_SCHEMA)
]
"""One line of words, in one language or several."""
ValueField = Annotated[
    StepValue, PlainValidator(parse_stated), PlainSerializer(stated_data, return_type=float | str), WithJsonSchema(STATED_SCHEMA)
]
"""A number of zero or more, or what an engine states: `engine.NAME`, `card.NAME`."""
