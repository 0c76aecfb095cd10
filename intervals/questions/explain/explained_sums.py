"""The sums of a window in lines: its hours by duty, what of each leg was used, what is allowed, and how the task stands by that.

In: a task's chain, a window, its finding. Out: `Step`s, in the order in which a person does the sums; duty cells in words, with their
hours and weights; the rules that fired; the doubts of the data.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from intervals.arrays import Floats
from intervals.findings import Finding
from intervals.history.engine_case import EngineCase
from intervals.history.window_measures import NOTHING_H
from intervals.judge.deferrals import deferral_in, hours_to_deferral
from intervals.judge.start_reasons import start_sums, starts_of_rules
from intervals.judge.wording import since_text
from intervals.language.conditions import comparisons_of
from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR, RUNNING_HOURS
from intervals.language.phrases import legs_in_words, phrase_of
from intervals.questions.explain.explained_range import NOT_FORESEEABLE, range_sums
from intervals.questions.explain.explanation_models import CellLine, Step
from intervals.rules.effects.rule_effect import Term
from intervals.shown_numbers import exact
from intervals.windows.chain import TaskChain, WindowEnd
from intervals.windows.expected_days import used_from_us
from intervals.windows.leg_states import LegState, window_change
from intervals.windows.ranges_ahead import use_of_leg, use_of_meter
from intervals.windows.table_rows import UNKNOWN, choice_of, every_of

Levels = tuple[tuple[str, str], ...]


def sums_of(chain: TaskChain, window: WindowEnd, finding: Finding) -> Iterator[Step]:
    """Yield the arithmetic of every leg, and the standing."""
    yield from _chosen(chain, window)
    for leg in window.legs:
        if leg.leg == CALENDAR:
            yield from _calendar_sums(window, leg)
            continue
        yield from _use_sums(chain, window, leg)
        yield _allowed_sum(chain, window, leg)
        if leg.used is not None and leg.allowed == 0:
            yield Step(label=f"{leg.leg} past", sum=f"due at once: {exact(leg.used)} {leg.unit} past")
        elif leg.used is not None:
            yield Step(
                label=f"{leg.leg} share used",
                sum=f"{exact(leg.used)} / {exact(leg.allowed)} = {leg.consumed:.6f}; remaining {exact(leg.remaining)} {leg.unit}; "
                f"upcoming from {exact(leg.lead)} {leg.unit} before the line",
            )
        if finding.forecast is not None and finding.deferred_until is None:
            yield from _expected(chain, window, leg)
        elif finding.forecast is None and finding.standing == "in_interval" and leg.left is not None and leg.line is None:
            yield Step(label=f"{leg.leg} expected", sum=NOT_FORESEEABLE)
    if finding.forecast is not None and finding.deferred_until is not None:
        yield from _deferral_expected(chain, window)
    if finding.governing:
        word = "largest" if chain.task.whichever == "first" else "smallest"
        shares = ", ".join(f"{leg.leg} {leg.consumed:.6f}" for leg in window.legs if leg.consumed is not None and leg.allowed != 0)
        yield Step(label="governing", sum=f"{finding.governing}: {f'the {word} share used of {shares}' if shares else 'due at once'}")
    if finding.crossed_on:
        yield Step(label="crossed on", sum=finding.crossed_on)
    yield Step(label="status", sum=f"{finding.standing.replace('_', ' ')} by rule {finding.reasons[0].rule}")


def _chosen(chain: TaskChain, window: WindowEnd) -> Iterator[Step]:
    """Yield the interval that results chose, row by row up to the one that holds."""
    choice = choice_of(chain.case, chain.task, window.start)
    if choice is None:
        return
    table = chain.task.table
    for number, row in enumerate(table if choice.number < 0 else table[: choice.number + 1]):
        verdict = "holds" if number == choice.number else "cannot be judged" if choice.number == UNKNOWN else "does not hold"
        yield Step(label=f"row {number + 1} of {len(table)}", sum=f"{phrase_of(row.when)}: {verdict}")
    every = every_of(chain.task, choice, window.end_day)
    yield Step(label="interval", sum="unknown" if every is None else legs_in_words(every.legs, "or"))


def _allowed_sum(chain: TaskChain, window: WindowEnd, leg: LegState) -> Step:
    """Return how what is allowed of a leg of use follows from the task's interval and the window rules that fired."""
    factor = window_change(window.fired_rules, chain.case.limits).factor
    firsts = chain.task.first_legs_from(window.start.since_new)
    first = firsts[0].get(leg.leg) if firsts else None
    term = leg.base if first is None else first
    series = len(chain.task.first or ())
    which = "every" if first is None else "first" if series == 1 else f"first, {series - len(firsts) + 1} of {series},"
    sums = f"{which} {_in_figures(term)}"
    changes = [(fired.rule.id, fired.rule.window_effect) for fired in window.fired_rules]
    by = [name for name, change in changes if change.replaces(leg.leg) is not None or change.changed(leg.leg, term) != term]
    before = exact(leg.allowed / factor)
    if by and before != _in_figures(term):
        sums += f", by {', '.join(by)} {before}"
    times = f" x {factor:g}" if factor != 1.0 else ""
    return Step(label=f"{leg.leg} allowed", sum=f"{sums}{times} = {exact(leg.allowed)} {leg.unit}")


def _expected(chain: TaskChain, window: WindowEnd, leg: LegState) -> Iterator[Step]:
    """Yield how the expected days of a leg of use follow from what was used so far."""
    use = use_of_leg(chain.case, chain.task, leg.leg)
    if leg.left is not None and leg.left >= 0 and use is not None:
        yield from range_sums(use, leg.left, leg.unit, used_from_us(chain.case, leg, window.start), leg.leg)


def _deferral_expected(chain: TaskChain, window: WindowEnd) -> Iterator[Step]:
    """Yield how the days follow on which the meter is expected to pass the reading of a deferral."""
    case, deferral = chain.case, deferral_in(chain, window)
    left_h, log_end_us = None if deferral is None else hours_to_deferral(case, deferral), case.log_end_us_of(RUNNING_HOURS)
    if left_h is not None and left_h >= 0 and log_end_us is not None:
        yield from range_sums(use_of_meter(case), left_h, "h", min(case.end_us, log_end_us), "deferral")


def _in_figures(term: Term) -> str:
    """Return what an interval says of a leg."""
    return term.text if isinstance(term, CalendarStep) else exact(float(term))


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
        f"remaining {leg.remaining:g} d; upcoming from {leg.lead:g} d before {'the due date' if leg.line == leg.due else leg.line}",
    )


def _use_sums(chain: TaskChain, window: WindowEnd, leg: LegState) -> Iterator[Step]:
    """Yield how the use of a leg adds up."""
    if leg.used is None:
        yield Step(label=f"{leg.leg} used", sum=f"unknown: {leg.why_unknown}")
        return
    parts = []
    if leg.leg == RUNNING_HOURS:
        parts = [f"{cell.hours_h:,.2f} x {cell.counts_as:g}" for cell in cells_of(chain, window)]
        parts += start_sums(chain, window)
    carried = window.start.carried.get(leg.leg)
    if carried:
        parts.insert(0, f"{carried:,.6g} carried over")
    total = f"{leg.used:,.6g} {leg.unit}"
    yield Step(label=f"{leg.leg} used", sum=f"{' + '.join(parts)} = {total}" if parts else f"{total} {since_text(window.start)}")


def hours_by_duty(case: EngineCase, hours: Floats, wanted: Collection[str]) -> dict[Levels, tuple[float, int]]:
    """Return the hours of cells that read alike in the wanted levels, added up, each with a cell that stands for them.

    Args:
        case: the engine.
        hours: hours of each cell of its ledger, in h.
        wanted: names of the levels that matter.
    """
    summed: dict[Levels, tuple[float, int]] = {}
    for index, cell in enumerate(case.ledger.cells):
        if hours[index] <= NOTHING_H:
            continue
        levels = tuple(
            (level, cell_text(case.book.plan.thresholds[level], code))
            for level, code in zip(case.ledger.levels, cell, strict=True)
            if level in wanted
        )
        before, stands_for = summed.get(levels, (0.0, index))
        summed[levels] = (before + float(hours[index]), stands_for)
    return summed


def cells_of(chain: TaskChain, window: WindowEnd) -> Iterator[CellLine]:
    """Yield every duty cell that has hours in the window."""
    case = chain.case
    cells = case.ledger.cell_running_h
    hours = cells[window.end_edge] - cells[window.start.edge]
    weights = case.weights(chain.task)
    wanted = {part for rule in case.book.hourly_for(chain.task) for part in _levels_of(case, rule.id)}
    for levels, (sum_h, index) in hours_by_duty(case, hours, wanted).items():
        counts = float(weights.hour_weight[index])
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


def fired_in(chain: TaskChain, window: WindowEnd) -> tuple[str, ...]:
    """Return the rules that fired in the window."""
    hourly = [rule for cell in cells_of(chain, window) for rule in (*cell.rules, *cell.unknown_rules)]
    return tuple(dict.fromkeys([*hourly, *starts_of_rules(chain, window), *(fired.rule.id for fired in window.fired_rules)]))


def doubts_between(case: EngineCase, start_us: int, end_us: int) -> tuple[str, ...]:
    """Return the faults of the data between two instants, one line each."""
    inside = [fault for fault in case.faults if fault.at_us is not None and start_us <= fault.at_us <= end_us]
    return tuple(f"{fault.kind}: {fault.text}" + (f" ({fault.file}:{fault.line})" if fault.file else "") for fault in inside)


def cell_text(thresholds: tuple[float, ...], code: int) -> str:
    """Return a duty cell of one level in words, such as `between 50 and 90` (both ends excluded) or `exactly 90`.

    Example:
        >>> [cell_text((50.0, 90.0), code) for code in range(6)]
        ['below 50', 'exactly 50', 'between 50 and 90', 'exactly 90', 'above 90', 'unknown']
    """
    if code > 2 * len(thresholds):
        return "unknown"
    if not thresholds:
        return "any"
    if code % 2:
        return f"exactly {thresholds[code // 2]:.15g}"
    if code == 0:
        return f"below {thresholds[0]:.15g}"
    if code == 2 * len(thresholds):
        return f"above {thresholds[-1]:.15g}"
    return f"between {thresholds[code // 2 - 1]:.15g} and {thresholds[code // 2]:.15g}"
