"""What is said of a budget: what was counted, of how much, in which period, since when it is too much or too little, and what is not known.

In: facts that were already judged. Out: text. Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from intervals.judge.budget_account import MOST_NAMED, Period
from intervals.language.durations import CalendarStep
from intervals.language.legs import RUNNING_HOURS, rounded
from intervals.language.phrases import phrase_of
from intervals.rulebook.standing_rules import BudgetRule
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
    return budget.per.words_of(period.last_day)


def _used_text(budget: Budget, period: Period, what: str, unit: str) -> str:
    """Return what was used of what is allowed or asked for."""
    limit = _limit(budget, period)
    if limit == 0:
        return f"{use_text(period.used, limit, unit)}: {what} {period_text(budget, period)}"
    used, shown = figure_of(period.used, limit)
    asked = f"at least {shown} asked" if budget.is_minimum else f"allowed {shown}"
    # what is only counted is its own unit: 12 starts, not 12 starts of starts
    counted = what if what.split(" ", maxsplit=1)[0] == unit else f"{unit} of {what}"
    return f"{used} {counted} {period_text(budget, period)}, {asked}"


def _limit(budget: Budget, period: Period) -> float | None:
    """Return what a period is allowed or asked for, or None where no limit is in force."""
    return None if period.place is None else budget.limits[period.place].amount


def _no_limit_text(budget: Budget, period: Period) -> str:
    """Return the sentence of a budget that is not in force yet."""
    first = min(limit.in_force_from for limit in budget.limits if limit.in_force_from is not None)
    return f"in interval: no limit is in force on {period.last_day.isoformat()}, the first one is from {first.isoformat()} on"


def budget_text(rule: str, budget: Budget, period: Period, what: str, unit: str, on: date | None) -> str:  # noqa: PLR0913 - one a fact
    """Return the sentence of a budget's standing."""
    allowed = _limit(budget, period)
    if allowed is None:
        return _no_limit_text(budget, period)
    used = _used_text(budget, period, what, unit)
    distance = rounded(allowed - period.used)
    if rule == BudgetRule.EXCEEDED:
        since = "" if on is None else f", exceeded on {on.isoformat()}"
        by = f"budget exceeded by {amount(-distance, unit)}; " if allowed else ""
        return f"overdue: {by}{used}{since}"
    if allowed == 0:
        return f"in interval: {used}"
    left = "budget used up" if distance == 0 else f"{amount(distance, unit)} left of the budget"
    return (
        f"{'upcoming' if rule == BudgetRule.NEARLY_USED else 'in interval'}: {left}{_left_of_mean(budget, period, distance, unit)}; {used}"
    )


def _left_of_mean(budget: Budget, period: Period, distance: float, unit: str) -> str:
    """Return what is left of a mean of years as the sum that the running year may still add."""
    if isinstance(budget.per, CalendarStep) or not budget.per.is_mean or distance == 0:
        return ""
    bare = unit.removesuffix(budget.per.adjective)
    return f", {amount(distance * budget.per.divisor, bare)} more in {period.last_day.year}"


def minimum_text(rule: str, budget: Budget, period: Period, what: str, unit: str, by: date) -> str:  # noqa: PLR0913 - one a fact
    """Return the sentence of a minimum's standing.

    Args:
        rule: the rule that fired.
        budget: the budget.
        period: the period that it fired for.
        what: what is counted.
        unit: its unit.
        by: the day by which it is to be reached, was, or until which it holds.
    """
    asked = _limit(budget, period)
    if asked is None:
        return _no_limit_text(budget, period)
    used, day = _used_text(budget, period, what, unit), by.isoformat()
    lacking = f"{amount(rounded(asked - period.used), unit)} lacking"
    missed = f"not reached by {day}" if by >= period.final_day else f"not reached since {day}"
    if rule == BudgetRule.NEARLY_DUE and period.used >= asked:
        return f"upcoming: reached until {day} without any more; {used}"
    said = {
        BudgetRule.NOT_REACHED: f"overdue: {lacking}; {used}, {missed}",
        BudgetRule.NEARLY_DUE: f"upcoming: {lacking}, to be reached by {day}; {used}",
        BudgetRule.TIME_LEFT: f"in interval: {lacking}, to be reached by {day}; {used}",
        BudgetRule.NOT_YET_ASKED: f"in interval: nothing is asked of a period that began before it was in service; {used}",
    }
    return said.get(rule, f"in interval: reached; {used}")


def unknown_budget_text(budget: Budget, period: Period, what: str, unit: str, why: str) -> str:
    """Return the sentence of a budget whose standing is unknown."""
    known = "known are" if _limit(budget, period) else "as far as is known,"
    return f"unknown: {why}; {known} {_used_text(budget, period, what, unit)}"


def partly_unknown_text(budget: Budget, unknown: float, unit: str, how: str) -> str:
    """Return the sentence of what could not be judged: by its condition, or without one, to which month or year it belongs."""
    if not any(budget.conditions) and not budget.when:
        stretches = "years" if isinstance(budget.per, CalendarStep) else f"{budget.per.unit}s"
        return f"up to {amount(unknown, unit)} more, between readings of the meter in different {stretches} before the log began{how}"
    return f"{amount(unknown, unit)} on which the condition could not be judged{how}"


def earlier_text(budget: Budget, worst: Period, unit: str, since: date, until: date, times: int) -> str:  # noqa: PLR0913 - one a fact
    """Return the sentence of a period that held too much, or too little, before."""
    used, shown = figure_of(worst.used, _limit(budget, worst))
    which = "once" if times == 1 else f"{times} times"
    if budget.is_minimum:
        return f"not reached {which} before: {used} {unit} {period_text(budget, worst)}, at least {shown} asked"
    limit = f"allowed {shown}" if _limit(budget, worst) else "none allowed"
    if isinstance(budget.per, CalendarStep):
        return f"exceeded {which} before: from {since.isoformat()} to {until.isoformat()}, up to {used} {unit}, {limit}"
    return f"exceeded {which} before: {used} {unit} {period_text(budget, worst)}, {limit}, from {since.isoformat()} on"


def before_service_text(since: Mapping[str, date], *, is_mean: bool) -> str:
    """Return the sentence of what lies in a period before engines were in service: the first day of each."""
    what = "the time before counts as none, and the years are divided by all the same" if is_mean else "the time before counts as none"
    if len(since) == 1:
        ((engine, day),) = since.items()
        return f"{engine} is in service from {day.isoformat()} on: {what}"
    named = ", ".join(f"{engine} from {day.isoformat()} on" for engine, day in list(since.items())[:MOST_NAMED])
    rest = f", and {len(since) - MOST_NAMED:,} more" if len(since) > MOST_NAMED else ""
    return f"in service are {named}{rest}: {what}"
