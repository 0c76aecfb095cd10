"""What the effects that hold together make of an hour, of a start, of a leg's terms.

In: effects that fired, and the limits of the rule set. Out: numbers and calendar steps. Whether a rule fired was judged before; here is
the arithmetic alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple, TypeVar

from intervals.language.durations import CalendarStep
from intervals.rules.effects.known_effects import EFFECTS
from intervals.rules.effects.rule_effect import Bounds, HourEffect, RuleEffect, StartEffect, Term, WindowEffect

Kind = TypeVar("Kind", bound=RuleEffect)
Limits = Mapping[str, Bounds]
"""How far all effects of one class together may go, by the key of the class; one that is not named is not bounded."""

UNBOUNDED = Bounds()


def weight_of_hour(effects: Sequence[HourEffect], limits: Limits) -> float:
    """Return what an hour counts on which some effects hold, in equivalent hours per hour; 1 where none does."""
    counts = 1.0
    for kind, mine in _by_class(effects):
        counts = kind.weigh(counts, mine, limits.get(kind.key, UNBOUNDED))
    return counts


def hours_of_start(effects: Sequence[StartEffect]) -> float:
    """Return what a start counts on which some effects hold, in equivalent hours."""
    return sum(effect.start_h for effect in effects)


class WindowChange(NamedTuple):
    """What the window effects that fired make of an interval.

    Attributes:
        effects: those that fired, in the order of the rule set.
        factor: by how much they multiply legs of use together, bounded.
    """

    effects: tuple[WindowEffect, ...]
    factor: float

    @classmethod
    def of(cls, effects: Sequence[WindowEffect], limits: Limits) -> WindowChange:
        """Return the change by some effects, inside the limits."""
        factor = 1.0
        for kind, mine in _by_class(effects):
            factor *= kind.factor(mine, limits.get(kind.key, UNBOUNDED))
        return cls(tuple(effects), factor)

    def replacing(self, leg: str) -> list[Term]:
        """Return the terms that stand in place of a leg, as they are changed."""
        return [self.changed(leg, term) for effect in self.effects if (term := effect.replaces(leg)) is not None]

    def changed(self, leg: str, term: Term) -> Term:
        """Return a term of a leg as the effects change it, before the factor."""
        for effect in self.effects:
            term = effect.changed(leg, term)
        return term

    def steps(self, leg: str, base: CalendarStep) -> list[CalendarStep]:
        """Return the calendar steps of which the earliest holds: those that replace one, else the one itself."""
        terms = [term for term in self.replacing(leg) if isinstance(term, CalendarStep)]
        own = self.changed(leg, base)
        return terms or ([own] if isinstance(own, CalendarStep) else [base])


NO_CHANGE = WindowChange((), 1.0)


def _by_class(effects: Sequence[Kind]) -> list[tuple[type[Kind], list[Kind]]]:
    """Return effects by their class, in the order of all effects."""
    groups: dict[type[Kind], list[Kind]] = {}
    for effect in sorted(effects, key=lambda each: EFFECTS.index(type(each))) if len(effects) > 1 else effects:
        groups.setdefault(type(effect), []).append(effect)
    return list(groups.items())
