"""What a plan is to reach, as sums of the variables of a part, engine by engine.

In: `PartVariables`. Out: for each aim its terms. Days and hours of the first aim stand in thousandths, intervals of life in hundredths,
so that all are whole numbers.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping
from datetime import date

from ortools.sat.python import cp_model

from intervals.questions.plan.part_models import Part
from intervals.questions.plan.part_variables import TENTHS, PartVariables, last_name

UNDONE_D = 1000
"""What a job costs that is not done by the end of the plan, in days late."""
NEW_D = 28
"""What comes new beside the plan before, or is left out of it, counts as moved by so many days."""
_DAY = 1_000
_STOP, _VISIT = 100_000, 1_000
_LIFE = 100
_DAY_OF_ONE_OFF = 365

Terms = Mapping[str, list[cp_model.LinearExprT]]
"""Engine -> what is added up; the engine "" stands for what is not of one engine."""


def late_terms(variables: PartVariables) -> Terms:
    """Return the days that jobs are late and what is undone at the end, with the hours of overtime, in thousandths.

    What is done long before it is due counts as the thousandth of a day: it is so only where something would be late otherwise.
    """
    terms: dict[str, list[cp_model.LinearExprT]] = defaultdict(list)
    for job, rows, early in zip(variables.part.jobs, variables.late, variables.early, strict=True):
        terms[job.engine] += [_DAY * (span.late_d + (UNDONE_D if span.is_end else 0)) * is_late for span, is_late in rows]
        terms[job.engine] += early.values()
    if variables.overtime:
        terms[""] += [_DAY // TENTHS * each for each in variables.overtime.values()]
    return terms


def stop_terms(variables: PartVariables) -> Terms:
    """Return the stops; far behind them the visits to engines that run, and behind these how dear the days are."""
    terms: dict[str, list[cp_model.LinearExprT]] = defaultdict(list)
    for (engine, slot), variable in variables.stopped.items():
        terms[engine].append((_STOP + variables.part.slots[engine][slot].cost) * variable)
    for (engine, _), variable in variables.visited.items():
        terms[engine].append(_VISIT * variable)
    return terms


def life_terms(variables: PartVariables) -> Terms:
    """Return the intervals thrown away, in hundredths: how often each job is done, less how far its last completion lasts."""
    terms: dict[str, list[cp_model.LinearExprT]] = defaultdict(list)
    for place, job in enumerate(variables.part.jobs):
        slots = variables.part.slots[job.engine]
        interval = job.interval_d or _DAY_OF_ONE_OFF
        lasts: list[cp_model.IntVar] = [variables.model.new_bool_var(last_name(job, None))]
        for slot, all_of in variables.covered[place].items():
            last = variables.model.new_bool_var(last_name(job, slot))
            variables.model.add(last <= sum(all_of))
            lasts.append(last)
            terms[job.engine] += [_LIFE * each for each in all_of]
            # a completion at the limit lasts for one interval from there
            terms[job.engine].append(-round(_LIFE * ((slots[slot].day - job.limit).days + interval) / interval) * last)
        variables.model.add(sum(lasts) == 1)
    return terms


def least_life(part: Part) -> int:
    """Return what the intervals thrown away cannot go below, in hundredths: no last completion lasts longer than one on the last day.

    Args:
        part: the part.
    """
    lasts = (
        ((part.until - job.limit).days + (job.interval_d or _DAY_OF_ONE_OFF)) / (job.interval_d or _DAY_OF_ONE_OFF) for job in part.jobs
    )
    return -sum(max(0, math.ceil(_LIFE * each)) for each in lasts)


def moved_terms(variables: PartVariables) -> Terms:
    """Return by how many days what was planned before is moved; what comes new, or is left out, counts as four weeks.

    A completion stands for one day of the plan before at most, and a day for one completion.
    """
    terms: dict[str, list[cp_model.LinearExprT]] = defaultdict(list)
    before = variables.part.before or {}
    for place, job in enumerate(variables.part.jobs):
        days = before.get((job.engine, job.name), ())
        slots = variables.part.slots[job.engine]
        begins = {end: slots[variables.slots_during(place, end)[0]].day for end in variables.ends[place]}
        pairs: dict[tuple[int, date], cp_model.IntVar] = {}
        for end, variable in variables.ends[place].items():
            near = [day for day in days if abs((begins[end] - day).days) < NEW_D]
            for day in near:
                pairs[end, day] = variables.model.new_bool_var(f"kept {job.engine} {job.name} {end} {day}")
                terms[job.engine].append((abs((begins[end] - day).days) - 2 * NEW_D) * pairs[end, day])
            if near:
                variables.model.add(sum(pairs[end, day] for day in near) <= variable)
            terms[job.engine].append(NEW_D * variable)
        for day in days:
            variables.model.add_at_most_one(pair for (_, other), pair in pairs.items() if other == day)
            terms[job.engine].append(NEW_D)
    return terms


AIM_TERMS: dict[str, tuple[Callable[[PartVariables], Terms], float]] = {
    "late": (late_terms, _DAY),
    "moved": (moved_terms, 1.0),
    "stops": (stop_terms, _STOP),
    "life": (life_terms, _LIFE),
}
"""Each aim: what makes its terms, and by what their sum is divided to be read."""
