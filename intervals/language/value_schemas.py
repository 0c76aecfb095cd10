"""JSON Schemas of the values that a person writes, for editors that complete and check while one types.

In: nothing. Out: plain JSON Schema. Refuses nothing: what a schema cannot say is checked by `written` and `conditions`.
"""

from __future__ import annotations

from typing import Any

from intervals.language.conditions import BOUNDS, DATE_BOUNDS
from intervals.language.legs import CALENDAR, ELAPSED_HOURS, LEAST_HOURS, RUNNING_HOURS, USE_LEGS
from intervals.language.measures import SHARE_MEASURE

FACT_TYPES = ["string", "number", "boolean"]
TEXT_SCHEMA: dict[str, Any] = {"type": ["string", "number"]}
DAY_SCHEMA: dict[str, Any] = {"type": "string", "format": "date", "examples": ["2024-01-15"]}
MOMENT_SCHEMA: dict[str, Any] = {
    "type": "string",
    "pattern": r"^\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?(Z|[+-]\d{2}:\d{2})?)?$",
    "description": "a date, which is its first local midnight, or a time",
    "examples": ["2024-01-15", "2024-01-15T08:00"],
}
STEP_SCHEMA: dict[str, Any] = {
    "type": "string",
    "pattern": r"^P(?=\d)(\d+Y)?(\d+M)?(\d+W)?(\d+D)?$",
    "description": "ISO 8601, whole days or longer",
    "examples": ["P1Y", "P6M", "P1Y30D"],
}
SPAN_SCHEMA: dict[str, Any] = {
    "type": "string",
    "pattern": r"^P(?=\d|T\d)(\d+(\.\d+)?W)?(\d+(\.\d+)?D)?(T(\d+(\.\d+)?H)?(\d+(\.\d+)?M)?(\d+(\.\d+)?S)?)?$",
    "description": "ISO 8601, of fixed length",
    "examples": ["PT36H", "P90D"],
}
_BOUND_SCHEMA: dict[str, Any] = {
    "type": "object",
    "properties": {word: {"type": "number", "description": operator} for word, operator in BOUNDS.items()},
    "additionalProperties": False,
    "minProperties": 1,
}
_DATE_BOUND_SCHEMA: dict[str, Any] = {
    "type": "object",
    "properties": {word: {**DAY_SCHEMA, "description": operator} for word, operator in DATE_BOUNDS.items()},
    "additionalProperties": False,
    "minProperties": 1,
}
QUESTION_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"type": FACT_TYPES, "description": "equals"},
        {"type": "array", "items": {"type": FACT_TYPES}, "minItems": 1, "description": "is one of"},
        _BOUND_SCHEMA,
        _DATE_BOUND_SCHEMA,
    ]
}


def condition_schema(depth: int = 2) -> dict[str, Any]:
    """Return the JSON Schema of a condition.

    Args:
        depth: how deep `any_of` may be nested; deeper ones are not looked into.

    Returns:
        A schema that stands alone.
    """
    inner = condition_schema(depth - 1) if depth > 0 else {"type": ["object", "string"]}
    mapping = {
        "type": "object",
        "minProperties": 1,
        "properties": {
            "any_of": {"type": "array", "minItems": 1, "items": inner, "description": "at least one of these holds"},
            "condition": {"type": "string", "description": "the name of an entry of conditions"},
            SHARE_MEASURE: {
                "type": "object",
                "minProperties": 1,
                "additionalProperties": _BOUND_SCHEMA,
                "description": "share of running hours on which a named condition holds",
                "examples": [{"hot": {"above": 20}}],
            },
        },
        "additionalProperties": QUESTION_SCHEMA,
    }
    return {
        "description": "several keys all hold; a text names an entry of conditions",
        "anyOf": [{"type": "string"}, mapping],
        "examples": [{"load_pct": {"above": 90}}, {"fuel": ["natural-gas", "biogas"]}],
    }


def done_when_schema() -> dict[str, Any]:
    """Return the JSON Schema of the run that completes a task.

    Returns:
        A schema that stands alone.
    """
    minutes = {"type": "number", "exclusiveMinimum": 0, "description": "running minutes in a row"}
    part = {
        "type": "object",
        "required": ["running_min"],
        "properties": {"running_min": minutes},
        "additionalProperties": QUESTION_SCHEMA,
        "examples": [{"running_min": 30, "load_pct": {"at_least": 30}}],
    }
    sampling = {"type": "number", "minimum": 0, "description": "by how much each part may be short, for the log's sampling"}
    sequence = {
        "type": "object",
        "required": ["sequence"],
        "additionalProperties": False,
        "properties": {
            "sequence": {"type": "array", "minItems": 1, "items": part, "description": "parts of one run, in order"},
            "sampling_min": sampling,
        },
    }
    single = {**part, "properties": {"running_min": minutes, "sampling_min": sampling}}
    return {"description": "the run that completes the task", "anyOf": [sequence, single]}


def legs_schema(*, may_be_zero: bool = False) -> dict[str, Any]:
    """Return the JSON Schema of a mapping of legs.

    Args:
        may_be_zero: whether a leg may be zero, as a lead may.

    Returns:
        A schema that stands alone.
    """
    amount = {"type": "number", "minimum": 0} if may_be_zero else {"type": "number", "exclusiveMinimum": 0}
    hours = amount if may_be_zero else {"type": "number", "minimum": LEAST_HOURS}
    return {
        "type": "object",
        "minProperties": 1,
        "properties": {CALENDAR: STEP_SCHEMA, **dict.fromkeys(USE_LEGS, amount), **dict.fromkeys((RUNNING_HOURS, ELAPSED_HOURS), hours)},
        "additionalProperties": {**amount, "description": "a counter or amount that the site declares"},
        "examples": [{"running_hours": 2000, "calendar": "P1Y"}],
    }
