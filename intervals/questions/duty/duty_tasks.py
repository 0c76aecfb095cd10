"""How long each task's interval lasts at an engine's duty, in plain running hours, and how often the task comes in a year.

In: a `DutySpan` and a task. Out: a `TaskDuty`. What hours count and which window rules fire is asked of the case, which puts it to
the rules; the span stands for the window. A rule that asks for the window's own length cannot be judged on it and is named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from intervals.history.window_measures import NOTHING_H
from intervals.judge.start_reasons import NO_START
from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR, ELAPSED_HOURS, RUNNING_HOURS, rounded
from intervals.language.measures import measures_in
from intervals.questions.duty.duty_models import TaskDuty
from intervals.questions.duty.duty_span import YEAR_DAYS, DutySpan
from intervals.rules.tasks import Adjustment, Task
from intervals.shown_numbers import amount, figure
from intervals.windows.leg_states import FiredRule, Until, WindowStart, numeric_terms, window_change
from intervals.windows.window_rules import rules_of_window

SAME = 1e-6


@dataclass(frozen=True)
class DutyWeights:
    """What a span's duty makes of one task's interval.

    Attributes:
        ratio: equivalent hours per running hour, or None where nothing ran, or where a rule leaves unknown what some hours count.
        hourly: the hour-by-hour rules that fired on hours of the span.
        fired_rules: the window rules that fired on the span as a whole.
        not_judged: the rules that could not be judged, on some hours or at all.
        unknown_h: hours on which some hour-by-hour rule could not be judged.
        is_outside: whether a rule that fired leaves unknown what is allowed.
    """

    ratio: float | None
    hourly: tuple[Adjustment, ...]
    fired_rules: tuple[FiredRule, ...]
    not_judged: tuple[Adjustment, ...]
    unknown_h: float
    is_outside: bool = False


def weights_of(span: DutySpan, task: Task) -> DutyWeights:
    """Return what a span's duty makes of a task's interval."""
    case = span.case
    weights = case.weights(task)
    low, high = span.start_edge, span.end_edge
    ran = float(case.ledger.running_h[high] - case.ledger.running_h[low])
    equivalent = float(weights.equivalent_h[high] - weights.equivalent_h[low])
    hours = case.ledger.cell_running_h[high] - case.ledger.cell_running_h[low]
    cells = [index for index, value in enumerate(hours.tolist()) if value > NOTHING_H]
    fired = {name for index in cells for name in weights.fired[index]}
    unknown = {name for index in cells for name in weights.unknown[index]}
    start = WindowStart(span.start_us, low, case.days.date_of(span.start_us), None, None)
    rules = rules_of_window(case, task, start, Until(span.end_us, high, span.last_day))
    if case.book.per_start_for(task):
        counted = np.zeros(len(hours)) if case.starts_by_cell is None else case.starts_by_cell[high] - case.starts_by_cell[low]
        started = [index for index, value in enumerate(counted.tolist()) if value > NO_START]
        fired |= {name for index in started for name in weights.start_fired[index]}
        unknown |= {name for index in started for name in weights.start_unknown[index]}
        if case.starts_by_cell is None:
            unknown |= {rule.id for rule in case.book.per_start_for(task)}
    hourly = (*case.book.hourly_for(task), *case.book.per_start_for(task))
    held = tuple(rule for rule in hourly if rule.id in fired)
    is_outside = any(rule.effect.leaves_unknown for rule in (*held, *(each.rule for each in rules.fired_rules)))
    return DutyWeights(
        equivalent / ran if ran > NOTHING_H and not is_outside else None,
        held,
        tuple(fired for fired in rules.fired_rules if not _asks_length(fired.rule)),
        (
            *(rule for rule in hourly if rule.id in unknown),
            *(rule for rule in rules.unknown_rules if not _asks_length(rule)),
            *(rule for rule in case.book.windowed_for(task) if _asks_length(rule)),
        ),
        float(weights.unknown_h[high] - weights.unknown_h[low]),
        is_outside,
    )


def _asks_length(rule: Adjustment) -> bool:
    """Tell whether a window rule asks for the window's own length."""
    return any(measure.is_length for measure in measures_in(rule.when))


def task_duty(span: DutySpan, task: Task, weights: DutyWeights | None = None) -> TaskDuty | None:
    """Return how long a task's interval lasts at this duty; None where no interval of it is in force, or where results set it.

    Args:
        span: the engine's steps.
        task: the task.
        weights: what the duty makes of the interval; None means all rules that fired.
    """
    case = span.case
    every = task.every_in_force(span.last_day)
    if every is None or task.table or task.is_once:
        # what is done once after an event, or by results, has no interval that could last so long
        return None
    weights = weights or weights_of(span, task)
    terms = {
        name: numeric_terms(task, every, name, None, fired_rules=weights.fired_rules, limits=case.limits)
        for name in every.legs
        if name != CALENDAR
    }
    of_hours = terms.get(RUNNING_HOURS)
    base, recurring = (None, None) if of_hours is None else (of_hours.base, of_hours.recurring)
    factor = window_change(weights.fired_rules, case.limits).factor
    effective = None if recurring is None or not weights.ratio else rounded(recurring / weights.ratio)
    becomes = None if base is None or recurring is None or abs(recurring / factor - base) < SAME else rounded(recurring / factor)
    ran = span.running_h if weights.ratio is not None else None
    rates = {name: _rate(span, name, terms[name].recurring, weights.ratio or 1.0, ran) for name in terms}
    assumed = {name: _rate(span, name, terms[name].base, 1.0, ran) for name in terms}
    if CALENDAR in every.legs:
        rates[CALENDAR] = _yearly(span, every.legs[CALENDAR], weights.fired_rules)
        assumed[CALENDAR] = _yearly(span, every.legs[CALENDAR], ())
    rules = (*(rule.id for rule in weights.hourly), *(fired.rule.id for fired in weights.fired_rules))
    return TaskDuty(
        ruleset=case.ruleset,
        task=task.id,
        title=task.title,
        base_h=base,
        becomes_h=becomes,
        equivalent_ratio=None if weights.ratio is None or base is None else rounded(weights.ratio),
        window_factor=rounded(factor),
        rules=rules,
        not_judged=tuple(rule.id for rule in weights.not_judged),
        unknown_hours_h=rounded(weights.unknown_h),
        effective_h=effective,
        shortest_h=None if recurring is None or weights.is_outside else _shortest(span, task, recurring),
        per_year=_decided(rates, task.whichever),
        per_year_as_assumed=_decided(assumed, task.whichever),
        text=_text(f"{case.engine.id} {case.name_of(task.id)}", base, effective, rules),
    )


def _shortest(span: DutySpan, task: Task, allowed: float) -> float | None:
    """Return the fewest running hours in which an interval was used up, wherever in the span it began; None where it never was.

    Running and equivalent hours rise evenly inside a piece of the ledger, so the shortest stretch begins or ends at an edge.
    """
    inside = slice(span.start_edge, span.end_edge + 1)
    ran, used = span.case.ledger.running_h[inside], span.case.weights(task).equivalent_h[inside]
    if used[-1] - used[0] < allowed:
        return None
    # where nothing was used the place is unknown: the last one for a start, the first one for an end
    from_edges = ran[np.searchsorted(used, used, side="right") - 1]
    forward = np.interp(used + allowed, used, ran) - from_edges
    back = ran - np.interp(used - allowed, used, ran)
    found = np.concatenate((forward[used + allowed <= used[-1]], back[used - allowed >= used[0]]))
    return rounded(float(found.min())) if len(found) else None


def _rate(span: DutySpan, leg: str, allowed: float, ratio: float, ran: float | None) -> float | None:
    """Return how often a leg of use is used up in a year; None where its use is not known."""
    if leg == ELAPSED_HOURS:
        used: float | None = YEAR_DAYS * 24.0
    elif leg == RUNNING_HOURS:
        used = span.a_year(None if ran is None else ran * ratio)
    else:
        increase = span.increase(leg)
        used = span.a_year(None if increase is None else float(increase.sum()))
    return None if used is None else used / allowed


def _yearly(span: DutySpan, base: float | CalendarStep, fired_rules: Sequence[FiredRule]) -> float | None:
    """Return how often a calendar leg comes in a year."""
    day = span.last_day
    steps = window_change(fired_rules, {}).steps(CALENDAR, base) if isinstance(base, CalendarStep) else []
    days = [(step.after(day) - day).days for step in steps]
    return YEAR_DAYS / min(days) if days and min(days) > 0 else None


def _decided(rates: Mapping[str, float | None], whichever: str) -> float | None:
    """Return how often a task comes in a year: as often as its quickest leg, for `last` as its slowest, if all are known."""
    known = [rate for rate in rates.values() if rate is not None]
    if not known or (whichever == "last" and len(known) < len(rates)):
        return None
    return rounded(max(known) if whichever == "first" else min(known))


def _text(what: str, base: float | None, effective: float | None, rules: Sequence[str]) -> str:
    """Return the sentence of a task: `G3 oil-change lasts 1,430 h, not 2,000`."""
    if base is None:
        return f"{what} does not count running hours"
    if effective is None:
        return f"{what}: the engine did not run, so this is unknown"
    if abs(effective - base) < SAME:
        return f"{what} lasts its {amount(base, 'h')}"
    because = f" ({', '.join(rules)})" if rules else ""
    return f"{what} lasts {amount(effective, 'h', line=base)}, not {figure(base)}{because}"
