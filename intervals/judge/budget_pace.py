"""The day on which a budget of one engine will be used up, and the range around it.

In: an engine, a budget, what was counted. Out: days. Of a whole site, and of what was recorded by hand, none is known. It
extrapolates; it judges nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from intervals.findings import Forecast
from intervals.history.engine_case import EngineCase
from intervals.judge.budget_account import Account, Period
from intervals.language.durations import CalendarStep
from intervals.rules.budgets import Budget
from intervals.windows.expected_days import days_since
from intervals.windows.ranges_ahead import LegUse


@dataclass
class BudgetPace:
    """How one budget is used up.

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
    def use(self) -> LegUse | None:
        """What it counts, and how that will be used up."""
        counted, case = self.account.counts[0].counted, self.case
        return None if case is None else LegUse(case, counted, self._log_end_us, self.budget.of.name)

    def from_us(self, period: Period) -> int:
        """Return from when on what remains of a period is used up: of a new one from its first day on, even if the log ended before."""
        first_us = self.account.days.midnight_us(self.account.running_from(period))
        return min(self.account.end_us, max(self._log_end_us, first_us))

    def upcoming_from(self, period: Period, allowed: float | None, forecast: Forecast | None) -> str | None:
        """Return the day on which the lead of a period begins, where the day is known on which it will be used up."""
        if self.use is None or allowed is None or forecast is None or forecast.on is None:
            return None
        left = allowed - period.used - allowed * float(self.budget.lead_pct) / 100.0
        day = self.use.middle_of(left * self.account.divisor, self.from_us(period))
        return None if day is None else day.isoformat()

    def since_expected_d(self, expected: Forecast | None) -> float | None:
        """Return for how many days the expected day has been over, where the log has ended."""
        case = self.case
        if case is None or expected is None or expected.on is None or case.silence_us(case.end_us) <= case.log.gap_us:
            return None
        return days_since(case, date.fromisoformat(expected.on))

    def forecast(self, period: Period, allowed: float | None) -> Forecast | None:
        """Return when a calendar period's budget will be used up, or None where it lasts."""
        if self.use is None or allowed is None or isinstance(self.budget.per, CalendarStep) or self.budget.of.records:
            return None
        days = self.use.range_of((allowed - period.used) * self.account.divisor, self.from_us(period))
        last = period.final_day
        shown: Sequence[str | None] = [None if day is None or day > last else day.isoformat() for day in days]
        return None if not any(shown) else Forecast(on=shown[0], early=shown[1], late=shown[2])
