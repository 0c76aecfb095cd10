"""The plan of stops of a site: on which day which engine is stopped, for what, by whom; what is late, and why it cannot be otherwise.

In: a site, the moment of judging, what is asked for, the plan before. Out: a `Plan`. Nothing is judged here: limits are those of the
findings, and the plan tells, it does not decide. Refuses what a check refuses, and (CLI155) files of blackouts or demand that cannot be
read, (CLI157) a plan without a day, (CLI158) where the solver is not installed, or cannot be loaded.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta
from importlib.util import find_spec

from intervals.findings import Findings
from intervals.history.inputs import Inputs, Progress, read_inputs
from intervals.judge.engine_answers import JudgedEngine
from intervals.problems import Problem, RequestProblemError
from intervals.questions.check.assess import judge_inputs
from intervals.questions.plan.blackout_days import blackout_days, costs_of
from intervals.questions.plan.carried_stops import carried_stops, group_of, hours_used
from intervals.questions.plan.crew_jobs import crew_notes, crews_of
from intervals.questions.plan.job_models import Job, Unplaced
from intervals.questions.plan.job_slots import DAY_H, WEEK_H
from intervals.questions.plan.jobs import jobs_of
from intervals.questions.plan.oil_use import OIL, OilUse, oil_use_of
from intervals.questions.plan.part_models import Part, Slot, Solved
from intervals.questions.plan.parts import solve_whole
from intervals.questions.plan.plan_document import plan_of
from intervals.questions.plan.plan_file import Days, PlanBefore
from intervals.questions.plan.plan_models import Plan
from intervals.questions.plan.planning import PlanAsked, Planning
from intervals.questions.plan.stock import read_stock
from intervals.questions.plan.stop_slots import Grain, crew_weeks, slots_of
from intervals.site.model import Site

_LISTED = 4
_NO_DAY, NO_SOLVER = "CLI157", "CLI158"
_SOLVER = "ortools"
_INSTALL = "pip install 'engine-intervals[plan]', or pip install '.[plan]' in a clone"


def make_plan(site: Site, as_of: date | datetime, asked: PlanAsked, *, now_us: int | None = None, progress: Progress | None = None) -> Plan:
    """Return the plan of stops of a site.

    Args:
        site: the site.
        as_of: the moment of judging, as for `assess_site`.
        asked: until when, by weeks or days, what is kept.
        now_us: the clock, UTC microseconds, or None.
        progress: called with a few words and the share done.

    Raises:
        ProblemsError: everything that stops the judging; what the plan cannot be made of.
    """
    check_solver()
    inputs = read_inputs(site, as_of, now_us=now_us, tasks=asked.tasks, progress=progress)
    uses: dict[str, OilUse] = {}

    def note_use(judged: JudgedEngine) -> None:
        use = oil_use_of(judged.case)
        if use is not None:
            uses[judged.case.engine.id] = use

    # who watches has all engines judged in one process
    is_counted = any(OIL in source.quantities for source in site.readings)
    findings = judge_inputs(inputs, engines=asked.engines, tasks=asked.tasks, watch=note_use if is_counted else None, progress=progress)
    planning = prepare_plan(inputs, findings, asked, uses)
    return plan_of(planning, solve_planned(planning, progress))


def check_solver() -> None:
    """Refuse (CLI158) to plan where the solver is not installed."""
    if find_spec(_SOLVER) is None:
        raise RequestProblemError([Problem(NO_SOLVER, "plan", None, None, f"not installed: {_SOLVER}", _INSTALL)])


def solve_planned(planning: Planning, progress: Progress | None = None) -> Solved:
    """Return what is done when.

    Raises:
        RequestProblemError: the solver is there and cannot be loaded (code CLI158).
    """
    try:
        from intervals.questions.plan.solve_part import solve_part  # noqa: PLC0415 - the solver is an extra, and slow to load
    except ImportError as error:
        text = f"cannot be loaded: {_SOLVER} ({' '.join(str(error).split())})"
        raise RequestProblemError([Problem(NO_SOLVER, "plan", None, None, text, _INSTALL)]) from None

    return solve_whole(planning.whole, solve_part, jobs=planning.asked.jobs, progress=progress)


def prepare_plan(
    inputs: Inputs, findings: Findings, asked: PlanAsked, uses: Mapping[str, OilUse], *, ruleset: str | None = None
) -> Planning:
    """Return everything that a plan is made of.

    Args:
        inputs: what the findings rest on.
        findings: what was found.
        asked: what is asked for.
        uses: engine -> the oil that it uses up between changes.
        ruleset: the rule set that judged instead of the site's, or None.

    Raises:
        RequestProblemError: the last day is not after the first (code CLI157); files that cannot be read (CLI155).
    """
    site, today = inputs.site, inputs.moment.last_day
    until = asked.until or today + timedelta(days=365)
    first = today + timedelta(days=1)
    if until < first:
        text = f"a plan until {until.isoformat()} has no day: it begins on {first.isoformat()}"
        raise RequestProblemError([Problem(_NO_DAY, "--until", None, None, text, "name a later day")])
    planned = jobs_of(inputs, findings, ruleset=ruleset)
    before = asked.before or PlanBefore({}, {})
    carried = carried_stops(before, asked.engines, [unit.id for unit in site.judged_units], until)
    fixed, lost = _fixed(
        {key: days for key, days in before.fixed.items() if key[0] in (asked.engines or (key[0],))}, planned.jobs, first, until
    )
    jobs = tuple(job for job in planned.jobs if job.limit <= until or (job.engine, job.name) in fixed)
    closed = blackout_days(site, first, until)
    at_weekends = site.prefer is not None and site.prefer.days == "weekend"
    slots = _slots(site, jobs, asked.slots, closed, fixed, (first, until))
    shut = {engine for engine, own in slots.items() if not own}
    unplaced = tuple(Unplaced(job.engine, job.name, _no_day(closed[job.engine])) for job in jobs if job.engine in shut)
    closed_for_all = set.intersection(*(set(days) for days in closed.values())) if closed else set()
    whole = Part(
        jobs=tuple(job for job in jobs if job.engine not in shut),
        slots={engine: own for engine, own in slots.items() if own},
        until=until,
        hours_a_slot=WEEK_H if asked.slots == "week" else DAY_H,
        groups=tuple(group_of(group, carried, asked.slots) for group in site.groups),
        crews=tuple(
            replace(crew, used=hours_used(carried, crew.name))
            for crew in crews_of(
                site, jobs, planned, lambda hours: crew_weeks(hours, closed_for_all, first, until, at_weekends=at_weekends)
            )
        ),
        fixed={key: days for key, days in fixed.items() if key[0] not in shut},
        before=_between(before.days, first, until) if asked.keeps else None,
        aims=asked.aims,
    )
    lost = (*lost, *crew_notes(inputs, planned, jobs))
    placed = replace(planned, unplaced=(*planned.unplaced, *unplaced))
    return Planning(inputs, findings, placed, whole, closed, asked, uses, read_stock(site.folder), carried, lost)


def _no_day(closed: Mapping[date, str]) -> str:
    """Return why an engine has no day at all, with the reasons of its blackouts."""
    reasons = list(dict.fromkeys(reason for _, reason in sorted(closed.items())))
    return "there is no day on which the engine can be stopped" + (f": {', '.join(reasons[:_LISTED])}" if reasons else "")


def _slots(  # noqa: PLR0913 - what a calendar of stops is made of
    site: Site,
    jobs: tuple[Job, ...],
    grain: Grain,
    closed: Mapping[str, Mapping[date, str]],
    fixed: Days,
    span: tuple[date, date],
) -> dict[str, tuple[Slot, ...]]:
    """Return for each engine the days on which it can be stopped."""
    cost = costs_of(site)
    at_weekends = site.prefer is not None and site.prefer.days == "weekend"
    return {
        engine: slots_of(
            *span,
            grain,
            closed=closed[engine],
            fixed={day for key, days in fixed.items() if key[0] == engine for day in days},
            cost=cost,
            at_weekends=at_weekends,
        )
        for engine in dict.fromkeys(job.engine for job in jobs)
    }


def _fixed(fixed: Days, jobs: tuple[Job, ...], first: date, until: date) -> tuple[dict[tuple[str, str], tuple[date, ...]], tuple[str, ...]]:
    """Return the fixed stops that are still to come and are of jobs there are, and sentences about the others."""
    known = {(job.engine, job.name) for job in jobs}
    kept: dict[tuple[str, str], tuple[date, ...]] = {}
    lost: list[str] = []
    gone: dict[tuple[str, date], list[str]] = {}
    for (engine, task), days in fixed.items():
        for day in days:
            if day < first:
                gone.setdefault((engine, day), []).append(task)
        ahead = tuple(day for day in days if first <= day <= until)
        if (engine, task) in known and ahead:
            kept[engine, task] = ahead
        elif ahead:
            lost.append(f"{engine} {task} was fixed on {ahead[0].isoformat()}, and is no task that a stop is planned for")
    past = (
        f"{engine} was fixed on {day.isoformat()}, before the first day of this plan: the stop is left out ({', '.join(tasks)})"
        for (engine, day), tasks in gone.items()
    )
    return kept, (*lost, *past)


def _between(days: Days, first: date, last: date) -> Days:
    """Return the days that lie in the plan."""
    inside = {key: tuple(day for day in many if first <= day <= last) for key, many in days.items()}
    return {key: many for key, many in inside.items() if many}
