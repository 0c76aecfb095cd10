"""What a condition covers: for each name a band of numbers or a set of values, and whether two conditions meet.

In: conditions. Out: boxes, one for each alternative. Nothing here judges an engine: boxes are held against one another to find
rules that were not meant. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import product
from math import inf, isfinite

from intervals.language.conditions import AnyOf, Comparison, Condition, FactValue, day_number
from intervals.language.measures import measure_of
from intervals.quantities import QUANTITIES

_MOST_BOXES = 64


@dataclass(frozen=True, slots=True)
class Band:
    """Numbers from a lower to an upper bound.

    Attributes:
        lower: the lower bound.
        upper: the upper bound.
        has_lower: whether the lower bound itself belongs to it.
        has_upper: whether the upper bound itself belongs to it.
        is_days: whether the numbers are those of days; a whole day belongs to it or does not, so that it goes from a day to before one.
    """

    lower: float = -inf
    upper: float = inf
    has_lower: bool = False
    has_upper: bool = False
    is_days: bool = False

    @property
    def is_empty(self) -> bool:
        """Whether no number is in it."""
        return self.lower > self.upper or (self.lower == self.upper and not (self.has_lower and self.has_upper))

    def holds(self, value: FactValue) -> bool:
        """Return whether a value is in it."""
        if self.is_days and isinstance(value, str):
            value = day_number(value) or inf
        if isinstance(value, (str, bool)):
            return False
        above = value > self.lower or (self.has_lower and value == self.lower)
        return above and (value < self.upper or (self.has_upper and value == self.upper))

    def __str__(self) -> str:
        """Return the band as a condition's bounds are written, such as `at_least 0.5, at_most 1`."""
        if self.is_days:
            days = [(word, each) for word, each in (("from", self.lower), ("before", self.upper)) if isfinite(each)]
            return ", ".join(f"{word} {date.fromordinal(int(each))}" for word, each in days) or "any"
        parts = [] if self.lower == -inf else [f"{'at_least' if self.has_lower else 'above'} {self.lower:g}"]
        parts += [] if self.upper == inf else [f"{'at_most' if self.has_upper else 'below'} {self.upper:g}"]
        return ", ".join(parts) or "any"


Values = frozenset[FactValue]
Cover = Band | Values
Box = Mapping[str, Cover]
"""One alternative of a condition: what it covers of each name that it asks for."""


def boxes_of(condition: Condition) -> list[Box] | None:
    """Return what each alternative of a condition covers, or None where there are too many to look at.

    Args:
        condition: the condition; alternatives that nothing can meet are left out.
    """
    choices = _alternatives(condition)
    return None if len(choices) > _MOST_BOXES else [box for choice in choices if (box := box_of(choice)) is not None]


def box_of(comparisons: Iterable[Comparison]) -> Box | None:
    """Return what comparisons cover together, or None where they contradict one another."""
    box: dict[str, Cover] = {}
    for part in comparisons:
        cover = meet(box.get(part.name, Band()), _cover_of(part)) if part.name in box else _cover_of(part)
        if is_nothing(cover):
            return None
        box[part.name] = cover
    return box


def meet_boxes(one: Box, other: Box) -> Box | None:
    """Return what two boxes cover together, or None where they have nothing in common."""
    met = {**one, **other, **{name: meet(one[name], other[name]) for name in one if name in other}}
    return None if any(is_nothing(cover) for cover in met.values()) else met


def meet(one: Cover, other: Cover) -> Cover:
    """Return what is in both."""
    if isinstance(one, Band) and isinstance(other, Band):
        lower, upper = max(one.lower, other.lower), min(one.upper, other.upper)
        has_lower = all(band.has_lower for band in (one, other) if band.lower == lower)
        has_upper = all(band.has_upper for band in (one, other) if band.upper == upper)
        return Band(lower, upper, has_lower, has_upper, is_days=one.is_days or other.is_days)
    if isinstance(one, frozenset) and isinstance(other, frozenset):
        return one & other
    band, values = (one, other) if isinstance(one, Band) else (other, one)
    return frozenset(value for value in values if isinstance(band, Band) and band.holds(value))  # type: ignore[union-attr]  # one of each


def is_nothing(cover: Cover) -> bool:
    """Return whether nothing is covered."""
    return cover.is_empty if isinstance(cover, Band) else not cover


def reach_of(name: str) -> Band | None:
    """Return what a quantity or a window measure can be at all, or None where that is not known."""
    known = measure_of(name) or QUANTITIES.get(name)
    return None if known is None else Band(known.lowest, known.highest, has_lower=True, has_upper=isfinite(known.highest))


def _alternatives(condition: Condition) -> list[tuple[Comparison, ...]]:
    """Return the comparisons of each alternative of a condition."""
    if isinstance(condition, Comparison):
        return [(condition,)]
    inner = [_alternatives(part) for part in condition.parts]
    if isinstance(condition, AnyOf):
        return [choice for part in inner for choice in part]
    count = 1
    for part in inner:
        count *= len(part)
    if count > _MOST_BOXES:
        return [()] * (_MOST_BOXES + 1)
    return [tuple(each for part in choice for each in part) for choice in product(*inner)]


def _cover_of(part: Comparison) -> Cover:
    """Return what one comparison covers."""
    if isinstance(part.value, tuple):
        return frozenset(part.value)
    value = part.bound
    if isinstance(part.value, date):
        # a day later than one begins with the next, so that bands of days meet where no day lies between them
        value += part.op in (">", "<=")
        return Band(lower=value, has_lower=True, is_days=True) if part.op in (">", ">=") else Band(upper=value, is_days=True)
    bound = {
        ">": Band(lower=value),
        ">=": Band(lower=value, has_lower=True),
        "<": Band(upper=value),
        "<=": Band(upper=value, has_upper=True),
    }
    return bound[part.op]
