"""The steps of a procedure: what is told, checked, set, waited for, done, measured and sampled, in phases.

In: the plain data under `steps` of a procedure. Out: frozen models. Refuses field by field; what concerns several keys or several
steps at once is refused in `checking/procedure_checks`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Literal, get_args

from pydantic import Field

from intervals.language.fields import ConditionField, Id, Ids, Name, Text, TitleField, ValueField, WordsField, WrittenModel
from intervals.language.stated_values import StepValue

StepKind = Literal["caution", "check", "set", "wait", "do", "measure", "sample"]
Phase = Literal["before", "secure", "work", "restore", "after"]
EvidenceNeed = Literal["asked", "required"]

KINDS: tuple[StepKind, ...] = get_args(StepKind)
PHASES: tuple[Phase, ...] = get_args(Phase)
"""The phases of a stop, in order: the engine may run, it is secured, the work, back as it was, it runs again."""
STOPPED_PHASES: tuple[Phase, ...] = ("secure", "work", "restore")
"""The phases during which the engine stands."""
EVIDENCE_KINDS: frozenset[StepKind] = frozenset({"wait", "measure", "sample"})
"""Kinds of step whose evidence is required where the rule set says nothing."""
RESTORE_PHASE: Phase = "restore"
"""The phase in which everything that was set comes back."""
RESTORE = "restore"
"""Ending of the id of the step that puts something back: `tank-line.restore`."""


class MeasureLimits(WrittenModel):
    """Between what a measured value has to lie, in the step's unit."""

    key_hints: ClassVar[Mapping[str, str]] = {"min": "write at_least", "max": "write at_most"}
    scalar_hint: ClassVar[str] = "write for example {at_least: 0.3, at_most: 0.4}"

    above: ValueField | None = Field(None, description="more than this")
    at_least: ValueField | None = Field(None, description="this or more")
    below: ValueField | None = Field(None, description="less than this")
    at_most: ValueField | None = Field(None, description="this or less")

    @property
    def bounds(self) -> dict[str, StepValue]:
        """The bounds that are stated, by their word: above, at_least, below, at_most."""
        found = {"above": self.above, "at_least": self.at_least, "below": self.below, "at_most": self.at_most}
        return {word: value for word, value in found.items() if value is not None}


class ForEach(WrittenModel):
    """A step that is done once at each of several like places, such as each cylinder."""

    scalar_hint: ClassVar[str] = "write for example {what: cylinder, count: engine.cylinders}"

    what: TitleField = Field(description="what there are several of", examples=["cylinder"])
    count: ValueField = Field(description="how many there are", examples=["engine.cylinders"])


class Step(WrittenModel):
    """One step of a procedure."""

    key_hints: ClassVar[Mapping[str, str]] = {
        "min": "write minutes",
        "duration": "write minutes: 20",
        "from": "write before: the position that it is in until then",
        "back": "write restore: true",
        "title": "write text",
        "if": "write when",
        "after": "write needs: the steps that come before it",
        "at_least": "write it under limits: {at_least: ...}",
        "at_most": "write it under limits: {at_most: ...}",
    }

    id: Id = Field(description="its id, once in a procedure", examples=["pump-pan"])
    kind: StepKind = Field(description="caution, check, set, wait, do, measure or sample")
    phase: Phase = Field("work", description="before (the engine may run), secure, work, restore, after (it runs again)")
    text: WordsField | None = Field(None, description="what the person reads")
    of: TitleField | None = Field(None, description="set: what is set", examples=["drain valve of the pan"])
    to: TitleField | None = Field(None, description="set: the position that it comes into", examples=["open"])
    before: TitleField | None = Field(None, description="set: the position that it is in until then", examples=["closed"])
    restore: bool = Field(False, description="set: whether it comes back at the end, in reverse order, as a step of its own")
    minutes: ValueField | None = Field(None, description="wait: minutes by the clock", examples=["card.drain_pan_min"])
    value: Id | None = Field(None, description="measure: the name under which the value is kept", examples=["oil_filled_l"])
    unit: Name | None = Field(None, description="measure: its unit", examples=["L"])
    limits: MeasureLimits | None = Field(None, description="measure: between what it has to lie", examples=[{"at_least": 0.3}])
    for_each: ForEach | None = Field(
        None, description="done once at each of several like places", examples=[{"what": "cylinder", "count": "engine.cylinders"}]
    )
    shared: Id | None = Field(None, description="steps of one such name stand once on the card of a stop", examples=["secure-engine"])
    needs: Ids = Field((), description="steps that must be done before this one; STEP.restore is the putting back of a set step")
    when: ConditionField | None = Field(None, description="on which engines it is done; on every engine where it is left out")
    evidence: EvidenceNeed | None = Field(
        None, description="required: without it a task is credited in part at most; default for wait, measure, sample; asked for others"
    )
    because: Text | None = Field(None, description="why it is done")
    source: Text | None = Field(None, description="where it comes from, if not where the procedure does")

    @property
    def evidence_needed(self) -> EvidenceNeed:
        """Whether evidence is asked for or required: as stated, else by the kind of step."""
        return self.evidence or ("required" if self.kind in EVIDENCE_KINDS else "asked")

    @property
    def restore_needed(self) -> EvidenceNeed:
        """Whether evidence that it was put back is asked for or required: as stated for the step, else required."""
        return self.evidence or "required"

    @property
    def placed_values(self) -> dict[tuple[str, ...], StepValue]:
        """Every value that the step may leave to the engine, by its place below the step."""
        found: dict[tuple[str, ...], StepValue | None] = {("minutes",): self.minutes}
        found |= {("limits", word): value for word, value in (self.limits.bounds if self.limits is not None else {}).items()}
        found |= {("for_each", "count"): self.for_each.count if self.for_each is not None else None}
        return {place: value for place, value in found.items() if value is not None}
