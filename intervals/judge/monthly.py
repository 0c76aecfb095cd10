"""The month's report: everything that the page, the workbook and the calendar show, worked out.

In: a site and a month. Out: a `MonthReport`. Readings are read once; each engine is judged at the month's end, and once more at
the end of the month before; the twelve months' compliance comes from the same windows. Refuses what `assess_site` refuses.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

from intervals.findings import Compliance, Finding, Findings, Occurrence, Skipped
from intervals.inference import InferenceFaultError
from intervals.judge.assess import judge_inputs
from intervals.judge.compliance import Month, month_compliance, occurrences_of
from intervals.judge.digests import input_files
from intervals.judge.engine_answers import JudgedEngine
from intervals.judge.explain import explanation_of
from intervals.judge.explanation_models import Explanation
from intervals.judge.inputs import Inputs, Progress, moment_of, read_inputs
from intervals.judge.month_engine import engine_month
from intervals.judge.month_models import Action, MonthFigure, MonthReport, TaskRow, ToldWord
from intervals.judge.month_rules import ACTION_RULES, MonthRules
from intervals.judge.month_wording import changes_between, expected_of, left_of, sentence_of
from intervals.judge.months import month_problems
from intervals.judge.requests import engine_problems
from intervals.problems import ProblemsError
from intervals.rules.tasks import Task
from intervals.site.model import Site
from intervals.urgency import by_urgency

MONTHS_BACK = 12


def report_month(  # noqa: PLR0913 - every argument is one thing a user can ask for
    site: Site,
    as_of: date | datetime,
    month: str,
    *,
    now_us: int | None = None,
    ruleset: str | None = None,
    engines: Collection[str] = (),
    tasks: Collection[str] = (),
    progress: Progress | None = None,
) -> MonthReport:
    """Return the report of a month.

    Args:
        site: the site.
        as_of: the moment of judging: the month's last day, or some moment inside it.
        month: `YYYY-MM`, the month that `as_of` lies in.
        now_us: the clock, UTC microseconds; later rows and records are faults. None: no clock.
        ruleset: name or path of a rule set to judge by instead of the site's.
        engines: ids to judge; none means all.
        tasks: ids to judge; none means all.
        progress: called with a few words and the share done.

    Raises:
        ProblemsError: everything that stops the judging, at once.
    """
    asked = [*engine_problems(site, engines), *month_problems(site, month, now_us)]
    inputs = read_inputs(site, as_of, now_us=now_us, ruleset=ruleset, asked=asked, tasks=tasks, progress=progress)
    judged: list[JudgedEngine] = []
    findings = judge_inputs(inputs, ruleset=ruleset, engines=engines, tasks=tasks, watch=judged.append, progress=progress)
    if progress:
        progress("judging the month before", 0.0)
    before = _month_before(inputs, month, ruleset, engines, tasks)
    if progress:
        progress("twelve months of compliance", 0.0)
    wanted = {(entry.engine, entry.task) for entry in findings.findings} if tasks else None
    months = [Month.of(text, site, inputs.moment.at_us) for text in _months_up_to(month, MONTHS_BACK)]
    met = {each.text: month_compliance(each, entries) for each, entries in _met_in(judged, months, wanted)}
    return _put_together(inputs, findings.model_copy(update={"compliance": met[month]}), before, judged, months, met)


def narrowed(findings: Findings, month: str | None) -> Findings:
    """Return findings as `check` gives them: with a month only what was skipped in it, without one no compliance."""
    if month is None:
        return findings.model_copy(update={"compliance": None})
    skipped = tuple(entry for entry in findings.skipped if entry.at.startswith(month))
    totals = findings.totals.model_copy(update={"skipped_open": sum(entry.open for entry in skipped)})
    return findings.model_copy(update={"skipped": skipped, "totals": totals})


def _months_up_to(month: str, count: int) -> list[str]:
    """Return so many months, the last one being the given one."""
    year, number = int(month[:4]), int(month[5:])
    numbers = [year * 12 + number - 1 - back for back in range(count - 1, -1, -1)]
    return [f"{each // 12:04d}-{each % 12 + 1:02d}" for each in numbers]


def _month_before(inputs: Inputs, month: str, ruleset: str | None, engines: Collection[str], tasks: Collection[str]) -> Findings | None:
    """Return the findings at the end of the month before, or None where there was nothing to judge."""
    last_day = date.fromisoformat(f"{month}-01") - timedelta(days=1)
    earlier = replace(inputs, moment=moment_of(inputs.site, last_day))
    try:
        return judge_inputs(earlier, ruleset=ruleset, engines=engines, tasks=tasks, month=last_day.isoformat()[:7])
    except ProblemsError:
        # what leaves nothing to judge a month ago is no problem today
        return None


def _met_in(
    judged: Sequence[JudgedEngine], months: Sequence[Month], wanted: Collection[tuple[str, str]] | None
) -> Iterator[tuple[Month, list[Occurrence]]]:
    """Yield the occurrences of each month; those of a task whose inference failed are left out, as its fault says."""
    span_us = (months[0].start_us, months[-1].end_us)
    found: dict[str, list[Occurrence]] = defaultdict(list)
    for engine in judged:
        for task, chain in engine.chains.items():
            if wanted is not None and (engine.case.engine.id, task) not in wanted:
                continue
            try:
                windows = list(chain.windows(engine.visits, span_us))
                for month in months:
                    found[month.text] += occurrences_of(chain, windows, month)
            except InferenceFaultError:
                continue
    yield from ((month, found[month.text]) for month in months)


def _put_together(  # noqa: PLR0913 - what the report is made of
    inputs: Inputs,
    findings: Findings,
    before: Findings | None,
    judged: Sequence[JudgedEngine],
    months: Sequence[Month],
    met: dict[str, Compliance],
) -> MonthReport:
    """Return the whole report."""
    rules = MonthRules()
    site, month = inputs.site, months[-1]
    verdict = rules.verdict_of(findings.totals, sum(entry.within_tolerance for entry in findings.findings))
    late: dict[tuple[str, str], frozenset[str]] = defaultdict(frozenset)
    for compliance in met.values():
        for entry in compliance.occurrences:
            if entry.met == "late" and entry.done_on:
                late[entry.engine, entry.task] |= {entry.done_on}
    span_us = (months[0].start_us, inputs.moment.at_us)
    last_day = inputs.moment.last_day
    return MonthReport(
        site=site.site,
        title=site.title,
        month=month.text,
        first_day=date.fromisoformat(f"{month.text}-01"),
        last_day=last_day,
        findings=findings,
        skipped=tuple(_skipped_now(findings.skipped, month.text)),
        before=before,
        verdict=verdict,
        sentence=sentence_of(verdict, findings, last_day),
        changes=tuple(changes_between(rules, before, findings)) if before is not None else (),
        actions=tuple(_actions(rules, findings.findings)),
        fleet=tuple(_fleet(findings, [engine.case.engine.id for engine in judged])),
        engines=tuple(engine_month(engine, months, span_us, findings, late) for engine in judged),
        explanations=tuple(_explanations(inputs, findings, judged)),
        history=tuple(_figure(each, met[each.text], judged) for each in months),
        tolerances=tuple(_tolerances(judged)),
        inputs=input_files(inputs),
    )


def _skipped_now(skipped: Sequence[Skipped], month: str) -> Iterator[Skipped]:
    """Yield what is still open, then what was skipped in the month and done since."""
    yield from (entry for entry in skipped if entry.open)
    yield from (entry for entry in skipped if not entry.open and entry.at.startswith(month))


def _actions(rules: MonthRules, findings: Sequence[Finding]) -> list[Action]:
    """Return what is to be done, most urgent first: by what must be done, then in the order of every other report."""
    order = {kind: place for place, kind in enumerate(ACTION_RULES)}
    found = []
    for finding in by_urgency(findings):
        kind = rules.action_of(finding)
        if kind is None:
            continue
        action = Action(
            kind=kind,
            engine=finding.engine,
            task=finding.task,
            title=finding.title,
            past_by=finding.past_by,
            left=left_of(finding),
            fell_due=finding.due_on if finding.standing == "overdue" else None,
            expected=expected_of(finding),
            why=finding.reasons[0].text if finding.reasons else "",
        )
        found.append(action)
    return sorted(found, key=lambda action: order[action.kind])


def _fleet(findings: Findings, engines: Sequence[str]) -> Iterator[TaskRow]:
    """Yield one row a task, with its finding on each engine."""
    by_task: dict[str, dict[str, Finding]] = defaultdict(dict)
    for finding in findings.findings:
        by_task[finding.task][finding.engine] = finding
    known = list(dict.fromkeys([*engines, *(finding.engine for finding in findings.findings)]))
    for task, by_engine in by_task.items():
        title = next(iter(by_engine.values())).title
        yield TaskRow(task=task, title=title, findings=tuple(by_engine.get(engine) for engine in known))


def _explanations(inputs: Inputs, findings: Findings, judged: Sequence[JudgedEngine]) -> Iterator[Explanation]:
    """Yield the arithmetic behind each finding whose windows are known."""
    chains = {(engine.case.engine.id, task): chain for engine in judged for task, chain in engine.chains.items()}
    for finding in findings.findings:
        chain = chains.get((finding.engine, finding.task))
        if chain is not None:
            yield explanation_of(inputs, chain, chain.open_window, finding)


def _figure(month: Month, met: Compliance, judged: Sequence[JudgedEngine]) -> MonthFigure:
    """Return one month of the record, and whether the records tell the whole of it."""
    since = [engine.case.records_from_us for engine in judged]
    told: ToldWord = "whole"
    known = [at_us for at_us in since if at_us is not None]
    if known and month.end_us <= min(known):
        told = "none"
    elif known and month.start_us < max(known):
        told = "part"
    due = met.on_time + met.late + met.missed + met.open
    return MonthFigure(
        month=month.text,
        told=told,
        fell_due=due,
        on_time=met.on_time,
        late=met.late,
        missed=met.missed,
        open=met.open,
        pending=met.pending,
        figure=met.figure,
    )


def _tolerances(judged: Sequence[JudgedEngine]) -> list[tuple[str, int]]:
    """Return the tolerances that the tasks here state, with how many tasks state each."""
    tasks = {(engine.case.book.ruleset.ruleset, chain.task.id): chain.task for engine in judged for chain in engine.chains.values()}
    return sorted(Counter(_tolerance(task) for task in tasks.values()).items())


def _tolerance(task: Task) -> str:
    """Return what a task states of its tolerance."""
    stated = [f"{float(task.tolerance_pct):g} %"] if task.tolerance_pct or task.tolerance is None else []
    if task.tolerance is not None:
        stated += [f"{float(task.tolerance.pct):g} %"] if task.tolerance.pct is not None else []
        stated += [f"{value} {leg.replace('_', ' ')}" for leg, value in task.tolerance.legs.items()]
    if task.window is not None:
        stated.append("a window")
    return " or ".join(stated)
