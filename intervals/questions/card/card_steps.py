"""The steps of a card: those of its procedures that are for the engine, with the engine's own values.

In: procedures and an engine. Out: `CardStep` values, each a step as it stands on the card, not yet in order. Refuses nothing: a value
that the engine does not state is unknown, and the step says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from intervals.language.stated_values import States, resolve, unstated_in
from intervals.language.words import Words
from intervals.rulebook.step_rules import EngineSteps
from intervals.rules.procedure_steps import RESTORE, RESTORE_PHASE, EvidenceNeed, Phase, StepKind
from intervals.rules.procedures import Procedure, Step

MOST_PLACES = 100
"""A step is repeated at no more places than this; an engine that states more is taken to state none."""


@dataclass(frozen=True)
class CardStep:
    """One step as it stands on a card.

    Attributes:
        id: `PROCEDURE.STEP`, at the third of several places `PROCEDURE.STEP.3`; `.restore` behind it where something is put back.
        procedures: ids of the procedures that it belongs to; several where they share it.
        step: the step of the rule set.
        phase: when it is done.
        is_restore: whether it puts back what the step set.
        is_certain: whether it is known to be for the engine; else the card asks, and "not applicable" is an answer.
        place: which of several like places it is done at, from 1; None where there is one.
        minutes: how long a wait takes, min; None where that is not known.
        limits: bounds of a measured value by their word, in the step's unit; None where a bound is not known.
        unstated: what the engine would have to state for the unknown ones to be known, such as `card.drain_pan_min`.
        needs: ids of the steps of the card that come before it.
        evidence: whether its evidence is required or asked for.
    """

    id: str
    procedures: tuple[str, ...]
    step: Step
    phase: Phase
    is_restore: bool = False
    is_certain: bool = True
    place: int | None = None
    minutes: float | None = None
    limits: tuple[tuple[str, float | None], ...] = ()
    unstated: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    evidence: EvidenceNeed = "asked"

    @property
    def kind(self) -> StepKind:
        """The kind of step; putting back is setting."""
        return self.step.kind

    @property
    def position(self) -> Words | None:
        """The position that the step sets: of a restore the one from before; None where it sets nothing."""
        return self.step.before if self.is_restore else self.step.to

    @property
    def position_before(self) -> Words | None:
        """The position that it is in until then."""
        return self.step.to if self.is_restore else self.step.before

    @property
    def set_id(self) -> str:
        """The id of the step that a restore puts back; its own id for any other step."""
        return self.id.removesuffix(f".{RESTORE}")


def card_steps_of(procedure: Procedure, engine: States, fitting: EngineSteps) -> Iterator[CardStep]:
    """Yield the steps of a procedure that are for an engine, in the order of the file, without those that put something back.

    Args:
        procedure: the procedure.
        engine: the engine.
        fitting: which steps are for it.

    Yields:
        Steps with the engine's values; a step that is done at several places once for each of them.
    """
    counts = {step.id: _places(step, engine) for step in procedure.steps if fitting.has(procedure, step) is not False}
    for step in procedure.steps:
        if step.id not in counts:
            continue
        made = CardStep(
            id=f"{procedure.id}.{step.id}",
            procedures=(procedure.id,),
            step=step,
            phase=step.phase,
            is_certain=fitting.has(procedure, step) is True,
            minutes=resolve(step.minutes, engine),
            limits=tuple((word, resolve(value, engine)) for word, value in (step.limits.bounds.items() if step.limits else ())),
            unstated=tuple(dict.fromkeys(name for value in step.placed_values.values() if (name := unstated_in(value, engine)))),
            evidence=step.evidence_needed,
        )
        places = counts[step.id]
        for place in range(1, places + 1) if places is not None else (None,):
            needs = _needs(procedure, step, counts, place)
            yield replace(made, id=made.id if place is None else f"{made.id}.{place}", place=place, needs=needs)


def restore_of(step: CardStep) -> CardStep:
    """Return the step that puts back what a step set.

    Args:
        step: a step of kind set with `restore`.
    """
    return replace(
        step, id=f"{step.id}.{RESTORE}", phase=RESTORE_PHASE, is_restore=True, needs=(step.id,), evidence=step.step.restore_needed
    )  # fmt: skip


def _places(step: Step, engine: States) -> int | None:
    """Return at how many places a step is done; None where it is not repeated, or nobody states how often."""
    count = resolve(step.for_each.count, engine) if step.for_each is not None else None
    return int(count) if count is not None and 1 <= count <= MOST_PLACES else None


def _needs(procedure: Procedure, step: Step, counts: Mapping[str, int | None], place: int | None) -> tuple[str, ...]:
    """Return the ids of the steps on the card that a step needs: at its own place where both are done at the same ones, else at all."""
    found: list[str] = []
    for word in step.needs:
        name = word.removesuffix(f".{RESTORE}")
        if name not in counts:
            continue
        ending = word[len(name) :]
        count, other = counts[name], procedure.step(name)
        if count is None:
            numbers: Sequence[str] = ("",)
        elif place is not None and other.for_each == step.for_each:
            numbers = (f".{place}",)
        else:
            numbers = [f".{number}" for number in range(1, count + 1)]
        found += [f"{procedure.id}.{name}{number}{ending}" for number in numbers]
    return tuple(found)
