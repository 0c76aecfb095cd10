"""The order that a procedure's steps ask for: steps that need others, phases, circles.

In: the plain data of a procedure's steps. Out: flaws, with places below the procedure. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter
from typing import Any

from intervals.language.flaws import Flaw
from intervals.problems import nearest_of
from intervals.rules.procedure_steps import PHASES, RESTORE

Entries = Sequence[tuple[int, Mapping[str, Any]]]


def check_order(steps: Entries) -> Iterator[Flaw]:
    """Yield what is wrong with the order that steps ask for.

    Args:
        steps: the steps that are mappings, each with its position.
    """
    phases = _phases(steps)
    needs: dict[str, list[str]] = {}
    for index, step in steps:
        name = _word(step.get("id"))
        for place, word in _needs(step):
            if word not in phases:
                yield _unknown(index, place, word, list(phases), steps)
            elif _comes_later(phases[word], step.get("phase", "work")):
                text = f'"{word}" belongs to phase {phases[word]}, which comes after phase {step.get("phase", "work")} of this step'
                yield Flaw(("steps", index, "needs", *place), text, "move one of the two to another phase", "step")
            else:
                needs.setdefault(name, []).append(word)
    # the putting back of a step comes after that step
    restores = {name: [name.removesuffix(f".{RESTORE}")] for name in phases if name.endswith(f".{RESTORE}")}
    yield from _circles({**restores, **needs}, {_word(step.get("id")): index for index, step in reversed(steps)})


def _phases(steps: Entries) -> dict[str, str]:
    """Return the phase of every step that others may need, and of the putting back of those that come back."""
    phases: dict[str, str] = {}
    for _, step in steps:
        if step.get("id") is not None:
            phases[_word(step["id"])] = str(step.get("phase", "work"))
    phases |= {f"{_word(step['id'])}.{RESTORE}": RESTORE for _, step in steps if step.get("id") is not None and step.get("restore") is True}
    return phases


def _needs(step: Mapping[str, Any]) -> list[tuple[tuple[int, ...], str]]:
    """Return the steps that a step needs, each with its place."""
    value = step.get("needs")
    if isinstance(value, (list, tuple)):
        return [((index,), _word(word)) for index, word in enumerate(value) if isinstance(word, (str, int, float))]
    return [((), _word(value))] if isinstance(value, (str, int, float)) else []


def _word(value: object) -> str:
    """Return a word as it was written."""
    return str(getattr(value, "text", value))


def _unknown(index: int, place: tuple[int, ...], word: str, known: list[str], steps: Entries) -> Flaw:
    """Return the flaw of a step that is needed and is not there."""
    step, _, ending = word.rpartition(".")
    if ending == RESTORE and step in [_word(each.get("id")) for _, each in steps]:
        return Flaw(("steps", index, "needs", *place), f'"{step}" does not come back', "write restore: true there", "unknown_step")
    text = f'the procedure has no step "{word}"{nearest_of(word, known)}'
    return Flaw(("steps", index, "needs", *place), text, f"steps: {', '.join(known)}", "unknown_step")


def _comes_later(needed: str, own: object) -> bool:
    """Return whether a phase comes after another; of phases that do not exist neither does."""
    return needed in PHASES and own in PHASES and PHASES.index(needed) > PHASES.index(own)


def _circles(needs: Mapping[str, Sequence[str]], places: Mapping[str, int]) -> Iterator[Flaw]:
    """Yield a flaw for each circle of steps that need one another; what stands in one circle is told once."""
    left = {name: list(words) for name, words in needs.items()}
    while True:
        try:
            TopologicalSorter(left).prepare()
        except CycleError as error:
            # the first node of the cycle is the last one too, each needed by the one before it
            circle = [str(name) for name in reversed(error.args[1])]
            names = set(circle)
            first = min((places[name] for name in names if name in places), default=0)
            text = f"steps need one another in a circle: {' -> '.join(circle)}"
            yield Flaw(("steps", first, "needs"), text, "leave out one of them", "step_cycle")
            left = {name: [word for word in words if word not in names] for name, words in left.items() if name not in names}
        else:
            return
