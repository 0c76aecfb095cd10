"""The jobs of a plan, from what `check` finds: by which day each is to be done, how often it comes, and what it takes.

In: a site's inputs and findings. Out: `Job` values, and the tasks that no day can be found for. It judges nothing: the dates are those of
the findings. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from intervals.findings import Finding, Findings
from intervals.history.inputs import Inputs
from intervals.questions.card.card_procedures import TaskOfStop, card_procedures
from intervals.questions.plan.job_covers import covered_by
from intervals.questions.plan.job_intervals import interval_days
from intervals.questions.plan.job_limits import last_days_of_logs, limit_of, opens_on
from intervals.questions.plan.job_models import Job, Unplaced
from intervals.rules.procedures import Procedure
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Task
from intervals.site.engines import Engine

_UNKNOWN = "its standing is unknown, so it has no date"


@dataclass(frozen=True)
class Planned:
    """The jobs of a site.

    Attributes:
        jobs: the jobs, in the order of the findings.
        unplaced: the tasks that need a visit and have no date.
        tasks: engine and name of each job -> its task.
        rulesets: the same -> its rule set.
    """

    jobs: tuple[Job, ...]
    unplaced: tuple[Unplaced, ...]
    tasks: Mapping[tuple[str, str], Task]
    rulesets: Mapping[tuple[str, str], RuleSet]


def jobs_of(inputs: Inputs, findings: Findings, *, ruleset: str | None = None) -> Planned:
    """Return the jobs of a site, and the tasks that need a visit and have no date.

    A job is a task that stops its engine, or whose work a procedure describes. Budgets and tasks that wait for an event are none.

    Args:
        inputs: what the findings rest on.
        findings: what was found, of the engines and tasks that are to be planned.
        ruleset: the rule set that judged instead of the site's, or None.

    Raises:
        InferenceFaultError: the inference engine failed.
    """
    units = {unit.id: unit for unit in inputs.site.judged_units}
    rules = {
        unit.id: {book.ruleset.ruleset: book.ruleset for book in (inputs.books[name] for name in inputs.rulesets_of(unit, ruleset))}
        for unit in units.values()
    }
    today, ended = inputs.moment.last_day, last_days_of_logs(findings)
    jobs: list[Job] = []
    unplaced: list[Unplaced] = []
    tasks: dict[tuple[str, str], Task] = {}
    sets: dict[tuple[str, str], RuleSet] = {}
    for finding in findings.findings:
        engine = units.get(finding.engine)
        used = rules.get(finding.engine, {}).get(finding.ruleset)
        task = None if used is None else next((each for each in used.tasks if each.id == finding.task), None)
        if engine is None or used is None or task is None or finding.waits:
            continue
        procedure = _procedure_of(used, task, engine)
        if not task.stops_engine and procedure is None:
            continue
        name = findings.name_of(finding)
        known_to = ended.get(finding.engine, today)
        limit = limit_of(finding, task, today, known_to)
        if limit is None and finding.standing != "unknown":
            # not foreseen to fall due at all
            continue
        if limit is None:
            unplaced.append(Unplaced(finding.engine, name, _UNKNOWN))
            continue
        tasks[finding.engine, name], sets[finding.engine, name] = task, used
        jobs.append(_job_of(finding, task, procedure, name, limit.day, today, known_to))
    words = {key: (used.ruleset, tasks[key].id) for key, used in sets.items()}
    return Planned(tuple(_with_covers(jobs, words, rules, inputs)), tuple(unplaced), tasks, sets)


def _procedure_of(rules: RuleSet, task: Task, engine: Engine) -> Procedure | None:
    """Return the procedure that does a task on an engine, or None where none is written."""
    if not any(task.id in procedure.tasks for procedure in rules.procedures):
        return None
    found = card_procedures([TaskOfStop(rules, task, task.id)], engine)
    return next((each.procedure for each in found if each.is_written), None)


def _job_of(  # noqa: PLR0913 - what a job is made of
    finding: Finding, task: Task, procedure: Procedure | None, name: str, limit: date, today: date, known_to: date
) -> Job:
    """Return the job of one finding."""
    hours = None if procedure is None else procedure.hours
    return Job(
        engine=finding.engine,
        name=name,
        title=finding.title,
        limit=limit,
        interval_d=interval_days(finding, task, today, known_to),
        hours=1.0 if hours is None else float(hours),
        people=1 if procedure is None else procedure.people,
        is_stated=hours is not None,
        stops=task.stops_engine,
        opens=opens_on(finding, task),
    )


def _with_covers(
    jobs: list[Job], sets: Mapping[tuple[str, str], tuple[str, str]], rules: Mapping[str, Mapping[str, RuleSet]], inputs: Inputs
) -> Iterator[Job]:
    """Yield the jobs with the names of those that each does too."""
    names: dict[str, dict[str, str]] = {}
    for (engine, name), (ruleset, task) in sets.items():
        names.setdefault(engine, {})[f"{ruleset}.{task}"] = name
    for job in jobs:
        yield replace(job, covers=covered_by(*sets[job.engine, job.name], names[job.engine], rules[job.engine], inputs.site))
