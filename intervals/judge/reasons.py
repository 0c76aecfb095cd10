"""The reasons of a finding: the standing rule that fired, what weighed, and what is doubtful or unknown.

In: a task's chain, its window, the rule that fired. Out: `Reason` values, each with its facts and its source. Every rule was judged
before; here its sentence is written.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from intervals.findings import FactValue, Reason
from intervals.history.engine_records import DeferralRecord
from intervals.history.window_measures import NOTHING_H
from intervals.judge.deferrals import day_of_deferral, facts_of_deferral, hours_to_deferral
from intervals.judge.start_reasons import start_doubts, start_reasons
from intervals.judge.wording import (
    before_start_text,
    chosen_text,
    deferral_text,
    deferral_unknown_text,
    expected_gone_text,
    hourly_text,
    in_interval_text,
    inside_lead_text,
    no_interval_text,
    overdue_text,
    unknown_text,
    window_rule_text,
)
from intervals.language.conditions import comparisons_of
from intervals.language.legs import RUNNING_HOURS, rounded
from intervals.language.measures import is_window_measure, measures_in
from intervals.rulebook.rulebook import attributes_only
from intervals.rulebook.standing_rules import WITHIN_TOLERANCE, TaskRule
from intervals.shown_numbers import amount
from intervals.windows.chain import TaskChain, WindowEnd
from intervals.windows.leg_states import FiredRule, LegState
from intervals.windows.table_rows import choice_of, every_of
from intervals.windows.tolerances import grace_of, tolerance_text


def reasons_of(chain: TaskChain, window: WindowEnd, rule: str, deferral: DeferralRecord | None, *, within: bool) -> Iterator[Reason]:
    """Yield every reason: the standing rule first, then what weighed and what is doubtful.

    Args:
        chain: the task's windows.
        window: the open one.
        rule: the standing rule that fired.
        deferral: the approved deferral of the window, or None.
        within: whether an overdue task is within its tolerance.

    Yields:
        Sentences, each with the true figures it rests on and where its rule comes from.
    """
    yield _standing_reason(chain, window, rule, deferral)
    if rule in TaskRule.OF_DEFERRAL and window.legs:
        yield _standing_reason(chain, window, window.rule, None)
    yield from _further_events(chain, window)
    if within and window.governing is not None:
        yield _tolerance_reason(chain, window.governing)
    yield from _table_reasons(chain, window)
    for fired in window.fired_rules:
        yield _fired_reason(fired)
    hours = _hours_by_cell(chain, window) if chain.case.book.hourly_for(chain.task) else []
    yield from _hourly_reasons(chain, hours)
    yield from start_reasons(chain, window)
    yield from _doubts(chain, window, hours)
    yield from start_doubts(chain, window)


def _further_events(chain: TaskChain, window: WindowEnd) -> Iterator[Reason]:
    """Yield the reason that further events came while one was open: they do not move it."""
    occasion = window.occasion
    if occasion is None or occasion.last_again is None:
        return
    last, day = occasion.last_again, chain.case.days.date_of(occasion.last_again.at_us).isoformat()
    place = f" ({last.place})" if last.place else ""
    text = f"counted from the first of {occasion.again + 1} events; the last was {last.text} on {day}{place}"
    yield Reason(rule="event-again", text=text, facts={"events": occasion.again + 1, "last_on": day}, source=chain.task.source)


def _tolerance_reason(chain: TaskChain, leg: LegState) -> Reason:
    """Return the reason that an overdue task is within its tolerance."""
    task = chain.task
    if task.tolerance is None:
        facts: dict[str, float | int | str | bool | None] = {"tolerance_pct": float(task.tolerance_pct)}
    else:
        facts = {"tolerance": float(grace_of(task, leg).after), "unit": leg.unit}
    return Reason(rule=WITHIN_TOLERANCE, text=f"within the tolerance of {tolerance_text(task, leg)}", facts=facts, source=task.source)


def _source_of(chain: TaskChain, window: WindowEnd) -> str | None:
    """Return where the interval of a window comes from, else its task, else its rule set."""
    choice = choice_of(chain.case, chain.task, window.start)
    every = chain.task.every_in_force(window.end_day) if choice is None else every_of(chain.task, choice, window.end_day)
    return (every.source if every is not None else None) or chain.task.source or chain.case.book.ruleset.source


def _standing_reason(chain: TaskChain, window: WindowEnd, rule: str, deferral: DeferralRecord | None) -> Reason:
    """Return the reason of the standing itself."""
    leg, start = window.governing, window.start
    facts: dict[str, float | int | str | bool | None] = {}
    if leg is not None:
        # what is due at once has no share of an interval
        consumed = None if leg.consumed is None or leg.allowed == 0 else rounded(leg.consumed)
        facts = {"consumed": consumed, "used": leg.used, "allowed": leg.allowed, "leg": leg.leg}
    source = _source_of(chain, window)
    match rule:
        case TaskRule.DEFERRAL_HOLDS | TaskRule.DEFERRAL_ENDED if deferral is not None:
            text = deferral_text(deferral, ended=rule == TaskRule.DEFERRAL_ENDED)
            return Reason(rule=rule, text=text, facts=facts_of_deferral(deferral), source=deferral.record)
        case TaskRule.DEFERRAL_NOT_KNOWN if deferral is not None:
            return _unknown_deferral(chain, deferral)
        case TaskRule.EXPECTED_DAY_GONE:
            return _expected_gone(chain, window, facts, source)
        case TaskRule.PAST_INTERVAL if leg is not None:
            text = overdue_text(leg, start)
        case TaskRule.INSIDE_LEAD if leg is not None:
            text = inside_lead_text(_nearest(window.legs, leg), start)
        case TaskRule.BEFORE_NEXT_START if leg is not None:
            text = before_start_text(next((entry for entry in window.legs if entry.waits_for_start), leg), start)
        case TaskRule.IN_INTERVAL if leg is not None:
            text = in_interval_text(leg, start)
        case TaskRule.OUTSIDE_TABLE | TaskRule.RESULTS_NOT_KNOWN | TaskRule.NO_INTERVAL_IN_FORCE:
            return _no_interval(chain, window, rule, source)
        case _:
            text = unknown_text(window.legs)
    return Reason(rule=rule, text=text, facts=facts, source=source)


def _no_interval(chain: TaskChain, window: WindowEnd, rule: str, source: str | None) -> Reason:
    """Return the reason that a task has no interval: none is in force, or its table gives none."""
    choice = choice_of(chain.case, chain.task, window.start)
    if choice is None or rule == TaskRule.NO_INTERVAL_IN_FORCE:
        text = f"unknown: no interval of this task is in force on {window.end_day.isoformat()}"
        return Reason(rule=rule, text=text, facts={}, source=source)
    text = no_interval_text(choice.results, is_outside=rule == TaskRule.OUTSIDE_TABLE)
    return Reason(rule=rule, text=text, facts={**choice.facts}, source=source)


def _expected_gone(chain: TaskChain, window: WindowEnd, facts: dict[str, FactValue], source: str | None) -> Reason:
    """Return the reason that the day on which a task was expected went by after the log's end."""
    case, expected = chain.case, [leg for leg in window.legs if leg.expected is not None]
    leg = (min if chain.task.whichever == "first" else max)(expected, key=lambda each: each.expected or date.max)
    log_end_us = case.log_end_us_of(leg.leg) or case.end_us
    log_facts: dict[str, FactValue] = {
        "expected_on": None if leg.expected is None else leg.expected.isoformat(),
        "log_ended_on": case.days.last_day_before(log_end_us).isoformat(),
        "left": leg.left,
    }
    text = expected_gone_text(window.legs, leg, window.start, case.log_ended_text(log_end_us))
    return Reason(rule=TaskRule.EXPECTED_DAY_GONE, text=text, facts=facts | log_facts, source=source)


def _unknown_deferral(chain: TaskChain, deferral: DeferralRecord) -> Reason:
    """Return the reason that a deferral may have run out since the log's end."""
    case, expected = chain.case, day_of_deferral(chain.case, deferral)
    log_end_us = case.log_end_us_of(RUNNING_HOURS) or case.end_us
    facts: dict[str, FactValue] = {
        **facts_of_deferral(deferral),
        "expected_on": None if expected is None else expected.isoformat(),
        "log_ended_on": case.days.last_day_before(log_end_us).isoformat(),
        "left_h": hours_to_deferral(case, deferral),
    }
    text = deferral_unknown_text(deferral, expected, case.log_ended_text(log_end_us))
    return Reason(rule=TaskRule.DEFERRAL_NOT_KNOWN, text=text, facts=facts, source=deferral.record)


def _table_reasons(chain: TaskChain, window: WindowEnd) -> Iterator[Reason]:
    """Yield the row of a table that results chose, where they chose one, or that none holds."""
    choice = choice_of(chain.case, chain.task, window.start)
    every = None if choice is None else every_of(chain.task, choice, window.end_day)
    if choice is not None and every is not None:
        text = chosen_text(every.legs, choice.results, choice.number, None if choice.row is None else choice.row.when)
        yield Reason(rule="interval-from-results", text=text, facts={**choice.facts}, source=every.source or chain.task.source)


def _nearest(legs: Sequence[LegState], governing: LegState) -> LegState:
    """Return the leg that is inside its lead: the governing one if it is, else the first that is."""
    inside = [leg for leg in legs if leg.to_lead is not None and leg.to_lead <= 0]
    return governing if governing in inside or not inside else inside[0]


def _fired_reason(fired: FiredRule) -> Reason:
    """Return the reason of a window rule."""
    rule = fired.rule
    asked = list(dict.fromkeys(part.name for part in comparisons_of(rule.when)))
    measured: dict[str, object] = {measure.name: fired.facts.get(measure.name) for measure in measures_in(rule.when)}
    facts: dict[str, FactValue] = {
        name: rounded(value) if isinstance(value, float) else value for name, value in ((name, fired.facts.get(name)) for name in asked)
    }
    facts |= rule.effect.facts
    return Reason(rule=rule.id, text=window_rule_text(rule, measured), facts=facts, source=rule.source)


def _hours_by_cell(chain: TaskChain, window: WindowEnd) -> list[float]:
    """Return the running hours of a window by duty cell."""
    cells = chain.case.ledger.cell_running_h
    hours: list[float] = (cells[window.end_edge] - cells[window.start.edge]).tolist()
    return hours


def _hourly_reasons(chain: TaskChain, hours: Sequence[float]) -> Iterator[Reason]:
    """Yield one reason for every hour-by-hour rule that fired on some of the window's hours by duty cell."""
    case = chain.case
    fired = case.weights(chain.task).cells_fired
    for rule in case.book.hourly_for(chain.task):
        hit = sum(hours[cell] for cell in fired.get(rule.id, ()))
        if hit > NOTHING_H:
            facts: dict[str, FactValue] = {"hours_h": rounded(hit), **rule.effect.facts}
            yield Reason(rule=rule.id, text=hourly_text(rule, rounded(hit)), facts=facts, source=rule.source)


def _before_log_h(chain: TaskChain, window: WindowEnd) -> float:
    """Return the running hours of a window before the log began: no row shows their load."""
    case = chain.case
    up_to = case.ledger.running_h
    return max(0.0, min(case.before_log_h, float(up_to[window.end_edge])) - float(up_to[window.start.edge]))


def _doubts(chain: TaskChain, window: WindowEnd, hours: Sequence[float]) -> Iterator[Reason]:
    """Yield what could not be judged and what is doubtful, of the window's hours by duty cell and of the window as a whole."""
    case = chain.case
    unknown = case.weights(chain.task).cells_unknown
    for rule in case.book.hourly_for(chain.task):
        unknown_h = sum(hours[cell] for cell in unknown.get(rule.id, ()))
        if unknown_h > NOTHING_H:
            missing = attributes_only(rule.when, case.book.levels, case.facts)
            why = f"the engine does not state {', '.join(missing)}" if missing else "not logged"
            how = "counted as if the rule held" if rule.when_unknown == "holds" else "each hour counts once"
            text = f"{amount(rounded(unknown_h), 'h')} on which {rule.id} ({rule.condition_in_words}) could not be judged, {why}: {how}"
            facts: dict[str, float | int | str | bool | None] = {"hours_h": rounded(unknown_h)}
            before = 0.0 if missing else min(unknown_h, _before_log_h(chain, window))
            if before > NOTHING_H:
                text += f"; {amount(rounded(before), 'h')} of them ran before the log began"
                facts["before_log_h"] = rounded(before)
            yield Reason(rule=f"unknown-{rule.id}", text=text, facts=facts, source=rule.source)
    for rule in window.unknown_rules:
        missing = attributes_only(rule.when, case.book.levels, case.facts)
        named = [name for name in missing if not is_window_measure(name)]
        why = f"the engine does not state {', '.join(named)}" if named else "too few hours are known"
        text = f"{rule.id} ({rule.condition_in_words}) could not be judged: {why}"
        yield Reason(rule=f"unknown-{rule.id}", text=text, facts=dict.fromkeys(missing), source=rule.source)
    hours_up_to, steps_up_to = case.ledger.doubtful_up_to
    steps = float(steps_up_to[window.end_edge] - steps_up_to[window.start.edge])
    if steps > 0:
        doubtful = rounded(float(hours_up_to[window.end_edge] - hours_up_to[window.start.edge]))
        text = f"doubtful: {amount(doubtful, 'h')} of this window rest on a meter step that does not fit the time elapsed (see the faults)"
        if doubtful == 0:
            text = "doubtful: a meter step in this window does not fit the time elapsed and counts as zero (see the faults)"
        yield Reason(rule="doubtful-hours", text=text, facts={"hours_h": doubtful}, source=None)
    carried = window.start.carried
    for leg, value in carried.items():
        word = "after" if value > 0 else "before"
        text = f"the interval is counted from the due point, not from the completion {word} it: starts with {value:,.6g}"
        yield Reason(rule="keeps-grid", text=text, facts={"leg": leg, "starts_with": value}, source=chain.task.source)
