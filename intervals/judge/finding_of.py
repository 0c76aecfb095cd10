"""One finding: the standing of a task now, with every figure and every reason.

In: a task's chain and its open window. Out: a `Finding`. The standing is the rule that fired; the reasons are that rule, the
window rules, the hour-by-hour rules, and what is doubtful or unknown.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

import numpy as np

from intervals.figures import amount
from intervals.findings import Amount, Deferral, Finding, LastDone, Leg, Reason, StandingWord
from intervals.judge.analysis import with_analysis
from intervals.judge.chain import TaskChain, WindowEnd
from intervals.judge.completions import DeferralRecord
from intervals.judge.forecast import Pace, forecast_of
from intervals.judge.measures import NOTHING_H
from intervals.judge.rulebook import attributes_only, is_window_measure
from intervals.judge.standing import STANDING_OF_RULE
from intervals.judge.start_reasons import start_doubts, start_reasons
from intervals.judge.tolerances import beyond_tolerance, grace_of, tolerance_text
from intervals.judge.windows import CALENDAR, Effect, LegState, instant_of_line, rounded
from intervals.judge.wording import (
    before_start_text,
    deferral_text,
    hourly_text,
    in_interval_text,
    inside_lead_text,
    overdue_text,
    phrase_of,
    unknown_text,
    window_rule_text,
)
from intervals.language.conditions import comparisons_of
from intervals.language.durations import CalendarStep


def finding_of(chain: TaskChain, window: WindowEnd, paces: dict[str, Pace]) -> Finding:
    """Return the finding of a task whose window is known.

    Args:
        chain: the task's windows.
        window: the one that is open.
        paces: a memory of the engine's paces.
    """
    deferral = _deferral_in(chain, window)
    ended_us = None if deferral is None else _deferral_end_us(chain, deferral)
    state = "none" if deferral is None else "holds" if ended_us is None else "ended"
    rule = window.rule
    if deferral is not None or not window.legs:
        rule = chain.standing_rule(window.legs, has_interval=bool(window.legs), deferral=state)
    standing = STANDING_OF_RULE[rule]
    governing = window.governing
    crossed_us = None
    if standing == "overdue":
        crossed_us = ended_us if rule == "deferral-ended" else crossing_us(chain, window)
    forecast = forecast_of(chain.case, chain.task, window.legs, paces) if standing in ("upcoming", "in_interval") else None
    within = standing == "overdue" and rule == "past-interval" and _is_within_tolerance(chain, governing)
    iso = chain.case.days.iso
    finding = Finding(
        engine=chain.case.engine.id,
        task=chain.task.id,
        title=chain.task.title,
        standing=standing,
        within_tolerance=within,
        governing=None if governing is None else governing.leg,
        legs=tuple(_leg(leg) for leg in window.legs),
        last_done=_last_done(chain, window),
        due_on=_due_on(chain, window, rule, deferral, crossed_us, None if forecast is None else forecast.on),
        crossed_at=None if crossed_us is None else iso(crossed_us),
        past_by=_past_by(standing, governing),
        forecast=forecast,
        deferred_until=None
        if deferral is None
        else Deferral(hour_meter_h=deferral.until_h, date=deferral.until_date.isoformat() if deferral.until_date else None),
        unknown_hours_h=_unknown_hours(chain, window),
        reasons=tuple(_reasons(chain, window, rule, deferral, within=within)),
    )
    return with_analysis(chain, window, finding)


def finding_without_window(chain: TaskChain, *, is_described: bool, why: str = "") -> Finding:
    """Return the finding of a task of which nothing says when it was last done, or whether it is for this engine at all."""
    rules = chain.case.standings
    rule = rules.task_rule(chain.task.whichever, frozenset(), has_window=False, is_described=is_described)
    facts: dict[str, float | int | str | bool | None] = {}
    if why:
        rule, text = "inference-fault", f"unknown: {why}"
    elif not is_described:
        missing = attributes_only(chain.task.applies_to, frozenset(), chain.case.facts) if chain.task.applies_to else ()
        text = f"unknown: the task asks for {', '.join(missing)}, which the engine does not state"
        facts = dict.fromkeys(missing)
    else:
        text = "unknown: no completion is known, and the records do not reach back to the engine's first day"
    return Finding(
        engine=chain.case.engine.id,
        task=chain.task.id,
        title=chain.task.title,
        standing="unknown",
        within_tolerance=False,
        governing=None,
        legs=(),
        last_done=None,
        due_on=None,
        crossed_at=None,
        past_by=None,
        forecast=None,
        deferred_until=None,
        unknown_hours_h=0.0,
        reasons=(Reason(rule=rule, text=text, facts=facts, source=chain.task.source),),
    )


def _past_by(standing: StandingWord, leg: LegState | None) -> Amount | None:
    """Return by how much an overdue task is past its line; None where only its deferral is."""
    if standing != "overdue" or leg is None or leg.past_by is None or leg.past_by <= 0:
        return None
    return Amount(value=leg.past_by, unit=leg.unit)


def crossing_us(chain: TaskChain, window: WindowEnd) -> int | None:
    """Return when a window's line was crossed: the earliest crossing of any leg, for `last` the latest; None if it was not."""
    crossings = [leg_crossing_us(chain, window, leg) for leg in window.legs]
    known = [at for at in crossings if at is not None]
    if not known or (chain.task.whichever == "last" and len(known) < len(crossings)):
        return None
    return min(known) if chain.task.whichever == "first" else max(known)


def leg_crossing_us(chain: TaskChain, window: WindowEnd, leg: LegState) -> int | None:
    """Return when one leg of a window was crossed, the window's factors held fixed; None if it was not by its end."""
    if leg.past_by is None or leg.past_by <= 0:
        return None
    if leg.leg == CALENDAR:
        at_us = chain.case.calendar_crossing_us(chain.task, leg)
        return at_us if at_us is not None and at_us <= window.end_us else None
    totals = chain.case.leg_totals(chain.task, leg.leg)
    if totals is None:
        return None
    low, high = window.start.edge, window.end_edge + 1
    used = totals[low:high] - totals[low] + window.start.carried.get(leg.leg, 0.0)
    return instant_of_line(chain.case.ledger.edges_us[low:high], used, leg.allowed)


def _leg(leg: LegState) -> Leg:
    """Return a leg as it is printed; unknown figures are null."""
    return Leg(
        leg=leg.leg,
        unit=leg.unit,
        used=leg.used,
        base=str(leg.base) if isinstance(leg.base, CalendarStep) else float(leg.base),
        allowed=leg.allowed,
        remaining=leg.remaining,
        consumed=None if leg.consumed is None else rounded(leg.consumed),
        running_hours_h=leg.running_h if leg.is_known else None,
    )


def _last_done(chain: TaskChain, window: WindowEnd) -> LastDone | None:
    """Return the completion that the window starts from."""
    completion = window.start.completion
    if completion is None:
        return None
    meter = None if completion.meter_h is None else rounded(completion.meter_h)
    return LastDone(at=chain.case.days.iso(completion.at_us), hour_meter_h=meter, record=completion.record)


def _deferral_in(chain: TaskChain, window: WindowEnd) -> DeferralRecord | None:
    """Return the latest approved deferral of the open window."""
    inside = [entry for entry in chain.case.records.deferrals.get(chain.task.id, ()) if entry.at_us >= window.start.at_us]
    return inside[-1] if inside else None


def _deferral_end_us(chain: TaskChain, deferral: DeferralRecord) -> int | None:
    """Return when a deferral ran out, or None while it holds: the meter passes until_h or until_date ends, whichever first."""
    case = chain.case
    ends = []
    if deferral.until_date is not None:
        end_us = case.days.midnight_us(date.fromordinal(deferral.until_date.toordinal() + 1))
        if end_us < case.end_us:
            ends.append(end_us)
    if deferral.until_bridged_h is not None:
        at_us = case.log.course.instant_past(deferral.until_bridged_h)
        if at_us is not None and at_us < case.end_us:
            ends.append(max(at_us, deferral.at_us))
    return min(ends, default=None)


def _is_within_tolerance(chain: TaskChain, leg: LegState | None) -> bool:
    """Put it to the rules whether an overdue task is within its tolerance."""
    if leg is None:
        return False
    facts = {"past_by": leg.past_by, "beyond_tolerance": beyond_tolerance(chain.task, leg)}
    return "within-tolerance" in chain.case.standings.tolerance.fire(facts).holds


def _due_on(  # noqa: PLR0913 - the four cases of a due date
    chain: TaskChain, window: WindowEnd, rule: str, deferral: DeferralRecord | None, crossed_us: int | None, expected: str | None
) -> str | None:
    """Return the day on which the task fell due, or will by what is known."""
    if rule == "past-interval" and crossed_us is not None:
        for leg in window.legs:
            if leg.due is not None and leg_crossing_us(chain, window, leg) == crossed_us:
                return leg.due.isoformat()
        return chain.case.days.date_of(crossed_us).isoformat()
    if rule == "deferral-ended" and crossed_us is not None:
        return chain.case.days.last_day_before(crossed_us).isoformat()
    if deferral is not None and deferral.until_date is not None:
        return deferral.until_date.isoformat()
    if rule == "before-next-start":
        return next((leg.due.isoformat() for leg in window.legs if leg.due is not None), None)
    return expected


def _unknown_hours(chain: TaskChain, window: WindowEnd) -> float:
    """Return the running hours of the window on which some hour-by-hour rule of the task could not be judged."""
    unknown = chain.case.weights(chain.task).unknown_h
    return rounded(float(unknown[window.end_edge] - unknown[window.start.edge]))


def _reasons(chain: TaskChain, window: WindowEnd, rule: str, deferral: DeferralRecord | None, *, within: bool) -> Iterator[Reason]:
    """Yield every reason: the standing rule first, then what weighed and what is doubtful."""
    yield _standing_reason(chain, window, rule, deferral)
    if rule in ("deferral-holds", "deferral-ended") and window.legs:
        yield _standing_reason(chain, window, window.rule, None)
    if within and window.governing is not None:
        yield _tolerance_reason(chain, window.governing)
    for effect in window.effects:
        yield _effect_reason(effect)
    yield from _hourly_reasons(chain, window)
    yield from start_reasons(chain, window)
    yield from _doubts(chain, window)
    yield from start_doubts(chain, window)


def _tolerance_reason(chain: TaskChain, leg: LegState) -> Reason:
    """Return the reason that an overdue task is within its tolerance."""
    task = chain.task
    if task.tolerance is None:
        facts: dict[str, float | int | str | bool | None] = {"tolerance_pct": float(task.tolerance_pct)}
    else:
        facts = {"tolerance": float(grace_of(task, leg).late), "unit": leg.unit}
    return Reason(rule="within-tolerance", text=f"within the tolerance of {tolerance_text(task, leg)}", facts=facts, source=task.source)


def _standing_reason(chain: TaskChain, window: WindowEnd, rule: str, deferral: DeferralRecord | None) -> Reason:
    """Return the reason of the standing itself."""
    leg, start = window.governing, window.start
    facts: dict[str, float | int | str | bool | None] = {}
    if leg is not None:
        consumed = None if leg.consumed is None else rounded(leg.consumed)
        facts = {"consumed": consumed, "used": leg.used, "allowed": leg.allowed, "leg": leg.leg}
    every = chain.task.every_in_force(window.end_day)
    source = (every.source if every is not None else None) or chain.task.source or chain.case.book.ruleset.source
    match rule:
        case "deferral-holds" | "deferral-ended" if deferral is not None:
            text = deferral_text(deferral, ended=rule == "deferral-ended")
            facts = {"until_h": deferral.until_h, "until_date": deferral.until_date.isoformat() if deferral.until_date else None}
            return Reason(rule=rule, text=text, facts=facts, source=deferral.record)
        case "past-interval" if leg is not None:
            text = overdue_text(leg, start)
        case "inside-lead" if leg is not None:
            text = inside_lead_text(_nearest(window.legs, leg), start)
        case "before-next-start" if leg is not None:
            text = before_start_text(next((entry for entry in window.legs if entry.waits_for_start), leg), start)
        case "in-interval" if leg is not None:
            text = in_interval_text(leg, start)
        case "no-interval-in-force":
            text = f"unknown: no interval of this task is in force on {window.end_day.isoformat()}"
        case _:
            text = unknown_text(window.legs)
    return Reason(rule=rule, text=text, facts=facts, source=source)


def _nearest(legs: Sequence[LegState], governing: LegState) -> LegState:
    """Return the leg that is inside its lead: the governing one if it is, else the first that is."""
    inside = [leg for leg in legs if leg.to_lead is not None and leg.to_lead <= 0]
    return governing if governing in inside or not inside else inside[0]


def _effect_reason(effect: Effect) -> Reason:
    """Return the reason of a window rule."""
    rule = effect.rule
    asked = list(dict.fromkeys(part.name for part in comparisons_of(rule.when)))
    measured: dict[str, object] = {name: effect.facts.get(name) for name in asked if is_window_measure(name)}
    facts: dict[str, float | int | str | bool | None] = {
        name: rounded(value) if isinstance(value, float) else value for name, value in ((name, effect.facts.get(name)) for name in asked)
    }
    if rule.interval_times is not None:
        facts["interval_times"] = float(rule.interval_times)
    return Reason(rule=rule.id, text=window_rule_text(rule, measured), facts=facts, source=rule.source)


def _hourly_reasons(chain: TaskChain, window: WindowEnd) -> Iterator[Reason]:
    """Yield one reason for every hour-by-hour rule that fired on hours of the window."""
    case = chain.case
    rules = case.book.hourly_for(chain.task)
    if not rules:
        return
    weights = case.weights(chain.task)
    cells = case.ledger.cell_running_h
    hours: np.ndarray = cells[window.end_edge] - cells[window.start.edge]
    for rule in rules:
        hit = sum(float(value) for value, fired in zip(hours, weights.fired, strict=True) if rule.id in fired)
        if hit > NOTHING_H:
            facts: dict[str, float | int | str | bool | None] = {"hours_h": rounded(hit), "counts_as": float(rule.counts_as or 1.0)}
            yield Reason(rule=rule.id, text=hourly_text(rule, rounded(hit)), facts=facts, source=rule.source)


def _doubts(chain: TaskChain, window: WindowEnd) -> Iterator[Reason]:
    """Yield what could not be judged and what is doubtful."""
    case = chain.case
    cells = case.ledger.cell_running_h
    hours: np.ndarray = cells[window.end_edge] - cells[window.start.edge]
    weights = case.weights(chain.task)
    for rule in case.book.hourly_for(chain.task):
        untold = sum(float(value) for value, names in zip(hours, weights.unknown, strict=True) if rule.id in names)
        if untold > NOTHING_H:
            missing = attributes_only(rule.when, case.book.levels, case.facts)
            why = f"the engine does not state {', '.join(missing)}" if missing else "not logged"
            how = "counted as if it held" if rule.when_unknown == "holds" else "counted once each"
            text = f"{amount(rounded(untold), 'h')} on which {rule.id} ({phrase_of(rule.when)}) could not be judged, {why}: {how}"
            yield Reason(rule=f"unknown-{rule.id}", text=text, facts={"hours_h": rounded(untold)}, source=rule.source)
    for rule in case.untold_window_rules(chain.task, window.start, window.end_us, window.end_edge, window.end_day):
        missing = attributes_only(rule.when, case.book.levels, case.facts)
        named = [name for name in missing if not is_window_measure(name)]
        why = f"the engine does not state {', '.join(named)}" if named else "too few hours are known"
        text = f"{rule.id} ({phrase_of(rule.when)}) could not be judged: {why}"
        yield Reason(rule=f"unknown-{rule.id}", text=text, facts=dict.fromkeys(missing), source=rule.source)
    hours_up_to, steps_up_to = case.ledger.doubtful_up_to
    steps = float(steps_up_to[window.end_edge] - steps_up_to[window.start.edge])
    if steps > 0:
        doubtful = rounded(float(hours_up_to[window.end_edge] - hours_up_to[window.start.edge]))
        text = f"doubtful: {amount(doubtful, 'h')} of this window rest on a meter step that does not fit time (see the faults)"
        yield Reason(rule="doubtful-hours", text=text, facts={"hours_h": doubtful}, source=None)
    carried = window.start.carried
    for leg, value in carried.items():
        word = "late" if value > 0 else "early"
        text = f"the interval is counted from the due point, not from the {word} completion: starts with {value:,.6g}"
        yield Reason(rule="keeps-grid", text=text, facts={"leg": leg, "starts_with": value}, source=chain.task.source)
