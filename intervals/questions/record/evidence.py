"""What was handed in of a job, held against the steps of its card: the verdict on each step, each balance, and the task.

In: a procedure, its steps on the card, and evidence by step. Out: a `TaskVerdict`: credited, partial or refused, with every reason. Refuses
nothing: evidence of steps that the card does not have is not looked at. Nothing is read or written here.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from intervals.questions.card.card_steps import CardStep
from intervals.questions.record.evidence_wording import balance_text, step_text
from intervals.rulebook.evidence_rules import OUTCOME_OF_RULE, VERDICT_OF_RULE, Outcome, VerdictWord, evidence_rules
from intervals.rulebook.inference import FactValue
from intervals.rules.procedures import Balance, Procedure

Answer = Literal["done", "yes", "no", "not_applicable"]
_TICKS = ("done", "yes")
_MINUTE = timedelta(minutes=1)
_PCT = 100.0
_AMOUNTS = ("L", "mL", "kg", "g", "mg/kg")
"""Units of what cannot be less than nothing."""


@dataclass(frozen=True)
class StepEvidence:
    """What was handed in of one step. Times of one job are all with an offset, or all without.

    Attributes:
        answer: what was ticked; None where nothing was.
        reason: why it is not applicable.
        value: what was measured, in the step's unit.
        label: the label of the sample.
        started_at: when a wait began.
        ended_at: when it ended.
        at: when the step was done.
        by: who did it, as they sign.
        remark: anything else.
        part: of a job in parts the number of the card, from 0.
        earlier: what an earlier part stated of a step that every stop asks for; what came after it then still did.
    """

    answer: Answer | None = None
    reason: str | None = None
    value: float | None = None
    label: str | None = None
    started_at: datetime | None = None
    ended_at: datetime | None = None
    at: datetime | None = None
    by: str | None = None
    remark: str | None = None
    part: int = 0
    earlier: StepEvidence | None = None

    @property
    def times(self) -> tuple[datetime, ...]:
        """Every time that is stated."""
        return tuple(each for each in (self.started_at, self.ended_at, self.at) if each is not None)

    @property
    def began_at(self) -> datetime | None:
        """When the step was begun, as far as that is known."""
        return self.started_at or self.at or self.ended_at

    @property
    def finished_at(self) -> datetime | None:
        """When the step was done, as far as that is known."""
        return self.ended_at or self.at or self.started_at


NOTHING = StepEvidence()
"""The evidence of a step of which nothing was handed in."""


@dataclass(frozen=True)
class EvidenceReason:
    """A rule that fired on evidence.

    Attributes:
        rule: its name, such as `wait-short`.
        outcome: what it means for the task.
        step: the id of the step on the card; empty where it concerns several.
        text: one sentence.
        facts: the figures behind it, by name.
    """

    rule: str
    outcome: Outcome
    step: str
    text: str
    facts: Mapping[str, FactValue]


@dataclass(frozen=True)
class StepVerdict:
    """One step with what was handed in of it, and the reasons that it left; none where nothing is wrong."""

    step: CardStep
    evidence: StepEvidence
    reasons: tuple[EvidenceReason, ...]


@dataclass(frozen=True)
class TaskVerdict:
    """What the evidence of one procedure is worth.

    Attributes:
        procedure: the procedure's id.
        tasks: the tasks that it does.
        word: credited, partial or refused.
        rule: the rule about the task that fired.
        steps: each step of it on the card.
        balances: the reasons of balances.
        first_at: the earliest time in the evidence; None where no time is stated.
        last_at: the latest one.
    """

    procedure: str
    tasks: tuple[str, ...]
    word: VerdictWord
    rule: str
    steps: tuple[StepVerdict, ...]
    balances: tuple[EvidenceReason, ...]
    first_at: datetime | None
    last_at: datetime | None

    @property
    def reasons(self) -> tuple[EvidenceReason, ...]:
        """Every reason, in the order of the card, those of balances last."""
        return (*(reason for step in self.steps for reason in step.reasons), *self.balances)

    @property
    def lacking(self) -> tuple[EvidenceReason, ...]:
        """What keeps the task from being credited: with evidence in its place the task is complete."""
        return tuple(reason for reason in self.reasons if reason.outcome in ("lacks", "refuses"))

    @property
    def unknown(self) -> tuple[EvidenceReason, ...]:
        """What could not be judged."""
        return tuple(reason for reason in self.reasons if reason.outcome == "unknown")


def judge_evidence(procedure: Procedure, steps: Sequence[CardStep], evidence: Mapping[str, StepEvidence]) -> TaskVerdict:
    """Return the verdict on what was handed in of one procedure.

    A task is refused where nothing was done or something cannot be true, partial where something is missing or wrong, else credited. What
    cannot be judged, such as a wait of which the engine does not state the minutes, is unknown and said so; it takes no credit away.

    Args:
        procedure: the procedure.
        steps: the steps of the card, as `steps_of_stop` orders them; those of other procedures are passed over.
        evidence: what was handed in, by the id of the step on the card.

    Returns:
        The verdict with all its reasons, in the order of the card.

    Raises:
        InferenceFaultError: the inference engine failed.
    """
    own = [step for step in steps if procedure.id in step.procedures]
    rules = evidence_rules()
    verdicts: list[StepVerdict] = []
    for step in own:
        given = evidence.get(step.id, NOTHING)
        facts = step_facts(step, evidence)
        fired = rules.steps.fire(facts).holds
        reasons = tuple(EvidenceReason(rule, OUTCOME_OF_RULE[rule], step.id, step_text(rule, step, facts), facts) for rule in fired)
        verdicts.append(StepVerdict(step, given, reasons))
    balances = tuple(reason for balance in procedure.balance for reason in _balance_reasons(balance, own, evidence))
    outcomes = {reason.outcome for verdict in verdicts for reason in verdict.reasons} | {reason.outcome for reason in balances}
    any_work = any(is_work(step, evidence) for step in own)
    rule = rules.task_rule({"any_work": any_work, "any_refuses": "refuses" in outcomes, "any_lacks": "lacks" in outcomes})
    times = [each for step in own for each in evidence.get(step.id, NOTHING).times]
    first, last = min(times, default=None), max(times, default=None)
    return TaskVerdict(procedure.id, procedure.tasks, VERDICT_OF_RULE[rule], rule, tuple(verdicts), balances, first, last)


def completed_by(
    earlier: Mapping[str, StepEvidence], later: Mapping[str, StepEvidence], *, again: Container[str] = (), part: int = 0
) -> dict[str, StepEvidence]:
    """Return the evidence of a job in parts: what a later card states of a step takes the place of what an earlier one stated.

    Args:
        earlier: the evidence of the earlier card, by step.
        later: that of the card that completes it; a step of which it tells nothing keeps the earlier evidence.
        again: steps that were right before and are stated again because every stop asks for them.
        part: the number of the later card, from 0.
    """
    stated = {step: replace(given, part=part) for step, given in later.items() if given != NOTHING}
    kept = {step: replace(given, earlier=earlier[step]) for step, given in stated.items() if step in again and step in earlier}
    return {**earlier, **stated, **kept}


def has_evidence(step: CardStep, given: StepEvidence) -> bool:
    """Return whether what a step's kind asks for is there: both times of a wait, a value, a label, else a tick; of a check yes or no."""
    if step.kind == "wait":
        return given.started_at is not None and given.ended_at is not None
    if step.kind == "measure":
        return given.value is not None
    if step.kind == "sample":
        return bool(given.label)
    return given.answer in _TICKS or (step.kind == "check" and given.answer == "no")


def is_work(step: CardStep, evidence: Mapping[str, StepEvidence]) -> bool:
    """Return whether something was done of a step; to be warned is no work."""
    return step.kind != "caution" and has_evidence(step, evidence.get(step.id, NOTHING))


def step_facts(step: CardStep, evidence: Mapping[str, StepEvidence]) -> dict[str, FactValue]:
    """Return the facts about one step that the rules ask for.

    Args:
        step: the step.
        evidence: what was handed in of all steps, by id.

    Returns:
        Fact by name; None where it is unknown. Minutes in min, values in the step's unit.
    """
    given = evidence.get(step.id, NOTHING)
    waited = _minutes(given.started_at, given.ended_at)
    is_given = has_evidence(step, given)
    needed = [other for name in step.needs if (other := _as_of(given.part, evidence.get(name, NOTHING))) != NOTHING]
    early = [_minutes(given.began_at, other.finished_at) for other in needed]
    known_early = [each for each in early if each is not None]
    return {
        "kind": step.kind,
        "need": step.evidence,
        "answer": given.answer or "none",
        "has_evidence": is_given,
        "has_reason": bool(given.reason),
        "is_certain": step.is_certain,
        "is_restore": step.is_restore,
        "is_moot": step.is_restore and evidence.get(step.set_id, NOTHING).answer == "not_applicable",
        "is_stated": not step.unstated,
        "is_order_known": len(known_early) == len(early),
        "began_early_min": max(known_early, default=None),
        "waited_min": waited,
        "set_min": step.minutes,
        "short_by_min": None if waited is None or step.minutes is None else step.minutes - waited,
        "value": given.value,
        "is_amount": step.step.unit in _AMOUNTS,
        **_beyond(step, given.value),
    }


def _as_of(part: int, given: StepEvidence) -> StepEvidence:
    """Return what was stated of a step by the time of a part of the job."""
    while given.part > part and given.earlier is not None:
        given = given.earlier
    return given


def _minutes(start: datetime | None, end: datetime | None) -> float | None:
    """Return the minutes from one time to another; None where one of them is not stated."""
    return None if start is None or end is None else (end - start) / _MINUTE


def _beyond(step: CardStep, value: float | None) -> dict[str, FactValue]:
    """Return how far a value lies beyond limits that may be reached, and beyond those that may not; None where that is not known."""
    past: dict[str, list[float]] = {"past_closed": [], "past_open": []}
    for word, bound in step.limits if value is not None else ():
        if bound is not None and value is not None:
            side = "past_closed" if word.startswith("at_") else "past_open"
            past[side].append(bound - value if word in ("at_least", "above") else value - bound)
    return {side: max(listed, default=None) for side, listed in past.items()}


def _balance_reasons(balance: Balance, steps: Sequence[CardStep], evidence: Mapping[str, StepEvidence]) -> Iterable[EvidenceReason]:
    """Yield the reasons of a balance; none where one of its sides is not measured on this card at all."""
    sides: list[float | None] = []
    unit = ""
    for names in (balance.filled, balance.drained):
        measuring = [step for step in steps if step.kind == "measure" and step.step.value in names]
        if not measuring:
            return
        unit = measuring[0].step.unit or unit
        values = [evidence.get(step.id, NOTHING).value for step in measuring]
        known = [value for value in values if value is not None]
        sides.append(sum(known) if len(known) == len(values) else None)
    filled, drained = sides
    is_known = filled is not None and drained is not None
    past = None if filled is None or drained is None else abs(filled - drained) - float(balance.within_pct) / _PCT * abs(filled)
    facts: dict[str, FactValue] = {"filled": filled, "drained": drained, "within_pct": float(balance.within_pct)}
    for rule in evidence_rules().balances.fire({**facts, "is_known": is_known, "past_by": past}).holds:
        yield EvidenceReason(rule, OUTCOME_OF_RULE[rule], "", balance_text(rule, balance, facts, unit), facts)
