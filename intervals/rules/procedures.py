"""Procedures: how the work of a task is done, step by step, and what shows that it was.

In: the plain data under `procedures` of a rule set. Out: frozen models. Refuses field by field; what concerns several entries is
refused in `checking/procedure_checks`. Which steps an engine's card has, and in which order, is worked out in `questions/card`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, ClassVar

from pydantic import Field

from intervals.language.fields import (
    ConditionField,
    Id,
    Ids,
    Name,
    NumberFromZero,
    OneOrMany,
    Percent,
    Text,
    TitleField,
    ValueField,
    WholeFromOne,
    WrittenModel,
)
from intervals.language.stated_values import StepValue
from intervals.rules.procedure_examples import ProcedureExample
from intervals.rules.procedure_steps import Step


class PartCount(WrittenModel):
    """A part that the work needs, and how many of it."""

    scalar_hint: ClassVar[str] = "write for example {part: oil-filter, count: 2}"

    part: Id = Field(description="the part's id", examples=["oil-filter"])
    count: ValueField = Field(1.0, description="how many: a number, or what the engine states", examples=[2, "engine.cylinders"])
    title: TitleField | None = Field(None, description="what people call it")
    when: ConditionField | None = Field(None, description="on which engines it is needed; on every engine where it is left out")


class OilNeed(WrittenModel):
    """The oil that the work needs."""

    scalar_hint: ClassVar[str] = "write for example {grade: gas-engine-40, litres: engine.oil_volume_l}"

    grade: Name = Field(description="which oil", examples=["gas-engine-40"])
    litres: ValueField = Field(description="how much, L", examples=["engine.oil_volume_l"])


class Balance(WrittenModel):
    """What goes in and what came out, which have to be nearly the same."""

    key_hints: ClassVar[Mapping[str, str]] = {"pct": "write within_pct", "in": "write filled", "out": "write drained"}

    filled: Ids = Field(description="measured values that are added up as filled", examples=["oil_filled_l"])
    drained: Ids = Field(description="measured values that are added up as drained", examples=["oil_drained_l"])
    within_pct: Percent = Field(description="how far the two may be apart, per cent of what was filled", examples=[15])


class Procedure(WrittenModel):
    """How the work of one task or several is done."""

    key_hints: ClassVar[Mapping[str, str]] = {
        "task": "write tasks: [...]",
        "persons": "write people",
        "duration": "write hours",
        "cautions": "write a step of kind caution",
        "when": "write applies_to for the engines it is for, or when at a step",
    }

    id: Id = Field(description="its id", examples=["oil-and-filter"])
    tasks: Annotated[Ids, Field(min_length=1)] = Field(description="the tasks that it does", examples=[["oil-change"]])
    title: TitleField = Field(description="what is done", examples=["Change the lube oil and its filters"])
    applies_to: ConditionField | None = Field(None, description="which engines it is for; every engine where it is left out")
    people: WholeFromOne = Field(1, description="how many people it takes")
    hours: NumberFromZero | None = Field(None, description="how long it keeps the engine, h")
    parts: Annotated[tuple[PartCount, ...], OneOrMany()] = Field((), description="parts to bring")
    oil: OilNeed | None = Field(None, description="oil to bring")
    waste: dict[Id, ValueField] = Field({}, description="what is left over and has to be accounted for", examples=[{"oil_l": 480}])
    tools: Annotated[tuple[TitleField, ...], OneOrMany()] = Field((), description="tools to bring")
    steps: Annotated[tuple[Step, ...], Field(min_length=1)] = Field(description="the steps, in their order")
    balance: Annotated[tuple[Balance, ...], OneOrMany()] = Field(
        (), description="amounts that have to balance", examples=[{"filled": "oil_filled_l", "drained": "oil_drained_l", "within_pct": 15}]
    )
    examples: tuple[ProcedureExample, ...] = Field((), description="worked examples: what was handed in, and what must come of it")
    source: Text | None = Field(None, description="where it comes from")
    because: Text | None = Field(None, description="why it is done like this")
    notes: Text | None = Field(None, description="anything else worth knowing")

    @property
    def placed_values(self) -> Iterator[tuple[tuple[str | int, ...], StepValue]]:
        """Every value that is left to the engine, with its place below the procedure."""
        for index, step in enumerate(self.steps):
            for place, value in step.placed_values.items():
                yield ("steps", index, *place), value
        for index, part in enumerate(self.parts):
            yield ("parts", index, "count"), part.count
        if self.oil is not None:
            yield ("oil", "litres"), self.oil.litres
        for name, value in self.waste.items():
            yield ("waste", name), value

    def step(self, step_id: str) -> Step:
        """Return the step of that id; KeyError where there is none."""
        for step in self.steps:
            if step.id == step_id:
                return step
        raise KeyError(step_id)


__all__ = ["Balance", "OilNeed", "PartCount", "Procedure", "Step"]
