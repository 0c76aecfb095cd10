"""The order of a card: the steps of all procedures of one stop, phase by phase, with everything put back at the end.

In: the procedures of a stop and the engine. Out: the steps as they stand on the card, in order. Refuses (CLI150) procedures that set
the same thing differently, share a step that is not the same, or together need steps in a circle.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from heapq import heapify, heappop, heappush

from intervals.language.stated_values import States
from intervals.problems import Problem, RequestProblemError
from intervals.questions.card.card_steps import CardStep, card_steps_of, restore_of
from intervals.rulebook.step_rules import steps_for
from intervals.rules.procedure_steps import PHASES, RESTORE, RESTORE_PHASE
from intervals.rules.procedures import Procedure
from intervals.rules.set_positions import SetStep, set_differently

CODE = "CLI150"
_FIX = "do the two at stops of their own, or let the rule set say the same in both; rules lint names the lines"


def steps_of_stop(procedures: Sequence[Procedure], engine: States) -> tuple[CardStep, ...]:
    """Return the steps of one stop in their order.

    The phases follow one another. Within a phase the procedures follow one another as they are given, and the steps as they are written,
    save where a step needs another. A step that several procedures share stands once, where the first of them has it. What is set and
    comes back is put back in phase `restore`, in reverse order, each as a step of its own.

    Args:
        procedures: the procedures of the tasks that are done, each once.
        engine: the engine, for its values and for which steps are for it.

    Returns:
        The steps; none where no procedure is for the engine.

    Raises:
        RequestProblemError: what cannot stand on one card (code CLI150), all of it.
        InferenceFaultError: the inference engine failed.
    """
    fitting = steps_for(procedures, engine.facts())
    listed = [step for procedure in procedures for step in card_steps_of(procedure, engine, fitting)]
    steps, problems = _shared_once(listed)
    problems += [_problem(text) for text in _set_differently(steps)]
    if problems:
        raise RequestProblemError(problems)
    ordered: list[CardStep] = []
    for phase in PHASES:
        here = [step for step in steps if step.phase == phase]
        if phase == RESTORE_PHASE:
            here += [restore_of(step) for step in reversed(ordered) if step.step.restore]
        ordered += _in_order(here)
    return tuple(ordered)


def _shared_once(listed: Iterable[CardStep]) -> tuple[list[CardStep], list[Problem]]:
    """Return the steps with each shared one once, and the problems of those that are not the same."""
    kept: dict[str, CardStep] = {}
    stands_for: dict[str, str] = {}
    first_of: dict[tuple[str, int | None], str] = {}
    problems: list[Problem] = []
    for step in listed:
        key = (step.step.shared or "", step.place)
        first = kept.get(first_of.setdefault(key, step.id)) if step.step.shared else None
        if first is None:
            kept[step.id] = step
            continue
        if (first.kind, first.phase, str(first.position)) != (step.kind, step.phase, str(step.position)):
            problems.append(_problem(f'{first.id} and {step.id} are shared as "{step.step.shared}" and are not the same step'))
        stands_for[step.id] = first.id
        kept[first.id] = _joined(first, step)
    return [replace(step, needs=_standing(step, stands_for, kept)) for step in kept.values()], problems


def _joined(first: CardStep, other: CardStep) -> CardStep:
    """Return a shared step of several procedures: the stricter of each holds."""
    return replace(
        first,
        procedures=tuple(dict.fromkeys((*first.procedures, *other.procedures))),
        is_certain=first.is_certain or other.is_certain,
        needs=(*first.needs, *other.needs),
        evidence="required" if "required" in (first.evidence, other.evidence) else "asked",
    )


def _standing(step: CardStep, stands_for: dict[str, str], kept: dict[str, CardStep]) -> tuple[str, ...]:
    """Return what a step needs by the ids under which it stands on the card."""
    found: dict[str, None] = {}
    for word in step.needs:
        name = word.removesuffix(f".{RESTORE}")
        standing = stands_for.get(name, name)
        if standing in kept and standing != step.id:
            found[standing + word[len(name) :]] = None
    return tuple(found)


def _set_differently(steps: Sequence[CardStep]) -> Iterator[str]:
    """Yield a sentence for each thing that two procedures set differently."""
    sets = [SetStep(name, step.id, step.step) for step in steps if step.kind == "set" for name in step.procedures]
    for one, other in set_differently(sets):
        yield (
            f"{one.place} sets {one.step.of} to {one.step.to}, and {other.place} sets it to {other.step.to}: "
            "the two procedures cannot stand on one card"
        )


def _in_order(steps: Sequence[CardStep]) -> list[CardStep]:
    """Return the steps of a phase with what each needs before it; else they stay as they are."""
    index_of = {step.id: index for index, step in enumerate(steps)}
    waits_for = [{index_of[word] for word in step.needs if word in index_of} for step in steps]
    needed_by: dict[int, list[int]] = {}
    for index, needed in enumerate(waits_for):
        for each in needed:
            needed_by.setdefault(each, []).append(index)
    ready = [index for index, needed in enumerate(waits_for) if not needed]
    heapify(ready)
    ordered: list[CardStep] = []
    while ready:
        index = heappop(ready)
        ordered.append(steps[index])
        for each in needed_by.get(index, ()):
            waits_for[each].discard(index)
            if not waits_for[each]:
                heappush(ready, each)
    if len(ordered) < len(steps):
        names = ", ".join(step.id for index, step in enumerate(steps) if waits_for[index])
        raise RequestProblemError([_problem(f"on one card these steps need one another in a circle: {names}")])
    return ordered


def _problem(text: str) -> Problem:
    """Return the problem of what cannot stand on one card."""
    return Problem(CODE, "card", None, None, text, _FIX)
