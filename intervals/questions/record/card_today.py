"""The tasks of a card with their procedures as the rule sets have them today, and where the card says something else.

In: a card, its engine, the rule sets of that engine. Out: for each task its procedure and steps, and what differs from the card. Refuses
nothing: a procedure that changed is for the rules about records to judge.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from intervals.problems import RequestProblemError
from intervals.questions.card.card_models import Card, CardTask, StepLine
from intervals.questions.card.card_procedures import CardProcedure, TaskOfStop, card_procedures
from intervals.questions.card.card_steps import CardStep
from intervals.questions.card.steps import steps_of_stop
from intervals.rules.procedure_steps import STOPPED_PHASES
from intervals.rules.procedures import Procedure
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Task
from intervals.site.model import Engine


class TaskToday(NamedTuple):
    """A task of a card, as the rule sets have it today.

    Attributes:
        named: how the card names it.
        task: the task; None where no rule set of the engine has it.
        ruleset: its rule set; None likewise.
        procedure: how it is done; None where the task is not known.
        steps: the steps of the procedure on a card of today.
        asks_for_evidence: whether a rule set says how it is done, and asks for evidence of it.
        changed: where the card differs from the procedure, in words; empty where it does not.
    """

    named: CardTask
    task: Task | None
    ruleset: RuleSet | None
    procedure: Procedure | None
    steps: tuple[CardStep, ...]
    asks_for_evidence: bool
    changed: str

    @property
    def steps_of_standstill(self) -> tuple[CardStep, ...]:
        """The steps during which the engine stands; none where the work does not ask for it."""
        needs_stop = self.task is not None and self.task.stops_engine
        needs_stop |= any(step.phase == "secure" for step in self.steps)
        return tuple(step for step in self.steps if step.phase in STOPPED_PHASES) if needs_stop else ()


def tasks_today(card: Card, engine: Engine, rulesets: Sequence[RuleSet]) -> list[TaskToday]:
    """Return the tasks of a card with the procedures of today.

    Args:
        card: the card.
        engine: its engine.
        rulesets: the rule sets that judge the engine.

    Raises:
        InferenceFaultError: the inference engine failed.
    """
    found = [(named, *_task_of(named, rulesets)) for named in card.tasks]
    stop = [TaskOfStop(ruleset, task, named.task) for named, task, ruleset in found if task is not None and ruleset is not None]
    procedures = card_procedures(stop, engine)
    try:
        steps, clash = steps_of_stop([each.procedure for each in procedures], engine), ""
    except RequestProblemError as error:
        steps, clash = (), error.problems[0].text
    made = []
    for named, task, ruleset in found:
        today = next((each for each in procedures if named.task in each.tasks), None)
        if task is None or today is None:
            made.append(TaskToday(named, None, None, None, (), asks_for_evidence=False, changed=""))
            continue
        own = tuple(step for step in steps if today.procedure.id in step.procedures)
        asks = today.is_written and any(step.evidence == "required" for step in own)
        changed = clash or _difference(card, named, today, own)
        made.append(TaskToday(named, task, ruleset, today.procedure, own, asks, changed))
    return made


def _task_of(named: CardTask, rulesets: Sequence[RuleSet]) -> tuple[Task | None, RuleSet | None]:
    """Return the task that a card names, and its rule set."""
    bare = named.task.removeprefix(f"{named.ruleset}.")
    for ruleset in rulesets:
        if ruleset.ruleset == named.ruleset:
            task = next((task for task in ruleset.tasks if task.id in (named.task, bare)), None)
            return task, ruleset if task is not None else None
    return None, None


def _difference(card: Card, named: CardTask, today: CardProcedure, steps: Sequence[CardStep]) -> str:
    """Return the first difference between the steps of a card and those of today; nothing where there is none."""
    if named.procedure is not None and not today.is_written:
        return f"the rule set has no procedure {named.procedure} any more"
    if named.procedure is None and today.is_written:
        return f"the rule set has a procedure now, {today.procedure.id}, that the card does not have"
    lines = {line.id: line for line in card.steps if named.task in line.tasks}
    for step in steps:
        line = lines.pop(step.id, None)
        if line is None and card.stop.completes is None:
            # a card that completes another need not have what was done before
            return f"step {step.id} is not on the card"
        if line is not None and (wrong := _differs(line, step)):
            return f"step {step.id}: {wrong}"
    return f"step {next(iter(lines))} is no longer in it" if lines else ""


def _differs(line: StepLine, step: CardStep) -> str:
    """Return in words where a step of the card is not that of today."""
    on_card = {word: _figure(value) for word, value in (line.limits or {}).items()}
    now = {word: _figure(value) for word, value in step.limits}
    pairs: Mapping[str, tuple[object, object]] = {
        "its kind": (line.kind, step.kind),
        "its phase": (line.phase, step.phase),
        "its minutes": (_figure(line.minutes), _figure(step.minutes)),
        "its value": (line.value, step.step.value),
        "its unit": (line.unit, step.step.unit),
        "its limits": (on_card, now),
        "its evidence": (line.evidence, step.evidence),
        "what it needs": (tuple(line.needs), tuple(step.needs)),
    }
    told = [f"{name}: {_said(before)} on the card, {_said(after)} now" for name, (before, after) in pairs.items() if before != after]
    return told[0] if told else ""


def _figure(value: float | None) -> float | None:
    """Return a figure as the card's document keeps it: to six decimals."""
    return None if value is None else round(value, 6)


def _said(value: object) -> str:
    """Return a value in words."""
    if isinstance(value, dict):
        return " and ".join(f"{word} {bound}" for word, bound in value.items()) or "none"
    if isinstance(value, tuple):
        return ", ".join(map(str, value)) or "nothing"
    return "none" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
