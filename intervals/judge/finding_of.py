"""One finding: the standing of a task now, with every figure and every reason; or why nothing is known of it.

In: a task's chain and its open window. Out: a `Finding`. The standing is the rule that fired; the reasons are that rule, the
window rules, the hour-by-hour rules, and what is doubtful or unknown.
"""

from __future__ import annotations

from intervals.findings import Amount, Finding, Forecast, LastDone, Leg, Reason, StandingWord
from intervals.history.engine_records import Completion, DeferralRecord
from intervals.judge.analysis import with_analysis
from intervals.judge.deferrals import deferral_end_us, deferral_in, forecast_of_deferral, printed_deferral, state_of_deferral
from intervals.judge.forecast import forecast_of, lead_start_of
from intervals.judge.reasons import reasons_of
from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR, rounded
from intervals.rulebook.rulebook import attributes_only
from intervals.rulebook.standing_rules import STANDING_OF_RULE, WITHIN_TOLERANCE, TaskRule
from intervals.windows.chain import TaskChain, WindowEnd, crossing_us, leg_crossing_us
from intervals.windows.leg_states import LegState
from intervals.windows.table_rows import choice_of, table_state
from intervals.windows.tolerances import beyond_tolerance


def finding_of(chain: TaskChain, window: WindowEnd, *, notes_lead: bool = True) -> Finding:
    """Return the finding of a task whose window is known.

    Args:
        chain: the task's windows.
        window: the one that is open.
        notes_lead: whether anybody asks when its lead begins, which its document does not say.
    """
    deferral = deferral_in(chain, window)
    ended_us = None if deferral is None else deferral_end_us(chain.case, deferral)
    state = "none" if deferral is None else state_of_deferral(chain, deferral, ended_us)
    rule = window.rule
    if deferral is not None or not window.legs:
        table = table_state(chain.task, choice_of(chain.case, chain.task, window.start))
        rule = chain.standing_rule(window.legs, has_interval=bool(window.legs), deferral=state, table=table)
    standing = STANDING_OF_RULE[rule]
    governing = window.governing
    crossed_us = None
    if standing == "overdue":
        crossed_us = ended_us if rule == TaskRule.DEFERRAL_ENDED else crossing_us(chain, window)
    forecast = _forecast(chain, window, rule, deferral) if standing != "overdue" else None
    within = standing == "overdue" and rule == TaskRule.PAST_INTERVAL and _is_within_tolerance(chain, governing)
    iso = chain.case.days.iso
    finding = Finding(
        engine=chain.case.engine.id,
        ruleset=chain.case.ruleset,
        task=chain.task.id,
        title=chain.task.title,
        standing=standing,
        within_tolerance=within,
        governing=None if governing is None else governing.leg,
        legs=tuple(_leg(leg) for leg in window.legs),
        last_done=_last_done(chain, window),
        due_on=_due_on(chain, window, rule, crossed_us, None if forecast is None else forecast.on),
        crossed_at=None if crossed_us is None else iso(crossed_us),
        past_by=_past_by(standing, governing),
        forecast=forecast,
        deferred_until=None if deferral is None else printed_deferral(deferral),
        unknown_hours_h=_unknown_hours(chain, window),
        reasons=tuple(reasons_of(chain, window, rule, deferral, within=within)),
    )
    if notes_lead:
        finding.with_lead_from(_upcoming_from(chain, window, rule))
    return with_analysis(chain, window, finding)


def _forecast(chain: TaskChain, window: WindowEnd, rule: str, deferral: DeferralRecord | None) -> Forecast | None:
    """Return when the line of a task that is not overdue will be reached, or its deferral runs out; None where a leg was never known."""
    if deferral is not None and rule in (TaskRule.DEFERRAL_HOLDS, TaskRule.DEFERRAL_NOT_KNOWN):
        return forecast_of_deferral(chain.case, deferral)
    if STANDING_OF_RULE[rule] == "unknown" and any(leg.left is None for leg in window.legs if leg.leg != CALENDAR):
        return None
    return forecast_of(chain.case, chain.task, window.legs, window.start)


def _upcoming_from(chain: TaskChain, window: WindowEnd, rule: str) -> str | None:
    """Return the day on which the lead of a task begins or began, where its line lies ahead."""
    if rule not in (TaskRule.INSIDE_LEAD, TaskRule.IN_INTERVAL):
        return None
    day = lead_start_of(chain.case, chain.task, window.legs, window.start)
    return None if day is None else day.isoformat()


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
    reason = Reason(rule=rule, text=text, facts=facts, source=chain.task.source)
    return unknown_finding(chain.case.engine.id, chain.case.ruleset, chain.task.id, chain.task.title, reason)


def _past_by(standing: StandingWord, leg: LegState | None) -> Amount | None:
    """Return by how much an overdue task is past its line; None where only its deferral is."""
    if standing != "overdue" or leg is None or leg.past_by is None or leg.past_by <= 0:
        return None
    return Amount(value=leg.past_by, unit=leg.unit)


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
    return None if window.start.completion is None else printed_completion(chain, window.start.completion)


def printed_completion(chain: TaskChain, completion: Completion) -> LastDone:
    """Return a completion as a finding prints it.

    Args:
        chain: the task's windows.
        completion: one of its completions.
    """
    meter = None if completion.meter_h is None else rounded(completion.meter_h)
    done = LastDone(at=chain.case.days.iso(completion.at_us), hour_meter_h=meter, record=completion.record)
    # what no record names is not printed
    return done if not completion.card else LastDone(**done.model_dump(exclude_unset=True), card=completion.card)


def _is_within_tolerance(chain: TaskChain, leg: LegState | None) -> bool:
    """Put it to the rules whether an overdue task is within its tolerance."""
    if leg is None:
        return False
    facts = {"past_by": leg.past_by, "beyond_tolerance": beyond_tolerance(chain.task, leg)}
    return WITHIN_TOLERANCE in chain.case.standings.tolerance.fire(facts).holds


def _due_on(chain: TaskChain, window: WindowEnd, rule: str, crossed_us: int | None, expected: str | None) -> str | None:
    """Return the day on which the task fell due, or will by what is known."""
    if rule == TaskRule.PAST_INTERVAL and crossed_us is not None:
        for leg in window.legs:
            if leg.due is not None and leg_crossing_us(chain, window, leg) == crossed_us:
                return leg.due.isoformat()
        return window.last_day_before(crossed_us, chain.case.days).isoformat()
    if rule == TaskRule.DEFERRAL_ENDED and crossed_us is not None:
        return chain.case.days.last_day_before(crossed_us).isoformat()
    if rule == TaskRule.BEFORE_NEXT_START:
        return next((leg.due.isoformat() for leg in window.legs if leg.due is not None), None)
    return expected


def _unknown_hours(chain: TaskChain, window: WindowEnd) -> float:
    """Return the running hours of the window on which some hour-by-hour rule of the task could not be judged."""
    unknown = chain.case.weights(chain.task).unknown_h
    return rounded(float(unknown[window.end_edge] - unknown[window.start.edge]))


def unknown_finding(engine: str, ruleset: str, task: str, title: str, reason: Reason) -> Finding:
    """Return a finding that nothing is known of but its reason.

    Args:
        engine: engine id.
        ruleset: id of the rule set.
        task: id of the task, or of the budget.
        title: its title.
        reason: why nothing is known.
    """
    return Finding(
        engine=engine,
        ruleset=ruleset,
        task=task,
        title=title,
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
        reasons=(reason,),
    )
