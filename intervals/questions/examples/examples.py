"""The worked examples that a rule set carries, run through the same judge as a real site.

In: a `RuleSet`. Out: one `ExampleResult` an example. Each example becomes a site of one engine with a row of log at its end and at
each job done since, and the finding of its task is held against what the example expects.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from math import ceil
from typing import Any

import numpy as np

from intervals.faults import Fault
from intervals.findings import Finding
from intervals.history.engine_case import EngineCase
from intervals.history.engine_cases import build_case, fitting_tasks
from intervals.history.engine_records import Occasions, TaskEvent
from intervals.history.events import pair_with_jobs
from intervals.history.inputs import Inputs, moment_of
from intervals.history.results import ResultSources
from intervals.judge.budget_findings import fitting_budgets, judge_of_engine
from intervals.judge.finding_of import finding_without_window
from intervals.judge.idle_finding import finding_now
from intervals.language.conditions import IN_SERVICE, day_number
from intervals.language.legs import ELAPSED_HOURS, LEGS, RUNNING_HOURS
from intervals.local_days import LocalDays
from intervals.quantities import COUNT, QUANTITIES
from intervals.questions.examples.example_result import ExampleResult
from intervals.questions.examples.procedure_examples import run_procedure_examples
from intervals.readings import BlockRows, Readings, ServiceRecord
from intervals.readings.block_parts import FILE, LINE, TIME, Column, Name, Part, PartedRows
from intervals.rulebook.rulebook import RuleBook, level_names
from intervals.rules.events import NEVER
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Task
from intervals.rules.worked_examples import Example, JobAgo
from intervals.site.model import Site
from intervals.usage.meter_readings import METER
from intervals.windows.chain import TaskChain
from intervals.windows.event_chain import EventChain

USUAL_AS_OF = date(2026, 6, 30)
ENGINE = "example"
SILENCE_H = 1e6
METER_AT_START = "meter_at_start_h"
TOLERANCE = 1e-6


def run_examples(ruleset: RuleSet) -> list[ExampleResult]:
    """Return the outcome of every example of a rule set, in its order; those of its procedures come last."""
    return [*(_run(ruleset, example) for example in ruleset.examples), *run_procedure_examples(ruleset)]


def _run(ruleset: RuleSet, example: Example) -> ExampleResult:
    """Judge one example and hold it against what it expects."""
    finding, faults = judge_example(ruleset, example)
    if finding is None:
        return ExampleResult(example.name, passed=False, text=f"task {example.task} does not fit the example's engine")
    differences = _differences(ruleset, example, finding)
    differences += [f"{fault.kind}: {fault.text}" for fault in faults if fault.kind in ("meter_ran_fast", "meter_went_back")]
    return ExampleResult(example.name, passed=not differences, text="; ".join(differences))


def judge_example(ruleset: RuleSet, example: Example) -> tuple[Finding | None, list[Fault]]:
    """Return the finding of an example's task, and the faults of its log; None where the task is not for the engine."""
    as_of = example.as_of or USUAL_AS_OF
    used = {name: float(value) for name, value in example.since_last.items()}
    hours = used.pop(RUNNING_HOURS, None)
    days = used.pop("days", None)
    elapsed_h = used.pop(ELAPSED_HOURS, None)
    span_days = int(days) if days is not None else max(1, ceil((hours or 0.0) / 24))
    start: date = as_of - timedelta(days=span_days)
    if elapsed_h is not None:
        # the example's site goes by UTC, and its last day is judged whole
        start = datetime.combine(as_of + timedelta(days=1), time()) - timedelta(hours=elapsed_h)
    site = _site_of(ruleset, example, start, hours, used)
    moment = moment_of(site, as_of)
    start_us = site.instant_us(start)
    jobs = sorted((-job.days, name, job) for name, job in example.done_since.items())
    jobs_us = [site.instant_us(as_of + timedelta(days=before)) for before, _, _ in jobs]
    span_us = max(moment.at_us - start_us, 1)
    shares = [_share_done(job, hours, (at_us - start_us) / span_us) for at_us, (_, _, job) in zip(jobs_us, jobs, strict=True)]
    # an engine that is older than the example has a row where it begins
    begins = [start_us] if site.engines[0].in_service != start else []
    meter_h = site.engines[0].meter_at_start_h or 0.0
    readings = _readings_of(
        site,
        [*begins, *jobs_us, moment.at_us],
        [*(0.0 for _ in begins), *shares, 1.0],
        used if hours is None else {**used, METER: hours},
        meter_h,
    )
    budget = next((entry for entry in ruleset.budgets if entry.id == example.task), None)
    is_once = any(task.is_once for task in ruleset.tasks if task.id == example.task)
    records = [] if example.first or budget is not None or is_once else [_record(example.task, start_us)]
    records += [_record(name, at_us) for at_us, (_, name, _) in zip(jobs_us, jobs, strict=True)]
    days_of_site = LocalDays(site.zone, start_us, moment.at_us)
    inputs = Inputs(site, moment, readings, {ENGINE: records}, [], {site.rulesets[0]: RuleBook(ruleset, level_names(site))}, days_of_site)
    case = build_case(inputs, 0, None, finds_runs=False)
    if case is None:
        return None, []
    case.sources = ResultSources(stated=example.results)
    if budget is not None:
        described, undescribed = fitting_budgets(case)
        judge = judge_of_engine(case, budget, is_described=budget in described)
        return (judge.finding() if budget in (*described, *undescribed) else None), case.faults
    fit, unclear = fitting_tasks(case)
    task = ruleset.task(example.task)
    # of what is done once the example says what was used since its event
    chain = EventChain(case, task, _occasions(case, task, start_us)) if task.is_once else TaskChain(case, task)
    if task in unclear:
        return finding_without_window(chain, is_described=False), case.faults
    if task not in fit or (chain.open_window is None and chain.idle is None):
        return None, case.faults
    return finding_now(chain, chain.open_window), case.faults


def _occasions(case: EngineCase, task: Task, start_us: int) -> Occasions:
    """Return the one occasion of a task that is done once: an event where the example begins; none of a job that no event asks for."""
    if all(event.kind == NEVER for event in task.events):
        return Occasions()
    event = TaskEvent(start_us, "the example's event", "", "example")
    return Occasions(tuple(pair_with_jobs([event], case.records.completions.get(task.id, ()))))


def _share_done(job: JobAgo, hours: float | None, share_of_time: float) -> float:
    """Return the share of the example's use that lies before a job: by its hours, else by time."""
    return share_of_time if not hours or job.running_hours is None else 1.0 - float(job.running_hours) / hours


def _readings_of(site: Site, instants_us: Sequence[int], shares: Sequence[float], values: Mapping[str, float], meter_h: float) -> Readings:
    """Return the example's log: a row at each instant, when so much of the use lay behind; levels are the same throughout.

    Args:
        site: the example's site.
        instants_us: the instants, rising.
        shares: how much of the whole use lies before each, the last one 1.
        values: what was used in all, and the levels.
        meter_h: what the hour meter showed at the first instant.
    """
    # of jobs done at one moment one row is enough
    placed = dict(zip(instants_us, shares, strict=True))
    logged = np.array([*placed.values()])
    row: dict[Name, Column] = {TIME: np.array([*placed], dtype=np.int64)}
    for name, value in values.items():
        kind = QUANTITIES[name].kind if name in QUANTITIES else site.quantities[name].kind
        row[name] = value * (logged if kind == "counter" else np.diff(logged, prepend=0.0) if kind == "amount" else np.ones(len(logged)))
    if METER in row:
        row[METER] = row[METER] + meter_h
    part = Part.of(row, {FILE: 0, LINE: 1}, np.zeros(len(logged), dtype=np.int32))
    block = BlockRows(site.readings[0], PartedRows([part]), tuple(values), ("example",))
    return Readings(blocks=(block,), faults=[], rows_read=len(logged), rows_accepted=len(logged), rows_set_aside=0, files=("example",))


def _record(task: str, at_us: int) -> ServiceRecord:
    """Return the record of a completion."""
    return ServiceRecord(
        engine=ENGINE, task=task, at_us=at_us, on=None, hour_meter_h=None, outcome="done", until_h=None, until_date=None,
        approved_by="", done_by="", note="", ref="", file="example", line=1,
    )  # fmt: skip


def _engine_of(example: Example, start: date, hours: float | None) -> dict[str, Any]:
    """Return the example's engine as a site states it; new on the day on which the example begins, unless it states an earlier one."""
    engine: dict[str, Any] = {"id": ENGINE, "in_service": start.isoformat(), "attributes": {}}
    if hours is not None:
        engine["meter_at_start_h"] = 0
    for name, value in example.engine.items():
        if name in ("fuel", "duty", "rated_kw", "oil_volume_l"):
            engine[name] = value
        elif name == IN_SERVICE:
            is_day = isinstance(value, str) and day_number(value) is not None
            engine[IN_SERVICE] = min(str(value), engine[IN_SERVICE]) if is_day else engine[IN_SERVICE]
        elif name == METER_AT_START:
            engine |= {name: value} if hours is not None else {}
        elif name != "engine":
            engine["attributes"][name] = value
    return engine


def _site_of(ruleset: RuleSet, example: Example, start: date, hours: float | None, used: dict[str, float]) -> Site:
    """Return a site of the example's one engine, whose log begins at the last completion."""
    engine = _engine_of(example, start, hours)
    quantities: dict[str, Any] = {"hour_meter_h": {"column": "hour_meter_h"}}
    units = {leg: COUNT for task in ruleset.tasks for leg in task.legs}
    units |= {name: LEGS[RUNNING_HOURS].unit for budget in ruleset.budgets for name in budget.of.quantities}
    at_start: dict[str, float] = {}
    for name in used:
        quantities[name] = {"column": name} if name in QUANTITIES else {"column": name, "unit": "count", "kind": "level"}
        if name not in QUANTITIES and name in units:
            quantities[name] = {"column": name, "unit": units[name], "kind": "amount"}
        if name in QUANTITIES and QUANTITIES[name].kind == "counter":
            at_start[name] = 0.0
    if at_start:
        engine["at_start"] = at_start
    return Site.model_validate(
        {
            "site": "example",
            "time_zone": "UTC",
            "ruleset": ruleset.ruleset,
            "engines": [engine],
            "readings": [
                {
                    "files": ["example"],
                    "timestamp": {"column": "at"},
                    "engine": {"value": ENGINE},
                    "gap_h": SILENCE_H,
                    "quantities": quantities,
                }
            ],
        }
    )


def _differences(ruleset: RuleSet, example: Example, finding: Finding) -> list[str]:
    """Return what of a finding is not as expected."""
    expect = example.expect
    leg = finding.governing_leg
    differences = []
    for name in ("used", "allowed", "remaining", "consumed"):
        wanted = getattr(expect, name)
        if wanted is None:
            continue
        got = None if leg is None else getattr(leg, name)
        if got is None or abs(float(got) - float(wanted)) > TOLERANCE:
            differences.append(f"{name} is {_shown(got)}, expected {float(wanted):.6g}")
    for name in ("governing", "standing", "within_tolerance"):
        wanted, got = getattr(expect, name), getattr(finding, name)
        if wanted is not None and got != wanted:
            differences.append(f"{name} is {got}, expected {wanted}")
    if expect.due_on is not None and finding.due_on != expect.due_on.isoformat():
        differences.append(f"due_on is {finding.due_on}, expected {expect.due_on.isoformat()}")
    if expect.fired is not None:
        known = {rule.id for rule in ruleset.adjustments}
        fired = [reason.rule for reason in finding.reasons if reason.rule in known]
        if sorted(fired) != sorted(expect.fired):
            differences.append(f"fired {', '.join(fired) or 'nothing'}, expected {', '.join(expect.fired) or 'nothing'}")
    return differences


def _shown(value: float | None) -> str:
    """Return a figure for a message."""
    return "unknown" if value is None else f"{value:.6g}"
