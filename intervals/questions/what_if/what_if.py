"""The whole past judged again under changed rules, beside the rules as they are. No file is touched.

In: a site, a moment, and changes of its rules. Out: a `WhatIf`. Both sides are judged by `judge_inputs`, as a check is; so a what-if
without a change gives what a check gives. Refuses what a check refuses, and a change that the rules have no place for (CLI131).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import numpy as np

from intervals.findings import Finding, Findings, Totals
from intervals.history.inputs import Inputs, Progress, read_inputs
from intervals.history.unknown_names import engine_problems, is_asked
from intervals.judge.compliance import LATE, Month, occurrences_in
from intervals.judge.engine_answers import JudgedEngine
from intervals.judge.skipped import due_points_reached
from intervals.language.legs import rounded
from intervals.local_days import DAY_US
from intervals.problems import Problem, ProblemsError
from intervals.questions.check.assess import judge_inputs
from intervals.questions.duty.duty import span_of_a_year
from intervals.questions.duty.duty_models import TaskDuty
from intervals.questions.duty.duty_tasks import task_duty
from intervals.questions.what_if.what_if_models import Compared, Judged, Past, StopsCompared, WhatIf
from intervals.readings import Readings
from intervals.rulebook.inference import InferenceFaultError
from intervals.rulebook.rulebook import RuleBook, level_names
from intervals.rules.changes import RuleChanges, changed_rulesets
from intervals.rules.review.site_fit import check_against_site
from intervals.rules.ruleset import find_ruleset
from intervals.site.model import Site
from intervals.windows.chain import TaskChain, WindowEnd, crossing_us
from intervals.windows.further_points import jobs_worth

Key = tuple[str, str, str]
"""Ids of an engine, of a rule set, of a task."""


def compare_rules(  # noqa: PLR0913 - every argument is one thing a user can ask for
    site: Site,
    as_of: date | datetime,
    changes: RuleChanges,
    *,
    ruleset: str | None = None,
    now_us: int | None = None,
    engines: Collection[str] = (),
    tasks: Collection[str] = (),
    stops: bool = False,
    ahead: Callable[[], Readings] | None = None,
    progress: Progress | None = None,
) -> WhatIf:
    """Return a site judged by its own rules and by changed ones, task by task.

    Args:
        site: the site.
        as_of: the moment of judging, as for `assess_site`.
        changes: what is changed, in the rules of the site or in `ruleset`.
        ruleset: name or path of a rule set that takes the place of the site's; None: its own, changed.
        now_us: the clock, UTC microseconds. None: no clock.
        engines: ids to judge; none means all.
        tasks: ids to judge; none means all.
        stops: whether the year ahead is planned under both, which takes the solver its time.
        ahead: waits for the readings, where somebody has begun to read them; None: they are read here.
        progress: called with a few words and the share done.

    Raises:
        ProblemsError: everything that stops the judging, at once.
    """
    inputs = read_inputs(site, as_of, now_us=now_us, asked=engine_problems(site, engines), ahead=ahead, progress=progress)
    beside, names = (Path.cwd(), [ruleset]) if ruleset else (site.folder, list(inputs.books))
    changed = changed_rulesets({name: find_ruleset(name, beside) for name in names}, changes)
    problems: list[Problem] = [problem for made in changed.values() for problem in check_against_site(made, site)]
    if problems:
        raise ProblemsError(problems)
    after_inputs = replace(inputs, books={name: RuleBook(made, level_names(site)) for name, made in changed.items()})
    known = _task_names(inputs)
    asked = [task for task in tasks if task in known]
    before, past_before = _judge(inputs, None, engines, asked)
    if tasks and not asked:
        # what was asked for is only in the other rule set
        nothing = Totals(overdue=0, upcoming=0, in_interval=0, unknown=0, skipped_open=0)
        before, past_before = before.model_copy(update={"findings": (), "skipped": (), "totals": nothing}), {}
    # a rule set that takes the place of others has no task of theirs, but may have one of the same id
    wanted = [known.get(task, task) if ruleset else task for task in tasks]
    there = _task_names(after_inputs)
    after, past_after = _judge(after_inputs, ruleset, engines, [task for task in wanted if task in there or task not in known])
    asked_changes = (*([f"rule set {ruleset}"] if ruleset else []), *changes.words)
    planned: tuple[StopsCompared | None, str | None] = (None, None)
    if stops:
        from intervals.questions.what_if.stops_ahead import SideJudged, stops_compared  # noqa: PLC0415 - only who asks waits for it

        sides = SideJudged(inputs, before, None), SideJudged(after_inputs, after, ruleset)
        # what reads elsewhere, such as a cluster, has threads that a copy of this process would lack
        planned = stops_compared(*sides, tuple(engines), progress, jobs=None if ahead is None else 1)
    return WhatIf(
        site=site.site,
        as_of=before.as_of,
        changes=asked_changes,
        rulesets_before=before.rulesets,
        rulesets_after=after.rulesets,
        totals_before=before.totals,
        totals_after=after.totals,
        tasks=tuple(_compared(before, past_before, after, past_after)),
        warnings=before.warnings,
        stops=planned[0],
        stops_unknown=planned[1],
    )


def _task_names(inputs: Inputs) -> dict[str, str]:
    """Return the ids of all tasks by how they may be asked for: bare, and as `set.task`."""
    tasks = [(book.ruleset.ruleset, task.id) for book in inputs.books.values() for task in book.ruleset.tasks]
    return {f"{ruleset}.{task}": task for ruleset, task in tasks} | {task: task for _, task in tasks}


def _judge(
    inputs: Inputs, ruleset: str | None, engines: Collection[str], tasks: Collection[str]
) -> tuple[Findings, dict[Key, tuple[Past | None, TaskDuty | None]]]:
    """Judge one side: its findings, and by engine, rule set and task the past and the duty."""
    past: dict[Key, tuple[Past | None, TaskDuty | None]] = {}

    def look_back(judged: JudgedEngine) -> None:
        span = span_of_a_year(inputs, judged.case)
        for name, chain in judged.chains.items():
            if is_asked(tasks, judged.case.ruleset, name):
                past[judged.case.engine.id, judged.case.ruleset, name] = past_of(chain), task_duty(span, chain.task)

    return judge_inputs(inputs, ruleset=ruleset, engines=engines, tasks=tasks, watch=look_back), past


def past_of(chain: TaskChain) -> Past | None:
    """Return how a task went as far as its records reach back; None where the rules could not be fired."""
    since = chain.records_from_us
    try:
        windows = [window for window in chain.every_window() if window.legs and (since is None or window.end_us > since)]
        ever = Month("", 0, chain.case.end_us)
        late = [entry for _, entry in occurrences_in(chain, windows, [ever]) if entry.met in LATE]
        lines = [(window, crossing_us(chain, window)) for window in windows]
    except InferenceFaultError:
        return None
    overdue = [(window, at_us) for window, at_us in lines if at_us is not None]
    return Past(
        done=sum(window.completion is not None for window in windows),
        intervals_used=rounded(sum(jobs_worth(window.governing) for window in windows if window.governing is not None)),
        fell_due=sum(due_points_reached(chain.task, window.governing) for window in windows if window.governing is not None),
        late=len(late),
        missed=sum(entry.met == "missed" for entry in late),
        overdue_h=rounded(sum(_ran_since(chain, window, at_us) for window, at_us in overdue)),
        overdue_d=rounded(sum((window.end_us - at_us) / DAY_US for window, at_us in overdue)),
    )


def _ran_since(chain: TaskChain, window: WindowEnd, at_us: int) -> float:
    """Return the running hours from an instant to the end of its window."""
    ledger = chain.case.ledger
    return float(ledger.running_h[window.end_edge]) - float(np.interp(at_us, ledger.edges_us, ledger.running_h))


def _compared(
    before: Findings,
    past_before: dict[Key, tuple[Past | None, TaskDuty | None]],
    after: Findings,
    past_after: dict[Key, tuple[Past | None, TaskDuty | None]],
) -> list[Compared]:
    """Return both sides of every task: in the order of the rules as they are, then what only the changed ones have."""
    pairs = _paired(before.findings, after.findings)
    order = {name: place for place, name in enumerate(dict.fromkeys(each.engine for side in (before, after) for each in side.findings))}
    rows = []
    for was, now in pairs:
        either = now or was
        if either is None:
            continue
        sides = [
            None if finding is None else _judged(finding, *past.get((finding.engine, finding.ruleset, finding.task), (None, None)))
            for finding, past in ((was, past_before), (now, past_after))
        ]
        shown = (was or either).ruleset
        rows.append(Compared(engine=either.engine, ruleset=shown, task=either.task, title=either.title, before=sides[0], after=sides[1]))
    return sorted(rows, key=lambda row: order[row.engine])


def _paired(before: Sequence[Finding], after: Sequence[Finding]) -> list[tuple[Finding | None, Finding | None]]:
    """Return the findings of both sides task by task: under the same rule set, or where another took its place, under that one."""
    left: dict[tuple[str, str], list[Finding]] = defaultdict(list)
    for finding in after:
        left[finding.engine, finding.task].append(finding)
    sets_before = {(finding.engine, finding.ruleset) for finding in before}
    pairs: list[tuple[Finding | None, Finding | None]] = []
    for finding in before:
        others = left[finding.engine, finding.task]
        own = [each for each in others if each.ruleset == finding.ruleset]
        own += [each for each in others if (each.engine, each.ruleset) not in sets_before]
        if own:
            others.remove(own[0])
        pairs.append((finding, own[0] if own else None))
    taken = {id(now) for _, now in pairs}
    return [*pairs, *((None, finding) for finding in after if id(finding) not in taken)]


def _judged(finding: Finding, past: Past | None, duty: TaskDuty | None) -> Judged:
    """Return one side of a task."""
    leg = finding.governing_leg
    return Judged(
        standing=finding.standing,
        within_tolerance=finding.within_tolerance,
        used=None if leg is None else leg.used,
        allowed=None if leg is None else leg.allowed,
        unit=None if leg is None else leg.unit,
        due_on=finding.due_on,
        past=past,
        lasts_h=None if duty is None else duty.effective_h,
        per_year=None if duty is None else duty.per_year,
    )
