"""An engine or a component made ready to be judged, and the tasks that are for it.

In: a site's `Inputs`, which engine. Out: an `EngineCase` for each rule set that judges it: its log, what restarted which task, the sums of
its ledger, its faults.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple

from intervals.faults import Fault
from intervals.history.component_logs import Sources, component_cases
from intervals.history.credited_analyses import credit_analyses
from intervals.history.engine_case import EngineCase
from intervals.history.engine_records import EngineRecords, LoggedRun, with_runs
from intervals.history.events import EventSources, with_occasions
from intervals.history.inputs import Inputs
from intervals.history.ledger_edges import edges_of
from intervals.history.level_events import LevelStretches
from intervals.history.one_job import OneJobs
from intervals.history.placed_records import records_before
from intervals.history.record_tasks import records_of_log, settle_by_set
from intervals.history.results import ResultSources
from intervals.history.task_runs import RunsFound, find_runs
from intervals.local_days import LocalDays
from intervals.rulebook.duty_cells import CellPlan
from intervals.rulebook.rulebook import RuleBook
from intervals.rulebook.severe_duty import severe_faults
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Task
from intervals.usage.engine_log import EngineLog, gather_engine_log
from intervals.usage.ledger import build_ledger
from intervals.usage.steps import CounterFault, build_steps, with_months


def build_case(
    inputs: Inputs, index: int, ruleset: str | None, *, extra_plan: CellPlan | None = None, finds_runs: bool = True
) -> EngineCase | None:
    """Return an engine made ready to be judged by its first rule set, or None where it was not in service yet.

    Args:
        inputs: the site's inputs.
        index: which engine.
        ruleset: the rule set asked for instead of the site's.
        extra_plan: levels that somebody wants to know beyond what the rules ask for.
        finds_runs: whether the log may complete tasks; a worked example states what was used since the last completion.
    """
    return next(iter(build_cases(inputs, index, ruleset, extra_plan=extra_plan, finds_runs=finds_runs)), None)


def build_cases(
    inputs: Inputs, index: int, ruleset: str | None, *, extra_plan: CellPlan | None = None, finds_runs: bool = True
) -> list[EngineCase]:
    """Return an engine made ready to be judged, once for each of its rule sets; none where it was not in service yet.

    Its log is read, its meter's course built, and cut into steps once for all of them.

    Args:
        inputs: the site's inputs.
        index: which engine.
        ruleset: the rule set asked for instead of the site's.
        extra_plan: levels that somebody wants to know beyond what the rules ask for.
        finds_runs: whether the log may complete tasks; a worked example states what was used since the last completion.
    """
    site, engine, days = inputs.site, inputs.site.judged_units[index], inputs.days
    books = inputs.books_of(engine, ruleset)
    if index >= len(site.engines):
        return _component_cases(inputs, index - len(site.engines), books)
    records = inputs.records.get(engine.id, [])
    rulesets = [book.ruleset for book in books]
    usable = records_before(records_of_log(records, rulesets), days, inputs.moment.at_us)
    log = gather_engine_log(site, index, inputs.readings, usable, days)
    if log.in_service_us is not None and log.in_service_us >= inputs.moment.at_us:
        return []
    end = _end_of(inputs, log)
    settled = _settle(inputs, log, books, end, finds_runs=finds_runs)
    edges = edges_of(log, settled, days, end.at_us)
    plans = [book.plan if extra_plan is None else book.plan.joined(extra_plan) for book in books]
    levels = frozenset[str]().union(*(plan.levels for plan in plans))
    steps, counter_faults = build_steps(log, edges, (int(edges[0]), end.at_us), levels)
    steps = with_months(steps, levels, days)
    sources = ResultSources(tuple(inputs.analyses.get(engine.id, ())), site.lab.new_oil, inputs.grades)
    cases = []
    for book, plan, own in zip(books, plans, settled, strict=True):
        ledger = build_ledger(steps, edges, plan)
        case = EngineCase(site, engine, log, own, ledger, book, days, end.at_us, end.last_day, inputs.standings, steps=steps)
        case.is_one_of_several, case.sources = len(books) > 1, sources
        # what later rows show is not judged, and neither are their faults
        case.faults += log.faults_up_to(end.at_us)
        case.faults += [*own.faults, *severe_faults(engine, books)]
        case.faults += [_stepped_back(inputs, log, fault) for fault in counter_faults]
        case.faults += _log_ended(case)
        cases.append(case)
    return cases


class _End(NamedTuple):
    """Where the judging of an engine ends: at the moment of judging, or where it went out of service before."""

    at_us: int
    last_day: date
    includes_it: bool


def _end_of(inputs: Inputs, log: EngineLog) -> _End:
    """Return where the judging of an engine ends."""
    moment, out_us = inputs.moment, log.out_of_service_us
    if out_us is None or out_us >= moment.at_us:
        return _End(moment.at_us, moment.last_day, includes_it=not moment.is_date)
    return _End(out_us, inputs.days.last_day_before(out_us), includes_it=False)


def _settle(inputs: Inputs, log: EngineLog, books: Sequence[RuleBook], end: _End, *, finds_runs: bool) -> list[EngineRecords]:
    """Return the records of an engine settled for each rule set, with what the log, analyses and the other sets complete."""
    site, engine_id, days = inputs.site, log.engine.id, inputs.days
    rulesets = [book.ruleset for book in books]
    jobs = OneJobs(rulesets, site.one_job)
    settled = settle_by_set(log, inputs.records.get(engine_id, []), rulesets, days, jobs, before_us=end.at_us, includes_end=end.includes_it)
    if finds_runs:
        found = [find_runs(log, book, days, inputs.standings, end_us=end.at_us, includes_end=end.includes_it) for book in books]
        runs = jobs.runs([{} if each is None else each.runs for each in found])
        settled = [
            _with_runs(own, each, more, log, ruleset, days) for own, each, more, ruleset in zip(settled, found, runs, rulesets, strict=True)
        ]
    analyses = inputs.analyses.get(engine_id, ())
    settled = [
        credit_analyses(own, analyses, book, log, days, site.lab.new_oil, end_us=end.at_us)
        for own, book in zip(jobs.shared(settled), books, strict=True)
    ]
    return [_with_occasions(inputs, log, own, book, end, finds_runs=finds_runs) for own, book in zip(settled, books, strict=True)]


def _with_occasions(  # noqa: PLR0913 - what events are found in, and until when
    inputs: Inputs, log: EngineLog, records: EngineRecords, book: RuleBook, end: _End, *, finds_runs: bool
) -> EngineRecords:
    """Return the records of one rule set with the events after which its tasks are due once."""
    if not book.waits_for_events:
        return records
    levels = None
    if finds_runs:
        levels = LevelStretches.of(log, book, inputs.standings, inputs.days, end_us=end.at_us, includes_end=end.includes_it)
    latest_us = end.at_us if end.includes_it else end.at_us - 1
    analyses = inputs.analyses.get(log.engine.id, ())
    return with_occasions(EventSources(inputs.site, log, records, analyses, inputs.grades, levels, book, inputs.days, latest_us))


def _with_runs(  # noqa: PLR0913 - what was found, and what names and dates it
    records: EngineRecords,
    found: RunsFound | None,
    runs: Mapping[str, Sequence[LoggedRun]],
    log: EngineLog,
    ruleset: RuleSet,
    days: LocalDays,
) -> EngineRecords:
    """Return the records of one rule set with the runs of the log that complete its tasks."""
    if found is None and not runs:
        return records
    short, faults = ({}, ()) if found is None else (found.short, found.faults)
    return with_runs(replace(records, faults=(*records.faults, *faults)), runs, short, log, ruleset, days)


def _stepped_back(inputs: Inputs, log: EngineLog, fault: CounterFault) -> Fault:
    """Return the fault of a counter that stepped back."""
    text = f"{fault.quantity} stepped back from {fault.previous:,.6g} to {fault.value:,.6g}; the step counts as zero"
    file, line = log.place_of(fault.quantity, fault.at_us)
    return Fault(log.engine.id, "counter_went_back", file, line, fault.at_us, text)


def _log_ended(case: EngineCase) -> list[Fault]:
    """Return the fault of a log that fell silent before the end, if it did."""
    log, log_end_us = case.log, case.log.log_end_us
    if case.silence_us(case.end_us) <= log.gap_us or log_end_us is None:
        return []
    silent_d = case.silence_us(case.end_us) / 86_400e6
    since = f"{case.days.iso(log_end_us)}, {silent_d:,.1f} d before the date of judging"
    text = f"the log ended on {since}; no hours are assumed after its end"
    if case.is_read_by_hand_last:
        ended = f"the log ended on {case.days.iso(int(log.rows[-1]))}, and" if len(log.rows) else "there is no log;"
        text = f"{ended} the hour meter was last read by hand on {since}; no hours are assumed after that"
    elif case.outlived_meter_us is not None:
        text = f"the hour meter was last read on {since}, and rows without a reading go on to {case.days.iso(case.outlived_meter_us)}; "
        text += "the hours since are not known: type a reading of the meter"
    return [Fault(case.engine.id, "log_ended", None, None, log_end_us, text)]


def _component_cases(inputs: Inputs, place: int, books: Sequence[RuleBook]) -> list[EngineCase]:
    """Return a component made ready to be judged, once for each of its rule sets."""
    sources = Sources(inputs.site, inputs.readings, inputs.records, inputs.days, inputs.standings, inputs.grades)
    moment = inputs.moment
    cases = component_cases(
        sources,
        inputs.site.components[place],
        books,
        end_us=moment.at_us,
        last_day=moment.last_day,
        includes_end=not moment.is_date,
    )
    for case in cases:
        case.sources = ResultSources(grades=inputs.grades)
    return cases


def faults_of(cases: Iterable[EngineCase]) -> list[Fault]:
    """Return what is wrong with an engine's data, once, whatever number of its rule sets come upon it."""
    found: list[Fault] = []
    known: set[Fault] = set()
    for case in cases:
        found += [fault for fault in case.faults if fault not in known]
        known.update(case.faults)
    return found


def fitting_tasks(case: EngineCase) -> tuple[list[Task], list[Task]]:
    """Return the tasks that are for an engine, and those that cannot be decided, because it does not state enough."""
    verdict = case.book.fits.fire(case.facts)
    tasks = [task for task in case.book.ruleset.tasks if case.may_be_for(task.applies_to)]
    fit = [task for task in tasks if task.applies_to is None or task.id in verdict.holds]
    return fit, [task for task in tasks if task.id in verdict.unknown]
