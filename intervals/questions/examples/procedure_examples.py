"""The worked examples of procedures: what was handed in of a job, held against the verdict that must come of it.

In: a `RuleSet`. Out: one `ExampleResult` per example. Steps that an example does not name are done as they are written, one minute after
the other, waits for exactly their minutes; measured values and labels of samples that it does not name are left out or made up.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from intervals.language.conditions import FactValue
from intervals.problems import RequestProblemError
from intervals.questions.card.card_steps import CardStep
from intervals.questions.card.steps import steps_of_stop
from intervals.questions.examples.example_result import ExampleResult
from intervals.questions.record.evidence import NOTHING, StepEvidence, TaskVerdict, judge_evidence
from intervals.rules.procedure_examples import ExampleEvidence, ProcedureExample
from intervals.rules.procedures import Procedure
from intervals.rules.ruleset import RuleSet

_BEGIN = datetime(2026, 6, 30, 8, tzinfo=UTC)
_USUAL = ExampleEvidence()
_LABEL = "example"


@dataclass(frozen=True)
class ExampleEngine:
    """The engine of a worked example: what it states, and its values under `card:`."""

    stated: Mapping[str, FactValue]
    card: Mapping[str, float]

    def facts(self) -> Mapping[str, FactValue]:
        """Return what rules may ask of it."""
        return self.stated


def run_procedure_examples(ruleset: RuleSet) -> list[ExampleResult]:
    """Return the outcome of every example of a rule set's procedures, in the order of the file."""
    return [_run(procedure, example) for procedure in ruleset.procedures for example in procedure.examples]


def judge_procedure_example(procedure: Procedure, example: ProcedureExample) -> TaskVerdict:
    """Return the verdict on an example.

    Args:
        procedure: the procedure.
        example: an example of it.

    Raises:
        RequestProblemError: the steps cannot stand on one card.
    """
    steps = steps_of_stop([procedure], ExampleEngine(example.engine, example.card))
    return judge_evidence(procedure, steps, dict(_evidence_of(procedure, example, steps)))


def _run(procedure: Procedure, example: ProcedureExample) -> ExampleResult:
    """Judge one example and hold it against what it expects."""
    name = f"{procedure.id}: {example.name}"
    try:
        differences = list(_differences(procedure, example, judge_procedure_example(procedure, example)))
    except RequestProblemError as error:
        differences = [problem.text for problem in error.problems]
    return ExampleResult(name, passed=not differences, text="; ".join(differences))


def _evidence_of(procedure: Procedure, example: ProcedureExample, steps: tuple[CardStep, ...]) -> Iterator[tuple[str, StepEvidence]]:
    """Yield what was handed in of each step, begun as soon as the one before it was done."""
    now = _BEGIN
    for step in steps:
        given = _given(procedure, example, step)
        begin = now if given.at_min is None else _BEGIN + timedelta(minutes=given.at_min)
        lasts = given.minutes if given.minutes is not None else step.minutes or 0.0
        end = begin + timedelta(minutes=lasts if step.kind == "wait" else 1)
        evidence = _step_evidence(step, given, begin, end)
        if evidence != NOTHING:
            now = max(now, end)
            yield step.id, evidence


def _given(procedure: Procedure, example: ProcedureExample, step: CardStep) -> ExampleEvidence:
    """Return what an example says of a step, by its id on the card, else by that of the step that is repeated."""
    own = step.id.removeprefix(f"{procedure.id}.")
    whole = own if step.place is None else own.replace(f".{step.place}", "", 1)
    return example.evidence.get(own) or example.evidence.get(whole) or _USUAL


def _step_evidence(step: CardStep, given: ExampleEvidence, begin: datetime, end: datetime) -> StepEvidence:
    """Return the evidence of one step."""
    if given.answer == "left_out" or (step.kind == "measure" and given.answer == "done" and given.value is None):
        return NOTHING
    if given.answer in ("no", "not_applicable"):
        return StepEvidence(answer=given.answer, reason=given.reason, at=begin)
    if step.kind == "wait":
        return StepEvidence(answer="done", started_at=begin, ended_at=end)
    label = (given.label or _LABEL) if step.kind == "sample" else None
    return StepEvidence(answer="yes" if step.kind == "check" else "done", value=given.value, label=label, at=begin)


def _differences(procedure: Procedure, example: ProcedureExample, verdict: TaskVerdict) -> Iterator[str]:
    """Yield what of a verdict is not as expected."""
    expect = example.expect
    fired = {reason.rule: None for reason in verdict.reasons}
    if expect.verdict is not None and verdict.word != expect.verdict:
        told = "; ".join(reason.text for reason in verdict.lacking)
        yield f"the verdict is {verdict.word}, expected {expect.verdict}" + (f": {told}" if told else "")
    if expect.fired is not None and set(fired) != set(expect.fired):
        yield f"fired {', '.join(sorted(fired)) or 'nothing'}, expected {', '.join(sorted(expect.fired)) or 'nothing'}"
    for step, rule in expect.steps.items():
        found = [reason.rule for reason in verdict.reasons if reason.step == f"{procedure.id}.{step}"]
        if rule not in found:
            yield f"on {step} fired {', '.join(found) or 'nothing'}, expected {rule}"
