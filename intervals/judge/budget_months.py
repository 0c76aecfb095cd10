"""What budgets come to in a month: exceeded is late, a period that ended within its limit is on time; of a minimum, what it lacked.

In: who judges a budget, and months. Out: `Occurrence` values. A calendar period is one occurrence, of several months or years one for
each month or year that it ends with: late on the day on which it is exceeded, by the limit in force on that day, else on time on its last
day. A minimum is decided on the period's last day. Of a stretch that ends on every day anew each unbroken time of being too much, or too
little, is one late, and stretches laid end to end from the first day, none of whose days was late, are one on time each. What could not
be judged is no occurrence.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from datetime import date
from typing import NamedTuple

from intervals.history.engine_case import EngineCase
from intervals.judge.budget_account import Account, Period, runs_of
from intervals.judge.budget_findings import fitting_budgets, judge_of_engine
from intervals.judge.budget_judge import BudgetJudge
from intervals.judge.compliance import MET_OF_RULE, SECOND_US, Month
from intervals.language.durations import CalendarStep
from intervals.language.legs import rounded
from intervals.occurrences import MetWord, Occurrence
from intervals.rulebook.inference import InferenceFaultError
from intervals.rulebook.standing_rules import BudgetRule

_KEPT = (BudgetRule.KEPT, BudgetRule.NEARLY_USED, BudgetRule.REACHED, BudgetRule.NEARLY_DUE)


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
        if budget.over != "site" and (not wanted or budget.id in wanted):
            yield from occurrences_of(judge_of_engine(case, budget), months)


def occurrences_of(judge: BudgetJudge, months: Sequence[Month]) -> Iterator[tuple[Month, Occurrence]]:
    """Yield the occurrences of one budget, each with the month in which it was decided; none where its inference failed."""
    try:
        counted = list(_stretches(judge, judge.budget.per) if isinstance(judge.budget.per, CalendarStep) else _calendar(judge))
    except InferenceFaultError:
        # its finding says so
        return
    for month in months:
        yield from ((month, _occurrence(judge, each, month)) for each in counted if month.holds(each.decided_us))


def _is_kept(judge: BudgetJudge, period: Period) -> bool:
    """Put a period that is over to the rules: whether it was kept, or reached, as far as all of it is known."""
    why, may_be_more = judge.why_unknown(period)
    return judge.rule_of(period, why_unknown=why, may_be_more=may_be_more) in _KEPT


def _calendar(judge: BudgetJudge) -> Iterator[_Counted]:
    """Yield one occurrence for each calendar period that was exceeded or lacked something, or is over and was kept or reached."""
    lacked = judge.exceeded() if judge.budget.is_minimum else []
    for place, period in enumerate(judge.periods):
        late_us = (judge.crossed_us(place) if lacked[place] else None) if lacked else _exceeded_us(judge, period)
        if late_us is not None:
            yield _Counted(late_us, late_us, period)
        elif judge.account.is_over(period) and _is_kept(judge, period):
            yield _Counted(period.end_us - 1, None, period)


def _exceeded_us(judge: BudgetJudge, period: Period) -> int | None:
    """Return when a calendar period was first too much by the limit in force on that day, or None; of several months, in the last one."""
    account = judge.account
    days, begun = account.days, account.running_from(period)
    turns = sorted({limit.in_force_from for limit in judge.budget.limits if limit.in_force_from is not None})
    starts = [begun, *(day for day in turns if begun < day <= period.last_day)]
    for number, first in enumerate(starts):
        place = judge.budget.place_in_force(first)
        if place is None:
            continue
        from_us = days.midnight_us(first)
        until_us = days.midnight_us(starts[number + 1]) if number + 1 < len(starts) else period.end_us
        at_us = account.crossing_us(period.start_us, from_us, until_us, judge.budget.limits[place].amount * account.divisor)
        if at_us is not None:
            return max(at_us, from_us)
    return None


def _stretches(judge: BudgetJudge, step: CalendarStep) -> Iterator[_Counted]:
    """Yield the occurrences of a budget on any stretch of time: a late one for each time of being too much, one on time for each kept."""
    periods = judge.periods
    flags = judge.exceeded()
    for first, last in runs_of(flags):
        at_us = judge.crossed_us(first)
        at_us = judge.account.days.midnight_us(periods[first].last_day) if at_us is None else at_us
        yield _Counted(at_us, at_us, periods[last])
    first_day = periods[0].last_day
    anchor = max(first_day, _first_day(judge.account))
    begun, number = (anchor - first_day).days, 1
    while (end := (step.after(anchor, number) - first_day).days - 1) < len(periods):
        period = periods[end]
        if not any(flags[begun : end + 1]) and judge.account.is_over(period) and _is_kept(judge, period):
            yield _Counted(period.end_us - 1, None, period)
        begun, number = end + 1, number + 1


def _first_day(account: Account) -> date:
    """Return the day from which stretches are laid end to end: the first day in service, else that of the first row."""
    covers = [count.cover for count in account.counts]
    return min(
        account.days.date_of(next(at_us for at_us in (each.in_service_us, each.first_row_us, each.end_us - 1) if at_us is not None))
        for each in covers
    )


def _occurrence(judge: BudgetJudge, counted: _Counted, month: Month) -> Occurrence:
    """Return one occurrence as it is printed; how it was met is a rule that fired."""
    bench, budget = judge.bench, judge.budget
    exceeded_us = counted.exceeded_us
    since_s = None if exceeded_us is None else (month.end_us - exceeded_us) / SECOND_US
    rules = bench.standings
    facts = {"is_done": exceeded_us is None, "since_line_s": since_s, "since_tolerance_s": since_s, "since_held_s": since_s}
    met: MetWord = MET_OF_RULE[rules.met.fire_one({**facts, "share_done": None, "is_deferred": False, "is_known": True})]
    on = judge.account.days.date_of(counted.decided_us).isoformat()
    leg = judge.leg(counted.period)
    broken, kept = (f"not reached by {on}", "reached") if budget.is_minimum else (f"exceeded on {on}", "kept")
    outcome = broken if met == "late" else f"{kept} from {counted.period.first_day.isoformat()} to {on}"
    return Occurrence(
        engine=bench.engine,
        ruleset=bench.ruleset.ruleset,
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
