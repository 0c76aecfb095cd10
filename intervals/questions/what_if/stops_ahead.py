"""The stops of the year ahead under two states of the rules: each planned from nothing, by weeks, on the same terms.

In: inputs and findings of both sides. Out: how many stops each engine has, and how good each plan is. The plan in the site's folder is not
asked: what counts is what the rules bring about, not what somebody has fixed. Refuses (CLI155, CLI159) files of the plan that cannot be
read; where the solver is not installed there is a sentence instead.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import NamedTuple

from intervals.findings import Findings
from intervals.history.inputs import Inputs, Progress
from intervals.problems import RequestProblemError
from intervals.questions.plan.make_plan import NO_SOLVER, check_solver, prepare_plan, solve_planned
from intervals.questions.plan.part_models import Part, Solved
from intervals.questions.plan.plan_document import gap_of
from intervals.questions.plan.plan_reasons import read_plan
from intervals.questions.plan.planning import PlanAsked
from intervals.questions.what_if.what_if_models import EngineStops, StopsAhead, StopsCompared

Solve = Callable[[Part], Solved]


class SideJudged(NamedTuple):
    """One side as it was judged: what it rests on, what was found, and the rule set that judged instead of the site's, or None."""

    inputs: Inputs
    findings: Findings
    ruleset: str | None


def stops_compared(
    before: SideJudged, after: SideJudged, engines: Sequence[str], progress: Progress | None = None, *, jobs: int | None = None
) -> tuple[StopsCompared | None, str | None]:
    """Return the stops of the year ahead under both, or why there are none.

    Args:
        before: the rules as they are.
        after: the changed ones.
        engines: ids to plan for; none means all.
        progress: called with a few words and the share done.
        jobs: how many processes plan; None: as many as processors.

    Raises:
        RequestProblemError: files of blackouts, demand or stock cannot be read (codes CLI155, CLI159).
        InferenceFaultError: the inference engine failed.
    """
    names = [unit.id for unit in before.inputs.site.judged_units if not engines or unit.id in engines]
    try:
        check_solver()
        (until, was), (_, then) = (_planned(side, names, jobs, progress) for side in (before, after))
    except RequestProblemError as error:
        problem = error.problems[0]
        if problem.code != NO_SOLVER:
            raise
        return None, f"stops are not counted: {problem.text}; {problem.fix}"
    return StopsCompared(until=until, before=was, after=then), None


def _planned(side: SideJudged, engines: Sequence[str], jobs: int | None, progress: Progress | None) -> tuple[str, StopsAhead]:
    """Return the last day of the plan of one side, and its stops."""
    planning = prepare_plan(side.inputs, side.findings, PlanAsked(jobs=jobs), {}, ruleset=side.ruleset)
    whole = planning.whole
    solved = solve_planned(planning, progress)
    read = read_plan(whole, solved.done)
    stands = {(job.engine, job.name) for job in whole.jobs if job.stops}
    days = {(each.engine, each.start) for each in solved.done}
    stops = {(each.engine, each.start) for each in solved.done if (each.engine, each.job) in stands}
    stopped, visited = (Counter(engine for engine, _ in some) for some in (stops, days - stops))
    late = Counter(each.job.engine for each in read.completions if each.is_own and each.late_d)
    return whole.until.isoformat(), StopsAhead(
        stops=len(stops),
        visits=len(days - stops),
        late=late.total(),
        without_day=len(planning.planned.unplaced) + len(read.undone),
        status=solved.status,
        gap=gap_of(solved),
        engines=tuple(EngineStops(engine=each, stops=stopped[each], visits=visited[each], late=late[each]) for each in engines),
    )
