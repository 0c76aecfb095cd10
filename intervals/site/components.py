"""Components that move between engines: what each is, where it was fitted from when to when, what it had run before.

In: the plain data under `components`. Out: frozen models. Refuses field by field; what concerns several entries is refused in
`component_checks`. A component is judged like an engine: `as_engine` is what it states to the rules.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, ClassVar

from pydantic import Field

from intervals.language.fields import Fact, Moment, Name, NameOrNames, NumberFromZero, OneOrMany, WrittenModel
from intervals.site.engines import Engine


class Fitting(WrittenModel):
    """The component sat on an engine from one moment to another."""

    scalar_hint: ClassVar[str] = "write for example {engine: G1, from: 2025-01-15}"

    engine: Name = Field(description="the engine's id")
    from_: Moment = Field(alias="from", description="when it was fitted")
    to: Moment | None = Field(None, description="when it was removed; left out while it sits there")
    hours_at_fitting_h: NumberFromZero | None = Field(
        None, description="its own hours when it was fitted, where it ran elsewhere before, h; default what it has run here"
    )


class Component(WrittenModel):
    """One component: judged like an engine, by the usage of the engine that it sits on."""

    key_hints: ClassVar[Mapping[str, str]] = {
        "name": "write title",
        "type": "write kind",
        "engine": "write fitted: [{engine: G1, from: 2025-01-15}]",
        "hours": "write hours_at_fitting_h",
    }

    id: Name = Field(description="its name in the service records", examples=["TC-7"])
    title: Name | None = Field(None, description="what people call it; default its id")
    kind: Name = Field(description="what it is; rules ask for it in applies_to", examples=["turbocharger"])
    hours_at_fitting_h: NumberFromZero = Field(0, description="its own hours when it was first fitted, h")
    fitted: Annotated[tuple[Fitting, ...], OneOrMany(), Field(min_length=1)] = Field(description="where it sat, from when to when")
    in_service: Moment | None = Field(None, description="its first day, where that is before it was first fitted here")
    records_from: Moment | None = Field(None, description="from here on its service records are complete; default the site's")
    out_of_service: Moment | None = Field(None, description="scrapped or sold from here on")
    ruleset: NameOrNames | None = Field(None, description="overrides the site's rule set, or its list of them")
    attributes: dict[Name, Fact] = Field({}, description="anything that a rule may ask for")

    def as_engine(self) -> Engine:
        """Return what the component states, in the form in which engines are judged."""
        return Engine(
            id=self.id,
            title=self.title,
            in_service=self.in_service,
            records_from=self.records_from,
            out_of_service=self.out_of_service,
            ruleset=self.ruleset,
            attributes={"kind": self.kind, **self.attributes},
        )
