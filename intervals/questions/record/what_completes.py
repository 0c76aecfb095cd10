"""What completes a job that was left in part: the steps that it lacks, what comes again after them, and what every stop asks for.

In: the steps of a procedure, and what lacks. Out: ids of steps, and words. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from intervals.questions.card.card_steps import CardStep
from intervals.questions.record.evidence import StepEvidence, TaskVerdict, judge_evidence
from intervals.questions.record.record_models import RecordReason
from intervals.questions.record.record_wording import completed_with
from intervals.rules.procedure_steps import RESTORE_PHASE
from intervals.rules.procedures import Procedure


def steps_after(steps: Sequence[CardStep], first: Iterable[str]) -> frozenset[str]:
    """Return the ids of steps that need some steps, or need what needs them; without those steps themselves.

    Args:
        steps: the steps, in the order of the card.
        first: ids of steps.
    """
    reached = known = frozenset(first)
    while found := frozenset(step.id for step in steps if step.id not in reached and not reached.isdisjoint(step.needs)):
        reached |= found
    return reached - known


def steps_that_lack(procedure: Procedure | None, steps: Sequence[CardStep], evidence: Mapping[str, StepEvidence]) -> frozenset[str]:
    """Return the ids of steps that a task lacks: all where nothing of it was done, both sides of a balance that does not hold.

    Args:
        procedure: how it is done; None where that is not known.
        steps: its steps, in the order of the card.
        evidence: what was handed in of it, by step.

    Raises:
        InferenceFaultError: the inference engine failed.
    """
    if procedure is None:
        return frozenset()
    verdict = judge_evidence(procedure, steps, evidence)
    if verdict.rule == "nothing-done":
        return frozenset(step.id for step in steps)
    names = {reason.step for reason in verdict.lacking}
    amounts = {name for balance in procedure.balance for name in (*balance.filled, *balance.drained)} if "" in names else set()
    return frozenset(step.id for step in steps if step.id in names or step.step.value in amounts)


def steps_of_safety(steps: Sequence[CardStep]) -> frozenset[str]:
    """Return the ids of steps that each stop for a job begins and ends with: the engine is secured, put back and looked at as it runs.

    These are the steps of phase `secure`, what is set before the work and comes back, the checks of phase `restore`, and of phase `after`
    the checks and what is done for them, such as the start.

    Args:
        steps: the steps, in the order of the card.
    """
    put_back = {step.set_id for step in steps if step.is_restore}
    found = {step.id for step in steps if step.phase == "secure" or (step.phase == "before" and step.id in put_back)}
    found |= {step.id for step in steps if step.is_restore and step.set_id in found}
    found |= {step.id for step in steps if step.kind == "check" and step.phase == RESTORE_PHASE}
    found |= {step.id for step in steps if step.kind in ("check", "do") and step.phase == "after"}
    return frozenset(found)


def completed_by_words(lacking: Sequence[RecordReason], verdict: TaskVerdict | None) -> tuple[str, ...]:
    """Return what would complete a task, each thing once: what it lacks, and the steps that then come too early and are done again.

    Args:
        lacking: the reasons for which it is not credited.
        verdict: the verdict on its evidence; None where there is none.
    """
    words = dict.fromkeys(completed_with(reason.rule, reason.text) for reason in lacking)
    if verdict is not None:
        steps = [each.step for each in verdict.steps]
        timed = {each.step.id for each in verdict.steps if each.evidence.times}
        again = steps_after(steps, {reason.step for reason in lacking if reason.step}) & timed
        listed = [step.id for step in steps if step.id in again and all(step.id != reason.step for reason in lacking)]
        if listed:
            words[f"and again, after it: {', '.join(listed)}"] = None
    return tuple(words)
