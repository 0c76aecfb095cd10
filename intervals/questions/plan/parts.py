"""What of a plan is solved together: engines that no group and no crew binds to one another are parts of their own.

In: a whole plan as one `Part`. Out: its parts, and what was found for them put together. Many engines that share one crew are solved
group by group, each with the hours that are left: then nothing is proved, and the bound is that of the engines without the crew.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date

from intervals.processes import map_in_processes, processes_for, processors
from intervals.questions.plan.part_models import CrewHours, Done, Part, Reached, Solved

MOST_TOGETHER = 8
"""More engines than these, bound by a crew alone, are not solved in one model."""
_LEAST_LIMIT, _LIMIT_FOR_ALL = 1.2, 40.0
_ENDLESS_H = 1e6

Progress = Callable[[str, float], None]
Solve = Callable[[Part], Solved]


def solve_whole(whole: Part, solve: Solve, *, jobs: int | None = None, progress: Progress | None = None) -> Solved:
    """Return the plan of a whole site.

    Args:
        whole: everything that is planned.
        solve: what solves one part.
        jobs: how many processes share the parts; None: as many as processors.
        progress: called with a few words and the share done.
    """
    together = parts_of(whole, by_crew=True)
    small = [part for part in together if _count(part) <= MOST_TOGETHER]
    found = _solved(small, solve, jobs, progress)
    for part in together:
        if _count(part) > MOST_TOGETHER:
            found.append(_solve_pooled(part, solve, jobs, progress))
    return _put_together(found)


def parts_of(whole: Part, *, by_crew: bool) -> list[Part]:
    """Return the parts of a plan, in the order of its engines.

    Args:
        whole: everything that is planned.
        by_crew: whether engines of one crew stay together where its hours may not be enough for all of them.
    """
    engines = list(dict.fromkeys(job.engine for job in whole.jobs))
    bonds = [[each for each in group.engines if each in engines] for group in whole.groups if group.at_most < len(group.engines)]
    if by_crew:
        bonds += [sorted({engine for engine, _ in crew.jobs if engine in engines}) for crew in whole.crews if _may_lack(whole, crew)]
    roots = {engine: engine for engine in engines}

    def root(engine: str) -> str:
        while roots[engine] != engine:
            engine = roots[engine]
        return engine

    for bond in bonds:
        for engine in bond[1:]:
            roots[root(engine)] = root(bond[0])
    members: dict[str, list[str]] = defaultdict(list)
    for engine in engines:
        members[root(engine)].append(engine)
    limit = max(_LEAST_LIMIT, min(whole.limit, _LIMIT_FOR_ALL / max(1, len(members))))
    return [_part(whole, set(each), limit) for each in members.values()]


def _count(part: Part) -> int:
    """Return how many engines a part has."""
    return len({job.engine for job in part.jobs})


def _part(whole: Part, engines: set[str], limit: float) -> Part:
    """Return the part of some engines."""
    return replace(
        whole,
        jobs=tuple(job for job in whole.jobs if job.engine in engines),
        slots={engine: slots for engine, slots in whole.slots.items() if engine in engines},
        fixed={key: days for key, days in whole.fixed.items() if key[0] in engines},
        before=None if whole.before is None else {key: days for key, days in whole.before.items() if key[0] in engines},
        groups=tuple(group for group in whole.groups if engines & set(group.engines)),
        limit=limit,
    )


def _may_lack(whole: Part, crew: CrewHours) -> bool:
    """Tell whether a crew's hours may not be enough: all its jobs in one week take more than its shortest week has."""
    load = sum(job.person_hours for job in whole.jobs if (job.engine, job.name) in crew.jobs)
    return load > min([crew.hours_per_week, *(crew.hours_in(week) for week in {*crew.weeks, *crew.used})])


def _solved(parts: Sequence[Part], solve: Solve, jobs: int | None, progress: Progress | None) -> list[Solved]:
    """Return what is found for each part, in processes of their own where there are several."""
    count = processes_for(len(parts), jobs or processors()) if len(parts) > 1 else 1

    def solve_one(item: tuple[int, Part]) -> Solved:
        if progress is not None:
            # only what this process does is seen here, which is the first of several like parts
            progress(f"planning part {item[0] + 1} of {len(parts)}", min(1.0, item[0] * count / len(parts)))
        return solve(item[1])

    return map_in_processes(solve_one, list(enumerate(parts)), count) if parts else []


def _solve_pooled(part: Part, solve: Solve, jobs: int | None, progress: Progress | None) -> Solved:
    """Return a plan for many engines of one crew: each group of them without the crew, and where that does not fit one after the other."""
    pieces = parts_of(part, by_crew=False)
    free = [replace(piece, crews=tuple(replace(crew, weeks=_endless(piece)) for crew in piece.crews)) for piece in pieces]
    alone = _put_together(_solved(free, solve, jobs, progress))
    load = _loads(part, alone.done)
    if all(hours <= crew.hours_in(week) + 1e-6 for crew in part.crews for week, hours in load[crew.name].items()):
        return alone
    found: list[Solved] = []
    done: list[Done] = []
    for number, piece in enumerate(pieces):
        if progress is not None:
            progress(f"planning part {number + 1} of {len(pieces)}", number / len(pieces))
        used = _loads(part, done)
        crews = tuple(
            replace(crew, weeks={week: max(0.0, crew.hours_in(week) - used[crew.name].get(week, 0.0)) for week in _weeks(piece)}, used={})
            for crew in part.crews
        )
        found.append(solve(replace(piece, crews=crews)))
        done += found[-1].done
    whole = _put_together(found)
    bounds = {each.aim: each.bound for each in alone.reached}
    return replace(
        whole,
        status="best so far",
        reached=tuple(each._replace(bound=min(each.value, bounds.get(each.aim, each.bound))) for each in whole.reached),
    )


def _endless(part: Part) -> dict[date, float]:
    """Return weeks without a limit."""
    return dict.fromkeys(_weeks(part), _ENDLESS_H)


def _weeks(part: Part) -> list[date]:
    """Return the weeks of a part."""
    return sorted({slot.week for slots in part.slots.values() for slot in slots})


def _loads(part: Part, done: Iterable[Done]) -> dict[str, dict[date, float]]:
    """Return the hours of each crew by week."""
    loads: dict[str, dict[date, float]] = {crew.name: defaultdict(float) for crew in part.crews}
    for crew, week, hours in crew_loads(part, done):
        loads[crew][week] += hours
    return loads


def crew_loads(part: Part, done: Iterable[Done]) -> Iterator[tuple[str, date, float]]:
    """Yield what jobs take of a crew in each week: name, Monday, hours.

    Args:
        part: what was planned.
        done: what is done when.
    """
    jobs = {(job.engine, job.name): job for job in part.jobs}
    for each in done:
        job = jobs[each.engine, each.job]
        crew = part.crew_of(job)
        if crew is None:
            continue
        slots = [slot for slot in part.slots[job.engine] if each.start <= slot.day <= each.end]
        for slot in slots:
            yield crew.name, slot.week, job.person_hours / len(slots)


def _put_together(found: Sequence[Solved]) -> Solved:
    """Return several answers as one."""
    aims = dict.fromkeys(each.aim for solved in found for each in solved.reached)
    reached = tuple(
        Reached(
            aim, *(sum(getattr(each, of) for solved in found for each in solved.reached if each.aim == aim) for of in ("value", "bound"))
        )
        for aim in aims
    )
    is_proved = all(solved.status == "optimal" for solved in found)
    done = sorted((each for solved in found for each in solved.done), key=lambda each: (each.start, each.engine, each.job))
    return Solved(tuple(done), "optimal" if is_proved else "best so far", reached)
