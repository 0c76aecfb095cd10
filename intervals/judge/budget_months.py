"""What budgets come to in a month: exceeded is late, a period that ended within its limit is on time.

In: an engine's case and months. Out: `Occurrence` values. A calendar year is one occurrence: late on the day on which it is exceeded, by
the limit in force on that day, else on time on its last day. Of a stretch that ends on every day anew each unbroken time of being too
much is one late, and stretches laid end to end from the first day, none of whose days was too much, are one on time each. What could
not be judged is no occurrence.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from datetime import date
from typing import NamedTuple

from intervals.history.engine_case import EngineCase
from intervals.judge.budget_account import Period, runs_of
from intervals.judge.budget_findings import BudgetJudge, fitting_budgets
from intervals.judge.budget_wording import why_unknown
from intervals.judge.compliance import MET_OF_RULE, SECOND_US, Month
from intervals.language.durations import CalendarStep
from intervals.language.legs import rounded
from intervals.occurrences import MetWord, Occurrence
from intervals.rulebook.inference import InferenceFaultError
from intervals.rulebook.standing_rules import BudgetRule


class _Counted(NamedTuple):
    """An occurrence of a budget: when it was decided, whether the period was too much, and its last day if it was not."""

    decided_us: int
    exceeded_us: int | None
    period: Period


def budget_occurrences(case: EngineCase, wanted: Collection[str], months: Sequence[Month]) -> Iterator[tuple[Month, Occurrence]]:
    """Yield the occurrences of the budgets that are for an engine, each with the month in which it was decided.

    Args:
        case: the engine.
        wanted: ids of tasks and budgets that were asked for; none means all.
        months: the months.
    """
    for budget in fitting_budgets(case)[0]:
        if wanted and budget.id not in wanted:
            continue
        judge = BudgetJudge(case, budget)
        try:
            counted = list(_stretches(judge, budget.per) if isinstance(budget.per, CalendarStep) else _years(judge))
        except InferenceFaultError:
            # its finding says so
            continue
        for month in months:
            yield from ((month, _occurrence(judge, each, month)) for each in counted if month.holds(each.decided_us))


def _is_over(judge: BudgetJudge, period: Period) -> bool:
    """Return whether a period has come to its end by the moment of judging."""
    return period.end_us == judge.case.days.midnight_us(date.fromordinal(period.last_day.toordinal() + 1))


def _is_kept(judge: BudgetJudge, period: Period) -> bool:
    """Put a period that is over to the rules: whether it was kept, as far as all of it is known."""
    limit = judge.limit_of(period)
    why, may_be_more = why_unknown(judge.account, period, None if limit is None else float(limit.at_most))
    return judge.rule_of(period, why_unknown=why, may_be_more=may_be_more) in (BudgetRule.KEPT, BudgetRule.NEARLY_USED)


def _years(judge: BudgetJudge) -> Iterator[_Counted]:
    """Yield one occurrence for each calendar year that was exceeded, or is over and was kept."""
    for period in judge.periods:
        exceeded_us = _exceeded_us(judge, period)
        if exceeded_us is not None:
            yield _Counted(exceeded_us, exceeded_us, period)
        elif period.last_day == date(period.last_day.year, 12, 31) and _is_over(judge, period) and _is_kept(judge, period):
            yield _Counted(period.end_us - 1, None, period)


def _exceeded_us(judge: BudgetJudge, period: Period) -> int | None:
    """Return when a calendar year was first too much by the limit in force on that day, or None."""
    days = judge.case.days
    turns = sorted({limit.in_force_from for limit in judge.budget.at_most if limit.in_force_from is not None})
    starts = [period.first_day, *(day for day in turns if period.first_day < day <= period.last_day)]
    for number, first in enumerate(starts):
        place = judge.budget.place_in_force(first)
        if place is None:
            continue
        from_us = days.midnight_us(first)
        until_us = days.midnight_us(starts[number + 1]) if number + 1 < len(starts) else period.end_us
        at_us = judge.account.crossing_us(period.start_us, from_us, until_us, float(judge.budget.at_most[place].at_most))
        if at_us is not None:
            return max(at_us, from_us)
    return None


def _stretches(judge: BudgetJudge, step: CalendarStep) -> Iterator[_Counted]:
    """Yield the occurrences of a budget on any stretch of time: a late one for each time of being too much, one on time for each kept."""
    periods = judge.periods
    flags = judge.exceeded()
    for first, last in runs_of(flags):
        at_us = judge.crossed_us(first)
        at_us = judge.case.days.midnight_us(periods[first].last_day) if at_us is None else at_us
        yield _Counted(at_us, at_us, periods[last])
    first_day = periods[0].last_day
    anchor = max(first_day, _first_day(judge.case))
    begun, number = (anchor - first_day).days, 1
    while (end := (step.after(anchor, number) - first_day).days - 1) < len(periods):
        period = periods[end]
        if not any(flags[begun : end + 1]) and _is_over(judge, period) and _is_kept(judge, period):
            yield _Counted(period.end_us - 1, None, period)
        begun, number = end + 1, number + 1


def _first_day(case: EngineCase) -> date:
    """Return the day from which stretches are laid end to end: the first day in service, else that of the first row."""
    known_us = case.log.in_service_us
    if known_us is None:
        known_us = int(case.log.rows[0]) if len(case.log.rows) else case.end_us - 1
    return case.days.date_of(known_us)


def _occurrence(judge: BudgetJudge, counted: _Counted, month: Month) -> Occurrence:
    """Return one occurrence as it is printed; how it was met is a rule that fired."""
    case, budget = judge.case, judge.budget
    exceeded_us = counted.exceeded_us
    since_s = None if exceeded_us is None else (month.end_us - exceeded_us) / SECOND_US
    rules = case.standings
    facts = {"is_done": exceeded_us is None, "since_line_s": since_s, "since_tolerance_s": since_s, "since_held_s": since_s}
    met: MetWord = MET_OF_RULE[rules.met.fire_one({**facts, "share_done": None, "is_deferred": False, "is_known": True})]
    on = case.days.date_of(counted.decided_us).isoformat()
    leg = judge.leg(counted.period)
    outcome = f"exceeded on {on}" if met == "late" else f"kept from {counted.period.first_day.isoformat()} to {on}"
    return Occurrence(
        engine=case.engine.id,
        ruleset=case.ruleset,
        task=budget.id,
        weight=budget.weight,
        met=met,
        open=False,
        line_on=on,
        decided_on=on,
        done_on=None,
        consumed=None if met == "late" or leg.consumed is None else rounded(leg.consumed),
        deferred=False,
        text=f"{budget.title}: {outcome}",
    )
