"""Worked examples of a procedure: an engine, what was handed in of its steps, and the verdict that must come of it.

In: the plain data under `examples` of a procedure. Out: frozen models. Refuses field by field.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from intervals.language.fields import Fact, Id, Ids, Name, Number, NumberFromZero, Text, ValueName, WrittenModel

Answer = Literal["done", "yes", "no", "not_applicable", "left_out"]
TaskVerdictWord = Literal["credited", "partial", "refused"]


class ExampleEvidence(WrittenModel):
    """What was handed in of one step; a bare word is its answer, a bare number its value."""

    scalar_hint: ClassVar[str] = "write done, yes, no, left_out, a number, or for example {minutes: 20}"

    answer: Answer = Field("done", description="what was ticked")
    reason: Text | None = Field(None, description="why it is not applicable")
    minutes: NumberFromZero | None = Field(None, description="how long was waited; default as long as the step asks")
    value: Number | None = Field(None, description="what was measured")
    label: Text | None = Field(None, description="the sample's label")
    at_min: NumberFromZero | None = Field(None, description="when it was begun, minutes after the first step; default in the card's order")


def _evidence(value: object) -> object:
    """Let a bare word stand for an answer, and a bare number for a value."""
    if isinstance(value, str):
        return {"answer": value}
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return {"value": value}
    return value


def _evidence_schema() -> dict[str, Any]:
    """Return the JSON Schema of what was handed in of a step: a word, a number, or a mapping."""
    properties: dict[str, Any] = {"answer": {"enum": ["done", "yes", "no", "not_applicable", "left_out"]}}
    properties |= {name: {"type": "number"} for name in ("minutes", "value", "at_min")}
    properties |= {name: {"type": ["string", "number"]} for name in ("reason", "label")}
    mapping = {"type": "object", "properties": properties, "additionalProperties": False}
    return {"anyOf": [properties["answer"], {"type": "number"}, mapping]}


EvidenceField = Annotated[ExampleEvidence, BeforeValidator(_evidence), WithJsonSchema(_evidence_schema())]


class ProcedureExpect(WrittenModel):
    """What an example must give; only what is stated is compared."""

    verdict: TaskVerdictWord | None = Field(None, description="credited, partial or refused")
    steps: dict[Id, Name] = Field({}, description="the rule that must have fired on a step", examples=[{"pump-pan": "wait-short"}])
    fired: Ids | None = Field(None, description="all rules that fire and find something wrong or unknown")


class ProcedureExample(WrittenModel):
    """A worked example: an engine, what was handed in, and what must come of it.

    Steps that are not named were done as they are written, waits for exactly their minutes; measured values are left out unless named.
    """

    key_hints: ClassVar[Mapping[str, str]] = {"since_last": "an example of a task stands under examples of the rule set"}

    name: Name = Field(description="one sentence that says what the example shows")
    engine: dict[Name, Fact] = Field({}, description="what the engine states of itself", examples=[{"oil_volume_l": 480}])
    card: dict[ValueName, Number] = Field({}, description="its values under card:", examples=[{"drain_pan_min": 20}])
    evidence: dict[Name, EvidenceField] = Field({}, description="what was handed in, by step", examples=[{"pump-pan": {"minutes": 12}}])
    expect: ProcedureExpect = Field(description="what must come out")
