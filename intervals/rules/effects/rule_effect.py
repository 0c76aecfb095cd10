"""What every effect of an adjustment states of itself, and its three kinds: on each hour, on each start, on the window as a whole.

In: the value that a rule set gives an effect. Out: what it does to an hour, a start or the terms of a leg, and its words wherever it is
shown. Refuses nothing itself. The effects themselves are in `known_effects`; nothing outside this room names one of them.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple, Self

from intervals.language.durations import CalendarStep
from intervals.language.flaws import Flaw
from intervals.language.legs import RUNNING_HOURS

Term = float | CalendarStep
"""What an interval says of one leg: an amount of use, or a calendar step."""


class Bounds(NamedTuple):
    """How far all effects of one class together may go; a bound that is None does not bind."""

    at_least: float | None = None
    at_most: float | None = None

    def held(self, value: float) -> float:
        """Return a value, or the bound that it lies beyond."""
        if self.at_most is not None:
            value = min(value, self.at_most)
        return value if self.at_least is None else max(value, self.at_least)


@dataclass(frozen=True)
class RuleEffect(ABC):
    """An effect with the value that a rule set gives it.

    What a class states of itself: `key`, the name in a rule set; `value_type`, a field type of `language/fields.py`, which reads the
    value and describes it in the schema; `description`, its line in the schema; `offered`, in two or three words when to write it, or
    None where it is not offered to people who wrote no effect; `tried_as`, words that people write instead of it; `bounds`, for each
    bound that `limits` may set (`at_most`, `at_least`) what a rule page calls it; `has_legs`, whether its value names legs;
    `on_legs`, what it does to such a leg, as a verb; `leaves_unknown`, whether nothing is known of what it holds on.
    """

    value: Any

    key: ClassVar[str]
    value_type: ClassVar[Any]
    description: ClassVar[str]
    offered: ClassVar[str | None] = None
    tried_as: ClassVar[tuple[str, ...]] = ()
    bounds: ClassVar[Mapping[str, str]] = {}
    has_legs: ClassVar[bool] = False
    on_legs: ClassVar[str] = "change"
    leaves_unknown: ClassVar[bool] = False

    @property
    @abstractmethod
    def in_finding(self) -> str:
        """What it does, as the sentence of a finding says it."""

    @property
    @abstractmethod
    def on_page(self) -> str:
        """What it does, as a rule page and the comparison of two rule sets say it."""

    @property
    def in_sum(self) -> str:
        """What it does, as `explain` shows it beside the rule."""
        return self.in_finding

    @property
    def facts(self) -> dict[str, float]:
        """What a finding's reason states of it besides what the rule was judged on: its number under its key."""
        return {} if self.has_legs else {self.key: float(self.value)}

    @property
    def legs(self) -> tuple[str, ...]:
        """The legs that its value names."""
        return tuple(self.value) if self.has_legs else ()

    @property
    def targets(self) -> frozenset[str]:
        """What it acts on: two rules whose targets meet, and which both hold, act together."""
        return frozenset(f"{self.key} {leg}" for leg in self.legs) if self.has_legs else frozenset({self.key})

    def together_with(self, other: Self) -> str:
        """Return what it does together with another one of its class where both hold, for lint."""
        del other
        return "there both count"

    def counted_twice_with(self, other: Self) -> str | None:
        """Return what it does together with another one that holds wherever it holds, if that is a slip of its own; else None."""
        del other
        return None

    def idle_on(self, task: str, legs: Set[str]) -> Iterator[Flaw]:
        """Yield what lint says of a task that an adjustment names and on which it can do nothing.

        Args:
            task: id of the task.
            legs: the legs of its intervals.

        Yields:
            Flaws with places below the adjustment.
        """
        for leg in self.legs:
            if leg not in legs:
                yield Flaw((self.key, leg), f'"{task}" has no leg "{leg}" to {self.on_legs}', "leave the task out", "idle_leg")

    def _is_no_weight_of(self, task: str, legs: Set[str]) -> Iterator[Flaw]:
        """Yield the flaw of a task that does not count the hours which an effect weighs."""
        if RUNNING_HOURS not in legs:
            yield Flaw(("tasks",), f'{self.key} weights running hours, and "{task}" has no such leg', "leave the task out", "idle_rule")


class HourEffect(RuleEffect):
    """An effect on each hour on which its rule holds."""

    @classmethod
    @abstractmethod
    def weigh(cls, counts: float, effects: Sequence[Self], bounds: Bounds) -> float:
        """Return what an hour counts that counted so much before.

        Args:
            counts: what it counts by the classes of effects before this one, in equivalent hours per hour; 1 by none.
            effects: those of this class that hold on the hour, one or more.
            bounds: how far they may go together.
        """

    def idle_on(self, task: str, legs: Set[str]) -> Iterator[Flaw]:
        """Yield the flaw of a task without running hours."""
        return self._is_no_weight_of(task, legs)


class StartEffect(RuleEffect):
    """An effect on each start on which its rule holds."""

    @property
    @abstractmethod
    def start_h(self) -> float:
        """Equivalent hours that a start counts by it; those of several effects add up."""

    def idle_on(self, task: str, legs: Set[str]) -> Iterator[Flaw]:
        """Yield the flaw of a task without running hours."""
        return self._is_no_weight_of(task, legs)


class WindowEffect(RuleEffect):
    """An effect on what is allowed in a window, of which its rule is judged as a whole.

    The terms of a leg are worked out in three steps: what replaces it (of several the least), what is changed of that, and the product of
    the factors, which count for legs of use alone.
    """

    @property
    def shortens(self) -> bool:
        """Whether it makes intervals shorter and nothing else: such a harm does not belong on a mean."""
        return False

    def replaces(self, leg: str) -> Term | None:
        """Return what stands in place of a leg of the task's interval, or None."""
        del leg
        return None

    def changes(self, leg: str) -> bool:
        """Tell whether it makes something else of a leg, whatever the leg is."""
        del leg
        return False

    def touches(self, leg: str) -> bool:
        """Tell whether it makes anything else of a leg than the task's own interval says."""
        return self.replaces(leg) is not None or self.changes(leg)

    def changed(self, leg: str, term: Term) -> Term:
        """Return what it makes of a term of a leg, before factors."""
        del leg
        return term

    @classmethod
    def factor(cls, effects: Sequence[Self], bounds: Bounds) -> float:
        """Return by how much those of this class together multiply the legs of use.

        Args:
            effects: those of this class that hold on the window, one or more.
            bounds: how far they may go together.
        """
        del effects, bounds
        return 1.0
