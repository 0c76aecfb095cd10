"""The arithmetic behind one finding, step by step, so that a person can redo it with a pocket calculator.

In: a site, an engine, a task, a moment. Out: an `Explanation`: the window, its duty cells with hours and weights, measures,
factors, the sums of each leg, the standing rule, and where every rule, record and reading stands. Refuses what does not exist.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime

import numpy as np

from intervals.findings import Finding
from intervals.history.engine_case import EngineCase
from intervals.history.engine_cases import build_cases, fitting_tasks
from intervals.history.inputs import Inputs, read_inputs
from intervals.history.unknown_names import no_such, why_not
from intervals.judge.budget_findings import fitting_budgets, judge_of_engine
from intervals.judge.budget_site import site_judges, site_shares
from intervals.judge.finding_of import finding_without_window
from intervals.judge.idle_finding import finding_now
from intervals.language.conditions import comparisons_of
from intervals.language.measures import measure_of
from intervals.language.phrases import phrase_of
from intervals.problems import Problem, RequestProblemError
from intervals.questions.explain.budget_explanation import explain_budget
from intervals.questions.explain.card_evidence import card_steps_of
from intervals.questions.explain.explained_sums import cells_of, doubts_between, fired_in, sums_of
from intervals.questions.explain.explanation_models import Explanation, FactorLine, Measure, RulePlace, Step
from intervals.rules.budgets import Budget
from intervals.rules.tasks import Task
from intervals.shown_numbers import figure
from intervals.site.model import Site
from intervals.usage.engine_log import METER, EngineLog
from intervals.windows.chain import TaskChain, WindowEnd
from intervals.windows.chains import chain_of
from intervals.windows.table_rows import choice_of
from intervals.windows.window_rules import measures_of


def explain_finding(  # noqa: PLR0913 - what is explained, when, and by which rules
    site: Site, engine: str, task: str, as_of: date | datetime, *, now_us: int | None = None, ruleset: str | None = None
) -> Explanation:
    """Return the arithmetic behind one finding.

    Args:
        site: the site.
        engine: engine id; the site's, for a budget over the whole site.
        task: task id, or a budget's; `set.task` where several rule sets of the engine have it.
        as_of: the moment of judging, as for `assess_site`.
        now_us: the clock, UTC microseconds, or None.
        ruleset: name or path of a rule set to judge by instead of the site's.

    Raises:
        ProblemsError: what cannot be read; an engine or a task that does not exist here (CLI010, CLI011); a task that several rule
            sets of the engine have (CLI016).
    """
    known = [entry.id for entry in site.judged_units]
    if engine not in known and engine == site.site:
        return _explained_for_site(read_inputs(site, as_of, now_us=now_us, ruleset=ruleset), task, ruleset)
    asked = [] if engine in known else [no_such("engine", "ENGINE", engine, "at this site", known)]
    inputs = read_inputs(site, as_of, now_us=now_us, ruleset=ruleset, asked=asked)
    cases = build_cases(inputs, known.index(engine), ruleset)
    if not cases:
        text = f"{engine} is not in service at the date of judging"
        raise RequestProblemError([Problem("CLI013", "ENGINE", None, None, text, "ask for a later date with --as-of")])
    found = [each for case in cases if (each := _explained(inputs, case, task, ruleset)) is not None]
    if len(found) == 1:
        return found[0].model_copy(update={"warnings": inputs.warnings}) if inputs.warnings else found[0]
    if found:
        named = " or ".join(f"{each.finding.ruleset}.{each.finding.task}" for each in found)
        text = f'"{task}" is a task of several rule sets that judge {engine}'
        raise RequestProblemError([Problem("CLI016", "TASK", None, None, text, f"write {named}")])
    raise RequestProblemError([_no_task(cases, task)])


def _explained_for_site(inputs: Inputs, name: str, ruleset: str | None) -> Explanation:
    """Return the arithmetic behind a budget over the whole site, whose finding carries the site's id: the same for each of its engines."""
    for case in (case for index in range(len(inputs.site.judged_units)) for case in build_cases(inputs, index, ruleset)):
        of_site = [budget.id for budget in case.book.ruleset.budgets if budget.over == "site"]
        if name.removeprefix(f"{case.ruleset}.") in of_site and (found := _explained(inputs, case, name, ruleset)) is not None:
            return found.model_copy(update={"warnings": inputs.warnings}) if inputs.warnings else found
    known = [budget.id for book in inputs.books.values() for budget in book.ruleset.budgets if budget.over == "site"]
    raise RequestProblemError([no_such("task", "TASK", name, f"over the whole of {inputs.site.site}", known)])


def _no_task(cases: Sequence[EngineCase], name: str) -> Problem:
    """Return the problem of a task that is for none of an engine's rule sets: why not, or which ones are."""
    ids = [task.id for case in cases for task in fitting_tasks(case)[0]]
    ids += [budget.id for case in cases for budget in fitting_budgets(case)[0]]
    engine = cases[0].engine
    where = f"for engine {engine.id} in {', '.join(case.ruleset for case in cases)}"
    problem = no_such("task", "TASK", name, where, list(dict.fromkeys(ids)))
    reason = next((why for case in cases if (why := why_not(case.book.ruleset, engine, name)) is not None), None)
    return problem if reason is None else replace(problem, fix=reason)


def _explained(inputs: Inputs, case: EngineCase, task: str, ruleset: str | None) -> Explanation | None:
    """Return the arithmetic behind a task or budget of one rule set, or None where it is not for the engine."""
    names = (task, task.removeprefix(f"{case.ruleset}."))
    fit, unclear = fitting_tasks(case)
    chosen = next((entry for entry in [*fit, *unclear] if entry.id in names), None)
    if chosen is None:
        described, undescribed = fitting_budgets(case)
        budget = next((entry for entry in [*described, *undescribed] if entry.id in names), None)
        if budget is not None and budget.over == "site":
            return _explained_of_site(inputs, case, budget, ruleset)
        return None if budget is None else explain_budget(judge_of_engine(case, budget, is_described=budget in described), [case])
    chain = chain_of(case, chosen)
    if chosen not in fit:
        return explanation_of(inputs, chain, None, finding_without_window(chain, is_described=False))
    window = chain.open_window
    return explanation_of(inputs, chain, window, finding_now(chain, window))


def _explained_of_site(inputs: Inputs, asked: EngineCase, budget: Budget, ruleset: str | None) -> Explanation:
    """Return the arithmetic behind a budget over the whole site, whichever of its engines it was asked for."""
    built = [case for index in range(len(inputs.site.judged_units)) for case in build_cases(inputs, index, ruleset)]
    cases = [case for case in built if case.ruleset == asked.ruleset]
    shares = [share for case in cases for share in site_shares(case, (budget.id,))]
    counted = {share.engine for share in shares if share.counted is not None}
    judge = next(judge for judge in site_judges(inputs, shares) if judge.budget == budget)
    return explain_budget(judge, [case for case in cases if case.engine.id in counted])


def explanation_of(inputs: Inputs, chain: TaskChain, window: WindowEnd | None, finding: Finding) -> Explanation:
    """Return the arithmetic behind a finding that was already judged; its window is None where none is known."""
    if window is None:
        return Explanation(
            finding=finding, window=(), cells=(), measures=(), factors=(), steps=(), rules=tuple(_rules(chain, ())), doubts=()
        )
    completion = window.start.completion
    is_a_day = completion is not None and _is_of_a_day(inputs, chain, completion.record)
    explanation = Explanation(
        finding=finding,
        window=(*_window_steps(inputs, chain, window, is_a_day=is_a_day), *card_steps_of(inputs, chain, window, finding)),
        cells=tuple(cells_of(chain, window)),
        measures=tuple(_measures(chain, window)),
        factors=tuple(_factors(window)),
        steps=tuple(sums_of(chain, window, finding)),
        rules=tuple(_rules(chain, fired_in(chain, window))),
        doubts=doubts_between(chain.case, window.start.at_us, window.end_us),
    )
    return explanation.model_copy(update={"last_done_is_a_day": True}) if is_a_day else explanation


def _window_steps(inputs: Inputs, chain: TaskChain, window: WindowEnd, *, is_a_day: bool) -> Iterator[Step]:
    """Yield where the window begins and ends, and the readings at both ends."""
    case, start = chain.case, window.start
    iso = case.days.iso
    if start.event is not None:
        place = f" ({start.event.place})" if start.event.place else ""
        yield Step(label="from", sum=f"{iso(start.at_us)}, {start.event.text}{place}")
    elif start.completion is None:
        whose = "its first day" if case.is_component else "the engine's first day (in_service)"
        yield Step(label="from", sum=f"{iso(start.at_us)}, {whose}")
    else:
        by = "" if start.completion.by == chain.task.id else f", renewed by {start.completion.by}"
        meter = "" if start.completion.meter_h is None else f" at {figure(start.completion.meter_h)} h on the meter"
        how = f", by the log: {start.completion.run}" if start.completion.run else ""
        how += f", one job with {start.completion.one_job}" if start.completion.one_job else ""
        began = f"{start.day.isoformat()}, of which only the day is recorded," if is_a_day else iso(start.at_us)
        if start.completion.began_us is not None:
            began += f", the first part of a job that was completed at {iso(start.completion.at_us)},"
        yield Step(label="from", sum=f"{began}{meter}, done according to {start.completion.record}{by}{how}")
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


def _is_of_a_day(inputs: Inputs, chain: TaskChain, place: str) -> bool:
    """Tell whether a record gives its date alone: the moment that it is counted from was looked up, and is not shown."""
    engine_id = chain.case.engine.id
    if any(analysis.at_is_date and analysis.place == place for analysis in inputs.analyses.get(engine_id, ())):
        return True
    records = inputs.records.get(engine_id, ())
    return any(record.at_us is None and f"{record.file}:{record.line}" == place for record in records)


def _reading_near(inputs: Inputs, log: EngineLog, at_us: int) -> str:
    """Return the last meter reading at or before an instant, with file and line."""
    best: tuple[int, str] | None = None
    for block in log.blocks:
        meter = block.quantities.get(METER)
        if meter is None:
            continue
        readable = np.flatnonzero(~np.isnan(meter.values) & (block.at_us <= at_us))
        if len(readable):
            row = int(readable[-1])
            at = int(block.at_us[row])
            text = f"{meter.values[row]:,.2f} h at {inputs.days.iso(at)} ({':'.join(map(str, block.place(row)))})"
            if best is None or at > best[0]:
                best = (at, text)
    return "" if best is None else best[1]


def _measures(chain: TaskChain, window: WindowEnd) -> Iterator[Measure]:
    """Yield the figures of the window as a whole that the task's window rules ask for."""
    case = chain.case
    choice = choice_of(case, chain.task, window.start)
    for name, values in choice.results.items() if choice is not None else ():
        note = (
            ""
            if len(values) == 1
            else "unknown"
            if not values
            else f"{values[0]:g} to {values[-1]:g}, the records do not reach back further"
        )
        yield Measure(name=name, value=values[0] if len(values) == 1 else None, unit="", note=note)
    rules = case.book.windowed_for(chain.task)
    asked = dict.fromkeys(part.name for rule in rules for part in comparisons_of(rule.when))
    if not asked:
        return
    known_share = min(float(rule.known_share_at_least) for rule in rules)
    measures, quantities = measures_of(case, window.start, window.until, known_share), case.site.quantities
    for name in asked:
        measure = measure_of(name, quantities)
        value, unit = (case.facts.get(name), "") if measure is None else (measures.get(name), measure.unit)
        shown = round(value, 6) if isinstance(value, float) else value
        yield Measure(name=name, value=shown, unit=unit, note="" if value is not None else "unknown")


def _factors(window: WindowEnd) -> Iterator[FactorLine]:
    """Yield the window rules that fired."""
    for fired in window.fired_rules:
        rule = fired.rule
        yield FactorLine(rule=rule.id, effect=rule.effect.in_sum, because=rule.because, source=rule.source)


def _rules(chain: TaskChain, fired: tuple[str, ...]) -> Iterator[RulePlace]:
    """Yield where the task and every rule that fired stand."""
    ruleset, site = chain.case.book.ruleset, chain.case.site
    task: Task = chain.task
    place = "{}:{}".format(*ruleset.shown_place_of("task", task.id, site.folder))
    yield RulePlace(rule=task.id, place=place, because=task.because, source=task.source or ruleset.source)
    for rule in ruleset.adjustments:
        if rule.id in fired:
            place = "{}:{}".format(*ruleset.shown_place_of("adjustment", rule.id, site.folder))
            what = f"{rule.id}: {phrase_of(rule.when)}"
            yield RulePlace(rule=what, place=place, because=rule.because, source=rule.source or ruleset.source)
    for rule in chain.case.book.site_rules:
        if rule.id in fired:
            yield RulePlace(rule=rule.id, place=site.file, because=rule.because, source=rule.source)
