"""The legs of a window at its end: what was used of what is allowed, and why it is unknown.

In: an engine made ready, a task, the two ends of a window, the window rules that fired. Out: `LegState` values.
"""

from __future__ import annotations

from collections.abc import Sequence

from intervals.history.engine_case import METER_GAP, NO_METER, EngineCase
from intervals.history.window_measures import NOTHING_H
from intervals.language.legs import CALENDAR, ELAPSED_HOURS, LEGS, RUNNING_HOURS, leg_unit, rounded
from intervals.language.phrases import as_hours_are
from intervals.local_days import HOUR_US
from intervals.rules.tasks import Task
from intervals.shown_numbers import amount
from intervals.windows.due_dates import calendar_crossing_us, calendar_leg
from intervals.windows.leg_states import FiredRule, LegState, Until, UseTerms, WindowStart, leg_state, numeric_lead, numeric_terms
from intervals.windows.table_rows import choice_of, every_of


def legs_of(
    case: EngineCase, task: Task, start: WindowStart, until: Until, fired_rules: Sequence[FiredRule]
) -> tuple[LegState, ...] | None:
    """Return the legs of a window by the window rules that fired; None where no interval is in force or known on its last day.

    Args:
        case: the engine.
        task: the task.
        start: the state in which the window began.
        until: where it is looked at.
        fired_rules: the window rules that fired.

    Returns:
        One leg per entry of the interval's `every`, in its order; what is unknown has no figure and says why (`why_unknown`).
    """
    choice = choice_of(case, task, start)
    every = task.every_in_force(until.day) if choice is None else every_of(task, choice, until.day)
    if every is None:
        return None
    limits = case.limits
    legs = []
    for name in every.legs:
        if name == CALENDAR:
            leg = calendar_leg(task, every, start, fired_rules, until.day)
            legs.append(_held(case, task, leg, until.at_us))
            continue
        terms = numeric_terms(task, every, name, start.since_new, fired_rules, limits)
        legs.append(_use_leg(case, task, name, start, terms, until))
    return tuple(_unknown_by_rule(leg, fired_rules) for leg in legs)


def _use_leg(  # noqa: PLR0913 - a leg is a window's two ends and three terms
    case: EngineCase, task: Task, name: str, start: WindowStart, terms: UseTerms, until: Until
) -> LegState:
    """Return a leg of use at the end of a window."""
    base, allowed, recurring, further = terms
    totals = case.leg_totals(task, name)
    running = None
    if name == RUNNING_HOURS:
        running = rounded(float(case.ledger.running_h[until.edge] - case.ledger.running_h[start.edge]))
    used, left, why, meter_misses = None, None, f"no {name} is logged", False
    if totals is not None:
        used = rounded(start.carried.get(name, 0.0) + float(totals[until.edge] - totals[start.edge]))
        why = _why_unknown(case, name, start, until.edge)
        meter_misses = bool(why) and name == RUNNING_HOURS
        why = why or _why_outside(case, task, name, start, until.edge, allowed - used)
        left = None if why else rounded(allowed - used)
        why = why or _why_ended(case, start, name, allowed - used, until.at_us)
    if why:
        used = None
    unit = LEGS.get(name) or leg_unit(name, case.site.quantities)
    more = {"running_h": running, "left": left, "why_unknown": why, "meter_misses": meter_misses, "used_words": unit.used}
    lead = numeric_lead(task, name, allowed)
    return leg_state(name, unit.unit, base, used, allowed, recurring, lead, is_known=not why, further=further, **more)


def _why_unknown(case: EngineCase, name: str, start: WindowStart, end_edge: int) -> str:
    """Return why the log does not cover a leg of use even as far as it goes, or an empty text."""
    if case.log_end_us_of(name) is None:
        return f"{NO_METER} was ever read" if name == RUNNING_HOURS else "no row is known"
    if name == RUNNING_HOURS and float(case.ledger.unknown_up_to_h[end_edge] - case.ledger.unknown_up_to_h[start.edge]) > NOTHING_H:
        first = case.log.course.known_from_us if case.log.course.is_known else int(case.log.rows[0])
        return f"{METER_GAP} {f'the hours before {case.days.iso(first)}' if first > start.at_us else 'part of this window'}"
    return ""


def _why_outside(  # noqa: PLR0913 - a leg of a window, and what is left of it
    case: EngineCase, task: Task, name: str, start: WindowStart, end_edge: int, left: float
) -> str:
    """Return why hours of the window leave a leg unknown, or an empty text: where the other hours alone are past its line it is known."""
    weights = case.weights(task)
    if name != RUNNING_HOURS or weights.outside_h is None or left < 0:
        return ""
    cells = case.ledger.cell_running_h
    hours = (cells[end_edge] - cells[start.edge]).tolist()
    found = []
    for rule in case.book.hourly_for(task):
        hit = sum(hours[cell] for cell in weights.cells_fired.get(rule.id, ())) if rule.effect.leaves_unknown else 0.0
        if hit > NOTHING_H:
            found.append(f"{amount(rounded(hit), 'h')} {rule.hours_in_words} ({rule.id})")
    return "; ".join(found)


def _unknown_by_rule(leg: LegState, fired_rules: Sequence[FiredRule]) -> LegState:
    """Return a leg of a window of which a window rule leaves unknown what is allowed, without figures; any other as it is."""
    leaving = [fired.rule for fired in fired_rules if fired.rule.effect.leaves_unknown]
    if not leaving:
        return leg
    why = "; ".join(f"no interval is known {as_hours_are(rule.when)} ({rule.id})" for rule in leaving)
    made = leg_state(leg.leg, leg.unit, leg.base, None, leg.allowed, leg.recurring, leg.lead, is_known=False, why_unknown=why)
    return made._replace(running_h=leg.running_h, used_words=leg.used_words)


def _why_ended(case: EngineCase, start: WindowStart, name: str, left: float, end_us: int) -> str:
    """Return why the end of the log leaves a leg of use unknown, or an empty text: what is left of it could have been used since."""
    log_end_us = case.log_end_us_of(name)
    if name == ELAPSED_HOURS or log_end_us is None or left < 0 or case.silence_us(end_us) <= case.log.gap_us:
        return ""
    silent_us = case.log.active.between_us(min(end_us, max(log_end_us, start.at_us)), end_us)
    may_have_run = name != RUNNING_HOURS or rounded(left) <= silent_us / HOUR_US
    return case.log_ended_text(log_end_us) if may_have_run else ""


def _held(case: EngineCase, task: Task, leg: LegState, end_us: int) -> LegState:
    """Return the calendar leg with word of a lay-up that its due date fell into, before the engine has run again."""
    if leg.due is None or task.in_lay_up == "counts" or not case.log.active.spans_us:
        return leg
    crossing = calendar_crossing_us(case, task, leg)
    waits = (leg.past_by or 0.0) > 0 and (crossing is None or crossing >= end_us)
    return leg if not waits else leg._replace(waits_for_start=True)
