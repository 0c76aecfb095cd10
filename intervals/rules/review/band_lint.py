"""Adjustments that cannot both be meant: bands that overlap, leave a gap, or can never be reached; factors beyond the limits.

In: a loaded rule set. Out: flaws, to be shown as warnings. Refuses nothing itself.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import combinations, product
from math import isfinite

from intervals.language.conditions import Condition, FactValue, describe_condition
from intervals.language.flaws import Flaw
from intervals.rules.bands import Band, Box, Cover, boxes_of, is_nothing, meet, meet_boxes, reach_of
from intervals.rules.effects.effects_together import UNBOUNDED
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Adjustment

_SMALL_GAP = 0.02
"""Of a bound's size: a gap so small is taken for a slip, as one of a single step of the last decimal is."""


@dataclass(frozen=True)
class _Rule:
    """An adjustment with what it covers.

    Attributes:
        index: its place in the file.
        made: the adjustment.
        targets: what its effect acts on.
        tasks: ids of the tasks that it adjusts.
        boxes: what each alternative of its condition covers.
        is_simple: whether its condition is simple enough to be looked at.
    """

    index: int
    made: Adjustment
    targets: frozenset[str]
    tasks: frozenset[str]
    boxes: tuple[Box, ...]
    is_simple: bool


def band_flaws(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a flaw for each adjustment that cannot be meant beside another, or can never hold.

    Args:
        ruleset: a rule set that was read from a file.
    """
    rules = [_rule(ruleset, index) for index in range(len(ruleset.adjustments))]
    for rule in rules:
        yield from _unreachable(ruleset, rule)
        yield from _beyond_limits(ruleset, rule)
    for one, other in combinations(rules, 2):
        shared = one.tasks & other.tasks
        if shared and one.targets & other.targets:
            yield from _overlap(one, other, sorted(shared))
    yield from _gaps(rules)


def _rule(ruleset: RuleSet, index: int) -> _Rule:
    """Return an adjustment with what it covers."""
    made = ruleset.adjustments[index]
    tasks = frozenset(task.id for task in ruleset.tasks) if made.tasks == "all" else frozenset(made.tasks)
    boxes = boxes_of(made.when)
    return _Rule(index, made, made.effect.targets, tasks, tuple(boxes or ()), is_simple=boxes is not None)


def _unreachable(ruleset: RuleSet, rule: _Rule) -> Iterator[Flaw]:
    """Yield a flaw where nothing that can be meets a rule's condition."""
    place = ("adjustments", rule.index, "when")
    if not rule.is_simple:
        return
    if not rule.boxes:
        text = f'"{rule.made.id}" can never hold: {describe_condition(rule.made.when)} contradicts itself'
        yield Flaw(place, text, "look whether the bounds are swapped", "unreachable")
        return
    beyond = [name for name, cover in rule.boxes[0].items() if (reach := reach_of(name)) is not None and is_nothing(meet(cover, reach))]
    if len(rule.boxes) == 1 and beyond:
        reach = reach_of(beyond[0])
        text = f'"{rule.made.id}" can never hold: {beyond[0]} {_shown(rule.boxes[0][beyond[0]])} is outside what is possible ({reach})'
        yield Flaw(place, text, "look at the unit that the name ends in", "unreachable")
        return
    asked = [ruleset.task(word).applies_to for word in sorted(rule.tasks)]
    if asked and all(each is not None and not _can_meet(rule, each) for each in asked):
        fits = sorted({describe_condition(each) for each in asked if each is not None})
        text = f'"{rule.made.id}" can never hold: it asks for {describe_condition(rule.made.when)}, and its tasks are for {"; ".join(fits)}'
        yield Flaw(place, text, "name other tasks, or ask for what they are for", "unreachable")


def _can_meet(rule: _Rule, applies_to: Condition) -> bool:
    """Return whether a rule can hold for an engine that a task is for."""
    others = boxes_of(applies_to)
    return others is None or any(meet_boxes(box, other) is not None for box in rule.boxes for other in others)


def _beyond_limits(ruleset: RuleSet, rule: _Rule) -> Iterator[Flaw]:
    """Yield a flaw where a factor alone goes further than the rule set's limits let it."""
    effect = rule.made.effect
    name, value, (least, most) = effect.key, effect.value, ruleset.limits.bounds.get(effect.key, UNBOUNDED)
    if most is not None and value > most:
        text = f'{name}: {value:g} of "{rule.made.id}" is above the limit {name}_at_most: {most:g}, which applies'
        yield Flaw(("adjustments", rule.index, name), text, "change one of the two", "beyond_limit")
    if least is not None and value < least:
        text = f'{name}: {value:g} of "{rule.made.id}" is below the limit {name}_at_least: {least:g}, which applies'
        yield Flaw(("adjustments", rule.index, name), text, "change one of the two", "beyond_limit")


def _overlap(one: _Rule, other: _Rule, shared: list[str]) -> Iterator[Flaw]:
    """Yield a flaw where two rules ask the same questions and both hold in some situation."""
    for mine in one.boxes:
        for theirs in other.boxes:
            if mine.keys() != theirs.keys():
                continue
            met = meet_boxes(mine, theirs)
            if met is None:
                continue
            place = ("adjustments", other.index, "when")
            where = " and ".join(f"{name} {_shown(cover)}" for name, cover in met.items())
            both = f'"{one.made.id}" and "{other.made.id}" both hold at {where} for {shared[0]}'
            twice = one.made.effect.counted_twice_with(other.made.effect) if met in (mine, theirs) else None
            if twice is not None:
                text = f"the same hours count twice: {both}; {twice}"
                yield Flaw(place, text, "bound one band by the other, or write one rule with the whole factor", "counted_twice")
            else:
                fix = "let one band end where the other begins: at_most beside above, or below beside at_least"
                together = one.made.effect.together_with(other.made.effect)
                yield Flaw(place, f"bands that overlap: {both}; {together}", fix, "overlapping_bands")
            return


def _gaps(rules: list[_Rule]) -> Iterator[Flaw]:
    """Yield a flaw for each small gap between the bands of a series of rules."""
    reported: set[tuple[int, int]] = set()
    for name, bands in _series(rules):
        reached, last = bands[0]
        for band, rule in bands[1:]:
            pair = (min(last.index, rule.index), max(last.index, rule.index))
            if pair not in reported and _is_small_gap(reached, band):
                reported.add(pair)
                both = f'"{last.made.id}" and "{rule.made.id}"'
                text = f"a gap between the bands of {both}: neither holds at {name} {_between(reached, band)}"
                begin = f"from: {date.fromordinal(int(reached.upper))}" if reached.is_days else _begin(reached)
                fix = f"let the second begin where the first ends: {begin}"
                yield Flaw(("adjustments", pair[1], "when"), text, fix, "band_gap")
            if (band.upper, band.has_upper) >= (reached.upper, reached.has_upper):
                reached, last = band, rule


def _series(rules: list[_Rule]) -> Iterator[tuple[str, list[tuple[Band, _Rule]]]]:
    """Yield the bands of one quantity, lowest first, that rules of one task and effect ask for with all else equal."""
    series: dict[tuple[object, ...], list[tuple[Band, _Rule]]] = defaultdict(list)
    for rule in rules:
        for name, cover in rule.boxes[0].items() if len(rule.boxes) == 1 else ():
            if isinstance(cover, Band):
                others = frozenset((key, value) for key, value in rule.boxes[0].items() if key != name)
                for task, target in product(sorted(rule.tasks), sorted(rule.targets)):
                    series[task, target, others, name].append((cover, rule))
    for key, bands in series.items():
        yield str(key[-1]), sorted(bands, key=lambda each: (each[0].lower, not each[0].has_lower))


def _begin(reached: Band) -> str:
    """Return the bound of a band that begins where another one ends."""
    return f"{'above' if reached.has_upper else 'at_least'}: {reached.upper:g}"


def _is_small_gap(first: Band, second: Band) -> bool:
    """Return whether a little lies between two bands that neither covers."""
    if not (isfinite(first.upper) and isfinite(second.lower)) or second.lower < first.upper:
        return False
    if first.is_days:
        return second.lower - first.upper == 1
    width = Decimal(repr(second.lower)) - Decimal(repr(first.upper))
    if width == 0:
        return not first.has_upper and not second.has_lower
    step = Decimal(1).scaleb(-max(_decimals(first.upper), _decimals(second.lower)))
    return width <= max(step, Decimal(repr(_SMALL_GAP * abs(second.lower))))


def _decimals(value: float) -> int:
    """Return how many decimals a number is written with."""
    exponent = Decimal(f"{value:.12g}").normalize().as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _between(first: Band, second: Band) -> str:
    """Return the gap between two bands in words."""
    if first.is_days:
        return f"{date.fromordinal(int(first.upper))} itself"
    if first.upper == second.lower:
        return f"{first.upper:g} itself"
    return f"between {first.upper:g} and {second.lower:g}"


def _shown(cover: Cover) -> str:
    """Return what is covered, in words."""
    if isinstance(cover, Band):
        if cover.is_days:
            return str(cover)
        return f"{cover.lower:g}" if cover.lower == cover.upper else str(cover)
    return " or ".join(sorted(_word(each) for each in cover))


def _word(value: FactValue) -> str:
    """Return a value that a rule asks for, as it is written."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return value if isinstance(value, str) else f"{value:g}"
