"""The judge: a site folder and a moment go in, findings come out, each with its reasons.

In: a `Site`, the moment of judging. Out: `Findings`. It has readings, records and rules read (`inputs`), each engine judged
(`engine_answers`), and puts the answer together. Refuses (ProblemsError) what leaves nothing to judge: an empty log, rules that fit no
engine, engines or tasks that do not exist here.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import TYPE_CHECKING

from intervals.faults import Fault
from intervals.findings import Findings, Rows, Totals
from intervals.history.inputs import Inputs, Progress, read_inputs
from intervals.history.unknown_names import check_tasks, engine_problems, is_asked, why_not
from intervals.judge.budget_months import occurrences_of
from intervals.judge.budget_site import site_findings, site_judges, whole_shares
from intervals.judge.compliance import Month, month_compliance
from intervals.judge.engine_answers import Watch
from intervals.judge.judged_so_far import JudgedSoFar, ruleset_used
from intervals.language.months import month_problems
from intervals.problems import Problem, ProblemsError, RequestProblemError
from intervals.questions.check.answers_here import answers_here
from intervals.questions.check.findings_document import WrittenFindings, written_findings
from intervals.readings import Readings
from intervals.site.model import Site

if TYPE_CHECKING:
    from intervals.cluster import Workers

_MOST_REASONS = 3


def assess_site(  # noqa: PLR0913 - every argument is one thing a user can ask for
    site: Site,
    as_of: date | datetime,
    *,
    now_us: int | None = None,
    ruleset: str | None = None,
    engines: Collection[str] = (),
    tasks: Collection[str] = (),
    month: str | None = None,
    jobs: int | None = None,
    workers: Workers | None = None,
    ahead: Callable[[], Readings] | None = None,
    progress: Progress | None = None,
) -> Findings:
    """Return the findings of a site at a moment.

    Every task of every engine is judged on its window: used of allowed by running hours, calendar and counters, whichever the
    task says; hours weigh by the duty they were run at.

    Args:
        site: the site, from `read_site`.
        as_of: a date (its end: the next local midnight is meant) or a datetime (naive: local to the site).
        now_us: the clock, UTC microseconds; later rows and records are faults, and a month that has not begun is refused. None: no
            clock, and a month that is still to come is judged as if nothing more were done.
        ruleset: name or path of a rule set to judge by instead of the site's.
        engines: ids to judge; none means all.
        tasks: ids to judge, or `set.task` for one rule set's alone; none means all.
        month: `YYYY-MM`: also give the month's compliance, and of the skipped keep only that month's.
        jobs: how many processes share the engines; None: as many as processors, for many engines. The findings are the same.
        workers: the workers of a cluster, which share the engines instead of processes.
        ahead: waits for the readings, where somebody has begun to read them; None: they are read here.
        progress: called with a few words and the share done.

    Returns:
        Findings sorted by engine, then rule set, then task, as site and rule set list them.

    Raises:
        TypeError: as_of is neither a date nor a datetime.
        ProblemsError: everything that stops the judging, at once.

    Example:
        >>> from datetime import date
        >>> from intervals import assess, read_site
        >>> findings = assess(read_site("sample_logs/brackwater"), date(2026, 10, 31))
        >>> findings.rows.read == findings.rows.accepted + findings.rows.set_aside
        True
    """
    asked = [*engine_problems(site, engines), *month_problems(month, now_us, site.instant_us)]
    inputs = read_inputs(site, as_of, now_us=now_us, ruleset=ruleset, asked=asked, tasks=tasks, ahead=ahead, progress=progress)
    findings = judge_inputs(
        inputs,
        ruleset=ruleset,
        engines=engines,
        tasks=tasks,
        month=month,
        jobs=jobs,
        workers=workers,
        is_as_read=True,
        progress=progress,
    )
    if tasks and not findings.findings:
        _refuse_unfitted(inputs, engines, tasks, ruleset)
    return findings


def assess_as_text(  # noqa: PLR0913 - every argument is one thing a user can ask for
    site: Site,
    as_of: date | datetime,
    *,
    now_us: int | None = None,
    ruleset: str | None = None,
    engines: Collection[str] = (),
    tasks: Collection[str] = (),
    jobs: int | None = None,
    workers: Workers | None = None,
    ahead: Callable[[], Readings] | None = None,
    progress: Progress | None = None,
) -> WrittenFindings:
    """Return the document of the findings of a site at a moment, each written as soon as it is found.

    The text is `findings_text` of what `assess_site` returns for the same arguments, and it refuses the same.
    """
    asked = engine_problems(site, engines)
    inputs = read_inputs(site, as_of, now_us=now_us, ruleset=ruleset, asked=asked, tasks=tasks, ahead=ahead, progress=progress)
    so_far = _judged(
        inputs, ruleset, engines, tasks, None, jobs=jobs, workers=workers, is_as_read=True, is_for_text=True, progress=progress
    )
    if tasks and not so_far.standings:
        _refuse_unfitted(inputs, engines, tasks, ruleset)
    so_far.write()
    return written_findings(put_together(inputs, so_far, engines, None, ruleset), so_far.texts)


def judge_inputs(  # noqa: PLR0913 - every argument is one thing a user can ask for
    inputs: Inputs,
    *,
    ruleset: str | None = None,
    engines: Collection[str] = (),
    tasks: Collection[str] = (),
    month: str | None = None,
    watch: Watch | None = None,
    jobs: int | None = None,
    workers: Workers | None = None,
    is_as_read: bool = False,
    progress: Progress | None = None,
) -> Findings:
    """Return the findings of what was read, as `assess_site` does; the same inputs may be judged again at another moment.

    Args:
        inputs: from `read_inputs`.
        ruleset: as for `assess_site`, and as for `read_inputs`.
        engines: ids to judge; none means all.
        tasks: ids to judge; none means all.
        month: as for `assess_site`.
        watch: is handed each engine once it is judged, for each of its rule sets, for whoever wants more than findings; one process judges.
        jobs: as for `assess_site`.
        workers: as for `assess_site`.
        is_as_read: whether the inputs are as they were read, so that what was found of an engine before may stand.
        progress: called with a few words and the share done.

    Raises:
        ProblemsError: everything that stops the judging, at once.
    """
    span = None if month is None else Month.of(month, inputs.site, inputs.moment.at_us)
    so_far = _judged(
        inputs, ruleset, engines, tasks, span, watch=watch, jobs=jobs, workers=workers, is_as_read=is_as_read, progress=progress
    )
    so_far.read()
    return put_together(inputs, so_far, engines, span, ruleset)


def _judged(  # noqa: PLR0913 - as above
    inputs: Inputs,
    ruleset: str | None,
    engines: Collection[str],
    tasks: Collection[str],
    span: Month | None,
    *,
    watch: Watch | None = None,
    jobs: int | None = None,
    workers: Workers | None = None,
    is_as_read: bool = False,
    is_for_text: bool = False,
    progress: Progress | None = None,
) -> JudgedSoFar:
    """Return what is found of the engines that were asked for, and of the site as a whole; where it is for text, as text."""
    check_tasks(inputs.books, tasks)
    judged = [index for index, engine in enumerate(inputs.site.judged_units) if not engines or engine.id in engines]
    so_far = JudgedSoFar([*inputs.faults])

    if workers is not None:
        from intervals.questions.check.engine_groups import answers_of_groups  # noqa: PLC0415 - loads asyncio, which only a cluster needs

        inputs = replace(inputs, readings=inputs.readings.confirmed())
        for done, found in answers_of_groups(workers, inputs, judged, ruleset, tasks, span):
            so_far.add(found)
            if progress:
                progress(f"judging {inputs.site.judged_units[judged[done - 1]].id}", 0.4 + 0.6 * done / len(judged))
    else:
        for found in answers_here(
            inputs,
            judged,
            ruleset,
            tasks,
            span,
            watch=watch,
            jobs=jobs,
            keeps=is_as_read,
            is_for_text=is_for_text,
            progress=progress,
        ):
            so_far.add(found)
    _complete(inputs, so_far, judged, ruleset, engines, tasks, span)
    return so_far


def _complete(  # noqa: PLR0913 - what was asked, and what was found
    inputs: Inputs,
    so_far: JudgedSoFar,
    judged: Sequence[int],
    ruleset: str | None,
    engines: Collection[str],
    tasks: Collection[str],
    span: Month | None,
) -> None:
    """Add what is of the site as a whole, and note or refuse what must be of it."""
    _judge_site(inputs, so_far, engines, ruleset, span)
    _refuse_out_of_service(inputs, so_far, judged)
    _note_unfitted(inputs, so_far, judged, ruleset)
    _note_unasked(inputs, so_far, [] if tasks else judged, ruleset)


def whole_answer(  # noqa: PLR0913 - what was asked, and what was found
    inputs: Inputs,
    so_far: JudgedSoFar,
    judged: Sequence[int],
    *,
    ruleset: str | None,
    engines: Collection[str],
    tasks: Collection[str],
    span: Month | None,
) -> Findings:
    """Return the findings once every engine is judged: with what is of the site as a whole, and what must be noted or refused of it.

    Args:
        inputs: from `read_inputs`.
        so_far: what was found of the engines, after the faults of the inputs; what is of the site is added to it.
        judged: which engines and components were judged.
        ruleset: as for `assess_site`.
        engines: ids that were asked for; none means all.
        tasks: ids that were asked for; none means all.
        span: the month whose compliance is asked for, or None.

    Raises:
        ProblemsError: there was nothing to judge.
    """
    _complete(inputs, so_far, judged, ruleset, engines, tasks, span)
    so_far.read()
    return put_together(inputs, so_far, engines, span, ruleset)


def _judge_site(inputs: Inputs, so_far: JudgedSoFar, engines: Collection[str], ruleset: str | None, span: Month | None) -> None:
    """Judge the budgets over the whole site, unless only some of its engines were asked for."""
    shares = whole_shares(inputs, so_far.shares, engines, ruleset)
    so_far.findings += site_findings(inputs, shares, so_far.faults)
    if span is not None:
        so_far.occurrences += [entry for judge in site_judges(inputs, shares) for _, entry in occurrences_of(judge, [span])]


def _refuse_out_of_service(inputs: Inputs, so_far: JudgedSoFar, judged: Sequence[int]) -> None:
    """Refuse a moment at which no engine was in service yet, or none is any more and nothing was found of them."""
    site, at_us = inputs.site, inputs.moment.at_us
    starts = [site.first_moment_of(index) for index in judged]
    ends = [site.judged_units[index].out_of_service for index in judged]
    if all(start is not None and site.instant_us(start) >= at_us for start in starts):
        text, fix = f"no engine was in service yet at {inputs.days.iso(at_us)}", "ask for a later date with --as-of"
    elif not so_far.is_of_something and all(end is not None and site.instant_us(end) <= at_us for end in ends):
        text, fix = f"no engine is in service at {inputs.days.iso(at_us)}", "ask for another date with --as-of"
    else:
        return
    raise ProblemsError([Problem("CLI013", site.file, None, "$.engines", text, fix)])


def _refuse_unfitted(inputs: Inputs, engines: Collection[str], tasks: Collection[str], ruleset: str | None) -> None:
    """Refuse tasks that were asked for and are for none of the engines that were, if it can be said why not."""
    judged = [unit for unit in inputs.site.judged_units if not engines or unit.id in engines]
    reasons = [
        why_not(inputs.books[used].ruleset, unit, name) for unit in judged for used in inputs.rulesets_of(unit, ruleset) for name in tasks
    ]
    sets = [inputs.books[used].ruleset for unit in judged for used in inputs.rulesets_of(unit, ruleset)]
    over_site = {
        budget.id for rules in sets for budget in rules.budgets if budget.over == "site" and is_asked(tasks, rules.ruleset, budget.id)
    }
    reasons += [f"{name} is over all engines of the site: leave out --engine" for name in sorted(over_site)]
    said = [reason for reason in reasons if reason is not None][:_MOST_REASONS]
    if said:
        text = f"{', '.join(tasks)}: not for any of the engines asked for"
        raise RequestProblemError([Problem("CLI015", "--task", None, None, text, "; ".join(said))])


def _note_unfitted(inputs: Inputs, so_far: JudgedSoFar, judged: Sequence[int], ruleset: str | None) -> None:
    """Note tasks and budgets that fit no engine; refuse a rule set of which no task does."""
    if len(judged) < len(inputs.site.judged_units):
        # whether a task fits none is known only of all engines together
        return
    for name in dict.fromkeys(name for index in judged for name in inputs.rulesets_of(inputs.site.judged_units[index], ruleset)):
        rules = inputs.books[name].ruleset
        tasks = [task.id for task in rules.tasks if (name, task.id) not in so_far.fitted]
        if len(tasks) == len(rules.tasks) and not so_far.is_of_something:
            text = f"no task of {rules.ruleset} fits any engine of this site"
            fix = "look at applies_to of its tasks and at what the engines state"
            raise ProblemsError([Problem("RUL090", inputs.site.file, None, "$.ruleset", text, fix)])
        budgets = [budget.id for budget in rules.budgets if (name, budget.id) not in so_far.fitted]
        unfitted = [("task", "task_fits_no_engine", entry) for entry in tasks]
        unfitted += [("budget", "budget_fits_no_engine", entry) for entry in budgets]
        for kind, fault_kind, entry in unfitted:
            file, line = rules.shown_place_of(kind, entry, inputs.site.folder)
            text = f"{entry} of {rules.ruleset} fits no engine here"
            so_far.faults.append(Fault(None, fault_kind, file, line, None, text))


def _note_unasked(inputs: Inputs, so_far: JudgedSoFar, judged: Sequence[int], ruleset: str | None) -> None:
    """Note each engine and component in service that no task is for: it would be missing from every report without a word."""
    site, at_us = inputs.site, inputs.moment.at_us
    found = so_far.engines
    for index in judged:
        unit = site.judged_units[index]
        first, last = site.first_moment_of(index), unit.out_of_service
        is_there = (first is None or site.instant_us(first) < at_us) and (last is None or site.instant_us(last) >= at_us)
        if unit.id in found or not is_there:
            continue
        sets = " or ".join(inputs.books[name].ruleset.ruleset for name in inputs.rulesets_of(unit, ruleset))
        text = f"no task of {sets} is for {unit.id}, so nothing is judged for it"
        if index >= len(site.engines):
            kind = site.components[index - len(site.engines)].kind
            text += f"; a component is asked only by tasks with applies_to: {{kind: {kind}}}; name their rule set at the component"
        so_far.faults.append(Fault(unit.id, "no_task_fits", None, None, None, text))


def put_together(inputs: Inputs, so_far: JudgedSoFar, engines: Collection[str], span: Month | None, ruleset: str | None) -> Findings:
    """Return what was found of some engines as findings, without those that are text already.

    Args:
        inputs: from `read_inputs`.
        so_far: what was found.
        engines: ids whose faults are wanted, beside those of no engine; none means all.
        span: the month whose compliance is asked for, or None.
        ruleset: as for `assess_site`.
    """
    skipped = so_far.skipped if span is None else [entry for entry in so_far.skipped if entry.at.startswith(span.text)]
    counts = so_far.standings
    faults = [fault for fault in so_far.faults if not engines or fault.engine is None or fault.engine in engines]
    readings = inputs.readings
    return Findings(
        site=inputs.site.site,
        as_of=inputs.days.iso(inputs.moment.at_us),
        rulesets=tuple(ruleset_used(book.ruleset) for book in inputs.books.values()),
        warnings=inputs.warnings,
        findings=tuple(so_far.findings),
        skipped=tuple(skipped),
        faults=inputs.fault_lines(faults),
        rows=Rows(read=readings.rows_read, accepted=readings.rows_accepted, set_aside=readings.rows_set_aside),
        totals=Totals(
            overdue=counts["overdue"],
            upcoming=counts["upcoming"],
            in_interval=counts["in_interval"],
            unknown=counts["unknown"],
            skipped_open=sum(entry.open for entry in skipped) + sum(each.skipped_open for each in so_far.texts),
        ),
        compliance=None if span is None else month_compliance(span, so_far.occurrences),
    ).of_several(
        unit.id for unit in inputs.site.judged_units if len(inputs.rulesets_of(unit, ruleset)) > 1 and (not engines or unit.id in engines)
    )
