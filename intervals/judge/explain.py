"""The arithmetic behind one finding, step by step, so that a person can redo it with a pocket calculator.

In: a site, an engine, a task, a moment. Out: an `Explanation`: the window, its duty cells with hours and weights, measures,
factors, the sums of each leg, the standing rule, and where every rule, record and reading stands. Refuses what does not exist.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime

import numpy as np

from intervals.faults import Fault
from intervals.figures import exact, figure
from intervals.findings import CellLine, Explanation, FactorLine, Finding, Measure, RulePlace, Step
from intervals.judge.assess import Inputs, build_case, fitting_tasks, no_such, read_inputs
from intervals.judge.budget_explanation import explain_budget
from intervals.judge.budgets import BudgetJudge, fitting_budgets
from intervals.judge.cases import EngineCase
from intervals.judge.cell_words import cell_text
from intervals.judge.chain import TaskChain, WindowEnd
from intervals.judge.finding_of import finding_of, finding_without_window
from intervals.judge.measures import NOTHING_H
from intervals.judge.rulebook import MEAN, SHARE, is_window_measure
from intervals.judge.start_reasons import start_sums, starts_of_rules
from intervals.judge.windows import CALENDAR, RUNNING_HOURS, LegState, window_factor
from intervals.judge.wording import phrase_of, since_text
from intervals.language.conditions import comparisons_of
from intervals.language.durations import CalendarStep
from intervals.problems import Problem, RequestProblemError
from intervals.rules.tasks import Task
from intervals.site.model import Site
from intervals.usage.engine_log import METER, EngineLog

_MEASURE_UNITS = {
    "average_power_pct": "%",
    "starts_per_100h": "per 100 h",
    "oil_consumption_g_per_kwh": "g/kWh",
    "days_since": "d",
    "running_hours_per_day": "h/d",
}


def explain_finding(  # noqa: PLR0913 - what is explained, when, and by which rules
    site: Site, engine: str, task: str, as_of: date | datetime, *, now_us: int | None = None, ruleset: str | None = None
) -> Explanation:
    """Return the arithmetic behind one finding.

    Args:
        site: the site.
        engine: engine id.
        task: task id, or a budget's.
        as_of: the moment of judging, as for `assess_site`.
        now_us: the clock, UTC microseconds, or None.
        ruleset: name or path of a rule set to judge by instead of the site's.

    Raises:
        ProblemsError: what cannot be read; an engine or a task that does not exist here (CLI010, CLI011).
    """
    known = [entry.id for entry in site.machines]
    if engine not in known:
        raise RequestProblemError([no_such("engine", "ENGINE", engine, "at this site", known)])
    inputs = read_inputs(site, as_of, now_us=now_us, ruleset=ruleset)
    case = build_case(inputs, known.index(engine), ruleset)
    if case is None:
        text = f"{engine} is not in service at the date of judging"
        raise RequestProblemError([Problem("CLI013", "ENGINE", None, None, text, "ask for a later date with --as-of")])
    fit, untold = fitting_tasks(case)
    chosen = next((entry for entry in [*fit, *untold] if entry.id == task), None)
    if chosen is None:
        described, undescribed = fitting_budgets(case)
        budget = next((entry for entry in [*described, *undescribed] if entry.id == task), None)
        if budget is not None:
            return explain_budget(BudgetJudge(case, budget, is_described=budget in described))
        ids = [*(entry.id for entry in fit), *(entry.id for entry in described)]
        raise RequestProblemError([no_such("task", "TASK", task, f"for engine {engine} in {case.book.ruleset.ruleset}", ids)])
    chain = TaskChain(case, chosen)
    window = chain.open_window if chosen in fit else None
    if window is None:
        finding = finding_without_window(chain, is_described=chosen in fit)
        return explanation_of(inputs, chain, None, finding)
    return explanation_of(inputs, chain, window, finding_of(chain, window, {}))


def explanation_of(inputs: Inputs, chain: TaskChain, window: WindowEnd | None, finding: Finding) -> Explanation:
    """Return the arithmetic behind a finding that was already judged; its window is None where none is known."""
    if window is None:
        return Explanation(
            finding=finding, window=(), cells=(), measures=(), factors=(), steps=(), rules=tuple(_rules(chain, ())), doubts=()
        )
    return Explanation(
        finding=finding,
        window=tuple(_window_steps(inputs, chain, window)),
        cells=tuple(_cells(chain, window)),
        measures=tuple(_measures(chain, window)),
        factors=tuple(_factors(window)),
        steps=tuple(_sums(chain, window, finding)),
        rules=tuple(_rules(chain, _fired(chain, window))),
        doubts=tuple(_doubt(fault) for fault in chain.case.faults if _touches(fault.at_us, window)),
    )


def _doubt(fault: Fault) -> str:
    """Return a fault of the window in one line."""
    place = f" ({fault.file}:{fault.line})" if fault.file else ""
    return f"{fault.kind}: {fault.text}{place}"


def _touches(at_us: int | None, window: WindowEnd) -> bool:
    """Tell whether a fault lies in the window."""
    return at_us is not None and window.start.at_us <= at_us <= window.end_us


def _window_steps(inputs: Inputs, chain: TaskChain, window: WindowEnd) -> Iterator[Step]:
    """Yield where the window begins and ends, and the readings at both ends."""
    case, start = chain.case, window.start
    iso = case.days.iso
    if start.completion is None:
        whose = "its first day" if case.is_component else "the engine's first day (in_service)"
        yield Step(label="from", sum=f"{iso(start.at_us)}, {whose}")
    else:
        by = "" if start.completion.by == chain.task.id else f", renewed by {start.completion.by}"
        meter = "" if start.completion.meter_h is None else f" at {figure(start.completion.meter_h)} h on the meter"
        how = f", by the log: {start.completion.run}" if start.completion.run else ""
        yield Step(label="from", sum=f"{iso(start.at_us)}{meter}, done according to {start.completion.record}{by}{how}")
    yield Step(label="to", sum=f"{iso(window.end_us)}, the moment of judging; last day covered {window.end_day.isoformat()}")
    for label, at_us in (("reading at the start", start.at_us), ("reading at the end", window.end_us)):
        place = _reading_near(inputs, case.log, at_us)
        if place:
            yield Step(label=label, sum=place)
    meters = [case.log.course.meter_at(at_us) for at_us in (start.at_us, window.end_us)]
    bridged = [case.log.course.hours_at_one(at_us) for at_us in (start.at_us, window.end_us)]
    if None not in meters and None not in bridged:
        hours = (bridged[1] or 0.0) - (bridged[0] or 0.0)
        sums = f"meter {meters[0]:,.2f} h to {meters[1]:,.2f} h, meter changes and bridged steps included: {hours:,.2f} h"
        yield Step(label="running hours", sum=sums)


def _reading_near(inputs: Inputs, log: EngineLog, at_us: int) -> str:
    """Return the last meter reading at or before an instant, with file and line."""
    best: tuple[int, str] | None = None
    for block in log.blocks:
        meter = block.quantities.get(METER)
        if meter is None:
            continue
        told = np.flatnonzero(~np.isnan(meter.values) & (block.at_us <= at_us))
        if len(told):
            row = int(told[-1])
            at = int(block.at_us[row])
            place = f"{inputs.readings.files[int(block.file[row])]}:{int(block.line[row])}"
            text = f"{meter.values[row]:,.2f} h at {inputs.days.iso(at)} ({place})"
            if best is None or at > best[0]:
                best = (at, text)
    return "" if best is None else best[1]


def _cells(chain: TaskChain, window: WindowEnd) -> Iterator[CellLine]:
    """Yield every duty cell that has hours in the window."""
    case = chain.case
    cells = case.ledger.cell_running_h
    hours = cells[window.end_edge] - cells[window.start.edge]
    weights = case.weights(chain.task)
    wanted = {part for rule in case.book.hourly_for(chain.task) for part in _levels_of(case, rule.id)}
    hours_of: dict[tuple[tuple[str, str], ...], float] = {}
    judged: dict[tuple[tuple[str, str], ...], int] = {}
    for index, cell in enumerate(case.ledger.cells):
        if hours[index] <= NOTHING_H:
            continue
        levels = tuple(
            (level, cell_text(case.book.plan.thresholds[level], code))
            for level, code in zip(case.ledger.levels, cell, strict=True)
            if level in wanted
        )
        hours_of[levels] = hours_of.get(levels, 0.0) + float(hours[index])
        judged.setdefault(levels, index)
    for levels, sum_h in hours_of.items():
        index = judged[levels]
        counts = float(weights.counts_as[index])
        yield CellLine(
            levels=dict(levels),
            hours_h=round(sum_h, 6),
            counts_as=counts,
            equivalent_h=round(sum_h * counts, 6),
            rules=weights.fired[index],
            unknown_rules=weights.unknown[index],
        )


def _levels_of(case: EngineCase, rule_id: str) -> set[str]:
    """Return the levels that an hour-by-hour rule asks for."""
    rule = next(rule for rule in case.book.hourly if rule.id == rule_id)
    return {part.name for part in comparisons_of(rule.when) if part.name in case.book.levels}


def _measures(chain: TaskChain, window: WindowEnd) -> Iterator[Measure]:
    """Yield the figures of the window as a whole that the task's window rules ask for."""
    case = chain.case
    rules = case.book.windowed_for(chain.task)
    asked = dict.fromkeys(part.name for rule in rules for part in comparisons_of(rule.when))
    if not asked:
        return
    known_share = min(float(rule.known_share_at_least) for rule in rules)
    measures = case.measures(window.start, window.end_us, window.end_edge, window.end_day, known_share)
    for name in asked:
        value = measures.get(name) if is_window_measure(name) else case.facts.get(name)
        unit = "%" if name.startswith(SHARE) else "mean" if name.startswith(MEAN) else _MEASURE_UNITS.get(name, "")
        shown = round(value, 6) if isinstance(value, float) else value
        yield Measure(name=name, value=shown, unit=unit, note="" if value is not None else "unknown")


def _factors(window: WindowEnd) -> Iterator[FactorLine]:
    """Yield the window rules that fired."""
    for effect in window.effects:
        rule = effect.rule
        if rule.interval_times is not None:
            text = f"interval x {float(rule.interval_times):g}"
        else:
            text = "interval becomes " + ", ".join(f"{leg} {value}" for leg, value in (rule.interval_becomes or {}).items())
        yield FactorLine(rule=rule.id, effect=text, because=rule.because, source=rule.source)


def _sums(chain: TaskChain, window: WindowEnd, finding: Finding) -> Iterator[Step]:
    """Yield the arithmetic of every leg, and the standing."""
    case = chain.case
    for leg in window.legs:
        if leg.leg == CALENDAR:
            yield from _calendar_sums(window, leg)
            continue
        yield from _use_sums(chain, window, leg)
        factor = window_factor(window.effects, case.factor_limits)
        is_first = window.start.is_first and chain.task.first is not None and leg.leg in chain.task.first
        origin = f"first {exact(leg.allowed / factor)}" if is_first else f"every {_base(leg)}"
        times = f" x {factor:g}" if factor != 1.0 else ""
        yield Step(label=f"{leg.leg} allowed", sum=f"{origin}{times} = {exact(leg.allowed)} {leg.unit}")
        if leg.used is not None:
            yield Step(
                label=f"{leg.leg} consumed",
                sum=f"{exact(leg.used)} / {exact(leg.allowed)} = {leg.consumed:.6f}; remaining {exact(leg.remaining)} {leg.unit}; "
                f"upcoming from {exact(leg.lead)} {leg.unit} before the line on",
            )
    if finding.governing:
        word = "largest" if chain.task.whichever == "first" else "smallest"
        shares = ", ".join(f"{leg.leg} {leg.consumed:.6f}" for leg in window.legs if leg.consumed is not None)
        yield Step(label="governing", sum=f"{finding.governing}: the {word} consumed of {shares}")
    if finding.crossed_at:
        yield Step(label="crossed at", sum=finding.crossed_at)
    yield Step(label="standing", sum=f"{finding.standing.replace('_', ' ')} by rule {finding.reasons[0].rule}")


def _base(leg: LegState) -> str:
    """Return what `every` says of a leg."""
    return leg.base.text if isinstance(leg.base, CalendarStep) else exact(float(leg.base))


def _calendar_sums(window: WindowEnd, leg: LegState) -> Iterator[Step]:
    """Yield the arithmetic of the calendar leg."""
    start = window.start
    anchor = f", counted from {leg.anchor}" if leg.anchor not in (None, start.day) else ""
    around = "" if leg.opens is None else f", to be done from {leg.opens} to {leg.line}"
    due = f"{start.day.isoformat()} + {leg.step or leg.base}{anchor} = {leg.due}{around}; {leg.allowed:g} d allowed"
    yield Step(label="calendar due", sum=due)
    span = f"{start.day.isoformat()} to {window.end_day.isoformat()}"
    yield Step(
        label="calendar used",
        sum=f"{span} = {leg.used:g} d; {leg.used:g} / {leg.allowed:g} = {leg.consumed:.6f}; "
        f"remaining {leg.remaining:g} d; upcoming from {leg.lead:g} d before {'the due date' if leg.line == leg.due else leg.line} on",
    )


def _use_sums(chain: TaskChain, window: WindowEnd, leg: LegState) -> Iterator[Step]:
    """Yield how the use of a leg adds up."""
    if leg.used is None:
        yield Step(label=f"{leg.leg} used", sum=f"unknown: {leg.why_unknown}")
        return
    parts = []
    if leg.leg == RUNNING_HOURS:
        parts = [f"{cell.hours_h:,.2f} x {cell.counts_as:g}" for cell in _cells(chain, window)]
        parts += start_sums(chain, window)
    carried = window.start.carried.get(leg.leg)
    if carried:
        parts.insert(0, f"{carried:,.6g} carried over")
    total = f"{leg.used:,.6g} {leg.unit}"
    yield Step(label=f"{leg.leg} used", sum=f"{' + '.join(parts)} = {total}" if parts else f"{total} {since_text(window.start)}")


def _fired(chain: TaskChain, window: WindowEnd) -> tuple[str, ...]:
    """Return the rules that fired in the window."""
    hourly = [rule for cell in _cells(chain, window) for rule in (*cell.rules, *cell.unknown_rules)]
    return tuple(dict.fromkeys([*hourly, *starts_of_rules(chain, window), *(effect.rule.id for effect in window.effects)]))


def _rules(chain: TaskChain, fired: tuple[str, ...]) -> Iterator[RulePlace]:
    """Yield where the task and every rule that fired stand."""
    ruleset = chain.case.book.ruleset
    task: Task = chain.task
    place = "{}:{}".format(*ruleset.place_of("task", task.id))
    yield RulePlace(rule=task.id, place=place, because=task.because, source=task.source or ruleset.source)
    for rule in ruleset.adjustments:
        if rule.id in fired:
            place = "{}:{}".format(*ruleset.place_of("adjustment", rule.id))
            what = f"{rule.id}: {phrase_of(rule.when)}"
            yield RulePlace(rule=what, place=place, because=rule.because, source=rule.source or ruleset.source)
    for rule in chain.case.book.site_rules:
        if rule.id in fired:
            yield RulePlace(rule=rule.id, place=chain.case.site.file, because=rule.because, source=rule.source)
