"""The jobs of a plan, from what `check` finds: by which day each is to be done, how often it comes, and what it takes.

In: a site's inputs and findings. Out: `Job` values, and the tasks that no day can be found for. It judges nothing: the dates are those of
the findings. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from intervals.findings import Finding, Findings
from intervals.history.inputs import Inputs
from intervals.questions.card.card_procedures import TaskOfStop, card_procedures
from intervals.questions.plan.job_intervals import interval_days, tolerance_days
from intervals.questions.plan.job_models import Job, Unplaced
from intervals.rules.procedures import Procedure
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Task
from intervals.site.engines import Engine

_UNKNOWN = "its standing is unknown, so it has no date"
_LOG_ENDED = "log_ended"


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


def jobs_of(inputs: Inputs, findings: Findings) -> Planned:
    """Return the jobs of a site, and the tasks that need a visit and have no date.

    A job is a task that stops its engine, or whose work a procedure describes. Budgets and tasks that wait for an event are none.

    Args:
        inputs: what the findings rest on.
        findings: what was found, of the engines and tasks that are to be planned.

    Raises:
        InferenceFaultError: the inference engine failed.
    """
    units = {unit.id: unit for unit in inputs.site.judged_units}
    rules = {
        unit.id: {book.ruleset.ruleset: book.ruleset for book in (inputs.books[name] for name in inputs.rulesets_of(unit, None))}
        for unit in units.values()
    }
    today, ended = inputs.moment.last_day, _last_days_of_logs(findings)
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
        limit = _limit_of(finding, task, today, known_to)
        if limit is None:
            continue
        if isinstance(limit, str):
            unplaced.append(Unplaced(finding.engine, name, limit))
            continue
        tasks[finding.engine, name], sets[finding.engine, name] = task, used
        jobs.append(_job_of(finding, task, procedure, name, limit, today, known_to))
    words = {key: (used.ruleset, tasks[key].id) for key, used in sets.items()}
    return Planned(tuple(_with_covers(jobs, words, rules, inputs)), tuple(unplaced), tasks, sets)


def _last_days_of_logs(findings: Findings) -> dict[str, date]:
    """Return the last day of each log that ended before the day of judging; a midnight is the day that ends."""
    ended = {fault.engine: fault.at for fault in findings.faults if fault.kind == _LOG_ENDED}
    grain = timedelta(microseconds=1)
    return {engine: (datetime.fromisoformat(at) - grain).date() for engine, at in ended.items() if engine is not None and at is not None}


def _procedure_of(rules: RuleSet, task: Task, engine: Engine) -> Procedure | None:
    """Return the procedure that does a task on an engine, or None where none is written."""
    if not any(task.id in procedure.tasks for procedure in rules.procedures):
        return None
    found = card_procedures([TaskOfStop(rules, task, task.id)], engine)
    return next((each.procedure for each in found if each.is_written), None)


def _limit_of(finding: Finding, task: Task, today: date, known_to: date) -> date | str | None:
    """Return the last day that is not late, or why none is known; None where it lies beyond all that can be foreseen."""
    if finding.standing == "overdue":
        return today
    ahead = finding.forecast
    day = (ahead.early or ahead.on if ahead is not None else None) or finding.due_on
    if day is None:
        return _UNKNOWN if finding.standing == "unknown" else None
    grace = 0 if finding.deferred_until is not None else tolerance_days(finding, task, today, known_to)
    return max(date.fromisoformat(day) + timedelta(days=grace), today)


def _job_of(  # noqa: PLR0913 - what a job is made of
    finding: Finding, task: Task, procedure: Procedure | None, name: str, limit: date, today: date, known_to: date
) -> Job:
    """Return the job of one finding."""
    hours = None if procedure is None else procedure.hours
    due = None if finding.due_on is None else date.fromisoformat(finding.due_on)
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
        opens=None if task.window is None or due is None else task.window.first_day(due),
    )


def _with_covers(
    jobs: list[Job], sets: Mapping[tuple[str, str], tuple[str, str]], rules: Mapping[str, Mapping[str, RuleSet]], inputs: Inputs
) -> Iterator[Job]:
    """Yield the jobs with the names of those that each does too."""
    names: dict[str, dict[str, str]] = {}
    for (engine, name), (ruleset, task) in sets.items():
        names.setdefault(engine, {})[f"{ruleset}.{task}"] = name
    for job in jobs:
        ruleset, task = sets[job.engine, job.name]
        used = rules[job.engine][ruleset]
        done = {f"{ruleset}.{each}" for each in used.renewed.get(task, {})} | set(used.task(task).same_as)
        word = f"{ruleset}.{task}"
        done |= {each for group in inputs.site.one_job if word in group for each in group}
        done |= {f"{other.ruleset}.{each.id}" for other in rules[job.engine].values() for each in other.tasks if word in each.same_as}
        here = names[job.engine]
        yield replace(job, covers=tuple(here[each] for each in here if each in done and here[each] != job.name))
