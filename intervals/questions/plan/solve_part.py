"""The best plan of a part: its aims one after the other, each without giving up what the ones before it reached.

In: a `Part`. Out: `Solved`: what is done when, and whether it is proved that it cannot be better. For each aim the engines are first solved
one by one, as if each were alone: what one cannot go below alone it cannot go below with others, and that makes the proof short. The solver
works with one thread, a fixed seed and a limit of its own work instead of the clock's, so that the same part gives the same plan.

Source: the constraint solver CP-SAT of `ortools`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from typing import NamedTuple

from ortools.sat.python import cp_model

from intervals.questions.plan.first_plan import Ends, first_plan
from intervals.questions.plan.part_aims import AIM_TERMS, Terms
from intervals.questions.plan.part_models import Done, Part, Reached, Solved
from intervals.questions.plan.part_variables import PartVariables

_SEED = 1
_SHARE_QUICK, _SHARE_ALONE, _SHARE_PROVING = 0.1, 0.4, 0.5
_NO_BOUND = -(10**12)
# how much of the work goes into an aim: where the last completions are counted, proofs are long
_SHARES_OF_AIMS, _SHARE_OF_AIM = {"life": 0.5}, 0.25


class _Answer(NamedTuple):
    """What the solver found for one aim: its value and what it cannot go below; None where nothing was found in the time."""

    value: int | None
    bound: int
    is_proved: bool


class _Solving:
    """A model that is solved for one aim after the other."""

    def __init__(self, part: Part, begin: Ends, *, is_bound: bool) -> None:
        self.variables = PartVariables(part, is_bound=is_bound)
        # where the search begins
        self.values = self.variables.values_of(begin)

    def minimise(self, terms: Terms, limit: float, floor: int) -> _Answer:
        """Return the least sum that is found, and keep the values that give it.

        What is known from before is a plan for this aim too, whatever the search finds in its time. Where one search does not prove it in
        that, several strategies take turns: they find more, and prove less.

        Args:
            terms: what is added up.
            limit: how much work may be put into it.
            floor: what it cannot go below, as far as that is known.
        """
        self.variables.model.minimize(_sum_of(terms))
        if self.variables.part.before is None:
            self.values = self.variables.without_needless(self.values)
        self.values |= self.variables.values_of_last(self.values)
        known, first, second = _solver(limit), _solver(limit * _SHARE_PROVING), _solver(limit * (1 - _SHARE_PROVING))
        known.parameters.fix_variables_to_their_hinted_value = True
        second.parameters.interleave_search = True
        value: int | None = None
        for solver in (known, first, second):
            found, bound, values = self._answer(solver)
            floor = max(floor, bound) if solver is not known else floor
            if found is not None and (value is None or found < value):
                value, self.values = found, values
            if value is not None and value <= floor:
                return _Answer(value, value, is_proved=True)
        return _Answer(value, floor, is_proved=False)

    def _answer(self, solver: cp_model.CpSolver) -> tuple[int | None, int, dict[str, int]]:
        """Return what a solver finds: the sum, what it cannot go below, the values of the variables."""
        model = self.variables.model
        self._hint()
        status = solver.solve(model)
        bound = math.ceil(solver.best_objective_bound - 1e-6) if math.isfinite(solver.best_objective_bound) else _NO_BOUND
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None, bound, {}
        named = enumerate(each.name for each in model.proto.variables)
        values = {name: solver.value(model.get_int_var_from_proto_index(index)) for index, name in named}
        return round(solver.objective_value), bound, values

    def _hint(self) -> None:
        """Tell the solver where to begin: at what was found last."""
        model = self.variables.model
        model.clear_hints()  # type: ignore[no-untyped-call]  # the library's own
        for index, each in enumerate(model.proto.variables):
            if each.name in self.values:
                model.add_hint(model.get_int_var_from_proto_index(index), self.values[each.name])

    def count_early(self) -> int:
        """Return how many completions come too early in what was found last."""
        return sum(self.values.get(each.name, 0) for early in self.variables.early for each in early.values())

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
    begin = first_plan(part)
    whole = _Solving(part, begin, is_bound=True)
    alone = {engine: _Solving(_only(part, engine), begin, is_bound=False) for engine in engines} if len(engines) > 1 else {}
    aims = [*part.aims[:1], *(["moved"] if part.before is not None else []), *part.aims[1:]]
    reached: list[Reached] = []
    is_proved = True
    for aim in aims:
        make, unit = AIM_TERMS[aim]
        terms = make(whole.variables)
        own = {engine: make(solving.variables) for engine, solving in alone.items()}
        limit = part.limit * _SHARES_OF_AIMS.get(aim, _SHARE_OF_AIM)
        answer, bounds = _reach(whole, alone, terms, own, limit, is_first=not reached)
        is_proved &= answer.is_proved
        if answer.value is None:
            # the plan by hand is all there is
            break
        # what is done early is the price of nothing being late, and no day late itself
        value = (answer.value - (whole.count_early() if aim == "late" else 0)) / unit
        reached.append(Reached(aim, value, min(value, answer.bound / unit)))
        whole.hold(terms, answer.value)
        spare = answer.value - sum(bounds.values())
        for engine, solving in alone.items():
            solving.hold(own[engine], bounds[engine] + spare)
    return Solved(tuple(sorted(_done(whole), key=_order)), "optimal" if is_proved else "best so far", tuple(reached))


def _reach(  # noqa: PLR0913 - the models, and what is aimed at in each
    whole: _Solving, alone: Mapping[str, _Solving], terms: Terms, own: Mapping[str, Terms], limit: float, *, is_first: bool
) -> tuple[_Answer, dict[str, int]]:
    """Return how far an aim is reached, and what each engine cannot go below."""
    floor = 0 if is_first else _NO_BOUND
    if not alone:
        return whole.minimise(terms, limit, floor), {}
    quick = whole.minimise(terms, limit * _SHARE_QUICK, floor) if is_first else None
    if quick is not None and quick.value == 0:
        return quick, dict.fromkeys(alone, 0)
    bounds = {engine: solving.minimise(own[engine], limit * _SHARE_ALONE / len(alone), floor).bound for engine, solving in alone.items()}
    for engine, bound in bounds.items():
        whole.variables.model.add(cp_model.LinearExpr.sum(terms.get(engine, [])) >= bound)
    return whole.minimise(terms, limit * (1 - _SHARE_ALONE), max(sum(bounds.values()), quick.bound if quick else _NO_BOUND)), bounds


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
            begins = slots[variables.slots_during(place, end)[0]].day
            if solving.values.get(variable.name) or begins in variables.part.fixed.get((job.engine, job.name), ()):
                yield Done(job.engine, job.name, begins, slots[end].day)
