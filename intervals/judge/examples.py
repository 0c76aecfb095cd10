"""The worked examples that a rule set carries, run through the same judge as a real site.

In: a `RuleSet`. Out: one `ExampleResult` an example. Each example becomes a site of one engine with one row of log, and the
finding of its task is held against what the example expects.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import Any

import numpy as np

from intervals.faults import Fault
from intervals.findings import Finding
from intervals.judge.budgets import BudgetJudge, fitting_budgets
from intervals.judge.chain import TaskChain
from intervals.judge.engine_cases import build_case, fitting_tasks
from intervals.judge.finding_of import finding_of, finding_without_window
from intervals.judge.inputs import Inputs, moment_of
from intervals.judge.rulebook import RuleBook, level_names
from intervals.localdays import LocalDays
from intervals.quantities import QUANTITIES
from intervals.readings import BlockRows, Readings, ServiceRecord
from intervals.readings.parts import FILE, LINE, TIME, Column, Name, Part, PartedRows
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Example
from intervals.site.model import Site

USUAL_AS_OF = date(2026, 6, 30)
ENGINE = "example"
SILENCE_H = 1e6
TOLERANCE = 1e-6


@dataclass(frozen=True)
class ExampleResult:
    """How an example came out: its name, whether it is as expected, and what differs."""

    name: str
    passed: bool
    text: str


def run_examples(ruleset: RuleSet) -> list[ExampleResult]:
    """Return the outcome of every example of a rule set, in its order."""
    return [_run(ruleset, example) for example in ruleset.examples]


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
    hours = used.pop("running_hours", None)
    days = used.pop("days", None)
    span_days = int(days) if days is not None else max(1, ceil((hours or 0.0) / 24))
    start = as_of - timedelta(days=span_days)
    site = _site_of(ruleset, example, start, hours, used)
    moment = moment_of(site, as_of)
    start_us = site.instant_us(start)
    values = dict(used)
    if hours is not None:
        values["hour_meter_h"] = hours
    row: dict[Name, Column] = {TIME: np.array([moment.at_us], dtype=np.int64)}
    for name, value in values.items():
        row[name] = np.array([value], dtype=np.float64)
    part = Part.of(row, {FILE: 0, LINE: 1}, np.zeros(1, dtype=np.int32))
    block = BlockRows(site.readings[0], PartedRows([part]), tuple(values), ("example",))
    readings = Readings(blocks=(block,), faults=[], rows_read=1, rows_accepted=1, rows_set_aside=0, files=("example",))
    budget = next((entry for entry in ruleset.budgets if entry.id == example.task), None)
    records = [] if example.first or budget is not None else [_record(example.task, start_us)]
    days_of_site = LocalDays(site.zone, start_us, moment.at_us)
    inputs = Inputs(site, moment, readings, {ENGINE: records}, [], {site.ruleset: RuleBook(ruleset, level_names(site))}, days_of_site)
    case = build_case(inputs, 0, None, finds_runs=False)
    if case is None:
        return None, []
    if budget is not None:
        described, undescribed = fitting_budgets(case)
        judge = BudgetJudge(case, budget, is_described=budget in described)
        return (judge.finding() if budget in (*described, *undescribed) else None), case.faults
    fit, untold = fitting_tasks(case)
    task = ruleset.task(example.task)
    chain = TaskChain(case, task)
    if task in untold:
        return finding_without_window(chain, is_described=False), case.faults
    if task not in fit or chain.open_window is None:
        return None, case.faults
    return finding_of(chain, chain.open_window), case.faults


def _record(task: str, at_us: int) -> ServiceRecord:
    """Return the record of the last completion."""
    return ServiceRecord(
        engine=ENGINE, task=task, at_us=at_us, on=None, hour_meter_h=None, outcome="done", until_h=None, until_date=None,
        approved_by="", done_by="", note="", ref="", file="example", line=1,
    )  # fmt: skip


def _site_of(ruleset: RuleSet, example: Example, start: date, hours: float | None, used: dict[str, float]) -> Site:
    """Return a site of the example's one engine, whose log begins at the last completion."""
    engine: dict[str, Any] = {"id": ENGINE, "in_service": start.isoformat(), "attributes": {}}
    if hours is not None:
        engine["meter_at_start_h"] = 0
    for name, value in example.engine.items():
        if name in ("fuel", "duty", "rated_kw", "oil_volume_l"):
            engine[name] = value
        elif name != "engine":
            engine["attributes"][name] = value
    quantities: dict[str, Any] = {"hour_meter_h": {"column": "hour_meter_h"}}
    counted = {name for budget in ruleset.budgets for name in budget.of.quantities}
    at_start: dict[str, float] = {}
    for name in used:
        quantities[name] = {"column": name} if name in QUANTITIES else {"column": name, "unit": "count", "kind": "level"}
        if name not in QUANTITIES and name in counted:
            quantities[name] = {"column": name, "unit": "h", "kind": "amount"}
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
