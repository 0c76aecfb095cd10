"""Which procedures, steps and parts are for an engine: conditions on what it states, judged like those of tasks.

In: procedures, and the facts of an engine. Out: for each procedure, step and part whether it is for the engine; unknown where its
condition asks for what the engine does not state. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from intervals.language.conditions import Condition
from intervals.rulebook.inference import FactValue, RuleBase
from intervals.rules.procedures import PartCount, Procedure, Step


class EngineSteps(NamedTuple):
    """What of procedures is for one engine.

    Attributes:
        holds: names of the rules that hold.
        unknown: names of those that cannot be told.
        asked: names of all.
    """

    holds: frozenset[str]
    unknown: frozenset[str]
    asked: frozenset[str]

    def _fits(self, name: str) -> bool | None:
        """Return whether a rule holds: True without a condition, None where it cannot be told."""
        return True if name not in self.asked or name in self.holds else None if name in self.unknown else False

    def has(self, procedure: Procedure, entry: Step | PartCount | None = None) -> bool | None:
        """Return whether a procedure, or a step or part of it, is for the engine; None where that is not known.

        Args:
            procedure: the procedure.
            entry: a step or a part of it, or None for the procedure as a whole.
        """
        whole = self._fits(_name(procedure))
        own = True if entry is None else self._fits(_name(procedure, entry))
        if whole is False or own is False:
            return False
        return None if whole is None or own is None else True


def steps_for(procedures: Sequence[Procedure], facts: Mapping[str, FactValue]) -> EngineSteps:
    """Return which procedures, and which of their steps and parts, are for an engine.

    Args:
        procedures: the procedures.
        facts: what the engine states of itself.

    Raises:
        InferenceFaultError: the inference engine failed.
    """
    rules: dict[str, Condition] = {}
    for procedure in procedures:
        if procedure.applies_to is not None:
            rules[_name(procedure)] = procedure.applies_to
        entries: tuple[Step | PartCount, ...] = (*procedure.steps, *procedure.parts)
        for entry in entries:
            if entry.when is not None:
                rules[_name(procedure, entry)] = entry.when
    if not rules:
        return EngineSteps(frozenset(), frozenset(), frozenset())
    verdict = _rule_base(tuple(rules.items())).fire(facts)
    return EngineSteps(frozenset(verdict.holds), frozenset(verdict.unknown), frozenset(rules))


def _name(procedure: Procedure, entry: Step | PartCount | None = None) -> str:
    """Return the name under which a condition stands among the rules about steps; parts of one name are told apart by their place."""
    if entry is None:
        return procedure.id
    if isinstance(entry, Step):
        return f"{procedure.id} step {entry.id}"
    return f"{procedure.id} part {next(index for index, part in enumerate(procedure.parts) if part is entry)}"


@lru_cache(maxsize=32)
def _rule_base(rules: tuple[tuple[str, Condition], ...]) -> RuleBase:
    """Return the rules about steps, compiled; equal ones are compiled once."""
    return RuleBase("steps", dict(rules))
