"""The engines of a site: what each states of itself, its meter's history, and the times it stood laid up.

In: the plain data under `engines`. Out: frozen models. Refuses field by field; what concerns several fields is refused in
`site_checks`. A new key of an engine is a new field of `Engine` and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, ClassVar

from pydantic import Field

from intervals.language.conditions import IN_SERVICE, FactValue
from intervals.language.fields import (
    ConditionField,
    Day,
    Fact,
    IdsOrAll,
    Moment,
    Name,
    NameOrNames,
    Number,
    NumberFromZero,
    OneOrMany,
    PositiveNumber,
    Text,
    ValueName,
    WrittenModel,
)


class MeterChange(WrittenModel):
    """The hour meter was replaced or set: what it read before and after."""

    key_hints: ClassVar[Mapping[str, str]] = {"old": "write old_read_h", "new": "write new_read_h", "date": "write at", "on": "write at"}

    at: Moment = Field(description="when; a row stamped at this moment is still the old meter's")
    old_read_h: NumberFromZero = Field(description="last reading of the old meter, h")
    new_read_h: NumberFromZero = Field(description="first reading of the new meter, h")


class LayUp(WrittenModel):
    """The engine was out of use: from the first moment of one day to the first moment of another."""

    scalar_hint: ClassVar[str] = "write for example {from: 2025-11-01, to: 2026-03-15}"

    from_: Day = Field(alias="from", description="first day laid up")
    to: Day = Field(description="first day back in use; the expected one where it is not over")


class SevereDuty(WrittenModel):
    """The site's own factor for an engine that works harder than the rules foresee, with its reason."""

    key_hints: ClassVar[Mapping[str, str]] = {"factor": "write interval_times", "reason": "write because"}

    tasks: IdsOrAll = Field(description="ids of the tasks whose intervals are shorter here, or all")
    interval_times: Annotated[PositiveNumber, Field(le=1)] = Field(description="the allowed of every leg of use times this; at most 1")
    because: Text = Field(description="why, in one sentence: no rule set answers for this number")


class Engine(WrittenModel):
    """One engine: everything but `id` may be left out."""

    scalar_hint: ClassVar[str] = "write for example {id: G1, in_service: 2026-01-01, meter_at_start_h: 0}"
    key_hints: ClassVar[Mapping[str, str]] = {
        "name": "write title",
        "power": "write rated_kw",
        "power_kw": "write rated_kw",
        "rated_power": "write rated_kw",
        "starts": "write at_start: {starts: 0}",
        "meter_at_start": "write meter_at_start_h",
    }

    id: Name = Field(description="its name in the files", examples=["G1"])
    title: Name | None = Field(None, description="what people call it; default its id")
    fuel: Name | None = Field(None, description="free word", examples=["natural-gas", "biogas", "diesel", "heavy-fuel", "dual-fuel"])
    duty: Name | None = Field(None, description="free word", examples=["continuous", "prime", "standby"])
    rated_kw: PositiveNumber | None = Field(None, description="rated power, kW")
    oil_volume_l: PositiveNumber | None = Field(None, description="lube oil in pan and extension tank, L")
    in_service: Moment | None = Field(None, description="first day")
    records_from: Moment | None = Field(
        None, description="from here on its service records are complete; default the site's, then in_service"
    )
    meter_at_start_h: NumberFromZero | None = Field(None, description="hour meter when it went into service, h")
    at_start: dict[Name, NumberFromZero] = Field({}, description="other counters when it went into service", examples=[{"starts": 0}])
    meter_changes: Annotated[tuple[MeterChange, ...], OneOrMany()] = Field((), description="replaced or reset hour meters")
    meter_rolls_over_at_h: PositiveNumber | None = Field(None, description="the reading at which the hour meter starts again at zero, h")
    laid_up: Annotated[tuple[LayUp, ...], OneOrMany()] = Field((), description="times out of use")
    out_of_service: Moment | None = Field(None, description="gone for good from here on; an exchange unit is an engine of its own")
    ruleset: NameOrNames | None = Field(None, description="overrides the site's rule set, or its list of them")
    gap_h: PositiveNumber | None = Field(None, description="overrides the log's gap_h, h")
    running_when: ConditionField | None = Field(None, description="overrides the site's running_when")
    severe_duty: SevereDuty | None = Field(
        None,
        description="the site's own factor for dust, heat, idling or the like",
        examples=[{"tasks": ["oil-change"], "interval_times": 0.8, "because": "Stone dust from the crusher next door."}],
    )
    attributes: dict[Name, Fact] = Field({}, description="anything that a rule may ask for", examples=[{"extended_pan": True}])
    card: dict[ValueName, Number] = Field(
        {},
        description="values that the steps of its job cards ask for as card.NAME: minutes, litres, clearances",
        examples=[{"drain_pan_min": 20}],
    )

    @property
    def shown_title(self) -> str:
        """What people call the engine: its title, or its id."""
        return self.title or self.id

    def facts(self) -> dict[str, FactValue]:
        """Return what rules may ask of the engine.

        Returns:
            `engine` (its id), fuel, duty, rated_kw (kW), oil_volume_l (L) and in_service (its first day, YYYY-MM-DD) where they are
            stated, and its attributes.
        """
        first = self.in_service.date() if isinstance(self.in_service, datetime) else self.in_service
        stated = {
            "engine": self.id,
            "fuel": self.fuel,
            "duty": self.duty,
            "rated_kw": self.rated_kw,
            "oil_volume_l": self.oil_volume_l,
            IN_SERVICE: None if first is None else first.isoformat(),
        }
        return {name: value for name, value in stated.items() if value is not None} | self.attributes
