"""What is said of a budget: what was counted, of how much, in which period, since when it is too much, and what could not be counted.

In: facts that were already judged, and an account where it may not be all. Out: text, and by how many hours a sum may be more. Nothing is
decided here.
"""

from __future__ import annotations

from datetime import date

from intervals.history.engine_case import METER_GAP, NO_METER
from intervals.history.window_measures import NOTHING_H
from intervals.judge.budget_account import Account, Period
from intervals.language.durations import CalendarStep
from intervals.language.legs import RUNNING_HOURS, rounded
from intervals.language.phrases import phrase_of
from intervals.local_days import HOUR_US
from intervals.rulebook.standing_rules import BudgetRule
from intervals.rules.budgets import Budget
from intervals.shown_numbers import amount, figure_of, use_text

MOST_NAMED = 3


def counted_text(budget: Budget, place: int | None) -> str:
    """Return what is counted in words, such as `running hours (above 0.5 % fuel sulphur)`."""
    names = ["running hours" if name == RUNNING_HOURS else name for name in budget.of.quantities]
    names += [f"{task} records" for task in budget.of.records]
    when = budget.when if place is None else budget.conditions[place]
    return " + ".join(names) + (f" ({phrase_of(when)})" if when is not None else "")


def period_text(budget: Budget, period: Period) -> str:
    """Return a period in words: `in 2026`, or `from 2025-06-01 to 2026-05-31`."""
    if isinstance(budget.per, CalendarStep):
        return f"from {period.first_day.isoformat()} to {period.last_day.isoformat()}"
    return f"in {period.last_day.year}"


def _used_text(budget: Budget, period: Period, what: str, unit: str) -> str:
    """Return what was used of what is allowed."""
    allowed = _allowed(budget, period)
    if allowed == 0:
        return f"{use_text(period.used, allowed, unit)}: {what} {period_text(budget, period)}"
    used, shown = figure_of(period.used, allowed)
    return f"{used} {unit} of {what} {period_text(budget, period)}, allowed {shown}"


def _allowed(budget: Budget, period: Period) -> float | None:
    """Return what a period is allowed, or None where no limit is in force."""
    return None if period.place is None else float(budget.at_most[period.place].at_most)


def budget_text(rule: str, budget: Budget, period: Period, what: str, unit: str, on: date | None) -> str:  # noqa: PLR0913 - one a fact
    """Return the sentence of a budget's standing."""
    allowed = _allowed(budget, period)
    if allowed is None:
        first = min(limit.in_force_from for limit in budget.at_most if limit.in_force_from is not None)
        return f"in interval: no limit is in force on {period.last_day.isoformat()}, the first one is from {first.isoformat()} on"
    used = _used_text(budget, period, what, unit)
    distance = rounded(allowed - period.used)
    if rule == BudgetRule.EXCEEDED:
        since = "" if on is None else f", exceeded on {on.isoformat()}"
        by = f"budget exceeded by {amount(-distance, unit)}; " if allowed else ""
        return f"overdue: {by}{used}{since}"
    if allowed == 0:
        return f"in interval: {used}"
    left = "budget used up" if distance == 0 else f"{amount(distance, unit)} left of the budget"
    return f"{'upcoming' if rule == 'budget-nearly-used' else 'in interval'}: {left}; {used}"


def unknown_budget_text(budget: Budget, period: Period, what: str, unit: str, why: str) -> str:
    """Return the sentence of a budget whose standing is unknown."""
    known = "known are" if _allowed(budget, period) else "as far as is known,"
    return f"unknown: {why}; {known} {_used_text(budget, period, what, unit)}"


def partly_unknown_text(budget: Budget, unknown: float, unit: str, how: str) -> str:
    """Return the sentence of what could not be judged: by its condition, or without one, to which year it belongs."""
    if not any(budget.conditions) and not budget.when:
        return f"up to {amount(unknown, unit)} more, between readings of the meter in different years before the log began{how}"
    return f"{amount(unknown, unit)} on which the condition could not be judged{how}"


def earlier_text(budget: Budget, worst: Period, unit: str, since: date, until: date, times: int) -> str:  # noqa: PLR0913 - one a fact
    """Return the sentence of a period that held too much before."""
    used, allowed = figure_of(worst.used, _allowed(budget, worst))
    which = "once" if times == 1 else f"{times} times"
    limit = f"allowed {allowed}" if _allowed(budget, worst) else "none allowed"
    if isinstance(budget.per, CalendarStep):
        return f"exceeded {which} before: from {since.isoformat()} to {until.isoformat()}, up to {used} {unit}, {limit}"
    return f"exceeded {which} before: {used} {unit} in {worst.last_day.year}, {limit}, from {since.isoformat()} on"


def why_unknown(account: Account, period: Period, allowed: float | None) -> tuple[str, float]:
    """Return why what was counted is not all, or an empty text, and how many hours more it may be.

    Hours that could not exceed the limit, had they all been run, leave nothing open.

    Args:
        account: what was counted.
        period: one of its periods, as it stood at its end.
        allowed: the limit in force, or None.
    """
    case, counted = account.case, account.budget.of
    in_service = case.log.in_service_us
    start_us = period.start_us if in_service is None else max(period.start_us, in_service)
    for why in (_unlogged(account, start_us), _unrecorded(account, start_us, period)):
        if why:
            return why, 0.0
    if not counted.quantities:
        return "", 0.0
    ended = case.log_ended_text(case.log.log_end_us or 0)
    silent_us = case.silence_us(period.end_us)
    silent_h = silent_us / HOUR_US if silent_us > case.log.gap_us else 0.0
    if silent_h > 0 and counted.quantities != (RUNNING_HOURS,):
        return ended, 0.0
    unknown_h = _unknown_h(account, start_us, period.end_us) if RUNNING_HOURS in counted.quantities else 0.0
    more = unknown_h + silent_h
    if more <= NOTHING_H or allowed is None or rounded(period.used + period.unknown + more - allowed) <= 0:
        return "", more
    return (f"{METER_GAP} part of this period" if unknown_h > NOTHING_H else ended), more


def _unknown_h(account: Account, start_us: int, end_us: int) -> float:
    """Return the time between two instants of which no meter shows whether the engine ran."""
    ledger = account.case.ledger
    edges = ledger.edges_us
    before_h = max(0, int(edges[0]) - start_us) / HOUR_US
    low = int(edges.searchsorted(max(start_us, int(edges[0]))))
    high = min(int(edges.searchsorted(end_us)), len(edges) - 1)
    return before_h + float(ledger.unknown_up_to_h[high] - ledger.unknown_up_to_h[min(low, high)])


def _unlogged(account: Account, start_us: int) -> str:
    """Return which quantity the log does not know from an instant on."""
    case = account.case
    if account.unlogged:
        return f"no {' and no '.join(account.unlogged)} is logged"
    if account.budget.of.quantities and case.log.log_end_us is None:
        return f"{NO_METER} was ever read"
    first_us = int(case.log.rows[0]) - case.log.gap_us if len(case.log.rows) else start_us
    for name in account.budget.of.quantities:
        known_from = case.ledger.counters_known_from_us.get(name, first_us)
        if name != RUNNING_HOURS and known_from > start_us:
            return f"{name} is known only from {case.days.iso(known_from)} on"
    return ""


def _unrecorded(account: Account, start_us: int, period: Period) -> str:
    """Return why the service records do not cover all hours."""
    case, tasks = account.case, account.budget.of.records
    if not tasks:
        return ""
    records_from = case.records_from_us
    if records_from is None or records_from > start_us:
        since = "nothing says from when on" if records_from is None else f"only from {case.days.iso(records_from)} on"
        return f"{since} the service records are complete"
    rows = [entry for task in tasks for entry in case.records.hours.get(task, ())]
    blank = [entry.record for entry in rows if entry.hours_h is None and period.start_us <= entry.at_us <= period.end_us]
    return f"no hours are recorded in {', '.join(blank[:MOST_NAMED])}" if blank else ""
