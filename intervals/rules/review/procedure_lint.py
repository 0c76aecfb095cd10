"""What sound procedures could do better: cautions, sources, examples, steps that cannot be judged, positions that do not agree.

In: a loaded rule set. Out: flaws with places from the document's top. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches

from intervals.language.conditions import STANDARD_FACTS, AllOf, Comparison, Condition
from intervals.language.flaws import Flaw
from intervals.language.stated_values import CARD, ENGINE
from intervals.rules.procedures import Procedure, Step
from intervals.rules.review.same_words import is_same_letters
from intervals.rules.ruleset import RuleSet
from intervals.rules.set_positions import SetStep, set_differently

_NEAR = 0.75
_AGREE = "the two cannot stand on one card: bring them into agreement"


def procedure_warnings(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield what the procedures of a rule set could do better, each at its place.

    Args:
        ruleset: a rule set that was read from a file.
    """
    for index, procedure in enumerate(ruleset.procedures):
        for flaw in _warnings_of(procedure, ruleset):
            yield flaw.below("procedures", index)
    yield from _set_differently(ruleset)
    yield from _near_values(ruleset)


def _warnings_of(procedure: Procedure, ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield what one procedure could do better."""
    if ruleset.source is None and procedure.source is None:
        text = f'the procedure "{procedure.id}" has no source'
        yield Flaw((), text, 'add source: where it comes from, or "common practice"', "no_source")
    if not procedure.examples:
        text = f'no example shows the procedure "{procedure.id}"'
        yield Flaw((), text, "add examples: what was handed in, and the verdict that must come of it", "no_example")
    kinds = {step.kind for step in procedure.steps}
    if any(step.phase == "secure" for step in procedure.steps) and "caution" not in kinds:
        text = f'the procedure "{procedure.id}" secures the engine and warns of nothing'
        yield Flaw((), text, "add a step of kind caution: what burns, turns, is under pressure or under voltage", "no_caution")
    balanced = {name for balance in procedure.balance for name in (*balance.filled, *balance.drained)}
    for index, step in enumerate(procedure.steps):
        yield from (flaw.below("steps", index) for flaw in _never_judged(step, balanced))


def _never_judged(step: Step, balanced: set[str]) -> Iterator[Flaw]:
    """Yield a warning where nothing can tell whether a wait was long enough, or a value right."""
    if step.kind == "wait" and step.minutes is None:
        yield Flaw((), f'the wait "{step.id}" has no minutes: no evidence can be too short', "add minutes: 20, or card.NAME", "not_judged")
    if step.kind == "wait" and step.minutes == 0:
        yield Flaw(("minutes",), f'the wait "{step.id}" takes no time: no evidence can be too short', "write its minutes", "not_judged")
    if step.kind == "measure" and step.unit is None and step.limits is not None:
        yield Flaw(("limits",), f'"{step.value}" has limits and no unit', "add unit: what the value is written down in", "not_judged")
    if step.kind == "measure" and step.limits is None and step.evidence == "asked" and step.value not in balanced:
        text = f'"{step.value}" has no limits, may be left out, and nothing is balanced with it: it can never be judged'
        yield Flaw((), text, "add limits, or leave evidence: asked out", "not_judged")


def _set_differently(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a warning for each thing that two procedures set differently which may stand on one card."""
    procedures = list(enumerate(ruleset.procedures))
    for number, (_, one) in enumerate(procedures):
        for second, other in procedures[number + 1 :]:
            if not _may_share(ruleset, one, other):
                continue
            sets = [SetStep(each.id, f"{each.id}.{step.id}", step) for each in (one, other) for step in each.steps if step.kind == "set"]
            for early, late in set_differently(sets):
                place = next(index for index, step in enumerate(other.steps) if step is late.step)
                text = f'"{late.step.of}" is set to {late.step.to} here, and to {early.step.to} by {early.place}'
                yield Flaw(
                    ("procedures", second, "steps", place),
                    text,
                    _AGREE,
                    "set_differently",
                )


def _may_share(ruleset: RuleSet, one: Procedure, other: Procedure) -> bool:
    """Return whether some engine may have tasks of both procedures: no word that both ask for rules it out."""
    asked = [[_asked(ruleset, procedure, task) for task in procedure.tasks] for procedure in (one, other)]
    return any(not _exclude_each_other(first, second) for first in asked[0] for second in asked[1])


def _asked(ruleset: RuleSet, procedure: Procedure, task: str) -> list[Comparison]:
    """Return what is asked of an engine for a task to be done by a procedure, as far as all of it has to hold."""
    found: list[Comparison] = []
    for condition in (ruleset.task(task).applies_to, procedure.applies_to):
        found += _all_of(condition) if condition is not None else []
    return found


def _all_of(condition: Condition) -> list[Comparison]:
    """Return the comparisons of a condition that all have to hold."""
    if isinstance(condition, Comparison):
        return [condition]
    return [each for part in condition.parts for each in _all_of(part)] if isinstance(condition, AllOf) else []


def _exclude_each_other(some: list[Comparison], others: list[Comparison]) -> bool:
    """Return whether two conditions ask for different words of one name."""
    return any(
        one.name == other.name and isinstance(one.value, tuple) and isinstance(other.value, tuple) and not set(one.value) & set(other.value)
        for one in some
        for other in others
    )


def _near_values(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a warning for each value asked of an engine whose name is nearly one that is known, or that another step asks for."""
    known = {ENGINE: [*STANDARD_FACTS, *ruleset.attributes]}
    counted: dict[str, int] = {}
    for _, value in ruleset.stated_values:
        if value.scope == CARD:
            counted[value.name] = counted.get(value.name, 0) + 1
    told: set[str] = set()
    for place, value in ruleset.stated_values:
        if value.source in told or (value.scope == ENGINE and value.name in known[ENGINE]):
            continue
        told.add(value.source)
        names = known[ENGINE] if value.scope == ENGINE else [name for name in counted if name != value.name]
        near = next((name for name in names if is_same_letters(name, value.name)), None)
        if near is None and value.scope == ENGINE:
            near = next(iter(get_close_matches(value.name, names, n=1, cutoff=_NEAR)), None)
        if near is not None:
            yield Flaw(place, f'"{value.source}" is asked nowhere else; did you mean "{value.scope}.{near}"?', None, "near_name")
