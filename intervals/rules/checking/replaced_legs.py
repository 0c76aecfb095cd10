"""What replaces a leg must find one: `first` and `interval_becomes` against the legs of `every`.

In: the plain data of a rule set. Out: flaws. A leg that no task has would replace nothing, in silence.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from intervals.language.flaws import Flaw

Entries = Sequence[tuple[int, Mapping[str, Any]]]


def check_replaced_legs(tasks: Entries, adjustments: Entries) -> Iterator[Flaw]:
    """Yield a flaw for each leg that replaces none of the legs of its task, or of any of its tasks.

    Args:
        tasks: the rule set's tasks with their positions.
        adjustments: its adjustments with their positions.
    """
    legs_of = {str(task.get("id")): _legs_of(task.get("every")) for _, task in tasks}
    for index, task in tasks:
        for leg in _missing(task.get("first"), legs_of[str(task.get("id"))]):
            text = f'first names the leg "{leg}", which every does not have'
            yield Flaw(("tasks", index, "first", leg), text, f"remove it, or add {leg} to every", "idle_leg")
    for index, adjustment in adjustments:
        named = adjustment.get("tasks")
        asked = named if isinstance(named, (list, tuple)) else legs_of
        known = set().union(*(legs_of.get(str(task), set()) for task in asked))
        for leg in _missing(adjustment.get("interval_becomes"), known) if known else ():
            text = f'interval_becomes names the leg "{leg}", which none of its tasks has'
            yield Flaw(("adjustments", index, "interval_becomes", leg), text, f"remove it, or add {leg} to every of a task", "idle_leg")


def _legs_of(every: object) -> set[str]:
    """Return the legs of an interval, of all its dated values together."""
    entries = every if isinstance(every, (list, tuple)) else [every]
    return {str(leg) for entry in entries if isinstance(entry, Mapping) for leg in entry} - {"in_force_from", "source"}


def _missing(legs: object, known: set[str]) -> list[str]:
    """Return the legs that are not among the known ones."""
    return [str(leg) for leg in legs if str(leg) not in known] if isinstance(legs, Mapping) else []
