"""The procedures of a card: which one does each task of the stop on this engine, each once, under an id that no other has.

In: the tasks of a stop with their rule sets, and the engine. Out: procedures, and the id of that of each task. Refuses nothing: a task of
which no rule set says how it is done gets a procedure of one step, its own title.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from intervals.language.stated_values import States
from intervals.rulebook.step_rules import steps_for
from intervals.rules.procedures import Procedure
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Task

ONLY_STEP = "do"
"""The id of the one step of a task that has no procedure."""


@dataclass(frozen=True)
class TaskOfStop:
    """A task that is done at a stop: the rule set that has it, and what it is called on the card."""

    ruleset: RuleSet
    task: Task
    name: str


@dataclass(frozen=True)
class CardProcedure:
    """A procedure as it stands on a card.

    Attributes:
        procedure: with the id that it has on the card: its own, or `RULESET.ID` where two rule sets each have one of that id
            (`RULESET.task.ID` of a task that has none and is called as a procedure).
        tasks: names of the tasks of the card that it does.
        is_written: whether a rule set has it; else it is one step that stands for the task.
    """

    procedure: Procedure
    tasks: tuple[str, ...]
    is_written: bool


def card_procedures(tasks: Sequence[TaskOfStop], engine: States) -> tuple[CardProcedure, ...]:
    """Return the procedures of a stop, in the order of its tasks.

    Of several procedures of a task that are for the engine the first one counts; those of which that is certain come first. The same
    procedure in two rule sets, such as one that is based on the other, stands once.

    Args:
        tasks: the tasks of the stop, each once.
        engine: the engine.

    Raises:
        InferenceFaultError: the inference engine failed.
    """
    found: list[tuple[Procedure, str, list[str], bool]] = []
    for entry in tasks:
        written = _procedure_of(entry, engine)
        procedure = written or only_step_of(entry.task.id, str(entry.task.title))
        same = next((each for each in found if each[0] == procedure), None)
        if same is not None:
            same[2].append(entry.name)
        else:
            found.append((procedure, entry.ruleset.ruleset, [entry.name], written is not None))
    return tuple(
        CardProcedure(_named(procedure, ruleset, [each[0].id for each in found], is_written=is_written), tuple(names), is_written)
        for procedure, ruleset, names, is_written in found
    )


@lru_cache(maxsize=256)
def only_step_of(task: str, title: str) -> Procedure:
    """Return what stands for the procedure of a task that has none: one step, which says what the task is called.

    Args:
        task: the task's id.
        title: its title.
    """
    step = {"id": ONLY_STEP, "kind": "do", "text": title, "evidence": "required"}
    return Procedure.model_validate({"id": task, "tasks": [task], "title": title, "steps": [step]})


def _procedure_of(entry: TaskOfStop, engine: States) -> Procedure | None:
    """Return the procedure that does a task on an engine, or None where the rule set does not say how it is done there."""
    listed = entry.ruleset.procedures_of(entry.task.id)
    fitting = steps_for(listed, engine.facts())
    fits = {is_for: procedure for procedure in reversed(listed) if (is_for := fitting.has(procedure)) is not False}
    return fits.get(True) or fits.get(None)


def _named(procedure: Procedure, ruleset: str, ids: Sequence[str], *, is_written: bool) -> Procedure:
    """Return a procedure under an id that no other one of the card has."""
    if ids.count(procedure.id) == 1:
        return procedure
    return procedure.model_copy(update={"id": f"{ruleset}.{procedure.id}" if is_written else f"{ruleset}.task.{procedure.id}"})
