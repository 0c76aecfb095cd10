"""Conditions: what a rule asks, as comparisons joined by all-of and any-of.

In: nothing. Out: `Comparison`, `AllOf` and `AnyOf` values, which `written_conditions` makes of plain data and `rulebook` compiles;
nothing here evaluates them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Literal

FactValue = str | float | bool
Operator = Literal[">", ">=", "<", "<=", "in"]

IN_SERVICE = "in_service"
"""The engine's first day, as a rule asks for it."""
BOUNDS: dict[str, Literal[">", ">=", "<", "<="]] = {"above": ">", "at_least": ">=", "below": "<", "at_most": "<="}
"""The words for a bound and their operators."""
DATE_BOUNDS: dict[str, Literal[">", ">=", "<", "<="]] = {"before": "<", "from": ">=", "after": ">", "until": "<="}
"""The words for a bound that is a date, and the same operators."""
STANDARD_FACTS: tuple[str, ...] = ("engine", "kind", "fuel", "duty", "rated_kw", "oil_volume_l", IN_SERVICE)
"""What a rule may ask of any engine beside its attributes."""

_WORDS: dict[Operator, str] = {">": "above", ">=": "at least", "<": "below", "<=": "at most", "in": "is"}
_DATE_LENGTH = len("2006-06-12")
_DATE_WORDS: dict[Operator, str] = {operator: word for word, operator in DATE_BOUNDS.items()}


@dataclass(frozen=True, slots=True)
class Comparison:
    """One question about one name.

    Attributes:
        name: a level, an engine attribute, a window measure, or `hours_share_pct:` and a condition's name.
        op: the operator; `in` is equality with one of several values.
        value: the bound, a number or a date, or for `in` the tuple of values.
    """

    name: str
    op: Operator
    value: float | date | tuple[FactValue, ...]

    @property
    def words(self) -> str:
        """The operator in words: above, at least, below, at most, is; of a date before, from, after, until."""
        return _DATE_WORDS[self.op] if isinstance(self.value, date) else _WORDS[self.op]

    @property
    def bound(self) -> float:
        """The bound as a number; a date is its ordinal number, so that dates are compared as whole days."""
        if isinstance(self.value, tuple):
            raise TypeError(self.name)
        return float(self.value.toordinal()) if isinstance(self.value, date) else self.value


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


def facts_compared_alike(part: Comparison) -> tuple[str, ...]:
    """Return the standard facts that a comparison's name can be a slip for: a first day is compared with dates, and with nothing else."""
    is_dated = isinstance(part.value, date)
    return tuple(name for name in STANDARD_FACTS if name != IN_SERVICE or is_dated)


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


def dated_names(conditions: Iterable[Condition]) -> frozenset[str]:
    """Return the names that some condition compares with a date."""
    return frozenset(part.name for condition in conditions for part in comparisons_of(condition) if isinstance(part.value, date))


def day_number(text: str) -> float | None:
    """Return the ordinal number of a date as it is written, or None where the text is no date.

    Example:
        >>> day_number("2006-06-12"), day_number("2006")
        (732474.0, None)
    """
    try:
        return float(date.fromisoformat(text).toordinal()) if len(text) == _DATE_LENGTH else None
    except ValueError:
        return None


def _plain(value: FactValue | date) -> str:
    """Return a value in words."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:.15g}" if isinstance(value, float) else str(value)
