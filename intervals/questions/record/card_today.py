"""The tasks of a card with their procedures as the rule sets have them today, and where the card says something else.

In: a card, its engine, the rule sets of that engine. Out: for each task its procedure and steps, and what differs from the card. Refuses
nothing: a procedure that changed is for the rules about records to judge. Card and procedure are compared as plain data, field by field
of a step's line: whether they are the same is a fact; what it means for the task is judged by the rules.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from operator import attrgetter
from typing import NamedTuple

from intervals.language.words import LANGUAGES
from intervals.problems import RequestProblemError
from intervals.questions.card.card_models import Card, CardTask, StepLine
from intervals.questions.card.card_procedures import CardProcedure, TaskOfStop, card_procedures
from intervals.questions.card.card_steps import CardStep
from intervals.questions.card.step_lines import step_lines
from intervals.questions.card.steps import steps_of_stop
from intervals.rules.procedure_steps import STOPPED_PHASES
from intervals.rules.procedures import Procedure
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Task
from intervals.site.model import Engine

_ENGLISH = "en"


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
    language = card.language if card.language in LANGUAGES else _ENGLISH
    lines = {line.id: line for line in step_lines(steps, procedures, language, lambda _measure, _unit: (), {})}
    made = []
    for named, task, ruleset in found:
        today = next((each for each in procedures if named.task in each.tasks), None)
        if task is None or today is None:
            made.append(TaskToday(named, None, None, None, (), asks_for_evidence=False, changed=""))
            continue
        own = tuple(step for step in steps if today.procedure.id in step.procedures)
        asks = today.is_written and any(step.evidence == "required" for step in own)
        changed = clash or _difference(card, named, today, _with_own_text(own, lines))
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


def _difference(card: Card, named: CardTask, today: CardProcedure, steps: Mapping[str, tuple[StepLine, bool]]) -> str:
    """Return the first difference between the steps of a card and those of today; nothing where there is none."""
    if named.procedure is not None and not today.is_written:
        return f"the rule set has no procedure {named.procedure} any more"
    if named.procedure is None and today.is_written:
        return f"the rule set has a procedure now, {today.procedure.id}, that the card does not have"
    lines = {line.id: line for line in card.steps if named.task in line.tasks}
    for name, (now, has_text) in steps.items():
        line = lines.pop(name, None)
        if line is None and card.stop.completes is None:
            # a card that completes another need not have what was done before
            return f"step {name} is not on the card"
        if line is not None and (wrong := _differs(line, now, has_text=has_text)):
            return f"step {name}: {wrong}"
    return f"step {next(iter(lines))} is no longer in it" if lines else ""


def _with_own_text(steps: Sequence[CardStep], lines: Mapping[str, StepLine]) -> dict[str, tuple[StepLine, bool]]:
    """Return the lines of steps as a card of today has them, by id, each with whether its text is the rule set's own."""
    return {step.id: (lines[step.id], step.step.text is not None and not step.is_restore) for step in steps}


def _differs(line: StepLine, now: StepLine, *, has_text: bool) -> str:
    """Return in words where a step of the card is not that of today; text that is this program's own may be put in other words."""
    compared = _COMPARED if has_text else {name: of for name, of in _COMPARED.items() if name != "its text"}
    pairs = ((name, _plain(of(line)), _plain(of(now))) for name, of in compared.items())
    return next((f"{name}: {_said(before)} on the card, {_said(after)} now" for name, before, after in pairs if before != after), "")


_COMPARED: Mapping[str, Callable[[StepLine], object]] = {
    "its kind": attrgetter("kind"),
    "its phase": attrgetter("phase"),
    "what it is of": attrgetter("of"),
    "what it is set to": attrgetter("to"),
    "what it is set from": attrgetter("before"),
    "its place": attrgetter("place"),
    "its minutes": attrgetter("minutes"),
    "its value": attrgetter("value"),
    "its unit": attrgetter("unit"),
    "its limits": attrgetter("limits"),
    "its evidence": attrgetter("evidence"),
    "what it needs": attrgetter("needs"),
    "its text": attrgetter("text"),
}
"""What of a step has to be as it was when the card was made."""


def _plain(value: object) -> object:
    """Return what is compared: figures to the six decimals that the card's document keeps."""
    if isinstance(value, dict):
        return {word: _figure(bound) for word, bound in value.items()}
    return _figure(value) if isinstance(value, float) else value


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
