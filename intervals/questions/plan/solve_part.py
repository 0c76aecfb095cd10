"""The best plan of a part: its aims one after the other, each without giving up what the ones before it reached.

In: a `Part`. Out: `Solved`: what is done when, and whether it is proved that it cannot be better. For each aim the engines are first solved
one by one, as if each were alone: what one cannot go below alone it cannot go below with others, and that makes the proof short. The solver
works with one thread, a fixed seed and a limit of its own work instead of the clock's, so that the same part gives the same plan.

Source: the constraint solver CP-SAT of `ortools`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple

from ortools.sat.python import cp_model

from intervals.questions.plan.first_plan import FirstPlan, first_plan
from intervals.questions.plan.part_aims import AIM_TERMS, Terms, least_life
from intervals.questions.plan.part_models import Done, Part, Reached, Solved
from intervals.questions.plan.part_variables import PartVariables

_SEED = 1
_NO_BOUND = -(10**12)
_ENOUGH = 10.0
_SHARE_PROVING, _SHARE_OF_PATTERN = 0.6, 0.25
# how much of the work that is left goes into an aim, and how much of that into each engine by itself; what one aim leaves the next one has
_SHARE_OF_AIM = 0.5
_SHARE_ALONE, _SHARE_QUICK, _LEAST_SHARE = 0.35, 0.5, 0.1


class _Answer(NamedTuple):
    """What the solver found for one aim: its value and what it cannot go below; None where nothing was found in the time."""

    value: int | None
    bound: int
    is_proved: bool


class _Work:
    """How much work may still be put into a part, in units of the solver that do not depend on the clock."""

    def __init__(self, limit: float) -> None:
        self.left = limit

    def note(self, spent: float) -> None:
        """Take off what was spent."""
        self.left = max(0.0, self.left - spent)


class _Solving:
    """A model that is solved for one aim after the other."""

    def __init__(self, part: Part, begin: FirstPlan, work: _Work, *, is_bound: bool) -> None:
        self.variables = PartVariables(part, is_bound=is_bound, may_be_early=begin.is_pressed)
        self._work = work
        # where the search begins
        self.values = self.variables.values_of(begin.ends)

    def minimise(self, terms: Terms, limit: float, floor: int) -> _Answer:
        """Return the least sum that is found, and keep the values that give it.

        What is known from before is a plan for this aim too, whatever the search finds in its time; with the same stops the best of it is
        soon found. Where one search does not prove it in that, several strategies take turns: they find more, and prove less.

        Args:
            terms: what is added up.
            limit: how much work may be put into it.
            floor: what it cannot go below, as far as that is known.
        """
        model = self.variables.model
        model.minimize(_sum_of(terms))
        if self.variables.part.before is None:
            self.values = self.variables.without_needless(self.values)
        self.values |= self.variables.values_of_last(self.values)
        # what is known already takes no search
        known, pattern = _solver(_ENOUGH), _solver(limit * _SHARE_OF_PATTERN)
        first, second = _solver(limit * _SHARE_PROVING), _solver(limit * (1 - _SHARE_PROVING))
        known.parameters.fix_variables_to_their_hinted_value = True
        second.parameters.interleave_search = True
        value: int | None = None
        for solver in (known, pattern, first, second):
            found, bound, values = self._answer(solver, self._with_same_stops() if solver is pattern else model)
            floor = max(floor, bound) if solver in (first, second) else floor
            if found is not None and (value is None or found < value):
                value, self.values = found, values
            if value is not None and value <= floor:
                return _Answer(value, value, is_proved=True)
        return _Answer(value, floor, is_proved=False)

    def bound_of(self, terms: Terms, limit: float, floor: int) -> int:
        """Return what a sum cannot go below, and keep the values that come nearest to it.

        Args:
            terms: what is added up.
            limit: how much work may be put into it.
            floor: what it cannot go below, as far as that is known.
        """
        self.variables.model.minimize(_sum_of(terms))
        self.values |= self.variables.values_of_last(self.values)
        found, bound, values = self._answer(_solver(limit), self.variables.model)
        self.values = self.values if found is None else values
        return max(floor, bound)

    def _with_same_stops(self) -> cp_model.CpModel:
        """Return the model with the stops of what was found last, and only what is done in them left open."""
        model = self.variables.model.clone()
        for variable in self.variables.stopped.values():
            if variable.name in self.values:
                model.add(model.get_int_var_from_proto_index(variable.index) == self.values[variable.name])
        return model

    def _answer(self, solver: cp_model.CpSolver, model: cp_model.CpModel) -> tuple[int | None, int, dict[str, int]]:
        """Return what a solver finds: the sum, what it cannot go below, the values of the variables."""
        names = [each.name for each in model.proto.variables]
        self._hint(model, names)
        status = solver.solve(model)
        self._work.note(solver.response_proto.deterministic_time)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            # where nothing was found the solver gives 0 as its bound, which is none
            return None, _NO_BOUND, {}
        bound = math.ceil(solver.best_objective_bound - 1e-6) if math.isfinite(solver.best_objective_bound) else _NO_BOUND
        return round(solver.objective_value), bound, dict(zip(names, solver.response_proto.solution, strict=True))

    def _hint(self, model: cp_model.CpModel, names: Sequence[str]) -> None:
        """Tell the solver where to begin: at what was found last."""
        known = [(index, self.values[name]) for index, name in enumerate(names) if name in self.values]
        hint = model.proto.solution_hint
        hint.vars.clear()
        hint.values.clear()
        hint.vars.extend([index for index, _ in known])
        hint.values.extend([value for _, value in known])

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
    begin, work = first_plan(part), _Work(part.limit)
    whole = _Solving(part, begin, work, is_bound=True)
    alone = {engine: _Solving(_only(part, engine), begin, work, is_bound=False) for engine in engines} if len(engines) > 1 else {}
    aims = [*part.aims[:1], *(["moved"] if part.before is not None else []), *part.aims[1:]]
    reached: list[Reached] = []
    is_proved = True
    for aim in aims:
        make, unit = AIM_TERMS[aim]
        terms = make(whole.variables)
        own = {engine: make(solving.variables) for engine, solving in alone.items()}
        # the last aim has all that is left
        limit = work.left * (1.0 if aim == aims[-1] else _SHARE_OF_AIM)
        answer, bounds = _reach(
            whole,
            alone,
            terms,
            own,
            max(limit, part.limit * _LEAST_SHARE),
            least=least_life if aim == "life" else _nothing,
            is_first=not reached,
        )
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
    whole: _Solving,
    alone: Mapping[str, _Solving],
    terms: Terms,
    own: Mapping[str, Terms],
    limit: float,
    *,
    least: Callable[[Part], int],
    is_first: bool,
) -> tuple[_Answer, dict[str, int]]:
    """Return how far an aim is reached, and what each engine cannot go below."""
    floor = least(whole.variables.part)
    if not alone:
        return whole.minimise(terms, limit, floor), {}
    quick = whole.minimise(terms, limit * _SHARE_QUICK, floor) if is_first else None
    if quick is not None and quick.is_proved:
        return quick, {engine: least(solving.variables.part) for engine, solving in alone.items()}
    share = limit * _SHARE_ALONE / len(alone)
    bounds = {engine: solving.bound_of(own[engine], share, least(solving.variables.part)) for engine, solving in alone.items()}
    for engine, bound in bounds.items():
        whole.variables.model.add(cp_model.LinearExpr.sum(terms.get(engine, [])) >= bound)
    return whole.minimise(terms, limit * (1 - _SHARE_ALONE), max(floor, sum(bounds.values()), quick.bound if quick else floor)), bounds


def _nothing(_: Part) -> int:
    """Return what days, stops and moves cannot go below."""
    return 0


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
