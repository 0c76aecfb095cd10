"""The month's report: everything that the page, the workbook and the calendar show, worked out.

In: a site and a month. Out: a `MonthReport`. Readings are read once; each engine is judged at the month's end, and once more at
the end of the month before; the twelve months are those of `month_history`. Refuses what `assess_site` refuses.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

from intervals.findings import Finding, Findings, Skipped
from intervals.history.inputs import Inputs, Progress, moment_of, read_inputs
from intervals.history.unknown_names import engine_problems
from intervals.judge.compliance import Month
from intervals.judge.engine_answers import JudgedEngine
from intervals.language.months import month_problems
from intervals.problems import ProblemsError
from intervals.questions.check.assess import judge_inputs
from intervals.questions.explain.explain import explanation_of
from intervals.questions.explain.explanation_models import Explanation
from intervals.questions.input_digests import input_files
from intervals.questions.month.month_engine import engine_month
from intervals.questions.month.month_history import Asked, History, figure_of_month, history_of, months_up_to
from intervals.questions.month.month_models import Action, MonthReport, TaskRow
from intervals.questions.month.month_rules import ACTION_RULES, MonthRules
from intervals.questions.month.month_wording import changes_between, expected_of, left_of, sentence_of
from intervals.readings import Readings
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
    ahead: Callable[[], Readings] | None = None,
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
        ahead: waits for the readings, where somebody has begun to read them; None: they are read here.
        progress: called with a few words and the share done.

    Raises:
        ProblemsError: everything that stops the judging, at once.
    """
    asked = [*engine_problems(site, engines), *month_problems(month, now_us, site.instant_us)]
    inputs = read_inputs(site, as_of, now_us=now_us, ruleset=ruleset, asked=asked, tasks=tasks, ahead=ahead, progress=progress)
    judged: list[JudgedEngine] = []
    findings = judge_inputs(inputs, ruleset=ruleset, engines=engines, tasks=tasks, watch=judged.append, progress=progress)
    if progress:
        progress("judging the month before", 0.0)
    before = _month_before(inputs, month, ruleset, engines, tasks)
    if progress:
        progress("twelve months of compliance", 0.0)
    wanted = {(entry.engine, entry.ruleset, entry.task) for entry in findings.findings} if tasks else None
    months = [Month.of(text, site, inputs.moment.at_us) for text in months_up_to(month, MONTHS_BACK)]
    past = history_of(inputs, judged, months, wanted, Asked(ruleset, engines, tasks))
    return _put_together(inputs, findings.model_copy(update={"compliance": past.met[month]}), before, judged, months, past)


def narrowed(findings: Findings, month: str | None) -> Findings:
    """Return findings as `check` gives them: with a month only what was skipped in it, without one no compliance."""
    if month is None:
        return findings.model_copy(update={"compliance": None})
    skipped = tuple(entry for entry in findings.skipped if entry.at.startswith(month))
    totals = findings.totals.model_copy(update={"skipped_open": sum(entry.open for entry in skipped)})
    return findings.model_copy(update={"skipped": skipped, "totals": totals})


def _month_before(inputs: Inputs, month: str, ruleset: str | None, engines: Collection[str], tasks: Collection[str]) -> Findings | None:
    """Return the findings at the end of the month before, or None where there was nothing to judge."""
    last_day = date.fromisoformat(f"{month}-01") - timedelta(days=1)
    earlier = replace(inputs, moment=moment_of(inputs.site, last_day))
    try:
        return judge_inputs(earlier, ruleset=ruleset, engines=engines, tasks=tasks, month=last_day.isoformat()[:7])
    except ProblemsError:
        # what leaves nothing to judge a month ago is no problem today
        return None


def _put_together(  # noqa: PLR0913 - what the report is made of
    inputs: Inputs,
    findings: Findings,
    before: Findings | None,
    judged: Sequence[JudgedEngine],
    months: Sequence[Month],
    past: History,
) -> MonthReport:
    """Return the whole report."""
    rules = MonthRules()
    site, month = inputs.site, months[-1]
    verdict = rules.verdict_of(findings.totals, sum(entry.within_tolerance for entry in findings.findings))
    span_us = (months[0].start_us, inputs.moment.at_us)
    last_day = inputs.moment.last_day
    by_engine: dict[str, list[JudgedEngine]] = defaultdict(list)
    for engine in judged:
        by_engine[engine.case.engine.id].append(engine)
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
        actions=tuple(_actions(rules, findings)),
        fleet=tuple(_fleet(findings, list(by_engine))),
        engines=tuple(engine_month(row, months, span_us, findings, past.late_days) for row in by_engine.values()),
        explanations=tuple(_explanations(inputs, findings, judged)),
        history=tuple(figure_of_month(each, past.met[each.text], judged) for each in months),
        tolerances=tuple(_tolerances(judged)),
        weights=tuple({weight: title for book in inputs.books.values() for weight, title in book.ruleset.weight_titles.items()}.items()),
        inputs=input_files(inputs),
    )


def _skipped_now(skipped: Sequence[Skipped], month: str) -> Iterator[Skipped]:
    """Yield what is still open, then what was skipped in the month and done since."""
    yield from (entry for entry in skipped if entry.open)
    yield from (entry for entry in skipped if not entry.open and entry.at.startswith(month))


def _actions(rules: MonthRules, findings: Findings) -> list[Action]:
    """Return what is to be done, most urgent first: by what must be done, then in the order of every other report."""
    order = {kind: place for place, kind in enumerate(ACTION_RULES)}
    found = []
    for finding in by_urgency(findings.findings):
        kind = rules.action_of(finding)
        if kind is None:
            continue
        action = Action(
            kind=kind,
            engine=finding.engine,
            ruleset=finding.ruleset,
            task=finding.task,
            title=findings.title_of(finding),
            past_by=finding.past_by,
            left=left_of(finding),
            fell_due=finding.due_on if finding.standing == "overdue" else None,
            expected=expected_of(finding),
            why=finding.reasons[0].text if finding.reasons else "",
        )
        found.append(action)
    return sorted(found, key=lambda action: order[action.kind])


def _fleet(findings: Findings, engines: Sequence[str]) -> Iterator[TaskRow]:
    """Yield one row a task, with its finding on each engine; of each rule set its own, where several judge an engine."""
    by_task: dict[tuple[str, str], dict[str, Finding]] = defaultdict(dict)
    has_several = findings.has_several
    for finding in findings.findings:
        by_task[finding.ruleset if has_several else "", finding.task][finding.engine] = finding
    known = list(dict.fromkeys([*engines, *(finding.engine for finding in findings.findings)]))
    for (ruleset, task), by_engine in by_task.items():
        title = next(iter(by_engine.values())).title
        title = f"{title} ({ruleset})" if ruleset else title
        yield TaskRow(task=task, title=title, findings=tuple(by_engine.get(engine) for engine in known))


def _explanations(inputs: Inputs, findings: Findings, judged: Sequence[JudgedEngine]) -> Iterator[Explanation]:
    """Yield the arithmetic behind each finding whose windows are known."""
    chains = {(engine.case.engine.id, engine.case.ruleset, task): chain for engine in judged for task, chain in engine.chains.items()}
    for finding in findings.findings:
        chain = chains.get((finding.engine, finding.ruleset, finding.task))
        if chain is not None:
            yield explanation_of(inputs, chain, chain.open_window, finding)


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
