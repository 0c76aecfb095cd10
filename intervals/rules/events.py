"""What a task waits for that is done once after an event: the kinds of event, each with its keys.

In: the plain data under `after` of a task. Out: frozen `Event` models. Refuses an event without a kind, of two kinds, or with a key of
another kind. A new kind is one row of `KINDS` here, and one class in `history/events.py` that finds such events.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Annotated, Any, ClassVar, Literal, NamedTuple

from pydantic import BaseModel, Field, GetJsonSchemaHandler, model_validator
from pydantic_core import CoreSchema

from intervals.language.conditions import Condition, comparisons_of
from intervals.language.fields import ConditionField, Id, NumberFromZero, OneOrMany, SpanHours, WrittenModel
from intervals.language.flaws import Flaw, FlawsError, flaw_error
from intervals.language.phrases import phrase_of
from intervals.language.scalars import shown_value
from intervals.rules.in_place import figures_of
from intervals.shown_numbers import figure

START_UP = "start_up"
NEVER = "never"
_BARE = (START_UP, NEVER)
"""Kinds that a bare word stands for."""
Grade = Literal["good", "worn", "at_limit", "failed"]
_EXAMPLE = "write start_up, {done: overhaul}, {found: inspection, grade: [failed]} or {planned: departure, ahead: PT12H}"


class EventKind(NamedTuple):
    """One kind of event.

    Attributes:
        key: the key that makes an event one of this kind.
        needs: keys that it cannot do without.
        may_have: keys that it may have besides.
    """

    key: str
    needs: tuple[str, ...] = ()
    may_have: tuple[str, ...] = ()


KINDS: tuple[EventKind, ...] = (
    EventKind(START_UP),
    EventKind(NEVER),
    EventKind("done"),
    EventKind("found", needs=("grade",)),
    EventKind("result", needs=("when",)),
    EventKind("planned", may_have=("ahead",)),
    # last, since results have conditions too
    EventKind("when", may_have=("for_min",)),
)
"""Every kind of event; of several keys that name a kind the first one here counts."""


class Event(WrittenModel):
    """Something after which a task is to be done once."""

    scalar_hint: ClassVar[str] = _EXAMPLE
    key_hints: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("commissioned", "commissioning", "in_service"), "write after: start_up"),
        "task": "write done: overhaul",
        "lab": "write result: oil-analysis",
        "before": "write ahead: PT12H",
    }

    start_up: Literal[True] | None = Field(None, description="the engine's first day (in_service); the bare word start_up says the same")
    never: Literal[True] | None = Field(None, description="no event: the job is done when it is done, recorded, and others wait for it")
    done: Id | None = Field(None, description="another task was done", examples=["overhaul"])
    found: Id | None = Field(None, description="a task was done, and its part was found in one of the grades", examples=["inspection"])
    grade: Annotated[tuple[Grade, ...], OneOrMany(), Field(min_length=1)] | None = Field(
        None, description="the grades that are an event", examples=[["at_limit", "failed"]]
    )
    result: Id | None = Field(None, description="a result came of this kind of analysis", examples=["oil-analysis"])
    when: ConditionField | None = Field(
        None, description="what holds: of a result its values, else levels of the log or measures since the task was last done"
    )
    for_min: NumberFromZero | None = Field(None, description="running minutes in a row on which it must hold", examples=[30])
    planned: Id | None = Field(None, description="a list of times under planned in site.yaml", examples=["departure"])
    ahead: SpanHours | None = Field(None, description="the event is this long before the planned time", examples=["PT12H"])

    @model_validator(mode="before")
    @classmethod
    def _check_kind(cls, data: object) -> object:
        """Let a bare word stand for start_up or never, and refuse keys that do not go together."""
        if isinstance(data, BaseModel):
            return data
        if data in _BARE:
            return {data: True}
        if not isinstance(data, Mapping):
            raise flaw_error(text=f"not an event; got {shown_value(data)}", fix=_EXAMPLE)
        kind = kind_in(data)
        if kind is None:
            known = [each.key for each in KINDS]
            if not set(data) <= set(cls.model_fields):
                return data
            raise flaw_error(text=f"an event without a kind; one of {', '.join(known)} is needed", fix=_EXAMPLE, kind="missing_key")
        flaws = [Flaw((), f'the key "{key}" is missing beside {kind.key}', None, "missing_key") for key in kind.needs if key not in data]
        allowed = {kind.key, *kind.needs, *kind.may_have}
        odd = [str(key) for key in data if key in cls.model_fields and key not in allowed]
        flaws += [Flaw((key,), f'"{key}" does not go with {kind.key}', "write two events in a list", "unknown_key") for key in odd]
        if flaws:
            raise FlawsError(flaws)
        return data

    @classmethod
    def __get_pydantic_json_schema__(cls, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Offer the bare words beside what has keys."""
        return {"anyOf": [{"enum": list(_BARE)}, handler(core)]}

    @property
    def kind(self) -> str:
        """The key of its kind."""
        return next(kind.key for kind in KINDS if getattr(self, kind.key) is not None)

    @property
    def figures(self) -> tuple[str, ...]:
        """Every value that it asks of an analysis, and the values that those are worked out from; none of any other kind."""
        return () if self.kind != "result" or self.when is None else figures_of(self.when)

    @property
    def asked(self) -> tuple[str, ...]:
        """Every name that its condition asks for."""
        return () if self.when is None else tuple(dict.fromkeys(part.name for part in comparisons_of(self.when)))

    def __str__(self) -> str:
        """Return the event in words, as it stands on rule pages."""
        match self.kind:
            case "done":
                return f"{self.done} is done"
            case "found":
                grades = " or ".join(grade.replace("_", " ") for grade in self.grade or ())
                return f"{self.found} finds its part {grades}"
            case "result":
                return f"a result of {self.result} with {_condition_text(self.when)}"
            case "when":
                return _condition_text(self.when) + (f" for {figure(float(self.for_min))} min in a row" if self.for_min else "")
            case "planned":
                return f"{f'{figure(float(self.ahead))} h before ' if self.ahead else ''}a planned {self.planned}"
            case kind:
                return "no event" if kind == NEVER else "start-up"


def _condition_text(condition: Condition | None) -> str:
    """Return a condition in words."""
    return "" if condition is None else phrase_of(condition)


def kind_in(data: Mapping[str, Any]) -> EventKind | None:
    """Return the kind of an event's plain data, or None where no key names one."""
    return next((kind for kind in KINDS if data.get(kind.key) is not None), None)


def event_conditions_in(task: Mapping[str, Any]) -> Iterable[tuple[tuple[str | int, ...], object, str]]:
    """Yield the conditions of a task's plain data after which it is due, each with its place below the task and the kind of its event."""
    if task.get("due_when") is not None:
        yield ("due_when",), task["due_when"], "when"
    listed = task.get("after")
    many = isinstance(listed, (list, tuple))
    for index, entry in enumerate(listed if isinstance(listed, (list, tuple)) else [listed]):
        place: tuple[str | int, ...] = ("after", index) if many else ("after",)
        kind = kind_in(entry) if isinstance(entry, Mapping) else None
        if kind is not None and isinstance(entry, Mapping) and entry.get("when") is not None:
            yield (*place, "when"), entry["when"], kind.key
        elif isinstance(entry, Event) and entry.when is not None:
            yield (*place, "when"), entry.when, entry.kind


__all__ = ["KINDS", "NEVER", "START_UP", "Event", "EventKind", "event_conditions_in", "kind_in"]
