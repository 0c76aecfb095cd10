"""Conditions: what a rule asks, as comparisons joined by all-of and any-of.

In: nothing. Out: `Comparison`, `AllOf` and `AnyOf` values, which `written_conditions` makes of plain data and `rulebook` compiles;
nothing here evaluates them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

FactValue = str | float | bool
Operator = Literal[">", ">=", "<", "<=", "in"]

BOUNDS: dict[str, Literal[">", ">=", "<", "<="]] = {"above": ">", "at_least": ">=", "below": "<", "at_most": "<="}
"""The words for a bound and their operators."""
STANDARD_FACTS: tuple[str, ...] = ("engine", "kind", "fuel", "duty", "rated_kw", "oil_volume_l")
"""What a rule may ask of any engine beside its attributes."""

_WORDS: dict[Operator, str] = {">": "above", ">=": "at least", "<": "below", "<=": "at most", "in": "is"}


@dataclass(frozen=True, slots=True)
class Comparison:
    """One question about one name.

    Attributes:
        name: a level, an engine attribute, a window measure, or `hours_share_pct:` and a condition's name.
        op: the operator; `in` is equality with one of several values.
        value: the bound, or for `in` the tuple of values.
    """

    name: str
    op: Operator
    value: float | tuple[FactValue, ...]

    @property
    def words(self) -> str:
        """The operator in words: above, at least, below, at most, is."""
        return _WORDS[self.op]


@dataclass(frozen=True, slots=True)
class AllOf:
    """Holds when every part holds; one part known to fail decides."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    """Holds when at least one part holds."""

    parts: tuple[Condition, ...]


Condition = Comparison | AllOf | AnyOf


def comparisons_of(condition: Condition) -> Iterator[Comparison]:
    """Yield every comparison inside a condition, in the order of the file."""
    if isinstance(condition, Comparison):
        yield condition
    else:
        for part in condition.parts:
            yield from comparisons_of(part)


def describe_condition(condition: Condition) -> str:
    """Return a condition in words.

    Example:
        >>> describe_condition(AllOf((Comparison("load_pct", ">", 90.0), Comparison("fuel", "in", ("biogas", "diesel")))))
        'load_pct above 90 and fuel is biogas or diesel'
    """
    if isinstance(condition, Comparison):
        values = condition.value if isinstance(condition.value, tuple) else (condition.value,)
        return f"{condition.name} {condition.words} {' or '.join(_plain(value) for value in values)}"
    joiner = " and " if isinstance(condition, AllOf) else " or "
    texts = [describe_condition(part) for part in condition.parts]
    nested = [f"({text})" if not isinstance(part, Comparison) else text for part, text in zip(condition.parts, texts, strict=True)]
    return joiner.join(nested)


def _plain(value: FactValue) -> str:
    """Return a value in words."""
    return ("true" if value else "false") if isinstance(value, bool) else f"{value:.15g}" if isinstance(value, float) else value
