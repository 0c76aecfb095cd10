"""Values that differ from engine to engine: a number, or the name of what an engine states, with a factor before it.

In: plain YAML, such as `20`, `card.drain_tank_min` or `0.9 x engine.oil_volume_l`. Out: a number or a `StatedValue`, and for one engine
the number that it stands for. Refuses anything else, and says how it is written.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from intervals.language.conditions import FactValue
from intervals.language.flaws import flaw_error
from intervals.language.plain_values import number_of
from intervals.language.scalars import shown_value

Scope = Literal["engine", "card"]
ENGINE: Scope = "engine"
CARD: Scope = "card"
_STATED = re.compile(
    r"(?:(?P<factor>\d+(?:\.\d+)?)\s*[x*]\s*)?(?P<scope>engine|card)\.(?P<name>[A-Za-z][A-Za-z0-9_-]*)", re.ASCII
)  # fmt: skip
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,79}", re.ASCII)
_FIX = "write a number, engine.oil_volume_l, 0.9 x engine.oil_volume_l, or card.drain_min for a value under card: of the engine"
STATED_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"type": "number", "minimum": 0},
        {"type": "string", "pattern": r"^([0-9]+(\.[0-9]+)?\s*[x*]\s*)?(engine|card)\.[A-Za-z][A-Za-z0-9_-]*$"},
    ],
    "description": "a number, or what the engine states: engine.NAME, card.NAME, each with a factor where one is needed",
    "examples": [20, "card.drain_min", "0.9 x engine.oil_volume_l"],
}


@dataclass(frozen=True, slots=True)
class StatedValue:
    """What an engine states, times a factor.

    Attributes:
        scope: `engine` for what the engine states of itself, `card` for its values under `card:`.
        name: the name there.
        factor: what it is multiplied by.
    """

    scope: Scope
    name: str
    factor: float = 1.0

    @property
    def source(self) -> str:
        """Where the value is stated, such as `card.drain_tank_min`."""
        return f"{self.scope}.{self.name}"

    def __str__(self) -> str:
        """Return the value as it stands in a file."""
        return self.source if self.factor == 1.0 else f"{self.factor:.15g} x {self.source}"


StepValue = float | StatedValue
"""A number, or what an engine states."""


class States(Protocol):
    """Whatever states values of itself: an engine of a site, or that of a worked example."""

    @property
    def card(self) -> Mapping[str, float]:
        """The values under `card:`."""

    def facts(self) -> Mapping[str, FactValue]:
        """Return what rules may ask of it."""


def parse_stated(raw: object) -> StepValue:
    """Return a number of zero or more, or the name of what an engine states.

    Raises:
        FlawsError: anything else.

    Example:
        >>> parse_stated("0.9 x engine.oil_volume_l")
        StatedValue(scope='engine', name='oil_volume_l', factor=0.9)
    """
    if isinstance(raw, StatedValue):
        return raw
    if isinstance(raw, str):
        found = _STATED.fullmatch(raw.strip())
        if found is None:
            raise flaw_error(text=f"not a value that a step can have; got {shown_value(raw)}", fix=_FIX)
        return StatedValue(ENGINE if found["scope"] == ENGINE else CARD, found["name"], float(found["factor"] or 1.0))
    number = number_of(raw)
    if number < 0:
        raise flaw_error(text=f"out of range; got {shown_value(raw)}, expected 0 or more", kind="range")
    return number


def checked_value_name(value: str) -> str:
    """Refuse a name that no step could ask for."""
    if _NAME.fullmatch(value) is None:
        plain = re.sub(r"[^A-Za-z0-9_-]+", "_", value).strip("_")
        fix = f"write {plain}" if _NAME.fullmatch(plain) else "write for example drain_pan_min"
        raise flaw_error(text=f"a name of letters, digits, _ and - is needed; got {shown_value(value)}", fix=fix)
    return value


def stated_data(value: StepValue) -> float | str:
    """Return a value as it stands in a file."""
    return str(value) if isinstance(value, StatedValue) else value


def resolve(value: StepValue | None, engine: States) -> float | None:
    """Return the number that a value stands for on one engine.

    Args:
        value: a number, what an engine states, or None where the rule set says nothing.
        engine: the engine.

    Returns:
        The number in the unit of its place (minutes, litres, the measure's unit); None where it is not known: nothing was said, or the
        engine does not state it, or states a word where a number is needed.

    Example:
        >>> resolve(20.0, None), resolve(None, None)
        (20.0, None)
    """
    if not isinstance(value, StatedValue):
        return value
    stated = engine.card.get(value.name) if value.scope == CARD else engine.facts().get(value.name)
    if stated is None or isinstance(stated, (bool, str)):
        return None
    return value.factor * stated


def unstated_in(value: StepValue | None, engine: States) -> str | None:
    """Return the name of what an engine would have to state for a value to be known, or None where it is known or nothing is asked."""
    return value.source if isinstance(value, StatedValue) and resolve(value, engine) is None else None
