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
from intervals.findings import FaultLine, Finding, Findings, Occurrence, Rows, RuleSetUsed, Skipped, Totals
from intervals.inference import InferenceFaultError
from intervals.judge.cases import NO_METER, EngineCase
from intervals.judge.chain import TaskChain, WindowEnd
from intervals.judge.completions import EngineRecords, settle_records
from intervals.judge.compliance import Month, month_compliance, occurrences_of
from intervals.judge.finding_of import finding_of, finding_without_window
from intervals.judge.forecast import Pace
from intervals.judge.plain import Visits
from intervals.judge.rulebook import RuleBook, level_names
from intervals.judge.skipped import find_skipped, visits_of
from intervals.judge.standing import Standings
from intervals.judge.windows import RUNNING_HOURS
from intervals.localdays import LocalDays
from intervals.problems import Problem, ProblemsError, ReadingsProblemError, RequestProblemError, nearest_of
from intervals.readings import Readings, ServiceRecord, read_readings, read_records
from intervals.rules.lint import check_against_site
from intervals.rules.ruleset import RuleSet, find_ruleset, load_ruleset
from intervals.rules.tasks import Task
from intervals.site.model import Engine, Site
from intervals.usage.engine_log import EngineLog, gather_engine_log
from intervals.usage.ledger import CellPlan, build_ledger
from intervals.usage.steps import build_steps

Progress = Callable[[str, float], None]
MOST_NAMED = 30


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
    """

    site: Site
    moment: Moment
    readings: Readings
    records: dict[str, list[ServiceRecord]]
    faults: list[Fault]
    books: dict[str, RuleBook]
    days: LocalDays
    standings: Standings = field(default_factory=Standings)

    def book_of(self, engine: Engine, ruleset: str | None) -> RuleBook:
        """Return the rule book that judges an engine."""
        return self.books[ruleset or self.site.ruleset_of(engine)]


def moment_of(site: Site, as_of: date | datetime) -> Moment:
    """Return the moment of judging: a date means the next local midnight, a time is that instant."""
    if isinstance(as_of, datetime):
        at_us = site.instant_us(as_of)
        last = datetime.fromtimestamp((at_us - 1) / 1e6, tz=site.zone).date()
        return Moment(at_us, is_date=False, last_day=last)
    return Moment(site.instant_us(as_of + timedelta(days=1)), is_date=True, last_day=as_of)


def read_inputs(
    site: Site, as_of: date | datetime, *, now_us: int | None = None, ruleset: str | None = None, progress: Progress | None = None
) -> Inputs:
    """Read rule sets, readings and records of a site.

    Args:
        site: the site.
        as_of: the moment of judging.
        now_us: the clock, UTC microseconds; rows and records later than it are faults. None: no clock.
        ruleset: name or path of a rule set that judges every engine instead of the site's.
        progress: called with a few words and the share done.

    Raises:
        ProblemsError: what cannot be read, or leaves nothing to judge.
    """
    moment = moment_of(site, as_of)
    books = _read_books(site, ruleset)
    if progress:
        progress("reading the log", 0.0)
    readings = read_readings(site, now_us=now_us)
    if not readings.rows_accepted:
        what = "no row at all" if not readings.rows_read else f"none of {readings.rows_read} rows can be used"
        kinds = sorted({fault.kind for fault in readings.faults})
        fix = f"faults: {', '.join(kinds)}" if kinds else "put the operating log into the files that site.yaml names under readings"
        raise ReadingsProblemError([Problem("REA090", site.file, None, "$.readings", f"the log is empty: {what}", fix)])
    if progress:
        progress("reading the service records", 0.3)
    recorded = read_records(site, now_us=now_us)
    by_engine: dict[str, list[ServiceRecord]] = defaultdict(list)
    for record in recorded.records:
        by_engine[record.engine].append(record)
    days = LocalDays(site.zone, _earliest_us(site, readings, recorded.records, moment), moment.at_us)
    return Inputs(site, moment, readings, by_engine, [*readings.faults, *recorded.faults], books, days)


def _earliest_us(site: Site, readings: Readings, records: Sequence[ServiceRecord], moment: Moment) -> int:
    """Return an instant no later than anything that is known of the site."""
    known = [moment.at_us]
    known += [site.instant_us(engine.in_service) for engine in site.engines if engine.in_service is not None]
    known += [int(block.at_us.min()) for block in readings.blocks if len(block.at_us)]
    known += [record.at_us for record in records if record.at_us is not None]
    known += [site.instant_us(record.on) for record in records if record.on is not None]
    return min(known)


def _read_books(site: Site, ruleset: str | None) -> dict[str, RuleBook]:
    """Return the rule books of the site by the name under which it asks for them."""
    names = [ruleset] if ruleset else list(dict.fromkeys(site.ruleset_of(engine) for engine in site.engines))
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
    _check_request(site, engines)
    inputs = read_inputs(site, as_of, now_us=now_us, ruleset=ruleset, progress=progress)
    _check_tasks(inputs, tasks)
    span = None if month is None else Month.of(month, site, inputs.moment.at_us)
    judged = [index for index, engine in enumerate(site.engines) if not engines or engine.id in engines]
    answer = _Answer(inputs.faults)
    for number, index in enumerate(judged):
        if progress:
            progress(f"judging {site.engines[index].id}", 0.4 + 0.6 * number / len(judged))
        _judge_engine(inputs, index, ruleset, tasks, span, answer)
    _note_unfitted(inputs, answer, judged, ruleset)
    return _put_together(inputs, answer, engines, span, ruleset)


def no_such(kind: Literal["engine", "task"], option: str, name: str, where: str, known: Sequence[str]) -> Problem:
    """Return the problem of a name that was asked for and does not exist."""
    code = {"engine": "CLI010", "task": "CLI011"}[kind]
    text = f'no {kind} "{name}" {where}{nearest_of(name, known)}'
    return Problem(code, option, None, None, text, f"{kind}s: {', '.join(known[:MOST_NAMED])}")


@dataclass
class _Answer:
    """What has been found so far."""

    faults: list[Fault]
    findings: list[Finding] = field(default_factory=list)
    skipped: list[Skipped] = field(default_factory=list)
    occurrences: list[Occurrence] = field(default_factory=list)
    fitted: set[tuple[str, str]] = field(default_factory=set)


def _check_request(site: Site, engines: Collection[str]) -> None:
    """Refuse engines that the site does not have."""
    known = [engine.id for engine in site.engines]
    problems = [no_such("engine", "--engine", name, "at this site", known) for name in engines if name not in known]
    if problems:
        raise RequestProblemError(problems)


def _check_tasks(inputs: Inputs, tasks: Collection[str]) -> None:
    """Refuse tasks that no rule set of the site has."""
    known = list(dict.fromkeys(task.id for book in inputs.books.values() for task in book.ruleset.tasks))
    problems = [no_such("task", "--task", name, f"in {', '.join(inputs.books)}", known) for name in tasks if name not in known]
    if problems:
        raise RequestProblemError(problems)


def build_case(inputs: Inputs, index: int, ruleset: str | None, *, extra_plan: CellPlan | None = None) -> EngineCase | None:
    """Return an engine made ready to be judged, or None where it was not in service yet.

    Args:
        inputs: the site's inputs.
        index: which engine.
        ruleset: the rule set asked for instead of the site's.
        extra_plan: levels that somebody wants to know beyond what the rules ask for.
    """
    site, engine, days = inputs.site, inputs.site.engines[index], inputs.days
    records = inputs.records.get(engine.id, [])
    log = gather_engine_log(site, index, inputs.readings, records, days)
    if log.in_service_us is not None and log.in_service_us >= inputs.moment.at_us:
        return None
    end_us, last_day = inputs.moment.at_us, inputs.moment.last_day
    if log.out_of_service_us is not None and log.out_of_service_us < end_us:
        end_us, last_day = log.out_of_service_us, days.last_day_before(log.out_of_service_us)
    book = inputs.book_of(engine, ruleset)
    settled = settle_records(
        log, records, book.ruleset, days, before_us=end_us, includes_end=not inputs.moment.is_date and end_us == inputs.moment.at_us
    )
    edges = _edges(log, settled, days, end_us)
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
    case = EngineCase(site, engine, log, settled, ledger, book, days, end_us, last_day, inputs.standings)
    case.faults += [*log.faults, *settled.faults]
    case.faults += [
        Fault(
            engine.id, "counter_went_back", None, None, fault.at_us,
            f"{fault.quantity} stepped back from {fault.previous:,.6g} to {fault.value:,.6g}; the step counts nothing",
        )
        for fault in counter_faults
    ]  # fmt: skip
    if case.silence_us(end_us) > log.gap_us and log.told_to_us is not None:
        silent_d = case.silence_us(end_us) / 86_400e6
        text = f"the log ended on {days.iso(log.told_to_us)}, {silent_d:,.1f} d before the date of judging; nothing is invented"
        case.faults.append(Fault(engine.id, "log_ended", None, None, log.told_to_us, text))
    return case


def _edges(log: EngineLog, records: EngineRecords, days: LocalDays, end_us: int) -> np.ndarray:
    """Return the cuts of the ledger: local midnights, every completion, the first moment and the last."""
    instants = {at for at in records.instants_us() if at < end_us}
    known = [*instants, end_us - 1]
    if log.in_service_us is not None:
        instants.add(log.in_service_us)
        known.append(log.in_service_us)
    if len(log.rows):
        known.append(int(log.rows[0]))
    if log.course.is_known:
        known.append(log.course.known_from_us)
    first = days.midnight_us(days.last_day_before(min(known)))
    inside = [at for at in instants if first < at < end_us]
    return np.unique(np.concatenate(([first], days.between(first, end_us), np.array(inside, dtype=np.int64), [end_us])))


def fitting_tasks(case: EngineCase) -> tuple[list[Task], list[Task]]:
    """Return the tasks that are for an engine, and those of which it does not say enough to tell."""
    verdict = case.book.fits.fire(case.facts)
    tasks = case.book.ruleset.tasks
    fit = [task for task in tasks if task.applies_to is None or task.id in verdict.holds]
    return fit, [task for task in tasks if task.id in verdict.unknown]


def _judge_engine(  # noqa: PLR0913 - what one engine's answer is made of
    inputs: Inputs, index: int, ruleset: str | None, tasks: Collection[str], span: Month | None, answer: _Answer
) -> None:
    """Judge every task of one engine."""
    case = build_case(inputs, index, ruleset)
    if case is None:
        return
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
    answer.faults += case.faults
    if case.untold_hours:
        why = next(iter(case.untold_hours.values()))
        text = f"{why}: {', '.join(list(case.untold_hours)[:MOST_NAMED])} cannot be judged by running hours"
        answer.faults.append(Fault(case.engine.id, "history_unknown", None, None, None, text))


def _judge_task(  # noqa: PLR0913 - what one task's answer is made of
    chain: TaskChain, visits: Visits, paces: dict[str, Pace], span: Month | None, answer: _Answer, *, is_over: bool
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


def _note_unfitted(inputs: Inputs, answer: _Answer, judged: Sequence[int], ruleset: str | None) -> None:
    """Note tasks that fit no engine; refuse a rule set of which no task does."""
    used = list(dict.fromkeys(ruleset or inputs.site.ruleset_of(inputs.site.engines[index]) for index in judged))
    for name in used:
        book = inputs.books[name]
        unfitted = [task.id for task in book.ruleset.tasks if (name, task.id) not in answer.fitted]
        if len(unfitted) == len(book.ruleset.tasks) and not answer.findings and not answer.skipped:
            text = f"no task of {book.ruleset.ruleset} fits any engine of this site"
            fix = "look at applies_to of its tasks and at what the engines state"
            raise ProblemsError([Problem("RUL090", inputs.site.file, None, "$.ruleset", text, fix)])
        for task in unfitted:
            line = book.ruleset.line_of("task", task)
            text = f"{task} of {book.ruleset.ruleset} fits no engine here"
            answer.faults.append(Fault(None, "task_fits_no_engine", Path(book.ruleset.file).name, line, None, text))


def _put_together(inputs: Inputs, answer: _Answer, engines: Collection[str], span: Month | None, ruleset: str | None) -> Findings:
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
        rulesets=tuple(_used(book.ruleset) for book in inputs.books.values()),
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


def _used(ruleset: RuleSet) -> RuleSetUsed:
    """Return a rule set as it is named in the answer."""
    return RuleSetUsed(ruleset=ruleset.ruleset, version=str(ruleset.version), sha256=ruleset.sha256)


def fault_line(fault: Fault, days: LocalDays) -> FaultLine:
    """Return a fault as it is printed."""
    at = None if fault.at_us is None else days.iso(fault.at_us)
    return FaultLine(engine=fault.engine, kind=fault.kind, file=fault.file, line=fault.line, at=at, text=fault.text)
