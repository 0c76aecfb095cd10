"""How fast a budget of one engine is used up, and the day on which it will be at that pace.

In: an engine, a budget, what was counted. Out: days. Of a whole site, and of what was recorded by hand, no pace is known. It
extrapolates; it judges nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from intervals.findings import Forecast
from intervals.history.engine_case import EngineCase, Pace
from intervals.judge.budget_account import Account, Period
from intervals.language.durations import CalendarStep
from intervals.rules.budgets import Budget
from intervals.windows.expected_days import day_at, days_since, pace_of


@dataclass
class BudgetPace:
    """The pace of one budget.

    Attributes:
        case: the engine, or None of a whole site.
        budget: the budget.
        account: what was counted.
    """

    case: EngineCase | None
    budget: Budget
    account: Account

    @cached_property
    def _log_end_us(self) -> int:
        """Up to when the log covers all that is counted, at most to the moment of judging."""
        case = self.case
        ends = [] if case is None else [case.log_end_us_of(name) for name in self.budget.of.quantities]
        return min([self.account.end_us, *(at_us for at_us in ends if at_us is not None)])

    @property
    def ended(self) -> str:
        """When the log ended, in words."""
        return "" if self.case is None else self.case.log_ended_text(self._log_end_us)

    @cached_property
    def _pace(self) -> Pace:
        """How fast it is used up."""
        case = self.case
        return Pace(None, None, None) if case is None else pace_of(case, self.account.counts[0].counted, self._log_end_us)

    def _day_at(self, period: Period, remaining: float, rate: float | None) -> date | None:
        """Return the day on which what remains of a period is used up; a new one from its first day on, even if the log ended before."""
        case = self.case
        if case is None:
            return None
        from_us = self.account.days.midnight_us(self.account.running_from(period))
        return day_at(case, remaining * self.account.divisor, rate, min(self.account.end_us, max(self._log_end_us, from_us)))

    def upcoming_from(self, period: Period, allowed: float | None, forecast: Forecast | None) -> str | None:
        """Return the day on which the lead of a period begins, where the day is known on which it will be used up."""
        if allowed is None or forecast is None or forecast.on is None:
            return None
        lead = allowed * float(self.budget.lead_pct) / 100.0
        day = self._day_at(period, allowed - period.used - lead, self._pace.recent)
        return None if day is None else day.isoformat()

    def since_expected_d(self, expected: Forecast | None) -> float | None:
        """Return for how many days the expected day has been over, where the log has ended."""
        case = self.case
        if case is None or expected is None or expected.on is None or case.silence_us(case.end_us) <= case.log.gap_us:
            return None
        return days_since(case, date.fromisoformat(expected.on))

    def forecast(self, period: Period, allowed: float | None) -> Forecast | None:
        """Return when a calendar period's budget will be used up at the recent pace, or None where it lasts."""
        if allowed is None or isinstance(self.budget.per, CalendarStep) or self.budget.of.records:
            return None
        remaining, last = allowed - period.used, period.final_day
        days = [self._day_at(period, remaining, rate) for rate in self._pace]
        shown: Sequence[str | None] = [None if day is None or day > last else day.isoformat() for day in days]
        return None if not any(shown) else Forecast(on=shown[0], early=shown[1], late=shown[2])
