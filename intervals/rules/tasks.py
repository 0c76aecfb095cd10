"""What a rule set is made of: tasks with dated intervals, adjustments, limits, worked examples.

In: the plain data of a rule set file. Out: frozen models. Refuses field by field; what concerns several entries at once
is refused in `checking/between_entries`. The effects of adjustments, and their limits, are fields made from the classes in `effects/`.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, Field, GetJsonSchemaHandler, create_model, model_validator
from pydantic_core import CoreSchema

from intervals.language.conditions import Condition, comparisons_of
from intervals.language.done_when import RunPart
from intervals.language.durations import CalendarStep
from intervals.language.fields import (
    ConditionField,
    Day,
    DoneWhenField,
    Id,
    Ids,
    IdsOrAll,
    LeadLegs,
    Legs,
    Name,
    OneOrMany,
    Percent,
    Share,
    Step,
    TaskOfSet,
    Text,
    WholeFromZero,
    WrittenModel,
)
from intervals.language.flaws import Flaw, FlawsError, flaw_error
from intervals.language.legs import ELAPSED_HOURS
from intervals.language.measures import is_hourly, is_window_measure
from intervals.language.phrases import as_hours_are, phrase_of
from intervals.language.scalars import shown_value
from intervals.language.value_schemas import legs_schema
from intervals.problems import nearest_word
from intervals.rules.effects.effect_fields import BOUNDED_KEYS, effect_fields, effect_hints, limit_fields
from intervals.rules.effects.known_effects import EFFECTS
from intervals.rules.effects.rule_effect import Bounds, HourEffect, RuleEffect, StartEffect, WindowEffect
from intervals.rules.events import Event
from intervals.rules.in_place import InPlaceOfTime
from intervals.rules.result_tables import TableRow
from intervals.rules.timing import Deferral, DueWindow, Tolerance
from intervals.rules.weights import DEFAULT_WEIGHT

SEVERE_DUTY = "severe-duty"
"""The id under which a site's own factor stands among the reasons; no adjustment may be called so."""
_UNDER_EVERY = "write it under every: {running_hours: 2000, calendar: P1Y}"


class Every(WrittenModel):
    """One interval: its legs, since when it is in force, and its source.

    In the file the legs stand beside the other two keys: `{in_force_from: 2013-05-03, running_hours: 500, calendar: P1Y}`.
    """

    in_force_from: Day | None = Field(None, description="first day on which this interval is in force")
    source: Text | None = Field(None, description="where this interval comes from")
    legs: Legs = Field(description="running_hours, calendar, starts, energy_kwh, fuel_l ..., whichever comes first")

    @model_validator(mode="before")
    @classmethod
    def _gather_legs(cls, data: object) -> object:
        """Put all keys but the two others into `legs`."""
        if isinstance(data, BaseModel) or (isinstance(data, Mapping) and isinstance(data.get("legs"), Mapping)):
            return data
        if not isinstance(data, Mapping):
            raise flaw_error(text=f"not an interval; got {shown_value(data)}", fix="write for example {running_hours: 2000, calendar: P1Y}")
        own = {key: data[key] for key in ("in_force_from", "source") if key in data}
        legs = {key: value for key, value in data.items() if key not in own}
        flaws = [flaw for key in legs if (flaw := _no_leg(str(key))) is not None]
        if flaws:
            raise FlawsError(flaws)
        return {**own, "legs": legs}

    @classmethod
    def __get_pydantic_json_schema__(cls, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Describe the legs where they stand in the file: beside the other two keys."""
        schema = handler.resolve_ref_schema(handler(core))
        own = {key: value for key, value in schema["properties"].items() if key != "legs"}
        legs = legs_schema()
        schema |= {"properties": own | legs["properties"], "additionalProperties": legs["additionalProperties"]}
        schema.pop("required", None)
        return schema


def _no_leg(key: str) -> Flaw | None:
    """Return the flaw of a key under `every` that is meant to be something else."""
    if key in Task.model_fields:
        return Flaw((key,), f'"{key}" is not a leg', "write it one level up, beside every", "unknown_key")
    near = nearest_word(key, ("in_force_from", "source"), 0.8)
    return Flaw((key,), f'unknown key "{key}"; did you mean "{near}"?', None, "unknown_key") if near else None


AT_ONCE = Every.model_construct(in_force_from=None, source=None, legs={ELAPSED_HOURS: 0.0})
"""What a task is allowed that is due as soon as its event comes."""


class Task(WrittenModel):
    """One piece of work that is done again and again, or once after each event."""

    key_hints: ClassVar[Mapping[str, str]] = {
        **dict.fromkeys(("running_hours", "calendar", "starts", "energy_kwh", "hours", "interval", "intervals"), _UNDER_EVERY),
        "when": "write applies_to for the engines it is for, or an adjustment",
    }

    id: Id = Field(description="as it is typed into service records", examples=["oil-change"])
    title: Name = Field(description="what is done", examples=["Change lube oil and filters"])
    applies_to: ConditionField | None = Field(None, description="which engines it is for; every engine where it is left out")
    every: Annotated[tuple[Every, ...], OneOrMany()] = Field(
        (), description="the interval, or several with in_force_from; a task whose table says all, or that is done once, leaves it out"
    )
    interval_from: Literal["results"] | None = Field(None, description="what chooses the interval of each window from its table")
    table: tuple[TableRow, ...] = Field(
        (), description="intervals by results: the first row that holds at a window's start is the interval of that window"
    )
    outside: Literal["unknown", "every"] = Field("unknown", description="what holds where no row of the table does")
    once: bool = Field(False, description="done once after each event; then nothing falls due until the next one")
    after: Annotated[tuple[Event, ...], OneOrMany()] = Field(
        (), description="the events after which it is due, any of them", examples=["start_up", {"done": "overhaul"}]
    )
    within: Annotated[tuple[Every, ...], OneOrMany()] = Field(
        (), description="of a task done once: the legs from its event to its line, or several with in_force_from"
    )
    at_once: bool = Field(False, description="of a task done once: due as soon as its event comes")
    due_when: ConditionField | None = Field(None, description="of a task without an interval: due once whenever this comes to hold")
    not_before: Day | None = Field(
        None,
        description="the day from which it asks for anything: no window begins before it, so that nothing falls due for the time before",
    )
    whichever: Literal["first", "last"] = Field("first", description="which leg decides: the one that comes first, or last")
    first: Annotated[tuple[Legs, ...], OneOrMany(), Field(min_length=1)] | None = Field(
        None,
        description="legs of the first occurrence of a new or overhauled engine, or of its first occurrences one after the other",
        examples=[[{"running_hours": 50}, {"running_hours": 250}]],
    )
    lead: LeadLegs | None = Field(None, description="upcoming from this much before the line; default 10 % of the allowed")
    tolerance_pct: Percent = Field(
        0, validate_default=True, description="late by no more than this share of the interval: still overdue, marked as within tolerance"
    )
    tolerance: Tolerance | None = Field(
        None, description="late by no more than this: still overdue, marked as within tolerance; the smallest that applies to a leg counts"
    )
    window: DueWindow | None = Field(None, description="when around its due date it may be done; its last day is the line")
    done_when: DoneWhenField | None = Field(None, description="a run in the log that completes it, in addition to service records")
    in_place_of_time: InPlaceOfTime | None = Field(None, description="an analysis that takes the place of the job, while within limits")
    early_pct: Percent = Field(
        10, validate_default=True, description="from this much before the line it may be done with a visit that is due"
    )
    visit_days: WholeFromZero = Field(3, description="days around a visit that count as the same visit")
    renews: Ids = Field((), description="tasks that are completed with this one")
    same_as: Annotated[tuple[TaskOfSet, ...], OneOrMany()] = Field(
        (), description="tasks of other rule sets that are one job with it", examples=[["us-area-source.oil-change-emergency-ci"]]
    )
    makes_new: IdsOrAll = Field((), description="tasks that start again with their first interval; all: every task that states one")
    stops_engine: bool = Field(False, description="a visit at which other tasks could have been done")
    restarts_from: Literal["done", "due", "due_if_on_time", "due_if_late", "due_unless_early"] = Field(
        "done", description="where the next window starts; due_if_late: at the due point where it was done past the line"
    )
    early_restarts_after: Step | None = Field(
        None,
        description="with due_unless_early: done too early, due dates count from so long after it, never from later than the one it met",
        examples=["P3M"],
    )
    restarts_from_part: Literal["first", "last"] = Field(
        "last", description="where the next window starts of a job done in parts: at its first part, or at its last"
    )
    deferral: Deferral | None = Field(
        None, description="how far it may be put off", examples=[{"at_most_pct": 10, "times": 1, "approval": "required"}]
    )
    weight: Id = Field(DEFAULT_WEIGHT, description="how much depends on it: law, safety, engine, comfort, or one of the rule set's weights")
    in_lay_up: Literal["counts", "waits"] = Field("waits", description="whether the calendar falls due while laid up")
    source: Text | None = Field(None, description="where the task comes from")
    because: Text | None = Field(None, description="why it is done")
    notes: Text | None = Field(None, description="anything else worth knowing")

    @cached_property
    def intervals(self) -> tuple[Every, ...]:
        """Every interval that it can have: those of `every`, then those of its table."""
        return (*self.every, *(Every(legs=row.every, source=row.source) for row in self.table))

    @property
    def legs(self) -> tuple[str, ...]:
        """Every leg of its intervals, in the order of the file."""
        return tuple(dict.fromkeys(leg for every in self.intervals for leg in every.legs))

    def interval_of_row(self, number: int) -> Every:
        """Return the interval of a row of its table, counted from 0."""
        return self.intervals[len(self.every) + number]

    @model_validator(mode="before")
    @classmethod
    def _let_event_stand(cls, data: object) -> object:
        """Let a task that waits for an event do without an interval, and be due at once where it says nothing else."""
        if not isinstance(data, Mapping) or not (data.get("once") or data.get("due_when") is not None):
            return data
        written = {key: value for key, value in data.items() if key != "within" or value not in (None, {})}
        return written if "every" in data else {**written, "every": AT_ONCE}

    @model_validator(mode="after")
    def _take_legs_of_event(self) -> Task:
        """Let what a task done once says under `within` be its interval."""
        if self.within and self.is_once:
            # the model is frozen for those who use it
            object.__setattr__(self, "every", self.within)
        return self

    @classmethod
    def __get_pydantic_json_schema__(cls, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Ask for an interval, or for what stands in its place."""
        schema: dict[str, Any] = handler.resolve_ref_schema(handler(core))
        schema |= {"if": {"anyOf": [{"required": [key]} for key in ("once", "due_when", "table")]}, "else": {"required": ["every"]}}
        return schema

    @property
    def is_once(self) -> bool:
        """Whether it is done once after each event."""
        return self.once or self.due_when is not None

    @cached_property
    def events(self) -> tuple[Event, ...]:
        """The events after which it is due, in the order of the file; none of a task with an interval."""
        return self.after if self.due_when is None else (Event(when=self.due_when), *self.after)

    @property
    def run_parts(self) -> tuple[RunPart, ...]:
        """The parts of the run that completes it; none where no run does."""
        return () if self.done_when is None else self.done_when.parts

    def first_legs_from(self, since_new: int | None) -> tuple[Mapping[str, float | CalendarStep], ...]:
        """Return the legs of the first occurrences of a new engine that are to come, in order; none where there are none.

        Args:
            since_new: how many times it was done since the engine was new or overhauled; None where nothing says so.
        """
        return () if since_new is None or self.first is None else self.first[since_new:]

    def every_in_force(self, day: date) -> Every | None:
        """Return the interval in force on a local date, or None where all come into force later."""
        if len(self.every) == 1 and self.every[0].in_force_from is None:
            return self.every[0]
        known = [every for every in self.every if every.in_force_from is None or every.in_force_from <= day]
        return max(known, key=lambda every: every.in_force_from or date.min, default=None)


class _AdjustmentHead(WrittenModel):
    """What an adjustment is about: the keys before its effect."""

    id: Id = Field(description="as it is named in reasons", examples=["heavy-load"])
    title: Name | None = Field(None, description="what it is about")
    tasks: IdsOrAll = Field(description="ids of the tasks it adjusts, or all")
    when: ConditionField = Field(description="the condition on which it fires")


if TYPE_CHECKING:
    # type checkers see no field of an effect: whoever wants one asks for `effect`
    _WithEffects = _AdjustmentHead
    _EveryLimit = WrittenModel
else:
    _WithEffects = create_model("_WithEffects", __base__=_AdjustmentHead, **effect_fields())
    _EveryLimit = create_model("_EveryLimit", __base__=WrittenModel, **limit_fields())


class Adjustment(_WithEffects):
    """What makes hours or starts count more or an interval shorter; each has exactly one effect."""

    key_hints: ClassVar[Mapping[str, str]] = {
        **effect_hints(),
        "applies_to": "write tasks for the tasks it adjusts, and when for the condition",
        "task": "write tasks: [..], or tasks: all",
        "if": "write when",
    }

    when_unknown: Literal["holds", "fails"] = Field("fails", description="whether it fires where the condition is unknown")
    known_share_at_least: Share = Field(0.5, description="a mean is unknown where less than this share of the hours is known")
    because: Text | None = Field(None, description="why, in one sentence")
    source: Text | None = Field(None, description="where it comes from")

    @cached_property
    def effect(self) -> RuleEffect:
        """What it does, with its value; that there is exactly one effect is checked of the whole rule set."""
        given = [kind(value) for kind in EFFECTS if (value := getattr(self, kind.key)) is not None]
        return given[0]

    @cached_property
    def condition_in_words(self) -> str:
        """Its condition in the words of the trade, such as `above 90 % load`."""
        return phrase_of(self.when)

    @cached_property
    def hours_in_words(self) -> str:
        """The hours on which its condition holds, and what they do: `above 90 % load count 1.5 times`."""
        return f"{as_hours_are(self.when)} {self.effect.in_finding}"

    def weighs_hours(self, levels: Container[str]) -> bool:
        """Tell whether it is judged hour by hour; an effect that may be either is where its condition asks for levels alone.

        Args:
            levels: the names that are levels.
        """
        if not (isinstance(self.effect, HourEffect) and isinstance(self.effect, WindowEffect)):
            return isinstance(self.effect, HourEffect)
        asked = [part.name for part in comparisons_of(self.when)]
        return any(name in levels for name in asked) and not any(is_window_measure(name) and not is_hourly(name) for name in asked)

    @property
    def hour_effect(self) -> HourEffect:
        """What it does, of a rule that weighs hours; a TypeError of any other."""
        if isinstance(self.effect, HourEffect):
            return self.effect
        raise TypeError(self.id)

    @property
    def start_effect(self) -> StartEffect:
        """What it does, of a rule that makes starts count; a TypeError of any other."""
        if isinstance(self.effect, StartEffect):
            return self.effect
        raise TypeError(self.id)

    @property
    def window_effect(self) -> WindowEffect:
        """What it does, of a rule on the window as a whole; a TypeError of any other."""
        if isinstance(self.effect, WindowEffect):
            return self.effect
        raise TypeError(self.id)


Adjustment.__doc__ = f"{Adjustment.__doc__}\n\nThe effects: {', '.join(effect.key for effect in EFFECTS)}."


class Limits(_EveryLimit):
    """How far all adjustments together may go; a limit that is not given does not bind."""

    @cached_property
    def bounds(self) -> dict[str, Bounds]:
        """The bounds of each effect that has any, by its key."""
        return {key: Bounds(self._bound(f"{key}_at_least"), self._bound(f"{key}_at_most")) for key in BOUNDED_KEYS}

    def _bound(self, key: str) -> float | None:
        """Return one limit, or None where it does not bind."""
        value = getattr(self, key, None)
        return None if value is None else float(value)


__all__ = ["AT_ONCE", "SEVERE_DUTY", "Adjustment", "Condition", "Every", "Limits", "Task"]
