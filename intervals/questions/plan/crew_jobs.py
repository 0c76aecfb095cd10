"""Which crew does which job, and what nobody does.

In: the crews of a site, and the jobs. Out: crews with their jobs; sentences about tasks that are none, and jobs without a crew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import date

from intervals.history.inputs import Inputs
from intervals.problems import nearest_of
from intervals.questions.plan.job_models import Job
from intervals.questions.plan.jobs import Planned
from intervals.questions.plan.part_models import CrewHours
from intervals.site.model import Site

_MOST_NAMED = 6
WeeksOf = Callable[[float], Mapping[date, float]]


def crews_of(site: Site, jobs: tuple[Job, ...], planned: Planned, weeks_of: WeeksOf) -> tuple[CrewHours, ...]:
    """Return the crews, each with its jobs: the first that names a task does it, else the first that names none.

    Args:
        site: the site.
        jobs: the jobs.
        planned: their tasks.
        weeks_of: from the hours of a whole week those of the weeks that are not whole.
    """
    own: dict[str, set[tuple[str, str]]] = {crew.name: set() for crew in site.crew}
    general = next((crew.name for crew in site.crew if not crew.for_), None)
    for job in jobs:
        key = (job.engine, job.name)
        task = planned.tasks[key].id
        name = next((crew.name for crew in site.crew if task in crew.for_ or job.name in crew.for_), general)
        if name is not None:
            own[name].add(key)
    return tuple(CrewHours(crew.name, crew.hours_per_week, frozenset(own[crew.name]), weeks_of(crew.hours_per_week)) for crew in site.crew)


def crew_notes(inputs: Inputs, planned: Planned, jobs: tuple[Job, ...]) -> Iterator[str]:
    """Yield sentences about tasks that a crew is for and that are none, and about jobs that no crew does.

    Args:
        inputs: what the findings rest on.
        planned: the tasks of the jobs.
        jobs: the jobs.
    """
    site = inputs.site
    tasks = [(book.ruleset.ruleset, task.id) for book in inputs.books.values() for task in book.ruleset.tasks]
    known = {*(task for _, task in tasks), *(f"{ruleset}.{task}" for ruleset, task in tasks)}
    for crew in site.crew:
        for word in crew.for_:
            if word not in known:
                yield f'the crew {crew.name} is for "{word}", which is no task{nearest_of(word, sorted(known))}'
    if site.crew and all(crew.for_ for crew in site.crew):
        named = {word for crew in site.crew for word in crew.for_}
        left = [f"{job.engine} {job.name}" for job in jobs if planned.tasks[job.engine, job.name].id not in named and job.name not in named]
        if left:
            more = f" and {len(left) - _MOST_NAMED} more" if len(left) > _MOST_NAMED else ""
            yield f"no crew is for these, so nobody's hours are counted for them: {', '.join(left[:_MOST_NAMED])}{more}"
