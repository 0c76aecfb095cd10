"""The sentences of a budget: what was counted, of how much, in which period, and since when it is too much.

In: facts that were already judged. Out: text. Nothing is decided here.
"""

from __future__ import annotations

from datetime import date

from intervals.judge.budget_account import Period
from intervals.language.durations import CalendarStep
from intervals.language.legs import RUNNING_HOURS, rounded
from intervals.language.phrases import phrase_of
from intervals.rules.budgets import Budget
from intervals.shown_numbers import amount, figure_of, use_text


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
    if rule == "budget-exceeded":
        since = "" if on is None else f", exceeded on {on.isoformat()}"
        by = f"budget exceeded by {amount(-distance, unit)}; " if allowed else ""
        return f"overdue: {by}{used}{since}"
    if allowed == 0:
        return f"in interval: {used}"
    left = "budget used up" if distance == 0 else f"{amount(distance, unit)} left of the budget"
    return f"{'upcoming' if rule == 'budget-nearly-used' else 'in interval'}: {left}; {used}"


def unknown_budget_text(budget: Budget, period: Period, what: str, unit: str, why: str) -> str:
    """Return the sentence of a budget whose standing cannot be told."""
    known = "known are" if _allowed(budget, period) else "as far as is known,"
    return f"unknown: {why}; {known} {_used_text(budget, period, what, unit)}"


def untold_text(budget: Budget, unknown: float, unit: str, how: str) -> str:
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
