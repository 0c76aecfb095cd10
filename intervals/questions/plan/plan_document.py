"""A plan put together: its stops with what each takes, what is late or early in them, the load of the crews, what moved.

In: what was planned, and what was found. Out: a `Plan`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from intervals.questions.card.bring import Bring, bring_of
from intervals.questions.card.card_procedures import TaskOfStop, card_procedures
from intervals.questions.plan.carried_stops import carried_notes
from intervals.questions.plan.job_models import Job
from intervals.questions.plan.job_slots import MOST_LIFE_AWAY
from intervals.questions.plan.part_models import Done, Solved
from intervals.questions.plan.parts import crew_loads
from intervals.questions.plan.parts_and_oil import month_needs, orders_of
from intervals.questions.plan.plan_models import (
    AimReached,
    CrewLoad,
    EarlyTask,
    LateTask,
    LeftOver,
    MovedTask,
    NeededOil,
    NeededPart,
    Plan,
    PlannedStop,
    UnplacedTask,
)
from intervals.questions.plan.plan_reasons import Completion, Read, WhyLate, read_plan
from intervals.questions.plan.planning import Planning
from intervals.questions.plan.stock import STOCK_FILE
from intervals.shown_numbers import percentage

_LANGUAGE = "en"
_LEAST_SHARE = 0.005
_MOST_NAMED = 6


def plan_of(planning: Planning, solved: Solved) -> Plan:
    """Return the plan as a document.

    Args:
        planning: what it rests on.
        solved: what is done when.
    """
    inputs, whole = planning.inputs, planning.whole
    read = read_plan(whole, solved.done)
    due = {
        (finding.engine, planning.findings.name_of(finding)): finding.due_on or ""
        for finding in planning.findings.findings
        if finding.standing == "overdue"
    }
    why = WhyLate(whole, solved.done, planning.closed, inputs.moment.last_day, due)
    stops = tuple(sorted([*_stops(planning, solved, read, why), *planning.carried], key=lambda stop: (stop.day, stop.engine)))
    first = inputs.moment.last_day + timedelta(days=1)
    months = month_needs(stops, planning.uses, first, whole.until)
    return Plan(
        site=inputs.site.site,
        site_title=inputs.site.title,
        as_of=planning.findings.as_of,
        until=whole.until.isoformat(),
        slots=planning.asked.slots,
        status=solved.status,
        gap=gap_of(solved),
        aims=tuple(AimReached.model_validate(each._asdict()) for each in solved.reached),
        stops=stops,
        unplaced=(
            *(UnplacedTask(engine=each.engine, task=each.task, why=each.why) for each in planning.planned.unplaced),
            *(
                UnplacedTask(engine=job.engine, task=job.name, why=f"due by {limit.isoformat()}: {why.why(job, limit, since)}")
                for job, limit, since in read.undone
            ),
        ),
        crews=tuple(_loads(planning, solved.done)),
        moved=tuple(_moved(planning, solved.done)),
        months=months,
        orders=() if planning.stock is None else orders_of(stops, months, planning.stock, first, whole.until),
        notes=(*_notes(planning), *_early_notes(planning, read), *_stock_notes(planning, stops)),
    )


def gap_of(solved: Solved) -> float:
    """Return by what share of its value the first aim that is not proved could at most be better; 0 where all is proved.

    Args:
        solved: what was found.
    """
    if solved.status == "optimal":
        return 0.0
    return next(((each.value - each.bound) / max(1.0, abs(each.value)) for each in solved.reached if each.value - each.bound > 1e-6), 0.0)  # noqa: PLR2004 - what adding up rounds to


def _stops(planning: Planning, solved: Solved, read: Read, why: WhyLate) -> Iterator[PlannedStop]:
    """Yield the stops in order of time: what begins at one engine on one day is one stop."""
    jobs = {(job.engine, job.name): job for job in planning.whole.jobs}
    completions = {(each.job.engine, each.job.name, each.start): each for each in read.completions if each.is_own}
    stops: dict[tuple[date, str], list[Done]] = defaultdict(list)
    for each in solved.done:
        stops[each.start, each.engine].append(each)
    for (day, engine), here in sorted(stops.items()):
        own = [jobs[engine, each.job] for each in here]
        # a completion that another job made needless has no limit of its own
        limits = [found for job in own if (found := completions.get((engine, job.name, day))) is not None]
        yield _stop(planning, day, max(each.end for each in here), own, limits, why)


def _stop(  # noqa: PLR0913 - what one stop is made of
    planning: Planning, day: date, last: date, jobs: Sequence[Job], limits: Sequence[Completion], why: WhyLate
) -> PlannedStop:
    """Return one stop: what is done, what it takes, what of it is late or early."""
    bring = _bring(planning, jobs)
    crews = [planning.whole.crew_of(job) for job in jobs]
    return PlannedStop(
        engine=jobs[0].engine,
        day=day.isoformat(),
        until=None if last == day else last.isoformat(),
        tasks=tuple(job.name for job in jobs),
        hours=round((bring.hours or 0.0) + sum(job.hours for job in jobs if not job.is_stated), 3),
        people=max(job.people for job in jobs),
        stopped=any(job.stops for job in jobs),
        fixed=any(day in planning.whole.fixed.get((job.engine, job.name), ()) for job in jobs),
        crew=tuple(dict.fromkeys(crew.name for crew in crews if crew is not None)),
        late=tuple(_late(each, why) for each in limits if each.late_d),
        early=tuple(EarlyTask(task=each.job.name, share=round(each.share_away, 3)) for each in limits if each.share_away >= _LEAST_SHARE),
        parts=tuple(NeededPart(part=each.part, count=each.count) for each in bring.parts),
        oil=tuple(NeededOil(grade=each.grade, litres=each.litres) for each in bring.oil),
        waste=tuple(LeftOver(name=each.name, value=each.value) for each in bring.waste),
    )


def _late(each: Completion, why: WhyLate) -> LateTask:
    """Return a task that is done after its limit; where that was past before the plan began, the day on which it fell due is said."""
    limit = why.fell_due(each.job, each.limit) or each.limit
    return LateTask(
        task=each.job.name, limit=limit.isoformat(), late_d=(each.end - limit).days, why=why.why(each.job, each.limit, each.since)
    )


def _bring(planning: Planning, jobs: Sequence[Job]) -> Bring:
    """Return what the procedures of a stop take; of tasks without a procedure nothing is known."""
    site = planning.inputs.site
    engine = next(unit for unit in site.judged_units if unit.id == jobs[0].engine)
    tasks = [
        TaskOfStop(planning.planned.rulesets[job.engine, job.name], planning.planned.tasks[job.engine, job.name], job.name) for job in jobs
    ]
    found = [each.procedure for each in card_procedures(tasks, engine) if each.is_written and each.procedure.hours is not None]
    rest = [each.procedure for each in card_procedures(tasks, engine) if each.is_written and each.procedure.hours is None]
    whole = bring_of([*found, *rest], engine, _LANGUAGE)
    return whole._replace(hours=bring_of(found, engine, _LANGUAGE).hours)


def _loads(planning: Planning, done: Sequence[Done]) -> Iterator[CrewLoad]:
    """Yield what each crew has to do in each week in which it has anything to do."""
    loads: dict[tuple[str, date], float] = defaultdict(float)
    for name, week, hours in crew_loads(planning.whole, done):
        loads[name, week] += hours
    for crew in planning.whole.crews:
        for week, hours in crew.used.items():
            loads[crew.name, week] += hours
        for week in sorted(week for name, week in loads if name == crew.name):
            yield CrewLoad(crew=crew.name, week=week.isoformat(), hours=round(loads[crew.name, week], 3), has=round(crew.has_in(week), 3))


def _moved(planning: Planning, done: Sequence[Done]) -> Iterator[MovedTask]:
    """Yield what stands on another day than in the plan before, each day beside the one that is nearest in order."""
    before = planning.asked.before
    if before is None:
        return
    first = planning.inputs.moment.last_day
    now: dict[tuple[str, str], list[date]] = defaultdict(list)
    for each in done:
        now[each.engine, each.job].append(each.start)
    carried = {(stop.engine, stop.day) for stop in planning.carried}
    for key in sorted({*before.days, *now}):
        old = {day for day in before.days.get(key, ()) if day > first and (key[0], day.isoformat()) not in carried}
        new = set(now.get(key, ()))
        gone, come = sorted(old - new), sorted(new - old)
        for place in range(max(len(gone), len(come))):
            yield MovedTask(
                engine=key[0],
                task=key[1],
                before=gone[place].isoformat() if place < len(gone) else None,
                now=come[place].isoformat() if place < len(come) else None,
            )


def _notes(planning: Planning) -> Iterator[str]:
    """Yield what must be known of the plan before it is used."""
    unstated = [f"{job.engine} {job.name}" for job in planning.whole.jobs if not job.is_stated]
    if unstated:
        yield f"no procedure says how long these take, so one hour of one person is taken: {_named(unstated)}"
    yield from planning.lost
    yield from carried_notes(planning.carried, planning.asked.engines)
    fixed = planning.whole.fixed
    for engine, days in planning.closed.items():
        for day in sorted({day for key, many in fixed.items() if key[0] == engine for day in many if day in days}):
            yield f"{engine} is fixed on {day.isoformat()}, when it is not to be stopped: {days[day]}"


def _early_notes(planning: Planning, read: Read) -> Iterator[str]:
    """Yield what is done long before it is due: nothing else is in time, or something else would be late."""
    fixed = planning.whole.fixed
    early = [
        f"{each.job.engine} {each.job.name} on {each.start} ({percentage(each.share_away)})"
        for each in read.completions
        if each.is_own
        and each.share_away > MOST_LIFE_AWAY + _LEAST_SHARE
        and each.start not in fixed.get((each.job.engine, each.job.name), ())
    ]
    if early:
        yield f"more than {percentage(MOST_LIFE_AWAY)} of an interval is thrown away, since no later day is in time: {_named(early)}"


def _stock_notes(planning: Planning, stops: Sequence[PlannedStop]) -> Iterator[str]:
    """Yield what of parts and oil cannot be ordered by the plan."""
    unstated = dict.fromkeys(f"{stop.engine} {part.part}" for stop in stops for part in stop.parts if part.count is None)
    unstated |= dict.fromkeys(f"{stop.engine} {oil.grade}" for stop in stops for oil in stop.oil if oil.litres is None)
    if unstated:
        yield f"how much of these is needed is not stated by the engine in site.yaml: {_named(list(unstated))}"
    stock = planning.stock
    if stock is not None:
        needed = dict.fromkeys(name for stop in stops for name in (*(part.part for part in stop.parts), *(oil.grade for oil in stop.oil)))
        unlisted = [name for name in needed if name not in stock]
        if unlisted:
            yield f"not in {STOCK_FILE}, so not ordered: {_named(unlisted)}"


def _named(names: Sequence[str]) -> str:
    """Return names, the first of many."""
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(names[:_MOST_NAMED]) + more
