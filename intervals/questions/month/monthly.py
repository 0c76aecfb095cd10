"""The month's report: everything that the page, the workbook and the calendar show, worked out.

In: a site and a month. Out: a `MonthReport`. Readings are read once; each engine is judged at the month's end, and once more at
the end of the month before (`engine_part`); the twelve months are those of `month_history`. Refuses what `assess_site` refuses.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from datetime import date, datetime
from typing import NamedTuple

from intervals.findings import Finding, Findings, Skipped
from intervals.history.inputs import Progress, read_inputs
from intervals.history.unknown_names import check_tasks, engine_problems
from intervals.judge.compliance import month_compliance
from intervals.judge.judged_so_far import JudgedSoFar
from intervals.language.months import month_problems
from intervals.problems import ProblemsError
from intervals.questions.check.assess import whole_answer
from intervals.questions.input_digests import input_files
from intervals.questions.month.engine_part import EnginePart, MonthAsked, part_of
from intervals.questions.month.month_history import Asked, counts_of_site, figure_of_month
from intervals.questions.month.month_models import Action, Change, MonthBefore, MonthFigure, MonthReport, TaskRow
from intervals.questions.month.month_rules import ACTION_RULES, MonthRules
from intervals.questions.month.month_wording import changes_between, expected_of, left_of, sentence_of
from intervals.questions.month.sawtooth import saws_for
from intervals.readings import Readings
from intervals.site.model import Site
from intervals.urgency import by_urgency


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
    asked = read_month(site, as_of, month, now_us=now_us, ruleset=ruleset, engines=engines, tasks=tasks, ahead=ahead, progress=progress)
    units = asked.units
    parts = []
    for number, index in enumerate(units):
        if progress:
            progress(f"judging {site.judged_units[index].id}", 0.4 + 0.6 * number / len(units))
        parts.append(part_of(asked, index))
    findings, history = findings_of(asked, parts), figures_of(asked, parts)
    before = _findings_before(asked, parts)
    changes = () if before is None else tuple(changes_between(MonthRules.shared(), before, findings))
    came_to = None if before is None else MonthBefore(totals=before.totals, figure=history[-2].figure)
    return report_of(asked, parts, findings, Past(history, came_to, changes))


class Past(NamedTuple):
    """What led to a month: twelve months of compliance, what the month before came to (None: nothing was judged), what changed since."""

    history: tuple[MonthFigure, ...]
    before: MonthBefore | None
    changes: tuple[Change, ...]


def read_month(  # noqa: PLR0913 - as for `report_month`
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
) -> MonthAsked:
    """Return what is asked of every engine, with what was read; the arguments are those of `report_month`.

    Raises:
        ProblemsError: everything that stops the reading, at once.
    """
    problems = [*engine_problems(site, engines), *month_problems(month, now_us, site.instant_us)]
    inputs = read_inputs(site, as_of, now_us=now_us, ruleset=ruleset, asked=problems, tasks=tasks, ahead=ahead, progress=progress)
    check_tasks(inputs.books, tasks)
    return MonthAsked.of(inputs, month, Asked(ruleset, engines, tasks), saws_for(len(engines or site.judged_units)))


def findings_of(asked: MonthAsked, parts: Sequence[EnginePart]) -> Findings:
    """Return the findings of all parts with what is of the whole site, and the month's compliance.

    Raises:
        ProblemsError: there was nothing to judge.
    """
    so_far = JudgedSoFar([*asked.inputs.faults])
    for part in parts:
        so_far.add(part.found)
    ruleset, engines, tasks = asked.asked
    found = whole_answer(asked.inputs, so_far, asked.units, ruleset=ruleset, engines=engines, tasks=tasks, span=None)
    _, of_site = counts_of_site(asked.inputs, so_far.shares, asked.months, asked.asked, ())
    met = month_compliance(asked.months[-1], [*so_far.occurrences, *of_site])
    return found.model_copy(update={"compliance": met})


def figures_of(asked: MonthAsked, parts: Sequence[EnginePart]) -> tuple[MonthFigure, ...]:
    """Return twelve months of the record."""
    shares = [share for part in parts for share in part.found.shares]
    counts, _ = counts_of_site(asked.inputs, shares, asked.months, asked.asked, [part.counts for part in parts])
    since_us = [at_us for part in parts for at_us in part.since_us]
    return tuple(figure_of_month(month, counts[month.text], since_us) for month in asked.months)


def narrowed(findings: Findings, month: str | None) -> Findings:
    """Return findings as `check` gives them: with a month only what was skipped in it, without one no compliance."""
    if month is None:
        return findings.model_copy(update={"compliance": None})
    skipped = tuple(entry for entry in findings.skipped if entry.at.startswith(month))
    totals = findings.totals.model_copy(update={"skipped_open": sum(entry.open for entry in skipped)})
    return findings.model_copy(update={"skipped": skipped, "totals": totals})


def _findings_before(asked: MonthAsked, parts: Sequence[EnginePart]) -> Findings | None:
    """Return the findings at the end of the month before, or None where there was nothing to judge."""
    so_far = JudgedSoFar([*asked.earlier.faults])
    for part in parts:
        so_far.add(part.before)
    ruleset, engines, tasks = asked.asked
    try:
        return whole_answer(asked.earlier, so_far, asked.units, ruleset=ruleset, engines=engines, tasks=tasks, span=asked.month_before)
    except ProblemsError:
        # what leaves nothing to judge a month ago is no problem today
        return None


def report_of(asked: MonthAsked, parts: Sequence[EnginePart], findings: Findings, past: Past, *, is_whole: bool = True) -> MonthReport:
    """Return the report that some parts make together.

    Args:
        asked: what was asked of every engine.
        parts: what the engines added.
        findings: what was found of them and of the site, with the month's compliance.
        past: what led to it.
        is_whole: whether it is of the site, with all its files, and not of one engine alone.
    """
    rules = MonthRules.shared()
    inputs, months = asked.inputs, asked.months
    site, month = inputs.site, months[-1]
    verdict = rules.verdict_of(findings.totals, sum(entry.within_tolerance for entry in findings.findings))
    last_day = inputs.moment.last_day
    engines = [part.month for part in parts if part.month is not None]
    return MonthReport(
        site=site.site,
        title=site.title,
        month=month.text,
        first_day=date.fromisoformat(f"{month.text}-01"),
        last_day=last_day,
        findings=findings,
        skipped=tuple(_skipped_now(findings.skipped, month.text)),
        before=past.before,
        verdict=verdict,
        sentence=sentence_of(verdict, findings, last_day),
        changes=past.changes,
        actions=tuple(_actions(rules, findings)),
        fleet=tuple(_fleet(findings, [engine.engine for engine in engines])),
        engines=tuple(engines),
        explanations=tuple(each for part in parts for each in part.explanations),
        history=past.history,
        tolerances=tuple(_tolerances(parts)),
        weights=tuple({weight: title for book in inputs.books.values() for weight, title in book.ruleset.weight_titles.items()}.items()),
        inputs=tuple(input_files(inputs)) if is_whole else (),
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


def _tolerances(parts: Sequence[EnginePart]) -> list[tuple[str, int]]:
    """Return the tolerances that the tasks here state, with how many tasks state each."""
    tasks: dict[tuple[str, str], str] = {}
    for part in parts:
        tasks |= part.tasks
    return sorted(Counter(tasks.values()).items())
