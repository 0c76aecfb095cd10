"""The judge: a site folder and a moment go in, findings come out, each with its reasons.

In: a `Site`, the moment of judging. Out: `Findings`. It gathers readings, records and rules, lets `chain` and `standing` judge,
and puts the answer together. Refuses (ProblemsError) what leaves nothing to judge: an empty log, rules that fit no engine,
engines or tasks that do not exist here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Literal

import numpy as np

from intervals.faults import Fault
from intervals.findings import FaultLine, Finding, Findings, Rows, RuleSetUsed, Totals
from intervals.inference import InferenceFaultError
from intervals.judge.analysis import credit_analyses
from intervals.judge.answers import Answer
from intervals.judge.budgets import budget_findings, fitting_budgets
from intervals.judge.cases import NO_METER, EngineCase
from intervals.judge.chain import TaskChain, WindowEnd
from intervals.judge.completions import settle_records, telling_records
from intervals.judge.compliance import Month, month_compliance, occurrences_of
from intervals.judge.components import Sources, component_case
from intervals.judge.finding_of import finding_of, finding_without_window
from intervals.judge.forecast import Pace
from intervals.judge.ledger_edges import edges_of
from intervals.judge.plain import Visits
from intervals.judge.rulebook import RuleBook, level_names
from intervals.judge.runs import credit_runs
from intervals.judge.severe_duty import book_with_severe_duty, severe_faults
from intervals.judge.skipped import find_skipped, visits_of
from intervals.judge.standing import Standings, shared_standings
from intervals.judge.windows import RUNNING_HOURS
from intervals.localdays import LocalDays
from intervals.problems import Problem, ProblemsError, ReadingsProblemError, RequestProblemError, nearest_of
from intervals.processes import map_in_processes, processes_for
from intervals.readings import Analysis, Readings, Records, ServiceRecord, read_lab, read_readings, read_records
from intervals.rules.lint import check_against_site
from intervals.rules.ruleset import RuleSet, find_ruleset, load_ruleset
from intervals.rules.tasks import Task
from intervals.site.model import Engine, Site
from intervals.usage.engine_log import gather_engine_log
from intervals.usage.ledger import CellPlan, build_ledger
from intervals.usage.steps import build_steps

Progress = Callable[[str, float], None]
MOST_NAMED = 30


@dataclass(frozen=True)
class JudgedEngine:
    """One engine as it was judged: its case, the windows of its tasks by task id, its visits."""

    case: EngineCase
    chains: dict[str, TaskChain]
    visits: Visits


Watch = Callable[[JudgedEngine], None]


@dataclass(frozen=True)
class Moment:
    """The moment of judging.

    Attributes:
        at_us: the instant; of a date it is the next local midnight.
        is_date: whether a date was given.
        last_day: the last local day that it covers.
    """

    at_us: int
    is_date: bool
    last_day: date


@dataclass
class Inputs:
    """Everything that judging a site needs, read once.

    Attributes:
        site: the site.
        moment: the moment of judging.
        readings: accepted rows of the operating log.
        records: engine id -> its service records, in file order.
        faults: faults of files, rows and records.
        books: rule set name -> its rule book.
        days: the site's local days.
        standings: the shared rules.
        analyses: engine id -> its analyses, in file order.
    """

    site: Site
    moment: Moment
    readings: Readings
    records: dict[str, list[ServiceRecord]]
    faults: list[Fault]
    books: dict[str, RuleBook]
    days: LocalDays
    standings: Standings = field(default_factory=shared_standings)
    analyses: dict[str, list[Analysis]] = field(default_factory=dict)

    def book_of(self, engine: Engine, ruleset: str | None) -> RuleBook:
        """Return the rule book that judges an engine."""
        return book_with_severe_duty(self.books[ruleset or self.site.ruleset_of(engine)], engine)


def moment_of(site: Site, as_of: date | datetime) -> Moment:
    """Return the moment of judging: a date means the next local midnight, a time is that instant.

    Raises:
        RequestProblemError: a time without offset that the site's clock skips or shows twice (code CLI014).
    """
    if isinstance(as_of, datetime):
        _check_told_once(site, as_of)
        at_us = site.instant_us(as_of)
        last = datetime.fromtimestamp((at_us - 1) / 1e6, tz=site.zone).date()
        return Moment(at_us, is_date=False, last_day=last)
    return Moment(site.instant_us(as_of + timedelta(days=1)), is_date=True, last_day=as_of)


def _check_told_once(site: Site, at: datetime) -> None:
    """Refuse a local time that is no instant, or two, because the clock is set forward or back there."""
    if at.tzinfo is not None:
        return
    first, second = (at.replace(tzinfo=site.zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return
    # the clock is set back where the second reading's offset is the smaller one
    is_twice = (second.utcoffset() or timedelta()) < (first.utcoffset() or timedelta())
    what, example = ("comes twice", second) if is_twice else ("is skipped", first)
    text = f"{at.isoformat(timespec='minutes')} {what} in {site.time_zone}, where the clock is set {'back' if is_twice else 'forward'}"
    fix = f"give an offset, such as {example.isoformat(timespec='minutes')}"
    raise RequestProblemError([Problem("CLI014", "--as-of", None, None, text, fix)])


def read_inputs(  # noqa: PLR0913 - every argument is one thing that inputs depend on
    site: Site,
    as_of: date | datetime,
    *,
    now_us: int | None = None,
    ruleset: str | None = None,
    ahead: Callable[[], Readings] | None = None,
    progress: Progress | None = None,
) -> Inputs:
    """Read rule sets, readings and records of a site.

    Args:
        site: the site.
        as_of: the moment of judging.
        now_us: the clock, UTC microseconds; rows and records later than it are faults. None: no clock.
        ruleset: name or path of a rule set that judges every engine instead of the site's.
        ahead: waits for the readings, where somebody has begun to read them; None: they are read here.
        progress: called with a few words and the share done.

    Raises:
        ProblemsError: what cannot be read, or leaves nothing to judge.
    """
    moment = moment_of(site, as_of)
    books = _read_books(site, ruleset)
    if progress:
        progress("reading the log", 0.0)
    readings, recorded = _read_both(site, now_us, ahead, progress)
    by_engine: dict[str, list[ServiceRecord]] = defaultdict(list)
    for record in recorded.records:
        by_engine[record.engine].append(record)
    days = LocalDays(site.zone, _earliest_us(site, readings, recorded.records, moment), moment.at_us)
    lab = read_lab(site, frozenset[str]().union(*(book.lab_values for book in books.values())), now_us=now_us)
    faults = [*readings.faults, *recorded.faults, *lab.faults]
    return Inputs(site, moment, readings, by_engine, faults, books, days, analyses=lab.by_engine())


def _read_both(site: Site, now_us: int | None, ahead: Callable[[], Readings] | None, progress: Progress | None) -> tuple[Readings, Records]:
    """Return log and records of a site; of what is wrong with both, what is wrong with the log is told."""
    if ahead is None:
        readings = _with_rows(site, read_readings(site, now_us=now_us))
        if progress:
            progress("reading the service records", 0.3)
        return readings, read_records(site, now_us=now_us)
    try:
        recorded = read_records(site, now_us=now_us)
    except ProblemsError:
        _with_rows(site, ahead())
        raise
    return _with_rows(site, ahead()), recorded


def _with_rows(site: Site, readings: Readings) -> Readings:
    """Return the readings; refuse a log without a row that can be used."""
    if not readings.rows_accepted:
        what = "no row at all" if not readings.rows_read else f"none of {readings.rows_read} rows can be used"
        kinds = sorted({fault.kind for fault in readings.faults})
        fix = f"faults: {', '.join(kinds)}" if kinds else "put the operating log into the files that site.yaml names under readings"
        raise ReadingsProblemError([Problem("REA090", site.file, None, "$.readings", f"the log is empty: {what}", fix)])
    return readings


def _earliest_us(site: Site, readings: Readings, records: Sequence[ServiceRecord], moment: Moment) -> int:
    """Return an instant no later than anything that is known of the site."""
    known = [moment.at_us]
    known += [site.instant_us(engine.in_service) for engine in site.machines if engine.in_service is not None]
    known += [site.instant_us(entry.from_) for component in site.components for entry in component.fitted]
    known += [int(block.at_us.min()) for block in readings.blocks if len(block.at_us)]
    known += [record.at_us for record in records if record.at_us is not None]
    known += [site.instant_us(record.on) for record in records if record.on is not None]
    return min(known)


def _read_books(site: Site, ruleset: str | None) -> dict[str, RuleBook]:
    """Return the rule books of the site by the name under which it asks for them."""
    names = [ruleset] if ruleset else list(dict.fromkeys(site.ruleset_of(engine) for engine in site.machines))
    problems: list[Problem] = []
    books: dict[str, RuleBook] = {}
    for name in names:
        try:
            beside = Path.cwd() if ruleset else site.folder
            loaded = load_ruleset(find_ruleset(name, beside))
        except ProblemsError as error:
            problems += error.problems
            continue
        problems += check_against_site(loaded, site)
        books[name] = RuleBook(loaded, level_names(site))
    if problems:
        raise ProblemsError(problems)
    return books


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
    ahead: Callable[[], Readings] | None = None,
    progress: Progress | None = None,
) -> Findings:
    """Return the findings of a site at a moment.

    Every task of every engine is judged on its window: used of allowed by running hours, calendar and counters, whichever the
    task says; hours weigh by the duty they were run at.

    Args:
        site: the site, from `read_site`.
        as_of: a date (its end: the next local midnight is meant) or a time (naive: local to the site).
        now_us: the clock, UTC microseconds; later rows and records are faults. None: no clock.
        ruleset: name or path of a rule set to judge by instead of the site's.
        engines: ids to judge; none means all.
        tasks: ids to judge; none means all.
        month: `YYYY-MM`: also give the month's compliance, and of the skipped keep only that month's.
        jobs: how many processes share the engines; None: as many as processors, for many engines. The findings are the same.
        ahead: waits for the readings, where somebody has begun to read them; None: they are read here.
        progress: called with a few words and the share done.

    Returns:
        Findings sorted by engine, then task, as site and rule set list them.

    Raises:
        ProblemsError: everything that stops the judging, at once.

    Example:
        >>> from datetime import date
        >>> from intervals import assess, read_site
        >>> findings = assess(read_site("sample_logs/brackwater"), date(2026, 10, 31))
        >>> findings.rows.read == findings.rows.accepted + findings.rows.set_aside
        True
    """
    check_engines(site, engines)
    inputs = read_inputs(site, as_of, now_us=now_us, ruleset=ruleset, ahead=ahead, progress=progress)
    return judge_inputs(inputs, ruleset=ruleset, engines=engines, tasks=tasks, month=month, jobs=jobs, progress=progress)


def judge_inputs(  # noqa: PLR0913 - every argument is one thing a user can ask for
    inputs: Inputs,
    *,
    ruleset: str | None = None,
    engines: Collection[str] = (),
    tasks: Collection[str] = (),
    month: str | None = None,
    watch: Watch | None = None,
    jobs: int | None = None,
    progress: Progress | None = None,
) -> Findings:
    """Return the findings of what was read, as `assess_site` does; the same inputs may be judged again at another moment.

    Args:
        inputs: from `read_inputs`.
        ruleset: as for `assess_site`, and as for `read_inputs`.
        engines: ids to judge; none means all.
        tasks: ids to judge; none means all.
        month: as for `assess_site`.
        watch: is handed each engine once it is judged, for whoever wants more of it than its findings; one process judges then.
        jobs: as for `assess_site`.
        progress: called with a few words and the share done.

    Raises:
        ProblemsError: everything that stops the judging, at once.
    """
    site = inputs.site
    check_tasks(inputs, tasks)
    span = None if month is None else Month.of(month, site, inputs.moment.at_us)
    judged = [index for index, engine in enumerate(site.machines) if not engines or engine.id in engines]
    answer = Answer([*inputs.faults])

    def answer_of(numbered: tuple[int, int]) -> Answer:
        number, index = numbered
        if progress and number < len(judged) // processes:
            progress(f"judging {site.machines[index].id}", 0.4 + 0.6 * number * processes / len(judged))
        found = Answer([])
        judged_engine = _judge_engine(inputs, index, ruleset, tasks, span, found)
        if watch and judged_engine is not None:
            watch(judged_engine)
        return found

    # who watches is handed what cannot travel between processes
    processes = 1 if watch else processes_for(len(judged), jobs)
    for found in map_in_processes(answer_of, list(enumerate(judged)), processes):
        answer.add(found)
    _note_unfitted(inputs, answer, judged, ruleset)
    return _put_together(inputs, answer, engines, span, ruleset)


def no_such(kind: Literal["engine", "task"], option: str, name: str, where: str, known: Sequence[str]) -> Problem:
    """Return the problem of a name that was asked for and does not exist."""
    code = {"engine": "CLI010", "task": "CLI011"}[kind]
    text = f'no {kind} "{name}" {where}{nearest_of(name, known)}'
    return Problem(code, option, None, None, text, f"{kind}s: {', '.join(known[:MOST_NAMED])}")


def check_engines(site: Site, engines: Collection[str]) -> None:
    """Refuse engines that the site does not have."""
    known = [engine.id for engine in site.machines]
    problems = [no_such("engine", "--engine", name, "at this site", known) for name in engines if name not in known]
    if problems:
        raise RequestProblemError(problems)


def check_tasks(inputs: Inputs, tasks: Collection[str]) -> None:
    """Refuse tasks that no rule set of the site has."""
    known = list(dict.fromkeys(name for book in inputs.books.values() for name in book.ruleset.judged_ids))
    problems = [no_such("task", "--task", name, f"in {', '.join(inputs.books)}", known) for name in tasks if name not in known]
    if problems:
        raise RequestProblemError(problems)


def build_case(
    inputs: Inputs, index: int, ruleset: str | None, *, extra_plan: CellPlan | None = None, finds_runs: bool = True
) -> EngineCase | None:
    """Return an engine made ready to be judged, or None where it was not in service yet.

    Args:
        inputs: the site's inputs.
        index: which engine.
        ruleset: the rule set asked for instead of the site's.
        extra_plan: levels that somebody wants to know beyond what the rules ask for.
        finds_runs: whether the log may complete tasks; a worked example states what was used since the last completion.
    """
    site, engine, days = inputs.site, inputs.site.machines[index], inputs.days
    if index >= len(site.engines):
        return _component_case(inputs, index - len(site.engines), inputs.book_of(engine, ruleset))
    records = inputs.records.get(engine.id, [])
    log = gather_engine_log(site, index, inputs.readings, telling_records(records, days, inputs.moment.at_us), days)
    if log.in_service_us is not None and log.in_service_us >= inputs.moment.at_us:
        return None
    end_us, last_day = inputs.moment.at_us, inputs.moment.last_day
    if log.out_of_service_us is not None and log.out_of_service_us < end_us:
        end_us, last_day = log.out_of_service_us, days.last_day_before(log.out_of_service_us)
    book = inputs.book_of(engine, ruleset)
    includes_end = not inputs.moment.is_date and end_us == inputs.moment.at_us
    settled = settle_records(log, records, book.ruleset, days, before_us=end_us, includes_end=includes_end)
    files, rules = inputs.readings.files, inputs.standings
    if finds_runs:
        settled = credit_runs(site, log, settled, book, days, rules, files=files, end_us=end_us, includes_end=includes_end)
    settled = credit_analyses(settled, inputs.analyses.get(engine.id, ()), book, log, days, site.lab.new_oil, end_us=end_us)
    edges = edges_of(log, settled, days, end_us)
    plan = book.plan if extra_plan is None else book.plan.joined(extra_plan)
    laid_up = [edge for span in log.active.spans_us for edge in span]
    steps, counter_faults = build_steps(
        list(log.blocks),
        log.course,
        cuts_us=np.array([*edges.tolist(), *laid_up], dtype=np.int64),
        start_us=int(edges[0]),
        end_us=end_us,
        in_service_us=log.in_service_us,
        at_start=engine.at_start,
        rated_kw=engine.rated_kw,
        wanted_levels=plan.levels,
        running_when=site.running_when_of(engine),
    )
    ledger = build_ledger(steps, edges, plan)
    case = EngineCase(site, engine, log, settled, ledger, book, days, end_us, last_day, inputs.standings, steps=steps)
    # what later rows tell is not judged, and neither are their faults
    case.faults += log.faults_up_to(end_us)
    case.faults += [*settled.faults, *severe_faults(engine, book)]
    case.faults += [
        Fault(
            engine.id, "counter_went_back", *log.place_of(fault.quantity, fault.at_us, inputs.readings.files), fault.at_us,
            f"{fault.quantity} stepped back from {fault.previous:,.6g} to {fault.value:,.6g}; the step counts nothing",
        )
        for fault in counter_faults
    ]  # fmt: skip
    if case.silence_us(end_us) > log.gap_us and log.told_to_us is not None:
        silent_d = case.silence_us(end_us) / 86_400e6
        text = f"the log ended on {days.iso(log.told_to_us)}, {silent_d:,.1f} d before the date of judging; nothing is invented"
        case.faults.append(Fault(engine.id, "log_ended", None, None, log.told_to_us, text))
    return case


def _component_case(inputs: Inputs, place: int, book: RuleBook) -> EngineCase | None:
    """Return a component made ready to be judged."""
    sources = Sources(inputs.site, inputs.readings, inputs.records, inputs.days, inputs.standings)
    moment = inputs.moment
    return component_case(
        sources,
        inputs.site.components[place],
        book,
        end_us=moment.at_us,
        last_day=moment.last_day,
        includes_end=not moment.is_date,
    )


def fitting_tasks(case: EngineCase) -> tuple[list[Task], list[Task]]:
    """Return the tasks that are for an engine, and those of which it does not say enough to tell."""
    verdict = case.book.fits.fire(case.facts)
    tasks = [task for task in case.book.ruleset.tasks if case.may_be_for(task.applies_to)]
    fit = [task for task in tasks if task.applies_to is None or task.id in verdict.holds]
    return fit, [task for task in tasks if task.id in verdict.unknown]


def _judge_engine(  # noqa: PLR0913 - what one engine's answer is made of
    inputs: Inputs, index: int, ruleset: str | None, tasks: Collection[str], span: Month | None, answer: Answer
) -> JudgedEngine | None:
    """Judge every task of one engine."""
    case = build_case(inputs, index, ruleset)
    if case is None:
        return None
    name = ruleset or inputs.site.ruleset_of(case.engine)
    fit, untold = fitting_tasks(case)
    answer.fitted.update((name, task.id) for task in [*fit, *untold])
    is_over = case.log.out_of_service_us is not None and case.log.out_of_service_us <= inputs.moment.at_us
    chains = {task.id: TaskChain(case, task) for task in fit}
    visits = visits_of(case, chains.values())
    paces: dict[str, Pace] = {}
    for task in case.book.ruleset.tasks:
        if tasks and task.id not in tasks:
            continue
        if task in untold:
            if not is_over:
                answer.findings.append(finding_without_window(TaskChain(case, task), is_described=False))
            continue
        chain = chains.get(task.id)
        if chain is None:
            continue
        _judge_task(chain, visits, paces, span, answer, is_over=is_over)
    answer.fitted.update((name, budget.id) for some in fitting_budgets(case) for budget in some)
    if not is_over:
        answer.findings += budget_findings(case, tasks)
    answer.faults += case.faults
    if case.untold_hours:
        why = next(iter(case.untold_hours.values()))
        text = f"{why}: {', '.join(list(case.untold_hours)[:MOST_NAMED])} cannot be judged by running hours"
        answer.faults.append(Fault(case.engine.id, "history_unknown", None, None, None, text))
    return JudgedEngine(case, chains, visits)


def _judge_task(  # noqa: PLR0913 - what one task's answer is made of
    chain: TaskChain, visits: Visits, paces: dict[str, Pace], span: Month | None, answer: Answer, *, is_over: bool
) -> None:
    """Judge one task of one engine; a failing inference is a named fault and an unknown task, never a silent pass."""
    try:
        windows = list(chain.windows(visits, None if span is None else (span.start_us, span.end_us)))
        if not is_over:
            answer.findings.append(_finding(chain, windows, paces))
        answer.skipped += find_skipped(chain, windows, visits)
        if span is not None:
            answer.occurrences += occurrences_of(chain, windows, span)
    except InferenceFaultError as error:
        case = chain.case
        case.faults.append(Fault(case.engine.id, "inference_fault", None, None, None, f"{chain.task.id}: {error}"))
        answer.findings = [entry for entry in answer.findings if (entry.engine, entry.task) != (case.engine.id, chain.task.id)]
        answer.findings.append(finding_without_window(chain, is_described=True, why=str(error)))


def _finding(chain: TaskChain, windows: Sequence[WindowEnd], paces: dict[str, Pace]) -> Finding:
    """Return the finding of one task, with the faults of what it rests on."""
    window = windows[-1] if windows and windows[-1].completion is None else None
    if window is None:
        case = chain.case
        text = f"{chain.task.id}: no completion is known, and the records do not reach back to the engine's first day"
        case.faults.append(Fault(case.engine.id, "no_completion_known", None, None, None, text))
        return finding_without_window(chain, is_described=True)
    for leg in window.legs:
        if leg.leg == RUNNING_HOURS and leg.why_unknown.startswith(NO_METER):
            chain.case.untold_hours[chain.task.id] = leg.why_unknown
    return finding_of(chain, window, paces)


def _note_unfitted(inputs: Inputs, answer: Answer, judged: Sequence[int], ruleset: str | None) -> None:
    """Note tasks that fit no engine; refuse a rule set of which no task does."""
    used = list(dict.fromkeys(ruleset or inputs.site.ruleset_of(inputs.site.machines[index]) for index in judged))
    starts = [inputs.site.first_moment_of(index) for index in judged]
    if all(start is not None and inputs.site.instant_us(start) >= inputs.moment.at_us for start in starts):
        at = inputs.days.iso(inputs.moment.at_us)
        text = f"no engine was in service yet at {at}"
        raise ProblemsError([Problem("CLI013", inputs.site.file, None, "$.engines", text, "ask for a later date with --as-of")])
    ends = [inputs.site.machines[index].out_of_service for index in judged]
    if (
        not answer.findings
        and not answer.skipped
        and all(end is not None and inputs.site.instant_us(end) <= inputs.moment.at_us for end in ends)
    ):
        at = inputs.days.iso(inputs.moment.at_us)
        text = f"no engine is in service at {at}"
        raise ProblemsError([Problem("CLI013", inputs.site.file, None, "$.engines", text, "ask for another date with --as-of")])
    if len(judged) < len(inputs.site.machines):
        # whether a task fits none can only be told of all engines
        return
    for name in used:
        book = inputs.books[name]
        unfitted = [task.id for task in book.ruleset.tasks if (name, task.id) not in answer.fitted]
        if len(unfitted) == len(book.ruleset.tasks) and not answer.findings and not answer.skipped:
            text = f"no task of {book.ruleset.ruleset} fits any engine of this site"
            fix = "look at applies_to of its tasks and at what the engines state"
            raise ProblemsError([Problem("RUL090", inputs.site.file, None, "$.ruleset", text, fix)])
        for task in unfitted:
            file, line = book.ruleset.place_of("task", task)
            text = f"{task} of {book.ruleset.ruleset} fits no engine here"
            answer.faults.append(Fault(None, "task_fits_no_engine", Path(file).name, line, None, text))
        for budget in [budget.id for budget in book.ruleset.budgets if (name, budget.id) not in answer.fitted]:
            file, line = book.ruleset.place_of("budget", budget)
            text = f"{budget} of {book.ruleset.ruleset} fits no engine here"
            answer.faults.append(Fault(None, "budget_fits_no_engine", Path(file).name, line, None, text))


def _put_together(inputs: Inputs, answer: Answer, engines: Collection[str], span: Month | None, ruleset: str | None) -> Findings:
    """Return the whole answer."""
    skipped = answer.skipped if span is None else [entry for entry in answer.skipped if entry.at.startswith(span.text)]
    counts: dict[str, int] = defaultdict(int)
    for finding in answer.findings:
        counts[finding.standing] += 1
    faults = [fault for fault in answer.faults if not engines or fault.engine is None or fault.engine in engines]
    readings = inputs.readings
    return Findings(
        site=inputs.site.site,
        as_of=inputs.days.iso(inputs.moment.at_us),
        rulesets=tuple(ruleset_used(book.ruleset) for book in inputs.books.values()),
        findings=tuple(answer.findings),
        skipped=tuple(skipped),
        faults=tuple(fault_line(fault, inputs.days) for fault in faults),
        rows=Rows(read=readings.rows_read, accepted=readings.rows_accepted, set_aside=readings.rows_set_aside),
        totals=Totals(
            overdue=counts["overdue"],
            upcoming=counts["upcoming"],
            in_interval=counts["in_interval"],
            unknown=counts["unknown"],
            skipped_open=sum(entry.open for entry in skipped),
        ),
        compliance=None if span is None else month_compliance(span, answer.occurrences),
    )


def ruleset_used(ruleset: RuleSet) -> RuleSetUsed:
    """Return a rule set as it is named in the answer."""
    return RuleSetUsed(ruleset=ruleset.ruleset, version=str(ruleset.version), sha256=ruleset.sha256)


def fault_line(fault: Fault, days: LocalDays) -> FaultLine:
    """Return a fault as it is printed."""
    at = None if fault.at_us is None else days.iso(fault.at_us)
    return FaultLine(engine=fault.engine, kind=fault.kind, file=fault.file, line=fault.line, at=at, text=fault.text)
