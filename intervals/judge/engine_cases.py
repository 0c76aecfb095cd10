"""An engine or a component made ready to be judged, and the tasks that are for it.

In: a site's `Inputs`, which engine. Out: an `EngineCase`: its log, what restarted which task, the sums of its ledger, its faults.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

import numpy as np

from intervals.faults import Fault
from intervals.judge.analysis import credit_analyses
from intervals.judge.cases import EngineCase
from intervals.judge.completions import name_tasks, settle_records, telling_records
from intervals.judge.components import Sources, component_case
from intervals.judge.engine_records import EngineRecords
from intervals.judge.inputs import Inputs
from intervals.judge.ledger_edges import edges_of
from intervals.judge.rulebook import RuleBook
from intervals.judge.runs import credit_runs
from intervals.judge.severe_duty import severe_faults
from intervals.readings import ServiceRecord
from intervals.rules.tasks import Task
from intervals.usage.engine_log import EngineLog, gather_engine_log
from intervals.usage.ledger import CellPlan, build_ledger
from intervals.usage.steps import CounterFault, build_steps


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
    book = inputs.book_of(engine, ruleset)
    records = name_tasks(inputs.records.get(engine.id, []), book.ruleset)
    log = gather_engine_log(site, index, inputs.readings, telling_records(records, days, inputs.moment.at_us), days)
    if log.in_service_us is not None and log.in_service_us >= inputs.moment.at_us:
        return None
    end = _end_of(inputs, log)
    settled = _settle(inputs, log, records, book, end, finds_runs=finds_runs)
    edges = edges_of(log, settled, days, end.at_us)
    plan = book.plan if extra_plan is None else book.plan.joined(extra_plan)
    laid_up = [edge for span in log.active.spans_us for edge in span]
    steps, counter_faults = build_steps(
        list(log.blocks),
        log.course,
        cuts_us=np.array([*edges.tolist(), *laid_up], dtype=np.int64),
        start_us=int(edges[0]),
        end_us=end.at_us,
        in_service_us=log.in_service_us,
        at_start=engine.at_start,
        rated_kw=engine.rated_kw,
        wanted_levels=plan.levels,
        running_when=site.running_when_of(engine),
    )
    ledger = build_ledger(steps, edges, plan)
    case = EngineCase(site, engine, log, settled, ledger, book, days, end.at_us, end.last_day, inputs.standings, steps=steps)
    # what later rows tell is not judged, and neither are their faults
    case.faults += log.faults_up_to(end.at_us)
    case.faults += [*settled.faults, *severe_faults(engine, book)]
    case.faults += [_stepped_back(inputs, log, fault) for fault in counter_faults]
    case.faults += _log_ended(case)
    return case


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


def _settle(  # noqa: PLR0913 - what an engine's records are settled by
    inputs: Inputs, log: EngineLog, records: Sequence[ServiceRecord], book: RuleBook, end: _End, *, finds_runs: bool
) -> EngineRecords:
    """Return the records of an engine settled, with what the log and analyses complete."""
    site, engine_id, days = inputs.site, log.engine.id, inputs.days
    settled = settle_records(log, records, book.ruleset, days, before_us=end.at_us, includes_end=end.includes_it)
    if finds_runs:
        settled = credit_runs(site, log, settled, book, days, inputs.standings, end_us=end.at_us, includes_end=end.includes_it)
    return credit_analyses(settled, inputs.analyses.get(engine_id, ()), book, log, days, site.lab.new_oil, end_us=end.at_us)


def _stepped_back(inputs: Inputs, log: EngineLog, fault: CounterFault) -> Fault:
    """Return the fault of a counter that stepped back."""
    text = f"{fault.quantity} stepped back from {fault.previous:,.6g} to {fault.value:,.6g}; the step counts nothing"
    file, line = log.place_of(fault.quantity, fault.at_us)
    return Fault(log.engine.id, "counter_went_back", file, line, fault.at_us, text)


def _log_ended(case: EngineCase) -> list[Fault]:
    """Return the fault of a log that fell silent before the end, if it did."""
    log, told_to_us = case.log, case.log.told_to_us
    if case.silence_us(case.end_us) <= log.gap_us or told_to_us is None:
        return []
    silent_d = case.silence_us(case.end_us) / 86_400e6
    text = f"the log ended on {case.days.iso(told_to_us)}, {silent_d:,.1f} d before the date of judging; nothing is invented"
    return [Fault(case.engine.id, "log_ended", None, None, told_to_us, text)]


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
