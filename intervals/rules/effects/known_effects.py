"""The effects that an adjustment can have, one class each, in the order in which a rule set's schema names them.

In: the value of an effect. Out: all that the program does and says by it. A new effect is a class here and its place in `EFFECTS`;
everything else asks it by the methods of `rule_effect`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence, Set
from typing import ClassVar, Literal, Self

from intervals.language.fields import Legs, NumberFromZero, PositiveNumber
from intervals.language.flaws import Flaw
from intervals.language.legs import CALENDAR, LegValues
from intervals.language.phrases import legs_in_words, name_in_words, value_in_words
from intervals.rules.effects.rule_effect import Bounds, HourEffect, RuleEffect, StartEffect, Term, WindowEffect
from intervals.shown_numbers import figure

_A_FACTOR = ("factor", "multiply", "times", "multiplier")


class CountsAs(HourEffect):
    """Each hour counts as this many equivalent hours; of several rules the product, inside the limits."""

    value: float
    key = "counts_as"
    value_type = PositiveNumber
    description = "each hour on which it fires counts as this many equivalent hours"
    offered = "hour by hour"
    tried_as = _A_FACTOR
    bounds: ClassVar = {"at_most": "an hour counts at most", "at_least": "an hour counts at least"}

    @classmethod
    def weigh(cls, counts: float, effects: Sequence[Self], bounds: Bounds) -> float:
        """Return the product, bounded; an hour on which nothing fired is none of the limits' business."""
        return bounds.held(math.prod((float(effect.value) for effect in effects), start=counts))

    @property
    def in_finding(self) -> str:
        """As in `417 h above 90 % load count 1.5 times`."""
        return f"count {value_in_words(float(self.value))} times"

    @property
    def on_page(self) -> str:
        """As in `each such hour counts as 1.5 h`."""
        return f"each such hour counts as {figure(self.value)} h"

    def together_with(self, other: Self) -> str:
        """Return the product."""
        return f"there an hour counts {self.value * other.value:g}"

    def counted_twice_with(self, other: Self) -> str:
        """Return the product: of two bands, one of which lies in the other, only one was meant."""
        return f"each such hour counts {self.value * other.value:g}"


class EachStartCountsAs(StartEffect):
    """Each start counts as this many equivalent hours; of several rules the sum."""

    value: float
    key = "each_start_counts_as_h"
    value_type = NumberFromZero
    description = "each start on which it fires counts as this many equivalent hours; no published value exists for piston engines"

    @property
    def start_h(self) -> float:
        """The hours."""
        return float(self.value)

    @property
    def in_finding(self) -> str:
        """As in `42 starts with duty peaking count 8 h each`."""
        return f"count {value_in_words(float(self.value))} h each"

    @property
    def on_page(self) -> str:
        """As in `each such start counts as 8 h`."""
        return f"each such start counts as {figure(self.value)} h"


class IntervalTimes(WindowEffect):
    """What is allowed of every leg of use is multiplied; of several rules by the product, inside the limits."""

    value: float
    key = "interval_times"
    value_type = PositiveNumber
    description = "the allowed of every leg of use times this, judged once on the window"
    offered = "on the window as a whole"
    tried_as = _A_FACTOR
    bounds: ClassVar = {"at_least": "an interval is multiplied at least by", "at_most": "an interval is multiplied at most by"}

    @property
    def shortens(self) -> bool:
        """Whether the factor is below one."""
        return self.value < 1

    def changes(self, leg: str) -> bool:
        """Tell whether a leg is one of use."""
        return leg != CALENDAR

    @classmethod
    def factor(cls, effects: Sequence[Self], bounds: Bounds) -> float:
        """Return the product, bounded."""
        return bounds.held(math.prod(float(effect.value) for effect in effects))

    @property
    def in_finding(self) -> str:
        """As in `interval times 0.8: average power pct 83 (above 80 % average power)`."""
        return f"interval times {value_in_words(float(self.value))}"

    @property
    def in_sum(self) -> str:
        """As in `interval x 0.8`."""
        return f"interval x {float(self.value):g}"

    @property
    def on_page(self) -> str:
        """As in `the interval is multiplied by 0.8`."""
        return f"the interval is multiplied by {figure(self.value)}"

    def together_with(self, other: Self) -> str:
        """Return the product."""
        return f"there the interval is multiplied by {self.value * other.value:g}"

    def idle_on(self, task: str, legs: Set[str]) -> Iterator[Flaw]:
        """Yield the flaw of a task that is due by the calendar alone."""
        if legs == {CALENDAR}:
            yield Flaw(("tasks",), f'{self.key} changes legs of use, and "{task}" has none', "leave the task out", "idle_rule")


class IntervalBecomes(WindowEffect):
    """Legs that stand in place of those of the task; of several rules the shortest holds."""

    value: LegValues
    key = "interval_becomes"
    value_type = Legs
    description = "legs that replace those of the task, judged once on the window"
    offered = "other legs"
    has_legs = True
    on_legs = "replace"

    def replaces(self, leg: str) -> Term | None:
        """Return its own term of a leg."""
        return self.value.get(leg)

    @property
    def in_finding(self) -> str:
        """As in `interval becomes running hours 3000: with extension tank: yes`."""
        return "interval becomes " + ", ".join(f"{name_in_words(leg)} {value_in_words(term)}" for leg, term in self.value.items())

    @property
    def in_sum(self) -> str:
        """As in `interval becomes running_hours 3000.0`."""
        return "interval becomes " + ", ".join(f"{leg} {term}" for leg, term in self.value.items())

    @property
    def on_page(self) -> str:
        """As in `the interval becomes 3,000 h or 1 year`."""
        return f"the interval becomes {legs_in_words(self.value, 'or')}"

    def together_with(self, other: Self) -> str:
        """Return which one holds."""
        del other
        return "there the shorter one holds"


class Unknown(HourEffect, WindowEffect):
    """Where it holds the interval is not known: an hour is never taken for an ordinary one, a window as a whole has no standing.

    Its condition says which it is: one that asks for a level is judged hour by hour, any other on the window as a whole. Hours on which
    it holds count zero, so that what was used without them is a least figure: a leg past its line by that is past it for certain.
    """

    value: bool
    key = "unknown"
    value_type = Literal[True]
    description = "where it holds the interval is unknown: the hours, or the window as a whole, lie outside of what the table says"
    leaves_unknown = True

    @classmethod
    def weigh(cls, counts: float, effects: Sequence[Self], bounds: Bounds) -> float:
        """Return zero: what the hour counts is not known, and it counts something."""
        del counts, effects, bounds
        return 0.0

    def changes(self, leg: str) -> bool:
        """Tell that of every leg something else becomes."""
        del leg
        return True

    @property
    def facts(self) -> dict[str, float]:
        """Return nothing: it has no number."""
        return {}

    @property
    def in_finding(self) -> str:
        """As in `4 h above 2 % fuel sulphur have no known interval`."""
        return "have no known interval"

    @property
    def in_sum(self) -> str:
        """As in `interval unknown`."""
        return "interval unknown"

    @property
    def on_page(self) -> str:
        """As in `there the interval is unknown`."""
        return "there the interval is unknown"

    def together_with(self, other: Self) -> str:
        """Return that one is enough."""
        del other
        return "there the interval is unknown by either"

    def idle_on(self, task: str, legs: Set[str]) -> Iterator[Flaw]:
        """Yield nothing: a window as a whole can be unknown whatever its legs are."""
        del task, legs
        yield from ()


EFFECTS: tuple[type[RuleEffect], ...] = (CountsAs, EachStartCountsAs, IntervalTimes, IntervalBecomes, Unknown)
"""Every effect; each adjustment has exactly one."""
