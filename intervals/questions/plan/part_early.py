"""What keeps a job from being done long before it is due: a price for each completion that comes too early.

In: the variables of what is done when. Out: variables of what is done too early, bound to them. It is no prohibition: where something
would be late otherwise, a job is done early, and the plan says so.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from ortools.sat.python import cp_model

from intervals.questions.plan.job_models import Job
from intervals.questions.plan.job_slots import again_from, early_before
from intervals.questions.plan.part_models import Part

Ends = Mapping[int, cp_model.IntVar]


def bind_early(  # noqa: PLR0913 - what a job of a part is made of
    model: cp_model.CpModel, part: Part, job: Job, taken: int, ends: Ends, covered: Mapping[int, list[cp_model.IntVar]]
) -> dict[int, cp_model.IntVar]:
    """Return for each slot in which a job may be finished whether that is too early; none where it cannot be.

    The first time the job is not done long before its limit, and after each completion, of its own or of another job that does it too, not
    before the last part of its interval, or what says so is 1.

    Args:
        model: the solver's model.
        part: the part.
        job: a job of it.
        taken: how many slots it takes.
        ends: slot -> whether the job is finished in it; without those that a person has fixed, which are never too early.
        covered: slot -> variables of what does it then: itself, and jobs that do it too.
    """
    if job.interval_d is None:
        return {}
    slots = part.slots[job.engine]
    first = early_before(job, slots, taken)
    spans = [(done, until) for done in sorted(covered) if (until := again_from(job, slots, done, part.until)) > done + 1]
    soon = {end for done, until in spans for end in range(done + 1, until) if end >= first and end in ends}
    early = {end: model.new_bool_var(early_name(job, end)) for end in sorted(soon)}
    # how often it was done in time up to each slot: a span is then the difference of two of these, whatever its length
    counts: dict[int, cp_model.IntVar | int] = {}
    count: cp_model.IntVar | int = 0
    for slot in range(len(slots)):
        if slot in early:
            model.add_implication(early[slot], ends[slot])
            following = model.new_int_var(0, len(slots), f"count {job.engine} {job.name} {slot}")
            model.add(following == count + ends[slot] - early[slot])
            count = following
        counts[slot] = count
    for done, until in spans:
        if counts[until - 1] is not counts[done]:
            for head in covered[done]:
                model.add(head + counts[until - 1] - counts[done] <= 1)
    # what is done long before the first limit is early whatever was done before
    return {end: ends[end] for end in ends if end < first} | early


def early_in(part: Part, job: Job, done: Collection[int], early: Collection[int]) -> dict[str, int]:
    """Return by their names which variables of `bind_early` are 1 where something is done.

    Args:
        part: the part.
        job: a job of it.
        done: the slots in which it is finished, by itself or another one.
        early: the slots that have such a variable.
    """
    order, slots = sorted(done), part.slots[job.engine]
    before = {end: order[place - 1] for place, end in enumerate(order) if place}
    soon = {end for end, last in before.items() if end in early and end < again_from(job, slots, last, part.until)}
    return {early_name(job, end): int(end in soon) for end in early}


def early_name(job: Job, end: int) -> str:
    """Return the name of the variable that says that a job is done too early in a slot.

    Args:
        job: the job.
        end: the slot.
    """
    return f"early {job.engine} {job.name} {end}"
