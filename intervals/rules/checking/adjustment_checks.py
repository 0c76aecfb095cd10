"""What can be wrong with adjustments: their effects, what they ask for, the legs that they name, the limits of all of them together.

In: the plain data of a rule set, whether or not its fields are right. Out: flaws. Refuses nothing itself. A leg that no task has would be
replaced or changed in silence.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from intervals.language.conditions import Condition
from intervals.language.flaws import Flaw
from intervals.language.scalars import shown_value
from intervals.rules.checking.asked_names import asks_measure, check_asked
from intervals.rules.checking.table_checks import intervals_in
from intervals.rules.effects.effect_fields import BOUNDED_KEYS, EITHER_KEYS, KEYS, LEG_KEYS, WINDOW_KEYS, effects_offered
from intervals.rules.tasks import SEVERE_DUTY

Entries = Sequence[tuple[int, Mapping[str, Any]]]


def check_adjustment(adjustment: Mapping[str, Any], named: Mapping[str, Condition]) -> Iterator[Flaw]:
    """Yield what is wrong with one adjustment: its id, its effects, what it asks for.

    Args:
        adjustment: its plain data.
        named: the rule set's conditions by name.

    Yields:
        Flaws with places below the adjustment.
    """
    yield from _check_effect(adjustment)
    if str(getattr(adjustment.get("id"), "text", adjustment.get("id"))) == SEVERE_DUTY:
        yield Flaw(("id",), f'"{SEVERE_DUTY}" is what a site\'s own factor is called', "rename it", "duplicate")
    effects = [key for key in KEYS if adjustment.get(key) is not None]
    if len(effects) == 1:
        is_window = effects[0] in WINDOW_KEYS or (effects[0] in EITHER_KEYS and asks_measure(adjustment.get("when"), named))
        asked = check_asked(adjustment.get("when"), named, "window" if is_window else "hour")
        yield from (flaw.below("when") for flaw in asked)


def _check_effect(adjustment: Mapping[str, Any]) -> Iterator[Flaw]:
    """Yield a flaw unless an adjustment does exactly one thing."""
    given = [effect for effect in KEYS if adjustment.get(effect) is not None]
    if not given:
        text = f"an adjustment without effect; expected one of {', '.join(KEYS)}"
        yield Flaw((), text, effects_offered(), "effect")
    elif len(given) > 1:
        yield Flaw(
            (given[1],), f"an adjustment with several effects: {', '.join(given)}; expected one", "write one adjustment for each", "effect"
        )


def check_limits(limits: object) -> Iterator[Flaw]:
    """Yield a flaw for each pair of limits with nothing between."""
    for factor in BOUNDED_KEYS if isinstance(limits, Mapping) else ():
        lowest, highest = limits.get(f"{factor}_at_least"), limits.get(f"{factor}_at_most")  # type: ignore[attr-defined]
        if isinstance(lowest, (int, float)) and isinstance(highest, (int, float)) and lowest > highest:
            yield Flaw(
                ("limits", f"{factor}_at_least"),
                f"{factor} cannot be at least {shown_value(lowest)} and at most {shown_value(highest)}",
                None,
                "range",
            )


def check_replaced_legs(tasks: Entries, adjustments: Entries) -> Iterator[Flaw]:
    """Yield a flaw for each leg that `first` or an effect names, and that its task, or any of its tasks, does not have.

    Args:
        tasks: the rule set's tasks with their positions.
        adjustments: its adjustments with their positions.
    """
    legs_of = {str(task.get("id")): _legs_of(task) for _, task in tasks}
    for index, task in tasks:
        first = task.get("first")
        series = [((number,), legs) for number, legs in enumerate(first)] if isinstance(first, (list, tuple)) else [((), first)]
        for place, legs in series:
            for leg in _missing(legs, legs_of[str(task.get("id"))]):
                text = f'first names the leg "{leg}", which every does not have'
                yield Flaw(("tasks", index, "first", *place, leg), text, f"remove it, or add {leg} to every", "idle_leg")
    for index, adjustment in adjustments:
        named = adjustment.get("tasks")
        asked = named if isinstance(named, (list, tuple)) else legs_of
        known = set().union(*(legs_of.get(str(task), set()) for task in asked))
        for key in LEG_KEYS if known else ():
            for leg in _missing(adjustment.get(key), known):
                text = f'{key} names the leg "{leg}", which none of its tasks has'
                yield Flaw(("adjustments", index, key, leg), text, f"remove it, or add {leg} to every of a task", "idle_leg")


def _legs_of(task: Mapping[str, Any]) -> set[str]:
    """Return the legs of a task's intervals, of all together."""
    return {str(leg) for entry in intervals_in(task) for leg in entry} - {"in_force_from", "source"}


def _missing(legs: object, known: set[str]) -> list[str]:
    """Return the legs that are not among the known ones."""
    return [str(leg) for leg in legs if str(leg) not in known] if isinstance(legs, Mapping) else []
