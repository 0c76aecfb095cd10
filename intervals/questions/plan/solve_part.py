"""The best plan of a part: its aims one after the other, each without giving up what the ones before it reached.

In: a `Part`. Out: `Solved`: what is done when, and whether it is proved that it cannot be better. For each aim the engines are first solved
one by one, as if each were alone: what one cannot go below alone it cannot go below with others, and that makes the proof short. The solver
works with one thread, a fixed seed and a limit of its own work instead of the clock's, so that the same part gives the same plan.

Source: the constraint solver CP-SAT of `ortools`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import NamedTuple

from ortools.sat.python import cp_model

from intervals.questions.plan.part_aims import AIM_TERMS, Terms
from intervals.questions.plan.part_models import Done, Part, Reached, Solved
from intervals.questions.plan.part_variables import PartVariables

_SEED = 1
_SHARE_ALONE, _SHARE_PROVING = 0.3, 0.4
_NO_BOUND = -(10**12)


class _Answer(NamedTuple):
    """What the solver found for one aim: its value and what it cannot go below; None where nothing was found in the time."""

    value: int | None
    bound: int
    is_proved: bool


class _Solving:
    """A model that is solved for one aim after the other."""

    def __init__(self, part: Part, *, is_bound: bool) -> None:
        self.variables = PartVariables(part, is_bound=is_bound)
        self.values: dict[str, int] = {}

    def minimise(self, terms: Terms, limit: float) -> _Answer:
        """Return the least sum that is found, and keep the values that give it.

        Where one search does not prove it in its time, several strategies take turns: they find more, and prove less.
        """
        self.variables.model.minimize(_sum_of(terms))
        first = self._answer(_solver(limit * _SHARE_PROVING))
        if first.is_proved:
            return first
        solver = _solver(limit * (1 - _SHARE_PROVING))
        solver.parameters.interleave_search = True
        second = self._answer(solver)
        bound = max(first.bound, second.bound)
        value = first.value if second.value is None else second.value
        return _Answer(value, bound, is_proved=value == bound)

    def _answer(self, solver: cp_model.CpSolver) -> _Answer:
        """Return what a solver finds."""
        model = self.variables.model
        self._hint()
        status = solver.solve(model)
        bound = math.ceil(solver.best_objective_bound - 1e-6) if math.isfinite(solver.best_objective_bound) else _NO_BOUND
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return _Answer(None, bound, is_proved=False)
        named = enumerate(each.name for each in model.proto.variables)
        self.values = {name: solver.value(model.get_int_var_from_proto_index(index)) for index, name in named}
        value = round(solver.objective_value)
        return _Answer(value, min(value, bound), status == cp_model.OPTIMAL)

    def _hint(self) -> None:
        """Tell the solver where to begin: at what was found last."""
        model = self.variables.model
        model.clear_hints()  # type: ignore[no-untyped-call]  # the library's own
        for index, each in enumerate(model.proto.variables):
            if each.name in self.values:
                model.add_hint(model.get_int_var_from_proto_index(index), self.values[each.name])

    def hold(self, terms: Terms, at_most: int) -> None:
        """Let what comes after not give up what was reached."""
        self.variables.model.add(_sum_of(terms) <= at_most)


def solve_part(part: Part) -> Solved:
    """Return the best plan of a part.

    Args:
        part: the part; where it has no job there is nothing to do.
    """
    if not part.jobs:
        return Solved((), "optimal", ())
    engines = sorted({job.engine for job in part.jobs})
    whole = _Solving(part, is_bound=True)
    alone = {engine: _Solving(_only(part, engine), is_bound=False) for engine in engines} if len(engines) > 1 else {}
    aims = [*part.aims[:1], *(["moved"] if part.before is not None else []), *part.aims[1:]]
    limit = part.limit / len(aims)
    reached: list[Reached] = []
    is_proved = True
    for aim in aims:
        make, unit = AIM_TERMS[aim]
        terms = make(whole.variables)
        own = {engine: make(solving.variables) for engine, solving in alone.items()}
        bounds = {engine: alone[engine].minimise(each, limit * _SHARE_ALONE / len(alone)) for engine, each in own.items()}
        for engine, answer in bounds.items():
            whole.variables.model.add(cp_model.LinearExpr.sum(terms.get(engine, [])) >= answer.bound)
        whole.values |= {name: value for solving in alone.values() for name, value in solving.values.items()} if not reached else {}
        answer = whole.minimise(terms, limit * (1 - _SHARE_ALONE * bool(alone)))
        is_proved &= answer.is_proved
        if answer.value is None:
            continue
        reached.append(Reached(aim, answer.value / unit, max(answer.bound, sum(each.bound for each in bounds.values())) / unit))
        whole.hold(terms, answer.value)
        spare = answer.value - sum(each.bound for each in bounds.values())
        for engine, solving in alone.items():
            solving.hold(own[engine], bounds[engine].bound + spare)
    return Solved(tuple(sorted(_done(whole), key=_order)), "optimal" if is_proved else "best so far", tuple(reached))


def _only(part: Part, engine: str) -> Part:
    """Return one engine of a part."""
    return replace(part, jobs=tuple(job for job in part.jobs if job.engine == engine))


def _sum_of(terms: Terms) -> cp_model.LinearExprT:
    """Return the sum over all engines."""
    return cp_model.LinearExpr.sum([each for many in terms.values() for each in many])


def _solver(limit: float) -> cp_model.CpSolver:
    """Return the solver, set so that the same model gives the same answer."""
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = _SEED
    solver.parameters.linearization_level = 2
    solver.parameters.max_deterministic_time = limit
    return solver


def _order(done: Done) -> tuple[date, str, str]:
    """Return by what jobs are listed."""
    return done.start, done.engine, done.job


def _done(solving: _Solving) -> Iterator[Done]:
    """Yield what is done when; where nothing was found in the time only what a person fixed."""
    variables = solving.variables
    for place, job in enumerate(variables.part.jobs):
        slots = variables.part.slots[job.engine]
        for end, variable in variables.ends[place].items():
            is_fixed = not solving.values and slots[variables.slots_during(place, end)[0]].day in variables.part.fixed.get(
                (job.engine, job.name), ()
            )
            if is_fixed or solving.values.get(variable.name):
                yield Done(job.engine, job.name, slots[variables.slots_during(place, end)[0]].day, slots[end].day)
