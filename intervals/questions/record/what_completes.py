"""What completes a job that was left in part: the steps that it lacks, and those that have to be done again after them.

In: the steps of a procedure, and what lacks. Out: ids of steps, and words. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from intervals.questions.card.card_steps import CardStep
from intervals.questions.record.evidence import TaskVerdict
from intervals.questions.record.record_models import RecordReason
from intervals.questions.record.record_wording import completed_with


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
