"""The keys that effects bring to a rule set: one of each effect for an adjustment, its bounds for `limits`, hints at misspelt ones.

In: the classes of effects. Out: fields for the models, and text. Refuses nothing itself.
"""

from __future__ import annotations

from typing import Any

from pydantic import Field

from intervals.language.fields import PositiveNumber
from intervals.rules.effects.known_effects import EFFECTS
from intervals.rules.effects.rule_effect import HourEffect, WindowEffect

_SIDES = {"at_most": "never more", "at_least": "never less"}

KEYS: tuple[str, ...] = tuple(effect.key for effect in EFFECTS)
LEG_KEYS: tuple[str, ...] = tuple(effect.key for effect in EFFECTS if effect.has_legs)
"""Those whose value names legs."""
BOUNDED_KEYS: tuple[str, ...] = tuple(effect.key for effect in EFFECTS if effect.bounds)
"""Those that `limits` can bound."""
HOUR_KEY = next(effect.key for effect in EFFECTS if issubclass(effect, HourEffect))
"""What is offered to those who ask on a window for what changes from hour to hour."""
WINDOW_KEYS: tuple[str, ...] = tuple(
    effect.key for effect in EFFECTS if issubclass(effect, WindowEffect) and not issubclass(effect, HourEffect)
)
"""Those that are judged on the window as a whole."""
EITHER_KEYS: tuple[str, ...] = tuple(
    effect.key for effect in EFFECTS if issubclass(effect, WindowEffect) and issubclass(effect, HourEffect)
)
"""Those that are judged hour by hour or on the window as a whole, by what their condition asks for."""


def effect_fields() -> dict[str, Any]:
    """Return the fields of an adjustment that are its effects, by key: type and field."""
    return {effect.key: (effect.value_type | None, Field(None, description=effect.description)) for effect in EFFECTS}


def limit_fields() -> dict[str, Any]:
    """Return the fields of `limits`, by key: type and field."""
    return {
        f"{effect.key}_{bound}": (PositiveNumber | None, Field(None, description=f"the product of all {effect.key} is {_SIDES[bound]}"))
        for effect in EFFECTS
        for bound in effect.bounds
    }


def effect_hints() -> dict[str, str]:
    """Return what to write instead of words that people try for an effect."""
    words = dict.fromkeys(word for effect in EFFECTS for word in effect.tried_as)
    return {word: f"write {_offer([effect.key for effect in EFFECTS if word in effect.tried_as])}" for word in words}


def effects_offered() -> str:
    """Return the effects that one may write, with when to write each."""
    return f"write {_offer([effect.key for effect in EFFECTS if effect.offered])}"


def _offer(keys: list[str]) -> str:
    """Return effects with when to write each: `counts_as (hour by hour) or interval_times (on the window as a whole)`."""
    return listed([f"{effect.key} ({effect.offered})" for effect in EFFECTS if effect.key in keys], "or")


def listed(words: list[str] | tuple[str, ...], joiner: str) -> str:
    """Return words as a sentence lists them: `a, b and c`."""
    return f" {joiner} ".join([*([", ".join(words[:-1])] if len(words) > 1 else []), words[-1]])
